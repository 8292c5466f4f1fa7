//! Places against needs.

use super::{all_facts, needs, plain, rules};
use liftledger::{
    keeping::{Climate, Facts, KeepNeeds, PlaceFacts, allows_place},
    lifting::Form,
};

fn refused(needs: &KeepNeeds, place: &PlaceFacts) -> Vec<String> {
    match allows_place(needs, place) {
        Ok(()) => vec![],
        Err(reasons) => {
            for r in &reasons {
                assert!(
                    !r.source.is_empty()
                        && r.next.starts_with("Choose a place")
                        && r.sentence.ends_with('.'),
                    "{r:?}"
                );
            }
            reasons.into_iter().map(|r| r.rule).collect()
        }
    }
}

fn shelf() -> PlaceFacts {
    PlaceFacts {
        climate: Some("room-temperature".into()),
        ..PlaceFacts::default()
    }
}

fn class(climate: &str) -> PlaceFacts {
    PlaceFacts {
        climate: Some(climate.into()),
        ..PlaceFacts::default()
    }
}

#[test]
fn an_ordinary_shelf_takes_what_is_not_biological() {
    let rules = rules();
    for m in rules.media() {
        let n = KeepNeeds::derive(rules.keeping(), m, &plain());
        assert_eq!(allows_place(&n, &shelf()), Ok(()), "{}", m.id);
        // Damp is never right for anything that can be held.
        let damp = PlaceFacts {
            damp: true,
            ..shelf()
        };
        assert_eq!(
            allows_place(&n, &damp).is_ok(),
            m.form == Form::Image,
            "{}",
            m.id
        );
    }
}

#[test]
fn sourced_rows() {
    let bio = Facts {
        biological: true,
        ..Facts::default()
    };
    let wet_bio = Facts {
        biological: true,
        wet: true,
        ..Facts::default()
    };
    let hot = PlaceFacts {
        hot: true,
        ..shelf()
    };
    let lit = PlaceFacts {
        light: true,
        ..shelf()
    };
    let dusty = PlaceFacts {
        dusty: true,
        ..shelf()
    };
    let edge = PlaceFacts {
        on_edge: true,
        ..shelf()
    };
    let stacked = PlaceFacts {
        stacked: true,
        ..shelf()
    };
    let freezing = PlaceFacts {
        freezing: true,
        ..shelf()
    };
    let marked = PlaceFacts {
        biohazard: true,
        ..class("refrigerated")
    };
    // (medium, facts, place, rules that refuse, source)
    let rows: Vec<(&str, Facts, PlaceFacts, &[&str], &str)> = vec![
        (
            "gelatin-black",
            plain(),
            class("frozen"),
            &["place-gel-not-frozen"],
            "from memory",
        ),
        (
            "gelatin-black",
            plain(),
            freezing.clone(),
            &["place-gel-not-frozen"],
            "from memory",
        ),
        (
            "gelatin-black",
            plain(),
            class("refrigerated"),
            &[],
            "from memory",
        ),
        (
            "gelatin-black",
            plain(),
            hot.clone(),
            &["place-gel-cool"],
            "from memory",
        ),
        (
            "gelatin-black",
            plain(),
            edge.clone(),
            &["place-gel-flat"],
            "from memory",
        ),
        (
            "gelatin-black",
            plain(),
            stacked.clone(),
            &["place-gel-no-load"],
            "common practice, no source",
        ),
        (
            "gelatin-black",
            plain(),
            lit.clone(),
            &["place-gel-dark"],
            "common practice, no source",
        ),
        (
            "lifting-tape",
            plain(),
            hot.clone(),
            &["place-card-lift-cool"],
            "common practice, no source",
        ),
        (
            "lifting-tape",
            plain(),
            lit,
            &["place-card-lift-dark"],
            "common practice, no source",
        ),
        (
            "lifting-tape",
            plain(),
            edge.clone(),
            &[],
            "a card stands on edge in a file: FBI, Science of Fingerprints",
        ),
        (
            "electrostatic-dust-lift",
            plain(),
            dusty.clone(),
            &["place-dust-lift-clean"],
            "Hendricks 2013, abstract",
        ),
        (
            "electrostatic-dust-lift",
            plain(),
            edge,
            &["place-dust-lift-flat"],
            "common practice, no source",
        ),
        (
            "lifting-tape",
            plain(),
            dusty,
            &[],
            "common practice, no source",
        ),
        (
            "dental-stone-cast",
            plain(),
            freezing,
            &["place-stone-not-frozen"],
            "common practice, no source",
        ),
        (
            "dental-stone-cast",
            plain(),
            stacked,
            &["place-cast-no-load"],
            "from memory",
        ),
        (
            "silicone-putty",
            plain(),
            hot,
            &[],
            "common practice, no source",
        ),
        ("collected-object", plain(), class("frozen"), &[], "no rule"),
        (
            "collected-object",
            bio,
            shelf(),
            &["place-biological-dry-climate"],
            "NISTIR 7928, from memory",
        ),
        (
            "collected-object",
            bio,
            PlaceFacts::default(),
            &["place-biological-dry-climate"],
            "a class that nobody recorded cannot be the right one",
        ),
        (
            "collected-object",
            bio,
            class("temperature-controlled"),
            &[],
            "NISTIR 7928, from memory",
        ),
        (
            "collected-object",
            bio,
            class("frozen"),
            &[],
            "NISTIR 7928, from memory",
        ),
        (
            "collected-object",
            wet_bio,
            class("frozen"),
            &[
                "place-biological-wet-climate",
                "place-biological-wet-marked",
            ],
            "NISTIR 7928, from memory: liquid blood is never frozen",
        ),
        (
            "collected-object",
            wet_bio,
            class("refrigerated"),
            &["place-biological-wet-marked"],
            "our assumption",
        ),
        (
            "collected-object",
            wet_bio,
            marked,
            &[],
            "NISTIR 7928, from memory",
        ),
    ];
    for (medium, facts, place, wanted, source) in rows {
        assert_eq!(
            refused(&needs(medium, facts), &place),
            wanted,
            "{medium} at {place:?} ({source})"
        );
    }
}

