//! Needs of several things together.

use super::{all_facts, needs, plain, rules};
use liftledger::keeping::{
    Facts, KeepNeeds, PlaceFacts, allows_container, allows_place, packaging,
};

#[test]
fn one_thing_joined_is_itself() {
    let rules = rules();
    for m in rules.media() {
        for facts in all_facts() {
            let one = KeepNeeds::derive(rules.keeping(), m, &facts);
            let joined = KeepNeeds::join([&one]);
            assert_eq!(joined.needs, one, "{} {facts:?}", m.id);
            assert!(joined.conflicts.is_empty());
        }
    }
    let none: [&KeepNeeds; 0] = [];
    assert_eq!(KeepNeeds::join(none).needs, KeepNeeds::default());
}

/// For every pair of media: the joined needs allow exactly what both allow, whichever comes first.
#[test]
fn a_pair_allows_what_both_allow() {
    let rules = rules();
    let all: Vec<KeepNeeds> = rules
        .media()
        .iter()
        .map(|m| KeepNeeds::derive(rules.keeping(), m, &plain()))
        .collect();
    let places: Vec<PlaceFacts> = (0..256_u16)
        .map(|n| PlaceFacts {
            climate: Some(
                if n & 1 == 0 {
                    "frozen"
                } else {
                    "room-temperature"
                }
                .into(),
            ),
            freezing: n & 2 != 0,
            damp: n & 4 != 0,
            hot: n & 8 != 0,
            light: n & 16 != 0,
            dusty: n & 32 != 0,
            on_edge: n & 64 != 0,
            stacked: n & 128 != 0,
            biohazard: false,
        })
        .collect();
    let mut together = 0;
    for a in &all {
        for b in &all {
            let joined = KeepNeeds::join([a, b]);
            assert_eq!(joined.needs, KeepNeeds::join([b, a]).needs);
            assert_eq!(joined.conflicts, KeepNeeds::join([b, a]).conflicts);
            for place in &places {
                let both = allows_place(a, place).is_ok() && allows_place(b, place).is_ok();
                assert_eq!(allows_place(&joined.needs, place).is_ok(), both);
            }
            for c in rules.containers() {
                let both = allows_container(&a.packing, &c.id).is_ok()
                    && allows_container(&b.packing, &c.id).is_ok();
                let got = allows_container(&joined.needs.packing, &c.id).is_ok();
                assert_eq!(got, both && joined.conflicts.is_empty());
                together += u32::from(got);
            }
        }
    }
    assert!(together > 0);
}

#[test]
fn lifts_of_a_case_share_an_envelope() {
    // FBI, Science of Fingerprints: lifts are filed in one envelope by case.
    let joined = KeepNeeds::join([
        &needs("lifting-tape", plain()),
        &needs("film-forming-liquid", plain()),
    ]);
    assert!(joined.conflicts.is_empty());
    assert_eq!(
        allows_container(&joined.needs.packing, "envelope-paper"),
        Ok(())
    );
}

#[test]
fn what_is_packed_by_itself_says_so() {
    let joined = KeepNeeds::join([
        &needs("lifting-tape", plain()),
        &needs("silicone-putty", plain()),
    ]);
    assert_eq!(joined.conflicts.len(), 1);
    assert_eq!(joined.conflicts[0].rules, ["silicone-rigid-box"]);
    let reason = allows_container(&joined.needs.packing, "box-rigid-small").unwrap_err();
    assert_eq!(reason.rule, packaging::CONFLICT);
    assert!(reason.next.contains("its own container"), "{reason:?}");
}

#[test]
fn containers_that_cannot_agree_are_reported() {
    let joined = KeepNeeds::join([
        &needs("electrostatic-dust-lift", plain()),
        &needs("dental-stone-cast", plain()),
    ]);
    assert!(
        joined
            .conflicts
            .iter()
            .any(|c| c.rules.contains(&"dust-lift-box".into())
                && c.rules.contains(&"dental-stone-never-plastic".into()))
    );
    assert!(joined.needs.packing.must_one_of.is_empty());
}

#[test]
fn climates_that_cannot_agree_are_reported() {
    let wet = needs(
        "collected-object",
        Facts {
            wet: true,
            biological: true,
            ..Facts::default()
        },
    );
    let mut frozen = needs(
        "collected-object",
        Facts {
            biological: true,
            ..Facts::default()
        },
    );
    for need in &mut frozen.place {
        need.climates.retain(|c| c == "frozen");
    }
    let joined = KeepNeeds::join([&wet, &frozen]);
    assert!(joined.conflicts.iter().any(|c| c.rules
        == [
            "place-biological-dry-climate",
            "place-biological-wet-climate"
        ]));
    // And a class that freezes cannot hold what must not freeze.
    let joined = KeepNeeds::join([&frozen, &needs("gelatin-white", plain())]);
    assert!(
        joined
            .conflicts
            .iter()
            .any(|c| c.rules.contains(&"place-gel-not-frozen".into()))
    );
}

/// A bag around a bag: what is forbidden because it keeps moisture in stays forbidden outside.
#[test]
fn an_outer_package_keeps_what_reaches_through() {
    let rules = rules();
    let stone = needs("dental-stone-cast", plain()).enclosed(rules.keeping(), "bag-paper");
    let reason = allows_container(&stone.packing, "bag-plastic").unwrap_err();
    assert_eq!(reason.rule, "dental-stone-never-plastic");
    assert_eq!(allows_container(&stone.packing, "mailing-box-flat"), Ok(()));
    // A silicone cast in its small rigid box may go into any bag, with a lift beside it.
    let putty = needs("silicone-putty", plain()).enclosed(rules.keeping(), "box-rigid-small");
    let lift = needs("lifting-tape", plain()).enclosed(rules.keeping(), "card-sleeve");
    let joined = KeepNeeds::join([&putty, &lift]);
    assert!(joined.conflicts.is_empty());
    assert_eq!(
        allows_container(&joined.needs.packing, "bag-plastic"),
        Ok(())
    );
    // What it asks of a place goes with it.
    assert!(
        allows_place(
            &joined.needs,
            &PlaceFacts {
                stacked: true,
                ..PlaceFacts::default()
            }
        )
        .is_err()
    );
}

#[test]
fn needs_travel_as_json() {
    let rules = rules();
    for m in rules.media() {
        for facts in all_facts() {
            let n = KeepNeeds::derive(rules.keeping(), m, &facts);
            let text = serde_json::to_string(&n).unwrap();
            assert_eq!(serde_json::from_str::<KeepNeeds>(&text).unwrap(), n);
            assert!(text.len() < 32_768, "{} is {} bytes", m.id, text.len());
        }
    }
    assert!(serde_json::from_str::<PlaceFacts>(r#"{"climate":null,"sunny":true}"#).is_err());
    assert_eq!(
        serde_json::from_str::<PlaceFacts>("{}").unwrap(),
        PlaceFacts::default()
    );
}
