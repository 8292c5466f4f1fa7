//! Hand-offs from a real ledger: what goes, what it states, what is refused, and what is on the record of it.

use liftledger::app::papers::afis::{Asked, HandedOff, hand_off, past};
use liftledger::app::papers::{By, PaperError};
use liftledger::app::{ReadError, Viewer};
use liftledger::custody::Act;
use liftledger::custody::fact::Fact;
use liftledger::custody::mark::DevelopMark;
use liftledger::custody::value::{AssessValue, Value};
use liftledger::disclosure::itl::read::ReadRecord;
use liftledger::disclosure::itl::{Capture, Edition, ItlRule, check};
use liftledger::ids::{Digest, Subject};
use liftledger::imaging::recipe::Op;
use liftledger::receivers::{FILE, Receivers};
use sha2::{Digest as _, Sha256};

use super::afis_bench::{Bench, picture, png};

async fn try_off(b: &Bench, user_name: &str, asked: &Asked) -> Result<HandedOff, PaperError> {
    let viewer = b.viewer(user_name).await;
    hand_off(&b.house.reader(&viewer), By::session(), asked).await
}

async fn refused(b: &Bench, asked: &Asked) -> ItlRule {
    let before = b.house.store.head().await.unwrap().size;
    let rule = match try_off(b, "soren", asked).await {
        Err(PaperError::Itl(refusal)) => refusal.rule,
        other => panic!("{other:?}"),
    };
    assert_eq!(b.house.store.head().await.unwrap().size, before);
    rule
}

fn to(of: Subject, picture: Digest, receiver: &str) -> Asked {
    Asked {
        picture: Some(picture),
        receiver: Some(receiver.into()),
        ..Asked::of(of)
    }
}

