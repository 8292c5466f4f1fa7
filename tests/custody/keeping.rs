//! The keep rules in custody: what was asked for at the recovery holds later, things in things are judged by what
//! protects them, and places are judged by all that is known of them.

use liftledger::custody::rules::Trade;
use liftledger::custody::state::{Item, Thing};
use liftledger::custody::{Act, package::PutIn};
use liftledger::ids::{ItemId, Piece, PlaceId};
use liftledger::keeping::KeepNeeds;

use liftledger::app::replay;
use liftledger::ledger::event::Event;

use super::yard::{Yard, pack, place, recover, store};

fn put_in(package: liftledger::ids::PackageId, piece: Piece) -> Act {
    Act::PutIn(PutIn { package, piece })
}

/// NISTIR 7928 and Massachusetts 515 CMR 7.06, as the trade rules carry them: wet biological material is kept cold, in
/// a marked place.
#[test]
fn wet_biological_material_is_kept_in_a_marked_refrigerator_without_an_override() {
    let mut y = Yard::new();
    let mut asked = recover(y.things.mark, "collected-object", y.now);
    asked.wet = true;
    asked.biological = true;
    let item = ItemId(y.act(y.people.tech, Act::Recover(asked)).unwrap());
    let keeper = y.people.custodian;
    y.give(Piece::Item(item), keeper);
    let cold = PlaceId(
        y.act(
            keeper,
            Act::AddPlace(place("Refrigerator 3", "refrigerated")),
        )
        .unwrap(),
    );
    let warm = y.things.window;
    let fridge = y.things.marked_fridge;
    let refused =
        |y: &mut Yard, at: PlaceId| match y.act(keeper, Act::Store(store(Piece::Item(item), at))) {
            Err(liftledger::app::StageError::Refused(r)) => r,
            other => panic!("should be refused: {other:?}"),
        };
    let r = refused(&mut y, warm);
    assert_eq!(r.code, "keep-rule");
    // Two rules, two next steps, and who may decide otherwise.
    assert!(
        r.sentence.contains("place-biological-wet-climate")
            && r.sentence.contains("place-biological-wet-marked"),
        "{r}"
    );
    assert!(
        r.next
            .contains("one of these climate classes: refrigerated")
            && r.next.contains("marked for biological hazards")
            && r.next
                .ends_with("Or have a supervisor answer for it with a reason."),
        "{r}"
    );
    let r = refused(&mut y, cold);
    assert!(
        r.sentence.contains("place-biological-wet-marked") && !r.sentence.contains("wet-climate"),
        "{r}"
    );
    y.act(keeper, Act::Store(store(Piece::Item(item), fridge)))
        .unwrap();
    let event = y.events.last().unwrap();
    assert!(!event.fields.contains_key("overridden"));
}

#[test]
fn each_fact_of_a_place_is_asked_about() {
    let mut y = Yard::new();
    let gel = y.recovered(y.things.mark, "gelatin-black");
    let dust = y.recovered(y.things.mark, "electrostatic-dust-lift");
    let keeper = y.people.custodian;
    let mut shelf = |name: &str, change: &dyn Fn(&mut liftledger::custody::place::AddPlace)| {
        let mut add = place(name, "room-temperature");
        change(&mut add);
        PlaceId(y.act(keeper, Act::AddPlace(add)).unwrap())
    };
    let rows = [
        (gel, shelf("damp", &|p| p.damp = true), "place-dry"),
        (gel, shelf("hot", &|p| p.hot = true), "place-gel-cool"),
        (gel, shelf("lit", &|p| p.lit = true), "place-gel-dark"),
        (gel, shelf("edge", &|p| p.on_edge = true), "place-gel-flat"),
        (
            gel,
            shelf("pile", &|p| p.stacked = true),
            "place-gel-no-load",
        ),
        (
            dust,
            shelf("dust", &|p| p.dusty = true),
            "place-dust-lift-clean",
        ),
        (
            gel,
            shelf("ice", &|p| p.climate = "frozen".into()),
            "place-gel-not-frozen",
        ),
    ];
    let state = &y.stage.state;
    for (item, place, rule) in rows {
        let why = y
            .rules
            .place(
                &Thing::Item(&state.items[&item]),
                &state.places[&place].added,
            )
            .unwrap_err();
        let rules: Vec<&str> = why.iter().map(|r| r.rule.as_str()).collect();
        assert_eq!(rules, [rule]);
        assert!(why[0].next.starts_with("Choose a place"), "{why:?}");
    }
    let unknown = place("Shelf 9", "lukewarm");
    assert_eq!(y.refused(keeper, Act::AddPlace(unknown)), "bad-value");
}

