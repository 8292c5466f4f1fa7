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

/// Sources: PyPI nistitl finds the image; Pillow decodes it, and mirrors the original by its own `ImageOps.mirror`.
const MIRRORED: &str = "import sys, io, json, nistitl\n\
    from PIL import Image, ImageOps\n\
    asked = json.load(sys.stdin)\n\
    data = bytes.fromhex(asked['file'])\n\
    msg = nistitl.Message()\n\
    msg.parse(data)\n\
    assert msg.NIST == data\n\
    record = msg[(13, 1)]\n\
    original = Image.open(io.BytesIO(bytes.fromhex(asked['original'])))\n\
    if record[11].value == 'NONE':\n\
    \x20sent = Image.frombytes('L', (int(record[6].value), int(record[7].value)), record[999].value)\n\
    else:\n\
    \x20sent = Image.open(io.BytesIO(record[999].value))\n\
    assert sent.size == (int(record[6].value), int(record[7].value))\n\
    same = lambda a, b: a.mode == b.mode and a.size == b.size and a.tobytes() == b.tobytes()\n\
    reversal = msg[(9, 1)][315]\n\
    print(msg[0][2].value, record[11].value, reversal if reversal is None else reversal.value,\n\
    \x20'mirror' if same(sent, ImageOps.mirror(original)) else 'as it was' if same(sent, original) else 'another')\n";

/// From an original on the record through a working copy, the command line and a reader that is not ours, to pixels.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_picture_that_arrives_is_the_mirror_of_the_original_pixel_for_pixel() {
    use super::afis_bench::{Bench, picture, png};
    use liftledger::app::Viewer;
    use liftledger::imaging::recipe::Op;
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("demo");
    let b = Bench::begin(&data).await;
    let of = b.item("panel-item");
    let file = png(&picture(11));
    let view = ["contact-face", "dark-powder"];
    let original = b.add(of, "gel.png", "image/png", &file, &view).await;
    b.scale(of, original, 1000).await;
    let copy = b.copy(of, original, Some(1000), vec![Op::Flip]).await;
    let viewer = Viewer::operator();
    let item = b
        .house
        .reader(&viewer)
        .item(b.demo.items["panel-item"])
        .await
        .unwrap();
    let case = b
        .house
        .reader(&viewer)
        .case(item.case)
        .await
        .unwrap()
        .number;
    let number = item.number.to_string();
    let out = dir.path().join("out.an2");
    let hand_off = |edition: &str, receiver: &str, which: &str, digest: String| {
        let done = std::process::Command::new(env!("CARGO_BIN_EXE_liftledger"))
            .args([
                "afis",
                &case,
                &number,
                "--edition",
                edition,
                "--receiver",
                receiver,
            ])
            .args([which, &digest, "--out"])
            .arg(&out)
            .arg("--force")
            .arg("--data")
            .arg(&data)
            .output()
            .unwrap();
        assert!(
            done.status.success(),
            "{}",
            String::from_utf8_lossy(&done.stderr)
        );
        let sent = std::fs::read(&out).unwrap();
        check(&sent).unwrap();
        let asked = serde_json::json!({"file": hex::encode(&sent), "original": hex::encode(&file)});
        let said = ask(MIRRORED, &serde_json::to_vec(&asked).unwrap());
        String::from_utf8(said).unwrap().trim().to_owned()
    };
    for (edition, version) in [("2011", "0500"), ("2013", "0501"), ("2015", "0502")] {
        for (receiver, coding) in [("hollin-bureau", "PNG"), ("old-exchange", "NONE")] {
            assert_eq!(
                hand_off(edition, receiver, "--copy", copy.to_string()),
                format!("{version} {coding} None mirror")
            );
            assert_eq!(
                hand_off(edition, receiver, "--image", original.to_string()),
                format!("{version} {coding} L as it was")
            );
        }
    }
    b.close().await;
}