/// The records of a file by type.
fn typed<'a>(all: &'a [ReadRecord<'a>], kind: u8) -> &'a ReadRecord<'a> {
    all.iter().find(|r| r.kind == kind).unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_flipped_copy_states_no_reversal_and_the_original_does() {
    let dir = tempfile::tempdir().unwrap();
    let b = Bench::begin(dir.path()).await;
    let of = b.item("panel-item");
    let pixels = picture(1);
    let file = png(&pixels);
    let view = ["contact-face", "black-gel", "light-powder"];
    let original = b.add(of, "gel.png", "image/png", &file, &view).await;

    // Nobody measured a scale: one receiver needs it, and reversal cannot be stated without it.
    let asked = to(of, original, "hollin-bureau");
    assert_eq!(refused(&b, &asked).await, ItlRule::DensityUnknown);
    let asked = to(of, original, "old-exchange");
    assert_eq!(refused(&b, &asked).await, ItlRule::ReversalWithoutScale);

    b.scale(of, original, 1000).await;
    let done = try_off(&b, "soren", &to(of, original, "hollin-bureau"))
        .await
        .unwrap();
    let all = check(&done.bytes).unwrap();
    assert_eq!(typed(&all, 9).text(315), Some("L"));
    assert_eq!(typed(&all, 9).text(314), Some("N"));
    assert_eq!(typed(&all, 13).field(999).unwrap().value, file);
    assert!(typed(&all, 13).field(902).is_none());
    assert!(done.statement.contains("9.315 L"), "{}", done.statement);

    let copy = b
        .copy(of, original, Some(1000), vec![Op::Flip, Op::Invert])
        .await;
    // Not said which: the newest copy that reads direct.
    let asked = Asked {
        receiver: Some("hollin-bureau".into()),
        ..Asked::of(of)
    };
    let done = try_off(&b, "eleni", &asked).await.unwrap();
    let all = check(&done.bytes).unwrap();
    let (header, image, features) = (typed(&all, 1), typed(&all, 13), typed(&all, 9));
    assert_eq!(features.text(315), None);
    assert_eq!(features.text(314), None);
    assert_eq!(header.text(2), Some("0502"));
    assert_eq!(header.text(4), Some("LFFS"));
    assert_eq!(image.text(3), Some("4"));
    assert_eq!(image.text(901), Some("22"));
    assert_eq!(image.text(13), Some("18"));
    assert_eq!(image.text(9), Some("1000"));
    assert_eq!(image.text(19), Some("FLATBED"));
    // 200 and 120 pixels at 1000 an inch are 5.08 and 3.048 mm.
    assert_eq!(features.text(300), Some("508\u{1f}305"));
    assert_eq!(features.text(352), Some("WHP"));
    let object = "2A\u{1f}Instrument panel of the launch, dimpled grey plastic";
    assert_eq!(features.text(355), Some(object));
    // The name of the person who handed it off is not ASCII, and the file says so.
    assert_eq!(header.text(15), Some("3\u{1f}UTF-8"));
    assert_eq!(typed(&all, 2).text(31), Some("Ελένη Βαρδάκη"));
    let log = image.field(902).unwrap().subfields().unwrap();
    let said: Vec<&str> = log.iter().map(|o| o[3]).collect();
    assert_eq!(
        said,
        ["left and right exchanged", "light and dark exchanged"]
    );
    assert!(log.iter().all(|o| o.len() == 4 && o[0].len() == 15));
    // The picture is the copy's own file, whose pixels are the original's turned and inverted.
    let data = image.field(999).unwrap().value;
    assert_eq!(Digest(Sha256::digest(data).into()), copy);
    let sent = ::image::load_from_memory(data).unwrap().into_luma8();
    let mut mirrored = ::image::imageops::flip_horizontal(&pixels);
    ::image::imageops::invert(&mut mirrored);
    assert_eq!(sent, mirrored);

    // On the record before it was handed out, with what it states.
    let event = b
        .house
        .store
        .event(done.recorded.seq)
        .await
        .unwrap()
        .unwrap();
    let event = liftledger::app::reader::opened(event).unwrap();
    let Ok(Fact::AfisExported(fact)) = Fact::from_fields(&event.header.kind, &event.fields) else {
        panic!("{}", event.header.kind)
    };
    assert_eq!(fact.digest, Digest(Sha256::digest(&done.bytes).into()));
    assert_eq!((fact.image, fact.copy), (original, Some(copy)));
    assert_eq!(fact.reads, "direct");
    assert_eq!(fact.edition, "2015");
    assert_eq!(header.text(9), Some(fact.control.as_str()));
    let viewer = b.viewer("soren").await;
    let so_far = past(&b.house.reader(&viewer), of).await.unwrap();
    assert_eq!(so_far.len(), 2);
    assert_eq!(so_far[0].digest, done.digest);
    assert!(so_far[0].by.contains("Ελένη"), "{}", so_far[0].by);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn each_rule_of_a_hand_off_refuses_and_records_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let b = Bench::begin(dir.path()).await;
    let of = b.item("panel-item");
    let mark = b.mark("panel");
    let plain = b
        .add(
            of,
            "a.png",
            "image/png",
            &png(&picture(2)),
            &["through-medium", "dark-powder"],
        )
        .await;
    b.scale(of, plain, 1000).await;
    let good = to(of, plain, "hollin-bureau");
    try_off(&b, "milena", &good).await.unwrap();

    let asked = to(of, plain, "nobody");
    assert_eq!(refused(&b, &asked).await, ItlRule::NoReceiver);
    // Two receivers, and none named.
    let asked = Asked {
        receiver: None,
        ..good.clone()
    };
    assert_eq!(refused(&b, &asked).await, ItlRule::NoReceiver);
    let asked = to(of, Digest([9; 32]), "hollin-bureau");
    assert_eq!(refused(&b, &asked).await, ItlRule::NoImage);
    // A pry mark has no ridges.
    let asked = to(b.item("prymark-item"), plain, "hollin-bureau");
    assert_eq!(refused(&b, &asked).await, ItlRule::NotFrictionRidge);
    let asked = Asked {
        methods: Some(vec!["NIN".into()]),
        ..good.clone()
    };
    assert_eq!(refused(&b, &asked).await, ItlRule::UnknownCode);
    let asked = Asked {
        positions: vec![19],
        ..good.clone()
    };
    assert_eq!(refused(&b, &asked).await, ItlRule::Position);
    let asked = Asked {
        context: Some(Digest([8; 32])),
        ..good.clone()
    };
    assert_eq!(refused(&b, &asked).await, ItlRule::NoImage);

    // A JPEG cannot go as it is; its working copy can.
    let mut jpeg = std::io::Cursor::new(Vec::new());
    picture(3)
        .write_to(&mut jpeg, ::image::ImageFormat::Jpeg)
        .unwrap();
    let view = ["through-medium", "dark-powder"];
    let lossy = b
        .add(of, "a.jpg", "image/jpeg", jpeg.get_ref(), &view)
        .await;
    b.scale(of, lossy, 1000).await;
    let asked = to(of, lossy, "hollin-bureau");
    assert_eq!(refused(&b, &asked).await, ItlRule::Lossy);
    let copy = b.copy(of, lossy, Some(1000), vec![]).await;
    try_off(&b, "soren", &to(of, copy, "hollin-bureau"))
        .await
        .unwrap();

    // A PNG whose orientation tag turns it.
    let turned = with_orientation(&png(&picture(4)), 2);
    let tagged = b
        .add(
            of,
            "tagged.png",
            "image/png",
            &turned,
            &["through-medium", "flip"],
        )
        .await;
    b.scale(of, tagged, 1000).await;
    let asked = to(of, tagged, "hollin-bureau");
    assert_eq!(refused(&b, &asked).await, ItlRule::OrientationTag);

    // See-through pixels.
    let clear = ::image::RgbaImage::from_pixel(40, 40, ::image::Rgba([9, 9, 9, 100]));
    let mut file = std::io::Cursor::new(Vec::new());
    clear
        .write_to(&mut file, ::image::ImageFormat::Png)
        .unwrap();
    let clear = b
        .add(of, "clear.png", "image/png", file.get_ref(), &view)
        .await;
    b.scale(of, clear, 1000).await;
    let asked = to(of, clear, "hollin-bureau");
    assert_eq!(refused(&b, &asked).await, ItlRule::Pixels);

    // Ten methods: nine go, chosen by somebody.
    for method in [
        "VIS", "ALS", "SGF", "R6G", "BLP", "MBP", "GRP", "FLP", "LAS",
    ] {
        let develop = DevelopMark {
            mark: b.demo.marks["panel"],
            method: method.into(),
            note: String::new(),
        };
        b.act("runa", Act::DevelopMark(develop)).await.unwrap();
    }
    assert_eq!(refused(&b, &good).await, ItlRule::TooManyMethods);
    let asked = Asked {
        methods: Some(vec!["BLP".into(), "WHP".into()]),
        ..good.clone()
    };
    let done = try_off(&b, "soren", &asked).await.unwrap();
    let all = check(&done.bytes).unwrap();
    assert_eq!(typed(&all, 9).text(352), Some("BLP\u{1e}WHP"));

    // Who may, and of what: a technician may not; a restricted case is for those assigned to it.
    let no = try_off(&b, "runa", &good).await.unwrap_err();
    assert!(
        matches!(no, PaperError::Read(ReadError::Forbidden(_))),
        "{no:?}"
    );
    let closed = Asked::of(b.item("shelf-edge-item"));
    let outsiders = ["soren", "eleni", "milena"];
    let mut kept_out = 0;
    for user_name in outsiders {
        match try_off(&b, user_name, &closed).await {
            Err(PaperError::Read(ReadError::Restricted)) => kept_out += 1,
            Err(PaperError::Itl(_)) => {}
            other => panic!("{other:?}"),
        }
    }
    assert!(kept_out > 0);

    // What stands on the record can break a file, and does not.
    let note = liftledger::custody::amendment::Amend {
        event: noted_at(&b, mark).await,
        field: "object".into(),
        value: "box marked 999: fragile".into(),
        reason: "read again".into(),
    };
    b.act("milena", Act::Amend(note)).await.unwrap();
    let asked = Asked {
        methods: Some(vec!["BLP".into()]),
        ..good
    };
    assert_eq!(refused(&b, &asked).await, ItlRule::TextMarker);
}

async fn noted_at(b: &Bench, mark: Subject) -> u64 {
    let viewer = Viewer::operator();
    let past = b.house.reader(&viewer).history(mark).await.unwrap();
    past[0].event.header.seq
}

/// A PNG with an eXIf chunk that has one tag, orientation (W3C PNG third edition, 11.3.4.5; TIFF 6.0 for what is in it).
fn with_orientation(png: &[u8], value: u8) -> Vec<u8> {
    let mut chunk = b"eXIfMM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0".to_vec();
    chunk.extend([value, 0, 0, 0, 0, 0, 0]);
    let crc = chunk.iter().fold(u32::MAX, |mut crc, byte| {
        crc ^= u32::from(*byte);
        for _ in 0..8 {
            crc = (crc >> 1) ^ (0xedb8_8320 * (crc & 1));
        }
        crc
    });
    let at = 33; // after the signature and IHDR
    let length = (chunk.len() as u32 - 4).to_be_bytes();
    [
        &png[..at],
        &length,
        &chunk,
        &(!crc).to_be_bytes(),
        &png[at..],
    ]
    .concat()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn editions_receivers_and_what_goes_along() {
    let dir = tempfile::tempdir().unwrap();
    let b = Bench::begin(dir.path()).await;
    let of = b.item("hatch-item");
    let file = png(&picture(5));
    let view = ["through-medium", "dark-powder"];
    let original = b.add(of, "tape.png", "image/png", &file, &view).await;

    // Without a density, to somebody who does not need one: no Type-9, and that is said.
    let done = try_off(&b, "soren", &to(of, original, "old-exchange"))
        .await
        .unwrap();
    let all = check(&done.bytes).unwrap();
    assert_eq!(all.iter().map(|r| r.kind).collect::<Vec<_>>(), [1, 2, 13]);
    let image = typed(&all, 13);
    assert_eq!((image.text(8), image.text(9)), (Some("0"), Some("1")));
    assert_eq!(done.left_out.len(), 1);
    // This receiver takes raw pixels, and prefers the edition of 2011, which has a code of its own for lifts.
    assert_eq!(image.text(11), Some("NONE"));
    assert_eq!(image.field(999).unwrap().value, picture(5).as_raw());
    assert_eq!(all[0].text(2), Some("0500"));
    assert_eq!(image.text(3), Some("39"));
    assert_eq!(image.text(901), None);

    // An examiner's word goes along.
    b.scale(of, original, 1200).await;
    let word = AssessValue {
        of,
        digest: original,
        value: Value::Limited,
        reason: "the delta is smudged".into(),
    };
    b.act("soren", Act::AssessValue(word)).await.unwrap();
    let whole = b
        .house
        .reader(&b.viewer("soren").await)
        .item(b.demo.items["hatch-item"])
        .await;
    let context = whole.unwrap().images[0].digest;
    for (edition, version, impression) in [
        (Edition::Y2011, "0500", "7"),
        (Edition::Y2013, "0501", "7"),
        (Edition::Y2015, "0502", "4"),
    ] {
        let asked = Asked {
            edition: Some(edition),
            capture: Some(Capture::Lift),
            positions: vec![0],
            matrix: Some(1),
            context: Some(context),
            ..to(of, original, "hollin-bureau")
        };
        let done = try_off(&b, "soren", &asked).await.unwrap();
        let all = check(&done.bytes).unwrap();
        assert_eq!(
            all.iter().map(|r| r.kind).collect::<Vec<_>>(),
            [1, 2, 13, 9, 21]
        );
        assert_eq!(all[0].text(2), Some(version));
        assert_eq!(typed(&all, 13).text(3), Some(impression));
        assert_eq!(typed(&all, 9).text(356), Some("1"));
        let said = typed(&all, 9).field(353).unwrap().subfields().unwrap();
        assert_eq!(said[0][..3], ["LIMITED", "Højbakke", "Søren"]);
        assert_eq!(said[0][5], "the delta is smudged");
        let kept = b.house.originals.read(context).unwrap();
        assert_eq!(typed(&all, 21).field(999).unwrap().value, kept);
    }
    // 16 bits are rounded to 8, and the processing log says so.
    let deep = ::image::ImageBuffer::<::image::Luma<u16>, _>::from_fn(40, 30, |x, y| {
        ::image::Luma([(x * 1600 + y * 7) as u16])
    });
    let mut file = std::io::Cursor::new(Vec::new());
    deep.write_to(&mut file, ::image::ImageFormat::Png).unwrap();
    let deep_digest = b
        .add(of, "deep.png", "image/png", file.get_ref(), &view)
        .await;
    b.scale(of, deep_digest, 1000).await;
    let done = try_off(&b, "soren", &to(of, deep_digest, "hollin-bureau"))
        .await
        .unwrap();
    let all = check(&done.bytes).unwrap();
    assert!(
        typed(&all, 13)
            .text(902)
            .unwrap()
            .contains("16 bits a sample rounded to 8")
    );
    let data = typed(&all, 13).field(999).unwrap().value;
    let sent = ::image::load_from_memory(data).unwrap().into_luma8();
    for (x, y, p) in sent.enumerate_pixels() {
        let exact = f64::from(deep.get_pixel(x, y)[0]) / 257.0;
        assert!((f64::from(p[0]) - exact).abs() <= 0.5 + 1e-9);
    }
}

#[test]
fn a_file_of_receivers_is_read_strictly_with_the_line() {
    let good = include_str!("../../seed/demo/receivers.toml");
    let all = Receivers::read(FILE, good).unwrap();
    assert_eq!(all.all().len(), 2);
    for (from, to, line, why) in [
        ("density = \"required\"", "density = \"maybe\"", 15, "maybe"),
        ("priority = 4", "priority = 10", 17, "priority"),
        ("images = \"png\"", "images = \"jpeg\"", 16, "jpeg"),
        ("edition = \"2015\"", "edition = \"2025\"", 14, "2025"),
        ("number = 3", "number = 999", 21, "3 to 998"),
        ("number = 4", "number = 3", 25, "twice"),
        ("from = \"offence\"", "from = \"weather\"", 32, "weather"),
        ("from = \"offence\"", "", 30, "either a text or a from"),
        (
            "text = \"LATENT FROM SCENE\"",
            "text = \"999: x\"",
            37,
            "999:",
        ),
        (
            "text = \"LATENT FROM SCENE\"",
            "text = \"a\\u001db\"",
            37,
            "separator",
        ),
        (
            "destination = \"HRLPB0000\"",
            "destination = \"Zürich\"",
            11,
            "ASCII",
        ),
        (
            "transaction = \"LFFS\"",
            "transaction = \"\"",
            13,
            "no text",
        ),
        (
            "id = \"old-exchange\"",
            "id = \"hollin-bureau\"",
            44,
            "two receivers",
        ),
        (
            "id = \"old-exchange\"",
            "id = \"Old Exchange\"",
            45,
            "small letters",
        ),
        ("priority = 4", "colour = 4", 17, "colour"),
        ("most = 40", "most = 4000", 23, "1000"),
    ] {
        assert!(good.contains(from), "{from}");
        let text = good.replacen(from, to, 1);
        let e = Receivers::read(FILE, &text).unwrap_err();
        assert!(e.problem.contains(why), "{from} -> {to}: {e}");
        assert!(e.line.abs_diff(line) <= 1, "{from} -> {to}: {e}");
        assert!(e.to_string().starts_with("receivers.toml, line "), "{e}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_receivers_nothing_goes_and_a_bad_file_stops_the_start() {
    let dir = tempfile::tempdir().unwrap();
    let b = Bench::begin(dir.path()).await;
    let path = dir.path().join(FILE);
    let good = std::fs::read_to_string(&path).unwrap();
    let (item_id, soren) = (b.demo.items["hatch-item"], b.demo.people["soren"].id);
    b.close().await;
    std::fs::remove_file(&path).unwrap();
    let none = liftledger::app::house::House::open(dir.path())
        .await
        .unwrap();
    let viewer = Viewer::operator();
    let of = Asked::of(Subject::Item(item_id));
    let by = By::operator();
    let no = hand_off(&none.reader(&viewer), by, &of).await.unwrap_err();
    assert!(
        matches!(&no, PaperError::Itl(r) if r.rule == ItlRule::NoReceiver),
        "{no}"
    );
    none.close().await;
    // An identifier that is not known yet may be left out; then nothing goes.
    std::fs::write(&path, good.replace("destination = \"HRLPB0000\"\n", "")).unwrap();
    let draft = liftledger::app::house::House::open(dir.path())
        .await
        .unwrap();
    let item = draft.reader(&viewer).item(item_id).await.unwrap();
    let scale = liftledger::custody::image::SetScale {
        of: of.of,
        digest: item.images[0].digest,
        scale: Some(liftledger::imaging::resolution::Scale::Scanner { ppi: 1000 }),
        reason: "measured again".into(),
    };
    let sent = liftledger::app::Sent {
        person: Some(soren),
        signed: liftledger::custody::Signed::Password,
        beside: None,
        source: liftledger::ledger::event::Source::Desk,
        command: liftledger::custody::Command {
            id: liftledger::ids::CommandId::new(),
            claimed_at: None,
            late_reason: None,
            paper_sheet: None,
            act: Act::SetScale(scale),
        },
    };
    draft.recorder.record(sent).await.unwrap();
    let asked = to(of.of, item.images[0].digest, "hollin-bureau");
    let no = hand_off(&draft.reader(&viewer), by, &asked)
        .await
        .unwrap_err();
    assert!(
        matches!(&no, PaperError::Itl(r) if r.rule == ItlRule::AgencyMissing),
        "{no}"
    );
    draft.close().await;
    std::fs::write(&path, "[[receiver]]\nid = 3\n").unwrap();
    let no = liftledger::app::house::House::open(dir.path())
        .await
        .err()
        .unwrap();
    assert!(no.to_string().contains("line 2"), "{no}");
}
