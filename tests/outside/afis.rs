//! Latent print transactions read by a reader that is not ours: PyPI nistitl, which parses Types 1, 2, 9, 13 and 21 and
//! writes them again.

use liftledger::custody::value::Value;
use liftledger::disclosure::itl::{
    Assessment, ContextPicture, Edition, Operation, Tone, check, write,
};
use liftledger::lifting::handedness::Lateral;

use super::itl_sample::{PNG, RAW, pixels, png, raw, with_features};
use super::libraries::ask;

/// What the reader makes of a file: whether it writes the same bytes again, and every field as it reads it.
const READ: &str = "import sys, nistitl\n\
    data = sys.stdin.buffer.read()\n\
    msg = nistitl.Message()\n\
    msg.parse(data)\n\
    print('same' if msg.NIST == data else 'differs')\n\
    for record in msg:\n\
    \x20for tag in range(1, 1000):\n\
    \x20 field = record[tag]\n\
    \x20 if field is None: continue\n\
    \x20 value = field.value\n\
    \x20 if isinstance(value, bytes): value = value.hex()\n\
    \x20 print(f'{record.type}.{tag:03d}', repr(value))\n";

/// The reader's lines for a file.
pub fn read_by_nistitl(file: &[u8]) -> String {
    String::from_utf8(ask(READ, file)).unwrap()
}

#[test]
fn the_two_files_that_are_not_ours_are_read_and_written_again() {
    for file in [RAW, PNG] {
        assert!(read_by_nistitl(file).starts_with("same\n"));
    }
}

#[test]
fn all_three_editions_are_read_and_written_again_byte_for_byte() {
    let data = pixels();
    let png = png(16, 12, &data);
    for edition in Edition::ALL {
        for (lateral, tone) in [
            (Lateral::Direct, Tone::Positive),
            (Lateral::Reversed, Tone::Negative),
            (Lateral::Unknown, Tone::Unknown),
        ] {
            let mut full = with_features(&png);
            full.edition = edition;
            full.header.priority = Some(2);
            full.latent.agency = Some("Hafenwacht Żółw".into());
            full.latent.operations = ["left and right exchanged", "light and dark exchanged"]
                .map(|what| Operation {
                    at: full.header.moment,
                    program: "liftledger 0.1.0".into(),
                    owner: "liftledger".into(),
                    what: what.into(),
                })
                .to_vec();
            full.context = Some(ContextPicture {
                taken: full.header.date,
                file_type: "JPG".into(),
                comment: Some("the hatch".into()),
                data: b"\xff\xd8\xff\x1c\x1d\x1e\x1f 999: \xff\xd9".to_vec(),
            });
            let f = full.features.as_mut().unwrap();
            (f.lateral, f.tone, f.matrix) = (lateral, tone, Some(1));
            f.methods = [
                "VIS", "SGF", "R6G", "BLP", "MBP", "WHP", "ALS", "LAS", "OTH",
            ]
            .map(str::to_owned)
            .to_vec();
            f.assessment = Some(Assessment {
                value: Value::Limited,
                last_name: "Sorge".into(),
                first_name: "Ida".into(),
                affiliation: "an invented agency".into(),
                at: full.header.moment,
                comment: Some("smudged".into()),
            });
            let mut bare = raw();
            bare.edition = edition;
            for t in [full, bare] {
                let bytes = write(&t).unwrap().bytes;
                let ours = check(&bytes).unwrap();
                let theirs = read_by_nistitl(&bytes);
                assert!(theirs.starts_with("same\n"), "{edition:?}: {theirs}");
                let line = format!("1.002 '{}'", edition.version());
                assert!(theirs.contains(&line), "{theirs}");
                // As many fields as ours, and the image as it went in.
                let fields: usize = ours.iter().map(|r| r.fields.len()).sum();
                assert_eq!(theirs.lines().count(), fields + 1, "{theirs}");
                let image = format!("13.999 '{}'", hex::encode(&t.latent.data));
                assert!(theirs.contains(&image), "{theirs}");
                let letter = theirs.lines().find(|l| l.starts_with("9.315"));
                let expected = t.features.as_ref().and(match lateral {
                    Lateral::Direct => None,
                    Lateral::Reversed => Some("9.315 'L'"),
                    Lateral::Unknown => Some("9.315 'U'"),
                });
                assert_eq!(letter, expected);
            }
        }
    }
}

/// Why the checker is our own: the reader takes a table of contents whose record type is wrong.
#[test]
fn the_other_reader_takes_a_wrong_type_in_the_contents_and_ours_does_not() {
    let from = b"\x1e13\x1f1";
    let at = PNG.windows(from.len()).position(|w| w == from).unwrap();
    let mut bad = PNG.to_vec();
    bad[at + 2] = b'4';
    assert_eq!(
        read_by_nistitl(&bad).lines().count(),
        read_by_nistitl(PNG).lines().count()
    );
    check(&bad).unwrap_err();
}
