//! Packing by size, by drying and by stock: what is refused, what is said, and what goes on the record.

use chrono::Duration;
use liftledger::app::StageError;
use liftledger::custody::drying::NoteDry;
use liftledger::custody::package::{PutIn, TakeOut};
use liftledger::custody::stock::{FromStock, MAX_KINDS, StockSet, StockTake};
use liftledger::custody::{Act, Refusal};
use liftledger::ids::{ItemId, PackageId, Piece};
use liftledger::keeping::StockLine;

use super::yard::{Yard, add_image, command, pack, recover, seal};

fn refusal(y: &mut Yard, act: Act) -> Refusal {
    match y.act(y.people.tech, act) {
        Err(StageError::Refused(r)) => r,
        other => panic!("should be refused: {other:?}"),
    }
}

/// From the stock of the shelf.
fn from_stock(y: &Yard, container: &str, kind: &str, contents: &[Piece]) -> Act {
    let mut act = pack(y.things.case, container, contents);
    if let Act::Pack(x) = &mut act {
        x.stock = Some(FromStock {
            place: y.things.shelf,
            kind: kind.into(),
        });
    }
    act
}

fn left(y: &Yard, kind: &str) -> Option<u32> {
    let stock: &[StockLine] = &y.stage.state.places[&y.things.shelf].stock;
    stock.iter().find(|l| l.kind == kind).map(|l| l.count)
}

fn last_warnings(y: &Yard) -> String {
    let fields = &y.events.last().unwrap().fields;
    fields
        .get("warnings")
        .map_or_else(String::new, ToString::to_string)
}

#[test]
fn a_box_from_stock_is_one_less_and_decides_by_its_own_inside() {
    let mut y = Yard::new();
    let cast = Piece::Item(y.things.measured);
    let tech = y.people.tech;
    // What the list takes a small rigid box to be would do; this one is smaller.
    y.count("tiny", "box-rigid-small", [93, 40, 20], 3);
    let act = from_stock(&y, "box-rigid-small", "tiny", &[cast]);
    let why = refusal(&mut y, act);
    assert_eq!(why.code, "container-too-small");
    // 90 and 2 on both sides is 94, which is 1 more than there is.
    assert!(why.sentence.contains("1 mm too little"), "{why}");
    assert_eq!(left(&y, "tiny"), Some(3));
    // One more millimetre, and it goes in.
    y.count("tiny", "box-rigid-small", [94, 40, 20], 1);
    let act = from_stock(&y, "box-rigid-small", " tiny ", &[cast]);
    let package = PackageId(y.act(tech, act).unwrap());
    assert_eq!(left(&y, "tiny"), Some(0));
    let made = &y.stage.state.packages[&package];
    assert_eq!(made.inner_mm, Some([94, 40, 20]));
    let touched = &y.events.last().unwrap().header.touches;
    let shelf = y.things.shelf;
    assert!(
        touched
            .iter()
            .any(|t| t.subject == liftledger::ids::Subject::Place(shelf))
    );
    // None is left, and the line still says so.
    let lift = Piece::Item(y.things.lift);
    let act = from_stock(&y, "box-rigid-small", "tiny", &[lift]);
    assert_eq!(refusal(&mut y, act).code, "not-in-stock");
    // Of another container than it is, or of an unknown kind.
    let act = from_stock(&y, "box-cardboard", "B2", &[lift]);
    assert_eq!(refusal(&mut y, act).code, "bad-value");
    let act = from_stock(&y, "box-rigid-small", "B7", &[lift]);
    assert_eq!(refusal(&mut y, act).code, "bad-value");
    assert_eq!(left(&y, "B2"), Some(5));
    // What is put in later is measured against the same inside.
    let take = TakeOut {
        package,
        piece: cast,
        reason: "to look at it".into(),
    };
    y.act(tech, Act::TakeOut(take)).unwrap();
    let mut long = recover(y.things.mark, "silicone-putty", y.now);
    long.size_mm = Some([91, 30, 12]);
    let long = ItemId(y.act(tech, Act::Recover(long)).unwrap());
    let put = Act::PutIn(PutIn {
        package,
        piece: Piece::Item(long),
    });
    assert_eq!(refusal(&mut y, put).code, "container-too-small");
}