/// A box around a proper package: what the inner container was asked for is met, and only what reaches through it counts.
#[test]
fn an_inner_package_protects_what_is_in_it() {
    let mut y = Yard::new();
    let (tech, mark, case) = (y.people.tech, y.things.mark, y.things.case);
    let casts = [
        y.recovered(mark, "silicone-putty"),
        y.recovered(mark, "silicone-putty"),
    ];
    // Common practice, no source: a silicone cast is packed by itself, in a rigid box.
    let loose = [Piece::Item(casts[0]), Piece::Item(casts[1])];
    assert_eq!(
        y.refused(tech, pack(case, "box-rigid-medium", &loose)),
        "container-forbidden"
    );
    let boxes = casts.map(|c| Piece::Package(y.packed("box-rigid-small", &[Piece::Item(c)])));
    // Two boxes go into one bag of paper, which would not do for a bare cast.
    let bag = y.packed("bag-paper", &boxes);
    // A third cast does not go in beside them without a box of its own, whether packed at once or put in later.
    let third = y.recovered(mark, "silicone-putty");
    assert_eq!(
        y.refused(tech, put_in(bag, Piece::Item(third))),
        "container-forbidden"
    );
    // Nor does a second cast go into the first one's box.
    let Piece::Package(full) = boxes[0] else {
        unreachable!()
    };
    let fourth = y.recovered(mark, "silicone-putty");
    let into_full = match y.act(tech, put_in(full, Piece::Item(fourth))) {
        Err(liftledger::app::StageError::Refused(r)) => r,
        other => panic!("{other:?}"),
    };
    assert_eq!(into_full.code, "container-forbidden");
    assert!(into_full.next.contains("its own container"), "{into_full}");
    // Oregon State Police, Physical Evidence Manual: dental stone goes on drying, so no plastic around its bag either.
    let stone = y.recovered(mark, "dental-stone-cast");
    let bagged = Piece::Package(y.packed("bag-paper", &[Piece::Item(stone)]));
    let r = match y.act(tech, pack(case, "bag-plastic", &[bagged])) {
        Err(liftledger::app::StageError::Refused(r)) => r,
        other => panic!("{other:?}"),
    };
    assert!(r.sentence.contains("dental-stone-never-plastic"), "{r}");
    y.act(tech, pack(case, "box-cardboard", &[bagged])).unwrap();
}

/// Massachusetts 515 CMR 7.06: glass is never put into a freezer, whatever is in it.
#[test]
fn a_container_has_needs_of_its_own() {
    let y = Yard::new();
    let mut freezer = y.stage.state.places[&y.things.shelf].added.clone();
    freezer.climate = "frozen".into();
    let thing = |container| Thing::Package {
        container,
        inner_mm: None,
        contents: vec![],
    };
    let why = y.rules.place(&thing("jar-glass"), &freezer).unwrap_err();
    assert_eq!(why[0].rule, "place-glass-not-frozen");
    assert!(y.rules.place(&thing("bag-paper"), &freezer).is_ok());
}