#[test]
fn some_place_suits_every_combination() {
    let rules = rules();
    let places: Vec<PlaceFacts> = rules
        .climates()
        .iter()
        .map(|c| PlaceFacts {
            biohazard: true,
            ..class(&c.id)
        })
        .collect();
    for m in rules.media() {
        for facts in all_facts() {
            let n = KeepNeeds::derive(rules.keeping(), m, &facts);
            assert!(
                places.iter().any(|p| allows_place(&n, p).is_ok()),
                "{} {facts:?}",
                m.id
            );
        }
    }
}

/// Glass is never put into a freezer: Massachusetts 515 CMR 7.06.
#[test]
fn a_container_has_needs_of_its_own() {
    let rules = rules();
    let object = needs("collected-object", plain());
    assert!(allows_place(&object, &class("frozen")).is_ok());
    let in_jar = object.clone().in_container(rules.keeping(), "jar-glass");
    assert_eq!(
        refused(&in_jar, &class("frozen")),
        ["place-glass-not-frozen"]
    );
    assert_eq!(
        object.clone().in_container(rules.keeping(), "bag-paper"),
        object
    );
}

/// NISTIR 7928 figures, from memory, in Celsius; the Fahrenheit figures beside them check the conversion.
#[test]
fn climate_classes() {
    let rules = rules();
    let ids: Vec<&str> = rules.climates().iter().map(|c| c.id.as_str()).collect();
    assert_eq!(
        ids,
        [
            "room-temperature",
            "temperature-controlled",
            "refrigerated",
            "frozen"
        ]
    );
    let fahrenheit = |tenths: i32| f64::from(tenths) / 10.0 * 9.0 / 5.0 + 32.0;
    let near = |tenths: Option<i32>, f: f64| (fahrenheit(tenths.unwrap()) - f).abs() < 1.0;
    let get = |id: &str| -> Climate { rules.climate(id).unwrap().clone() };
    let (cool, fridge, frozen) = (
        get("temperature-controlled"),
        get("refrigerated"),
        get("frozen"),
    );
    assert!(near(cool.min_tenths_c, 60.0) && near(cool.max_tenths_c, 75.0));
    assert!(near(fridge.min_tenths_c, 36.0) && near(fridge.max_tenths_c, 46.0));
    assert!(near(frozen.max_tenths_c, 14.0) && frozen.freezes() && !fridge.freezes());
    assert!(cool.holds(200, Some(59)) && !cool.holds(200, Some(60)) && !cool.holds(241, None));
    assert!(fridge.holds(40, Some(20)) && !fridge.holds(40, Some(25)));
    assert!(get("room-temperature").holds(310, Some(90)));
    for c in rules.climates() {
        assert_eq!(c.from_memory, c.source.contains("from memory"), "{}", c.id);
    }
}