#[test]
fn a_larger_box_than_the_list_takes_it_to_be_is_allowed() {
    let mut y = Yard::new();
    let (tech, mark) = (y.people.tech, y.things.mark);
    let mut long = recover(mark, "silicone-putty", y.now);
    long.size_mm = Some([600, 30, 12]);
    let long = Piece::Item(ItemId(y.act(tech, Act::Recover(long)).unwrap()));
    // No rigid box of the list takes 600 mm: a conflict, until a box of that length is measured or in stock.
    let plain = pack(y.things.case, "box-rigid-large", &[long]);
    assert_eq!(refusal(&mut y, plain).code, "container-too-small");
    let mut measured = pack(y.things.case, "box-rigid-large", &[long]);
    if let Act::Pack(x) = &mut measured {
        x.inner_mm = Some([16, 34, 604]);
    }
    // A wrong kind is wrong at any size.
    let mut bag = measured.clone();
    if let Act::Pack(x) = &mut bag {
        x.container = "bag-paper".into();
    }
    assert_eq!(refusal(&mut y, bag).code, "container-forbidden");
    y.act(tech, measured).unwrap();
}

#[test]
fn the_stock_is_bounded_and_counted() {
    let mut y = Yard::new();
    let keeper = y.people.custodian;
    let set = |place, kind: &str, inner_mm, count| {
        Act::StockSet(StockSet {
            place,
            kind: kind.into(),
            container: "box-cardboard".into(),
            inner_mm,
            count,
        })
    };
    let shelf = y.things.shelf;
    for (kind, inner, count) in [
        ("", [10, 10, 10], 1),
        ("K", [0, 10, 10], 1),
        ("K", [10, 10, 100_001], 1),
        ("K", [10, 10, 10], 100_001),
    ] {
        let code = y.refused(keeper, set(shelf, kind, inner, count));
        assert!(code == "bad-value" || code == "bad-text", "{code}");
    }
    // None of a kind takes it off the list.
    y.act(keeper, set(shelf, "B2", [10, 10, 10], 0)).unwrap();
    assert_eq!(left(&y, "B2"), None);
    let there = y.stage.state.places[&shelf].stock.len();
    for n in there..MAX_KINDS {
        y.act(keeper, set(shelf, &format!("K{n}"), [10, 10, 10], 1))
            .unwrap();
    }
    assert_eq!(
        y.refused(keeper, set(shelf, "one more", [10, 10, 10], 1)),
        "bad-value"
    );
    // Counting a kind again is always possible.
    y.act(keeper, set(shelf, "B1", [60, 40, 20], 4)).unwrap();
    assert_eq!(left(&y, "B1"), Some(4));
    let take = |count| {
        Act::StockTake(StockTake {
            place: shelf,
            kind: "B1".into(),
            count,
            purpose: "for the van".into(),
        })
    };
    assert_eq!(y.refused(keeper, take(0)), "bad-value");
    assert_eq!(y.refused(keeper, take(5)), "not-in-stock");
    y.act(keeper, take(4)).unwrap();
    assert_eq!(left(&y, "B1"), Some(0));
}

/// Oregon State Police manual: a stone cast dries another 48 hours; a paper bag or a cardboard box meanwhile.
#[test]
fn a_stone_cast_dries_before_it_is_closed_up() {
    let mut y = Yard::new();
    let (tech, case) = (y.people.tech, y.things.case);
    let stone = Piece::Item(y.things.stone);
    let rigid = pack(case, "box-rigid-medium", &[stone]);
    let why = refusal(&mut y, rigid.clone());
    assert_eq!(why.code, "not-dry-yet");
    assert!(
        why.sentence.contains("dental-stone-drying") && why.sentence.contains("48 hours"),
        "{why}"
    );
    assert!(why.next.contains("paper bag, cardboard box"), "{why}");
    // Never plastic, whatever the time.
    let plastic = pack(case, "bag-plastic", &[stone]);
    assert_eq!(refusal(&mut y, plastic.clone()).code, "container-forbidden");
    // In a paper bag at once; the bag does not go into a rigid box before the time either.
    let bag = PackageId(y.act(tech, pack(case, "bag-paper", &[stone])).unwrap());
    let bag = Piece::Package(bag);
    let outer = pack(case, "box-rigid-large", &[bag]);
    assert_eq!(refusal(&mut y, outer.clone()).code, "not-dry-yet");
    y.now += Duration::hours(48);
    let outer_plastic = pack(case, "bag-plastic", &[bag]);
    assert_eq!(refusal(&mut y, outer_plastic).code, "container-forbidden");
    y.act(tech, outer).unwrap();
}

/// The claimed time of packing counts: what was packed too early was packed too early, whenever it is entered.
#[test]
fn the_claimed_time_decides() {
    let mut y = Yard::new();
    let (tech, case) = (y.people.tech, y.things.case);
    let stone = Piece::Item(y.things.stone);
    let recovered = y.now;
    y.now += Duration::hours(60);
    let mut late = command(pack(case, "box-rigid-medium", &[stone]));
    late.late_reason = Some("no network".into());
    late.claimed_at = Some((recovered + Duration::hours(40)).fixed_offset());
    match y.send(tech, &late) {
        Err(StageError::Refused(r)) => assert_eq!(r.code, "not-dry-yet"),
        other => panic!("{other:?}"),
    }
    let mut late = command(pack(case, "box-rigid-medium", &[stone]));
    late.late_reason = Some("no network".into());
    late.claimed_at = Some((recovered + Duration::hours(50)).fixed_offset());
    y.send(tech, &late).unwrap();
}

