//! Packing rules against sourced rows.

use super::{all_facts, needs, plain, rules};
use liftledger::{
    keeping::fitting::TOO_SMALL,
    keeping::{Facts, LimitKind, allows_container, packaging},
    lifting::{Form, SubstrateClass},
};

fn wet() -> Facts {
    Facts {
        wet: true,
        ..Facts::default()
    }
}
fn bio() -> Facts {
    Facts {
        biological: true,
        ..Facts::default()
    }
}
fn sharp() -> Facts {
    Facts {
        sharp: true,
        ..Facts::default()
    }
}
fn fragile() -> Facts {
    Facts {
        fragile: true,
        ..Facts::default()
    }
}
fn of(surface: SubstrateClass) -> Facts {
    Facts {
        surface: Some(surface),
        ..Facts::default()
    }
}

/// (medium, facts, container, the rule that forbids it or "" where it is allowed, source)
#[test]
fn sourced_rows() {
    let oregon = "Oregon State Police, Physical Evidence Manual, rev. 6 (2008)";
    let hendricks = "Hendricks 2013, abstract";
    let usf = "University of South Florida course notes";
    let fbi = "FBI handbook of forensic services";
    let mass = "Massachusetts 515 CMR 7.06";
    let cp = "common practice, no source";
    let rows: Vec<(&str, Facts, &str, &str, &str)> = vec![
        ("dental-stone-cast", plain(), "bag-paper", "", oregon),
        ("dental-stone-cast", plain(), "box-cardboard", "", oregon),
        (
            "dental-stone-cast",
            plain(),
            "bag-plastic",
            "dental-stone-never-plastic",
            oregon,
        ),
        (
            "dental-stone-cast",
            plain(),
            "sharps-tube",
            "dental-stone-never-plastic",
            oregon,
        ),
        (
            "electrostatic-dust-lift",
            plain(),
            "mailing-box-flat",
            "",
            hendricks,
        ),
        (
            "electrostatic-dust-lift",
            plain(),
            "box-cardboard",
            "dust-lift-box",
            hendricks,
        ),
        (
            "electrostatic-dust-lift",
            plain(),
            "envelope-paper",
            "dust-lift-box",
            hendricks,
        ),
        (
            "electrostatic-dust-lift",
            plain(),
            "bag-plastic",
            "dust-lift-box",
            hendricks,
        ),
        ("gelatin-black", plain(), "mailing-box-flat", "", usf),
        (
            "gelatin-black",
            plain(),
            "bag-plastic",
            "gel-flat-box",
            "from memory",
        ),
        (
            "gelatin-white",
            plain(),
            "envelope-paper",
            "gel-flat-box",
            "from memory",
        ),
        (
            "lifting-tape",
            plain(),
            "card-sleeve",
            "",
            "FBI, Science of Fingerprints",
        ),
        (
            "lifting-tape",
            plain(),
            "envelope-paper",
            "",
            "FBI, Science of Fingerprints",
        ),
        (
            "thick-pliable-tape",
            plain(),
            "envelope-coin",
            "",
            "FBI, Science of Fingerprints",
        ),
        ("film-forming-liquid", plain(), "card-sleeve", "", cp),
        (
            "lifting-tape",
            plain(),
            "jar-glass",
            "card-lift-envelope",
            cp,
        ),
        ("silicone-putty", plain(), "box-rigid-small", "", cp),
        (
            "silicone-putty",
            plain(),
            "envelope-paper",
            "silicone-rigid-box",
            cp,
        ),
        (
            "silicone-putty",
            plain(),
            "bag-plastic",
            "silicone-rigid-box",
            cp,
        ),
        (
            "silicone-putty",
            plain(),
            "bag-paper",
            "silicone-rigid-box",
            cp,
        ),
        ("clear-pvs", plain(), "box-rigid-small", "", "from memory"),
        ("clear-pvs", plain(), "envelope-paper", "", "from memory"),
        (
            "clear-pvs",
            plain(),
            "bag-plastic",
            "clear-pvs-box",
            "from memory",
        ),
        (
            "collected-object",
            of(SubstrateClass::Porous),
            "envelope-paper",
            "",
            fbi,
        ),
        (
            "collected-object",
            of(SubstrateClass::Porous),
            "bag-plastic",
            "paper-item",
            fbi,
        ),
        (
            "collected-object",
            of(SubstrateClass::Nonporous),
            "box-cardboard",
            "",
            fbi,
        ),
        (
            "collected-object",
            of(SubstrateClass::Nonporous),
            "envelope-paper",
            "nonporous-item",
            fbi,
        ),
        ("collected-object", plain(), "bag-plastic", "", cp),
        (
            "collected-object",
            wet(),
            "bag-plastic",
            "wet-breathes",
            mass,
        ),
        ("collected-object", wet(), "bag-paper", "", mass),
        ("collected-object", wet(), "paper-wrap", "", mass),
        ("collected-object", wet(), "envelope-glassine", "", mass),
        (
            "collected-object",
            bio(),
            "bag-plastic",
            "biological-breathes",
            mass,
        ),
        ("collected-object", bio(), "bag-paper", "", mass),
        ("collected-object", sharp(), "sharps-tube", "", cp),
        (
            "collected-object",
            sharp(),
            "bag-paper",
            "sharp-contained",
            cp,
        ),
        (
            "collected-object",
            sharp(),
            "box-cardboard",
            "sharp-contained",
            cp,
        ),
        (
            "collected-object",
            fragile(),
            "bag-paper",
            "fragile-rigid",
            fbi,
        ),
        ("collected-object", fragile(), "box-cardboard", "", fbi),
        (
            "adhesive-tape-collected",
            plain(),
            "bag-plastic",
            "tape-sticky-side",
            cp,
        ),
        (
            "adhesive-tape-collected",
            plain(),
            "box-rigid-small",
            "",
            cp,
        ),
        (
            "photograph-only",
            plain(),
            "envelope-paper",
            "",
            "nothing to pack",
        ),
    ];
    for (medium, facts, container, rule, source) in rows {
        let req = needs(medium, facts).packing;
        match (allows_container(&req, container), rule) {
            (Ok(()), "") => {}
            (Err(reason), rule) if rule == reason.rule => {
                assert!(
                    !reason.source.is_empty() && reason.next.ends_with('.'),
                    "{reason:?}"
                );
                assert!(reason.sentence.ends_with('.'), "{reason:?}");
            }
            (got, _) => {
                panic!("{medium} in {container} ({source}): wanted \"{rule}\", got {got:?}")
            }
        }
    }
}