#[test]
fn size_and_surface_are_asked_about() {
    let mut y = Yard::new();
    let (tech, mark, case) = (y.people.tech, y.things.mark, y.things.case);
    // FBI handbook: the thing from glass (substrate 2B, nonporous) goes into a rigid box of its own.
    let mut asked = recover(mark, "collected-object", y.now);
    asked.size_mm = Some([300, 90, 60]);
    let glass = ItemId(y.act(tech, Act::Recover(asked.clone())).unwrap());
    let needs = y.stage.state.items[&glass].recovered.needs.clone().unwrap();
    let rules: Vec<&str> = needs
        .packing
        .reasons
        .iter()
        .map(|r| r.rule.as_str())
        .collect();
    assert!(rules.contains(&"nonporous-item") && !rules.contains(&"paper-item"));
    assert_eq!(
        y.refused(tech, pack(case, "bag-paper", &[Piece::Item(glass)])),
        "container-forbidden"
    );
    let small = match y.act(tech, pack(case, "box-rigid-small", &[Piece::Item(glass)])) {
        Err(liftledger::app::StageError::Refused(r)) => r,
        other => panic!("{other:?}"),
    };
    assert!(small.sentence.contains("container-too-small"), "{small}");
    assert_eq!(small.code, "container-too-small");
    assert!(small.next.contains("large rigid box"), "{small}");
    y.act(tech, pack(case, "box-rigid-large", &[Piece::Item(glass)]))
        .unwrap();
    for wrong in [[0, 1, 1], [1, 1, 100_001]] {
        asked.size_mm = Some(wrong);
        assert_eq!(y.refused(tech, Act::Recover(asked.clone())), "bad-value");
    }
}

/// What the rules asked for at the recovery is on the record, and rules that come later do not change it.
#[test]
fn later_rules_do_not_change_what_was_asked_for() {
    let y = Yard::new();
    let cast = &y.stage.state.items[&y.things.cast];
    let recorded = cast.recovered.needs.clone().unwrap();
    let medium = y.rules.medium("silicone-putty").unwrap();
    let facts = liftledger::keeping::Facts {
        ridge: true,
        surface: y.rules.substrate("2B").map(|s| s.class),
        ..Default::default()
    };
    assert_eq!(
        *recorded,
        KeepNeeds::derive(y.rules.keeping(), medium, &facts)
    );
    // Other rules on the record than those in force: the record decides.
    let allowed =
        |item: &Item| Trade::container(&y.rules, &[Thing::Item(item)], "bag-plastic", None).is_ok();
    let mut then = cast.clone();
    then.recovered.needs = Some(Box::default());
    assert!(allowed(&then) && !allowed(cast));
    // A record without needs is judged by the rules in force.
    let mut without = cast.clone();
    without.recovered.needs = None;
    assert!(!allowed(&without));
    // The events carry them, and what they carry is what they give back.
    let recovered = |e: &&Event| e.header.kind == "item.recovered";
    for event in y.events.iter().filter(recovered) {
        assert!(event.fields.contains_key("needs"));
    }
    let (replayed, stuck) = replay(&y.events);
    assert!(stuck.is_empty(), "{stuck:?}");
    assert_eq!(replayed.items, y.stage.state.items);
}

/// Every medium with every fact, and a thing that no container holds: what is asked for goes on the record and comes
/// back from it.
#[test]
fn the_ledger_takes_the_needs_of_everything_that_can_be_recovered() {
    let mut y = Yard::new();
    let (tech, mark) = (y.people.tech, y.things.mark);
    let media: Vec<String> = y.rules.media().iter().map(|m| m.id.clone()).collect();
    for medium in media {
        let mut asked = recover(mark, &medium, y.now);
        asked.wet = true;
        asked.biological = true;
        asked.fragile = true;
        asked.sharp = true;
        asked.size_mm = Some([9000, 9000, 9000]);
        let item = ItemId(y.act(tech, Act::Recover(asked)).unwrap());
        let (replayed, _) = replay(&y.events);
        let recovered = &y.stage.state.items[&item].recovered;
        assert!(recovered.needs.is_some());
        assert_eq!(&replayed.items[&item].recovered, recovered, "{medium}");
    }
    let conflicts = y.stage.state.items.values();
    let conflicts = conflicts.filter_map(|i| i.recovered.needs.as_ref());
    assert!(conflicts.clone().any(|n| !n.packing.conflicts.is_empty()));
}