/// Massachusetts 515 CMR 7.06: wet things breathe; dried, they may go into what their dry rules allow.
#[test]
fn a_wet_thing_is_dried_on_the_record() {
    let mut y = Yard::new();
    let (tech, case) = (y.people.tech, y.things.case);
    // A thing of the nonporous surface in the yard: its dry rules ask for a rigid container.
    let wet = y.things.wet;
    let piece = Piece::Item(wet);
    let tin = pack(case, "tin-metal", &[piece]);
    let why = refusal(&mut y, tin.clone());
    assert_eq!(why.code, "container-forbidden");
    assert!(why.sentence.contains("wet-breathes"), "{why}");
    assert!(why.next.contains("dry it first"), "{why}");
    let dry = |item, how: &str| {
        Act::NoteDry(NoteDry {
            item,
            how: how.into(),
        })
    };
    assert_eq!(refusal(&mut y, dry(wet, " ")).code, "bad-text");
    let lift = y.things.lift;
    assert_eq!(refusal(&mut y, dry(lift, "x")).code, "bad-value");
    // In a sealed package nobody can feel it.
    let paper = PackageId(y.act(tech, pack(case, "box-cardboard", &[piece])).unwrap());
    y.act(tech, seal(paper, "8001")).unwrap();
    assert_eq!(refusal(&mut y, dry(wet, "in its box")).code, "sealed");
    let mut y = Yard::new();
    let wet = y.things.wet;
    let piece = Piece::Item(wet);
    // Not before it was recovered.
    let mut early = command(dry(wet, "on a rack"));
    early.claimed_at = Some((y.now - Duration::days(9)).fixed_offset());
    early.late_reason = Some("x".into());
    match y.send(tech_of(&y), &early) {
        Err(StageError::Refused(r)) => assert_eq!(r.code, "bad-value"),
        other => panic!("{other:?}"),
    }
    // Since when it is dry may lie before now, and needs no time in order with hand-overs.
    let mut since = command(dry(wet, "on a rack, 20 °C"));
    since.claimed_at = Some((y.now - Duration::hours(3)).fixed_offset());
    y.send(tech_of(&y), &since).unwrap();
    let item = &y.stage.state.items[&wet];
    assert!(!item.is_wet() && item.recovered.wet);
    let labels: Vec<&str> = item
        .needs()
        .unwrap()
        .packing
        .labels
        .iter()
        .map(|l| l.text.as_str())
        .collect();
    assert!(!labels.contains(&"WET") && labels.contains(&"DO NOT OPEN: LATENT PRINTS"));
    assert_eq!(
        refusal(&mut y, dry(wet, "again")).code,
        "bad-value",
        "once is enough"
    );
    let act = pack(y.things.case, "tin-metal", &[piece]);
    y.act(tech_of(&y), act).unwrap();
}

fn tech_of(y: &Yard) -> liftledger::ids::PersonId {
    y.people.tech
}

/// A lift that fades and is packed without its photograph is packed all the same, and the record says so.
#[test]
fn packed_without_its_photograph_is_on_the_record() {
    let mut y = Yard::new();
    let (tech, mark, case) = (y.people.tech, y.things.mark, y.things.case);
    let dust = y.recovered(mark, "electrostatic-dust-lift");
    let gel = y.recovered(mark, "gelatin-black");
    y.act(
        tech,
        Act::AddImage(add_image(liftledger::ids::Subject::Item(gel), 7)),
    )
    .unwrap();
    y.act(tech, pack(case, "mailing-box-flat", &[Piece::Item(gel)]))
        .unwrap();
    assert_eq!(last_warnings(&y), "");
    let act = pack(case, "mailing-box-flat", &[Piece::Item(dust)]);
    let package = PackageId(y.act(tech, act).unwrap());
    let said = last_warnings(&y);
    assert!(said.contains("dust-lift-photograph"), "{said}");
    // Put in later, it is said as well.
    let take = TakeOut {
        package,
        piece: Piece::Item(dust),
        reason: "to photograph it".into(),
    };
    y.act(tech, Act::TakeOut(take)).unwrap();
    let put = PutIn {
        package,
        piece: Piece::Item(dust),
    };
    y.act(tech, Act::PutIn(put)).unwrap();
    assert!(last_warnings(&y).contains("dust-lift-photograph"));
}
