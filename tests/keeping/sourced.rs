//! Each sourced row on packaging and storage, as a test of its own row: what the source says, in our own words, and what
//! the rules make of it.

use liftledger::keeping::choosing::{Verdict, judge};
use liftledger::keeping::packaging::requirement;
use liftledger::keeping::{
    Facts, KeepNeeds, LimitKind, Met, PlaceFacts, allows_container, allows_place,
};
use liftledger::lifting::SubstrateClass;

use super::{needs, plain, rules};

/// What a row asks of the rules.
enum Asks {
    /// It goes into each of these.
    In(&'static [&'static str]),
    /// It goes into none of these.
    NotIn(&'static [&'static str]),
    /// Its package bears these words.
    Says(&'static str),
    /// Something is done at once, met by a photograph.
    PhotographAtOnce,
    /// It dries that many minutes.
    Dries(u32),
    /// It is packed by itself.
    Alone,
    /// It may not stand at such a place.
    NotAt(PlaceFacts),
    /// It may stand at such a place.
    At(PlaceFacts),
    /// A caution of this identifier stands where it is packed.
    Caution(&'static str),
}

fn class(climate: &str) -> PlaceFacts {
    PlaceFacts {
        climate: Some(climate.into()),
        ..PlaceFacts::default()
    }
}

fn of(surface: SubstrateClass) -> Facts {
    Facts {
        surface: Some(surface),
        ..plain()
    }
}

fn holds(n: &KeepNeeds, asks: &Asks) -> bool {
    let p = &n.packing;
    match asks {
        Asks::In(list) => list.iter().all(|c| allows_container(p, c).is_ok()),
        Asks::NotIn(list) => list.iter().all(|c| allows_container(p, c).is_err()),
        Asks::Says(words) => p.labels.iter().any(|l| l.text == *words),
        Asks::PhotographAtOnce => p
            .limits
            .iter()
            .any(|l| l.kind == LimitKind::AtOnce && l.met_by() == Some(Met::Photograph)),
        Asks::Dries(minutes) => p.drying.iter().any(|d| d.minutes == Some(*minutes)),
        Asks::Alone => !p.alone.is_empty(),
        Asks::NotAt(place) => allows_place(n, place).is_err(),
        Asks::At(place) => allows_place(n, place).is_ok(),
        Asks::Caution(id) => p.cautions.iter().any(|c| c.id == *id),
    }
}

const OREGON: &str = "Oregon State Police, Physical Evidence Manual, rev. 6 (31 January 2008)";
const HENDRICKS: &str = "Hendricks, J Assoc Crime Scene Reconstr 19(2), 2013, abstract";
const USF: &str = "University of South Florida course notes";
const FBI: &str = "FBI handbook of forensic services";
const FILES: &str = "FBI, Science of Fingerprints";
const IDAHO: &str = "Idaho State Police evidence guide";
const MASS: &str = "Massachusetts 515 CMR 7.06";
const NISTIR: &str = "NISTIR 7928";
const MEMORY: &str = "from memory";

#[test]
fn each_row_of_the_sources() {
    let wet = Facts {
        wet: true,
        ..plain()
    };
    let bio = Facts {
        biological: true,
        ..plain()
    };
    let wet_bio = Facts {
        wet: true,
        biological: true,
        ..plain()
    };
    let fragile = Facts {
        fragile: true,
        ..plain()
    };
    let sharp = Facts {
        sharp: true,
        ..plain()
    };
    let ridge = Facts {
        ridge: true,
        ..plain()
    };
    let rows: Vec<(&str, &str, Facts, Asks, &str)> = vec![
        // The table of packaging by item.
        (
            "stone: paper bag or cardboard box",
            "dental-stone-cast",
            plain(),
            Asks::In(&["bag-paper", "box-cardboard"]),
            OREGON,
        ),
        (
            "stone: not plastic",
            "dental-stone-cast",
            plain(),
            Asks::NotIn(&["bag-plastic", "sharps-tube"]),
            OREGON,
        ),
        (
            "stone: nothing airtight, it goes on drying",
            "dental-stone-cast",
            plain(),
            Asks::NotIn(&["jar-glass", "tin-metal"]),
            OREGON,
        ),
        (
            "stone: dry further 48 h",
            "dental-stone-cast",
            plain(),
            Asks::Dries(48 * 60),
            OREGON,
        ),
        (
            "stone: marks scratched in before it is hard",
            "dental-stone-cast",
            plain(),
            Asks::Says("marks scratched into the cast before it was hard"),
            OREGON,
        ),
        (
            "stone: dust and heat",
            "dental-stone-cast",
            plain(),
            Asks::Caution("stone-dust"),
            "heat of setting: Minnesota BCA; dust from memory",
        ),
        (
            "dust lift: photograph at once",
            "electrostatic-dust-lift",
            plain(),
            Asks::PhotographAtOnce,
            HENDRICKS,
        ),
        (
            "dust lift: clean cardboard mailing box",
            "electrostatic-dust-lift",
            plain(),
            Asks::In(&["mailing-box-flat"]),
            HENDRICKS,
        ),
        (
            "dust lift: no box with dust of its own",
            "electrostatic-dust-lift",
            plain(),
            Asks::NotIn(&["box-cardboard"]),
            MEMORY,
        ),
        (
            "dust lift: the film draws dust",
            "electrostatic-dust-lift",
            plain(),
            Asks::NotAt(PlaceFacts {
                dusty: true,
                ..class("room-temperature")
            }),
            HENDRICKS,
        ),
        (
            "dust lift: taped to the lid, by itself",
            "electrostatic-dust-lift",
            plain(),
            Asks::Alone,
            HENDRICKS,
        ),
        (
            "gelatin: photograph soon, no store of a mark",
            "gelatin-black",
            plain(),
            Asks::PhotographAtOnce,
            USF,
        ),
        (
            "gelatin: keep flat",
            "gelatin-white",
            plain(),
            Asks::NotAt(PlaceFacts {
                on_edge: true,
                ..class("room-temperature")
            }),
            MEMORY,
        ),
        (
            "gelatin: a flat box",
            "gelatin-white",
            plain(),
            Asks::NotIn(&["envelope-paper", "bag-plastic"]),
            MEMORY,
        ),
        (
            "gelatin: no heat",
            "gelatin-clear",
            plain(),
            Asks::NotAt(PlaceFacts {
                hot: true,
                ..class("room-temperature")
            }),
            MEMORY,
        ),
        (
            "gelatin: no freezing",
            "gelatin-black",
            plain(),
            Asks::NotAt(class("frozen")),
            MEMORY,
        ),
        (
            "tape lift: own envelope or sleeve",
            "lifting-tape",
            plain(),
            Asks::In(&["envelope-paper", "card-sleeve"]),
            FILES,
        ),
        (
            "tape lift: the case number on each",
            "lifting-tape",
            plain(),
            Asks::Says("case number"),
            FILES,
        ),
        (
            "tape lift: filed in an envelope, so on edge is allowed",
            "lifting-tape",
            plain(),
            Asks::At(PlaceFacts {
                on_edge: true,
                ..class("room-temperature")
            }),
            FILES,
        ),
        (
            "silicone: rigid box",
            "silicone-putty",
            plain(),
            Asks::In(&["box-rigid-small"]),
            MEMORY,
        ),
        (
            "silicone: paper tag after cure",
            "silicone-putty",
            plain(),
            Asks::Says("paper tag on the cast"),
            MEMORY,
        ),
        (
            "siloxane: rigid box or envelope",
            "clear-pvs",
            plain(),
            Asks::In(&["box-rigid-small", "envelope-paper"]),
            MEMORY,
        ),
        (
            "casts: keep dry",
            "silicone-putty",
            plain(),
            Asks::NotAt(PlaceFacts {
                damp: true,
                ..class("room-temperature")
            }),
            MEMORY,
        ),
        (
            "casts: face not pressed",
            "clear-pvs",
            plain(),
            Asks::NotAt(PlaceFacts {
                stacked: true,
                ..class("room-temperature")
            }),
            MEMORY,
        ),
        (
            "paper: paper envelope",
            "collected-object",
            of(SubstrateClass::Porous),
            Asks::In(&["envelope-paper"]),
            FBI,
        ),
        (
            "paper: not in plastic",
            "collected-object",
            of(SubstrateClass::Porous),
            Asks::NotIn(&["bag-plastic"]),
            IDAHO,
        ),
        (
            "glass and other nonporous: box",
            "collected-object",
            of(SubstrateClass::Nonporous),
            Asks::In(&["box-cardboard"]),
            FBI,
        ),
        (
            "nonporous: own protective cover, least contact",
            "collected-object",
            of(SubstrateClass::Nonporous),
            Asks::Alone,
            FBI,
        ),
        (
            "nonporous: immobilised, so nothing soft",
            "collected-object",
            of(SubstrateClass::Nonporous),
            Asks::NotIn(&["bag-paper", "envelope-paper"]),
            FBI,
        ),
        // The list of packing for dispatch.
        (
            "wrap and seal each separately",
            "collected-object",
            plain(),
            Asks::Alone,
            FBI,
        ),
        (
            "latent label on the inner box",
            "collected-object",
            ridge,
            Asks::Says("DO NOT OPEN: LATENT PRINTS"),
            FBI,
        ),
        (
            "biohazard label",
            "collected-object",
            bio,
            Asks::Says("BIOHAZARD"),
            FBI,
        ),
        (
            "fragile things are fixed in a rigid container",
            "collected-object",
            fragile,
            Asks::NotIn(&["bag-paper"]),
            FBI,
        ),
        (
            "fragile things say so",
            "collected-object",
            fragile,
            Asks::Says("FRAGILE"),
            "common practice, no source",
        ),
        (
            "sharp things cannot pierce",
            "collected-object",
            sharp,
            Asks::NotIn(&["bag-paper", "bag-plastic", "envelope-paper"]),
            "common practice, no source",
        ),
        (
            "sharp things say so",
            "collected-object",
            sharp,
            Asks::Says("SHARP"),
            "common practice, no source",
        ),
        (
            "sharp things: blades",
            "collected-object",
            sharp,
            Asks::Caution("sharp"),
            "common practice, no source",
        ),
        // What an item must be labelled with.
        (
            "item number",
            "collected-object",
            plain(),
            Asks::Says("item number"),
            "ASTM E1459-92(2005) 4.1.4.1",
        ),
        (
            "case number",
            "collected-object",
            plain(),
            Asks::Says("case number"),
            "ASTM E1459-92(2005) 4.1.4.2",
        ),
        (
            "collector",
            "collected-object",
            plain(),
            Asks::Says("collected by"),
            "ASTM E1459-92(2005) 4.1.4.3",
        ),
        (
            "date",
            "collected-object",
            plain(),
            Asks::Says("date collected"),
            "ASTM E1459-92(2005) 4.1.4.4",
        ),
        (
            "description",
            "collected-object",
            plain(),
            Asks::Says("short description"),
            "ASTM E1459-92(2005) 4.1.4.5",
        ),
        // Biological material.
        (
            "labelled as such on submission",
            "collected-object",
            bio,
            Asks::Says("BIOLOGICAL EVIDENCE"),
            "NISTIR 7928, recommendation I-2",
        ),
        (
            "porous containers",
            "collected-object",
            bio,
            Asks::In(&[
                "bag-paper",
                "envelope-glassine",
                "envelope-coin",
                "paper-wrap",
            ]),
            MASS,
        ),
        (
            "nothing airtight",
            "collected-object",
            bio,
            Asks::NotIn(&["bag-plastic", "jar-glass", "tin-metal"]),
            MASS,
        ),
        (
            "dry thoroughly: wet says so",
            "collected-object",
            wet,
            Asks::Says("WET"),
            MASS,
        ),
        (
            "wet: porous containers only",
            "collected-object",
            wet,
            Asks::NotIn(&["bag-plastic", "jar-glass"]),
            MASS,
        ),
        (
            "dried stains: temperature controlled",
            "collected-object",
            bio,
            Asks::At(class("temperature-controlled")),
            NISTIR,
        ),
        (
            "dried stains: not at room temperature for long",
            "collected-object",
            bio,
            Asks::NotAt(class("room-temperature")),
            NISTIR,
        ),
        (
            "liquid blood: never frozen",
            "collected-object",
            wet_bio,
            Asks::NotAt(PlaceFacts {
                biohazard: true,
                ..class("frozen")
            }),
            NISTIR,
        ),
        (
            "liquid blood: refrigerated",
            "collected-object",
            wet_bio,
            Asks::At(PlaceFacts {
                biohazard: true,
                ..class("refrigerated")
            }),
            NISTIR,
        ),
        (
            "biohazards set apart",
            "collected-object",
            wet_bio,
            Asks::NotAt(class("refrigerated")),
            MASS,
        ),
        (
            "blood: cautions",
            "collected-object",
            bio,
            Asks::Caution("blood"),
            "common practice, no source",
        ),
    ];
    for (what, medium, facts, asks, source) in rows {
        assert!(holds(&needs(medium, facts), &asks), "{what} ({source})");
    }
    // Glass is never put into a freezer: Massachusetts 515 CMR 7.06.
    let rules = rules();
    let in_jar = needs("collected-object", plain()).in_container(rules.keeping(), "jar-glass");
    assert!(allows_place(&in_jar, &class("frozen")).is_err());
    // The label of latent prints is for what was collected for them: a lift has its own card, a toolmark no ridges.
    let says = |n: &KeepNeeds| n.packing.labels.iter().any(|l| l.text.contains("LATENT"));
    assert!(!says(&needs("lifting-tape", ridge)) && !says(&needs("collected-object", plain())));
}

/// What is remembered, and not read in the source, says so in the data.
#[test]
fn figures_from_memory_say_so() {
    let rules = rules();
    for climate in rules.climates() {
        let figures = climate.min_tenths_c.is_some() || climate.max_tenths_c.is_some();
        assert_eq!(figures, climate.from_memory, "{}", climate.id);
        assert_eq!(
            figures,
            climate.source.contains("from memory"),
            "{}",
            climate.id
        );
    }
    for rule in &rules.keeping().places {
        if rule.id.starts_with("place-biological") && !rule.climates.is_empty() {
            assert!(rule.source.contains("from memory"), "{}", rule.id);
        }
    }
    for rule in &rules.keeping().packing {
        if rule.clearance_mm.is_some() {
            assert!(rule.source.contains("our assumption"), "{}", rule.id);
        }
    }
}

/// Every container is judged, the best first; what the rules ask for stands before what they leave open.
#[test]
fn containers_are_judged_the_best_first() {
    let rules = rules();
    let order = |medium: &str, facts: Facts| -> Vec<(String, Verdict)> {
        let req = requirement(rules.keeping(), rules.medium(medium).unwrap(), &facts);
        let all: Vec<_> = judge(rules.keeping(), &req)
            .into_iter()
            .map(|j| {
                // Nothing is judged without a rule and a source behind it, where the rules ask for anything.
                if j.verdict != Verdict::May {
                    assert!(!j.reasons.is_empty(), "{medium} {}", j.container.id);
                }
                assert!(
                    j.reasons
                        .iter()
                        .all(|r| !r.source.is_empty() && !r.sentence.is_empty())
                );
                assert_eq!(
                    allows_container(&req, &j.container.id).is_ok(),
                    j.verdict != Verdict::MustNot
                );
                (j.container.id.clone(), j.verdict)
            })
            .collect();
        assert_eq!(all.len(), rules.containers().len());
        let bad = all.iter().position(|(_, v)| *v == Verdict::MustNot);
        let bad = bad.unwrap_or(all.len());
        assert!(all[bad..].iter().all(|(_, v)| *v == Verdict::MustNot));
        all
    };
    let first = |medium, facts| order(medium, facts)[0].0.clone();
    // Common practice: the smallest rigid box for putty; a sleeve for a card. Oregon: a paper bag for stone.
    assert_eq!(first("silicone-putty", plain()), "box-rigid-small");
    assert_eq!(first("lifting-tape", plain()), "card-sleeve");
    assert_eq!(first("dental-stone-cast", plain()), "bag-paper");
    assert_eq!(first("gelatin-black", plain()), "mailing-box-flat");
    // 90 mm with 2 mm on every side needs the small box, 97 mm the next.
    let sized = |l| Facts {
        size_mm: Some([l, 30, 12]),
        ..plain()
    };
    assert_eq!(first("silicone-putty", sized(96)), "box-rigid-small");
    assert_eq!(first("silicone-putty", sized(97)), "box-rigid-medium");
}