#[test]
fn every_combination_leaves_a_container() {
    let rules = rules();
    for medium in rules.media() {
        for facts in all_facts() {
            let req = packaging::requirement(rules.keeping(), medium, &facts);
            if medium.id == "electrostatic-dust-lift" || medium.form != Form::Image {
                assert!(
                    req.conflicts.is_empty(),
                    "{} {facts:?}: {:?}",
                    medium.id,
                    req.conflicts
                );
            }
            for container in rules.containers() {
                let forbidden = req.must_not.iter().any(|f| f.container == container.id);
                let listed = req.must_one_of.is_empty() || req.must_one_of.contains(&container.id);
                // Each container is either allowed or shut out by a named rule, never both and never neither.
                assert_ne!(forbidden, listed, "{} {}", medium.id, container.id);
                assert_eq!(allows_container(&req, &container.id).is_ok(), listed);
            }
            for rule in req
                .must_not
                .iter()
                .map(|f| &f.rule)
                .chain(req.labels.iter().map(|l| &l.rule))
                .chain(&req.alone)
            {
                assert!(!req.source_of(rule).is_empty(), "{rule}");
            }
        }
    }
}

#[test]
fn times_labels_and_cautions() {
    let at_once = |m: &str| {
        needs(m, plain())
            .packing
            .limits
            .iter()
            .any(|l| l.kind == LimitKind::AtOnce)
    };
    assert!(
        at_once("gelatin-black") && at_once("gelatin-clear") && at_once("electrostatic-dust-lift")
    );
    assert!(!at_once("lifting-tape") && !at_once("rubber-black"));
    let stone = needs("dental-stone-cast", plain()).packing;
    assert_eq!(stone.drying.len(), 1);
    // 48 hours: Oregon State Police manual.
    assert_eq!(
        (stone.drying[0].kind, stone.drying[0].minutes),
        (LimitKind::AtLeast, Some(48 * 60))
    );
    assert_eq!(stone.drying[0].meanwhile_in, ["bag-paper", "box-cardboard"]);

    // ASTM E1459-92(2005) 4.1.4.1 to 4.1.4.5.
    let labels: Vec<String> = needs("lifting-tape", plain())
        .packing
        .labels
        .into_iter()
        .map(|l| l.text)
        .collect();
    for element in [
        "item number",
        "case number",
        "collected by",
        "date collected",
        "short description",
    ] {
        assert!(labels.iter().any(|l| l == element), "{element}");
    }
    // NISTIR 7928 recommendation I-2: labelled as biological.
    let req = needs("collected-object", bio()).packing;
    assert!(req.labels.iter().any(|l| l.text == "BIOLOGICAL EVIDENCE"));
    assert!(
        req.cautions
            .iter()
            .any(|c| c.id == "blood" && !c.defers_to.is_empty())
    );
    let req = needs("collected-object", sharp()).packing;
    assert!(req.cautions.iter().any(|c| c.id == "sharp"));
    assert!(
        needs("collected-object", plain())
            .packing
            .cautions
            .is_empty()
    );
}

#[test]
fn size_decides_among_boxes() {
    let sized = |size_mm| {
        needs(
            "silicone-putty",
            Facts {
                size_mm: Some(size_mm),
                ..Facts::default()
            },
        )
        .packing
    };
    assert_eq!(
        sized([90, 30, 12]).must_one_of,
        ["box-rigid-small", "box-rigid-medium", "box-rigid-large"]
    );
    // Turned so that it fits, with 2 mm free on every side: 71 by 36 by 96 in any order.
    assert_eq!(sized([36, 96, 71]).must_one_of[0], "box-rigid-small");
    let req = sized([37, 96, 71]);
    assert_eq!(req.must_one_of, ["box-rigid-medium", "box-rigid-large"]);
    let reason = allows_container(&req, "box-rigid-small").unwrap_err();
    assert_eq!(reason.rule, TOO_SMALL);
    assert!(reason.sentence.contains("37 by 96 by 71 mm"), "{reason:?}");
    assert!(reason.sentence.contains("1 mm too little"), "{reason:?}");
    // A box whose inside is measured is judged by that, whatever the list takes such a box to be.
    assert_eq!(packaging::allows_kind(&req, "box-rigid-small"), Ok(()));
    assert!(packaging::allows_kind(&req, "envelope-paper").is_err());
    let req = sized([900, 10, 10]);
    assert!(req.must_one_of.is_empty());
    assert_eq!(
        allows_container(&req, "box-rigid-large").unwrap_err().rule,
        TOO_SMALL
    );
    assert_eq!(req.conflicts.len(), 1);
    // A container nobody listed is refused too, and the conflict is named.
    assert_eq!(
        allows_container(&req, "crate").unwrap_err().rule,
        packaging::CONFLICT
    );
    let req = sized([90, 30, 12]);
    assert_eq!(
        allows_container(&req, "crate").unwrap_err().rule,
        packaging::NOT_LISTED
    );
}
