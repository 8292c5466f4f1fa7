//! A case with planted words, orders to expunge it, and the search for those words in raw files.
#![allow(dead_code)]

use std::fs;
use std::path::Path;

use liftledger::app::Viewer;
use liftledger::app::audit::{Audit, audit};
use liftledger::app::house::House;
use liftledger::custody::amendment::Amend;
use liftledger::custody::disposition::{AuthoriseDisposition, Dispose, Method, WitnessDisposition};
use liftledger::custody::expungement::{CarryOutExpungement, OrderExpungement};
use liftledger::custody::{Act, case, hand_over, image, mark};
use liftledger::ids::{CaseId, Digest, ItemId, MarkId, Piece, Subject};

use super::boatyard::{Boatyard, act, noted, recovery};

/// Words that stand in no other text.
pub const PLANTED: &str = "quillwort";

pub fn order(of: Subject, events: Vec<u64>) -> Act {
    Act::OrderExpungement(OrderExpungement {
        of,
        events,
        court: "Calder County Court".into(),
        order: "26-EX-14".into(),
        dated: "2026-03-02".parse().unwrap(),
    })
}

pub fn carry_out(case: CaseId, number: u32) -> Act {
    Act::CarryOutExpungement(CarryOutExpungement { case, number })
}

/// A picture that no other seed gives.
pub fn shot(seed: u8) -> Vec<u8> {
    let wide = 60 + u32::from(seed);
    let drawn = ::image::RgbImage::from_fn(wide, 40, |x, y| ::image::Rgb([seed, x as u8, y as u8]));
    let mut out = std::io::Cursor::new(Vec::new());
    drawn.write_to(&mut out, ::image::ImageFormat::Png).unwrap();
    out.into_inner()
}

pub fn picture(of: Subject, house: &House, seed: u8, name: &str) -> (Digest, Act) {
    let bytes = shot(seed);
    let kept = house.originals.keep(&bytes).unwrap();
    let add = image::AddImage {
        of,
        digest: kept.digest,
        name: name.into(),
        media_type: "image/png".into(),
        bytes: kept.bytes,
        width: Some(60 + u32::from(seed)),
        height: Some(40),
        view: Vec::new(),
        says: liftledger::imaging::metadata::FileSays::default(),
    };
    (kept.digest, Act::AddImage(add))
}

pub struct Second {
    pub case: CaseId,
    pub mark: MarkId,
    pub item: ItemId,
    pub digest: Digest,
}

/// A second case, every text of which has the planted word: a mark amended and photographed, an item that is disposed of.
pub async fn second(yard: &Boatyard) -> Second {
    let house = &yard.house;
    let (tech, custodian) = (Some(yard.tech), Some(yard.custodian));
    let say = |what: &str| format!("{what} {PLANTED}");
    let open = case::OpenCase {
        number: "HC-26-0200".into(),
        title: say("the title"),
        offence: say("the offence"),
    };
    let created = act(house, tech, None, Act::OpenCase(open)).await.unwrap();
    let Some(Subject::Case(case)) = created.created else {
        panic!("no case")
    };
    let scene = case::OpenScene {
        case,
        name: say("a scene"),
        address: say("an address"),
    };
    act(house, tech, None, Act::OpenScene(scene)).await.unwrap();
    let viewer = Viewer::operator();
    let scene = house.reader(&viewer).case(case).await.unwrap().scenes[0].id;
    let mut note = noted(case, scene, mark::MarkKind::FrictionRidge, 0);
    note.object = say("an object");
    note.exact_place = say("a place");
    note.note = say("a note");
    let made = act(house, tech, None, Act::NoteMark(note)).await.unwrap();
    let Some(Subject::Mark(mark)) = made.created else {
        panic!("no mark")
    };
    let amend = Amend {
        event: made.seq,
        field: "object".into(),
        value: say("another object"),
        reason: say("a reason"),
    };
    act(house, tech, None, Act::Amend(amend)).await.unwrap();
    let (digest, add) = picture(Subject::Mark(mark), house, 77, &say("a name"));
    act(house, tech, None, add).await.unwrap();
    let now = chrono::Utc::now().fixed_offset();
    let mut recover = recovery(mark, "thick-pliable-tape", now);
    recover.description = say("a description");
    let made = act(house, tech, None, Act::Recover(recover)).await.unwrap();
    let Some(Subject::Item(item)) = made.created else {
        panic!("no item")
    };
    let piece = Piece::Item(item);
    let release = hand_over::Release {
        piece,
        to: yard.custodian,
        purpose: say("a purpose"),
        authority: String::new(),
        due_at: None,
        unsealed_reason: Some(say("a reason")),
    };
    act(house, tech, None, Act::Release(release)).await.unwrap();
    let receive = hand_over::Receive {
        piece,
        seal_seen: String::new(),
        condition: hand_over::Condition::Intact,
        note: say("a note"),
    };
    act(house, custodian, None, Act::Receive(receive))
        .await
        .unwrap();
    Second {
        case,
        mark,
        item,
        digest,
    }
}

pub async fn dispose(yard: &Boatyard, item: ItemId) {
    let house = &yard.house;
    let piece = Piece::Item(item);
    let authorise = AuthoriseDisposition {
        piece,
        method: Method::Destroy,
        authority: format!("release {PLANTED}"),
        reason: format!("closed {PLANTED}"),
        early_reason: Some(format!("ordered {PLANTED}")),
    };
    let authorise = Act::AuthoriseDisposition(authorise);
    act(house, Some(yard.supervisor), None, authorise)
        .await
        .unwrap();
    let dispose = Dispose {
        piece,
        witness: yard.tech,
        how: format!("burned {PLANTED}"),
        party: None,
        seal_seen: String::new(),
        condition: hand_over::Condition::Intact,
        note: format!("a note {PLANTED}"),
    };
    act(house, Some(yard.custodian), None, Act::Dispose(dispose))
        .await
        .unwrap();
    let witness = Act::WitnessDisposition(WitnessDisposition { piece });
    act(house, Some(yard.tech), None, witness).await.unwrap();
}

pub async fn looked(house: &House) -> Audit {
    let mut found = audit(house.store.as_ref(), &house.verifying, &[], |_| {})
        .await
        .unwrap();
    tokio::task::block_in_place(|| {
        found.check_images(&house.originals);
        found.check_copies(&house.originals);
    });
    found
}

pub async fn clean(house: &House) -> u64 {
    let found = looked(house).await;
    assert!(
        found.is_clean(),
        "{:?} {:?}",
        found.ledger.findings,
        found.models
    );
    found.ledger.expunged
}

/// Every file below a folder in which the word stands, in whatever case.
pub fn holding(folder: &Path, word: &str) -> Vec<String> {
    let mut out = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            out.extend(holding(&path, word));
            continue;
        }
        let bytes = fs::read(&path).unwrap();
        if bytes.windows(word.len()).any(|w| w == word.as_bytes()) {
            out.push(path.display().to_string());
        }
    }
    out
}
