//! Advice on the cases that everybody in the trade knows the answer to. Where no source stands beside a check, it is common
//! practice, no source.

use liftledger::lifting::advise::{
    Advice, KitLot, MarkAsked, NothingCode, Question, Surface, advise,
};
use liftledger::lifting::{
    Curvature, Ground, Lateral, MarkKind, MarkTone, Relief, SubstrateClass, Texture,
};

use super::rules;
use super::surfaces::day;

fn surface(texture: Texture, curvature: Curvature) -> Surface {
    Surface {
        texture: Some(texture),
        curvature: Some(curvature),
        ..Surface::default()
    }
}

fn of(surface: Surface, kind: MarkKind, methods: &[&str]) -> Question {
    Question {
        surface,
        mark: MarkAsked {
            kind,
            depth: None,
            methods: methods.iter().map(|m| (*m).to_owned()).collect(),
            tone: None,
        },
        kit: None,
        date: Some(day("2026-03-14")),
        air_c: None,
    }
}

/// A print in black powder.
fn print(surface: Surface) -> Question {
    of(surface, MarkKind::FrictionRidge, &["BLP"])
}

fn lot(medium: &str, expires_on: Option<&str>) -> KitLot {
    KitLot {
        medium: medium.into(),
        lot: "A7".into(),
        opened_on: None,
        expires_on: expires_on.map(day),
    }
}

fn asked(question: &Question) -> Advice {
    let rules = rules();
    question.check(&rules.knowledge()).unwrap();
    advise(&rules.knowledge(), question)
}

fn order(advice: &Advice) -> Vec<&str> {
    advice.ranked.iter().map(|r| r.medium.as_str()).collect()
}

/// Every rule that excludes the medium.
fn out(advice: &Advice, medium: &str) -> Vec<String> {
    let excluded = advice
        .exclusion(medium)
        .unwrap_or_else(|| panic!("{medium} is not excluded: {:?}", order(advice)));
    assert!(advice.place(medium).is_none());
    excluded.reasons.iter().map(|r| r.rule.clone()).collect()
}

#[test]
fn a_grained_flat_panel_takes_thick_tape_or_film_before_ordinary_tape() {
    let advice = asked(&print(surface(Texture::FineGrain, Curvature::Flat)));
    assert_eq!(
        order(&advice)[..2],
        ["thick-pliable-tape", "film-forming-liquid"]
    );
    let tape = advice.exclusion("lifting-tape").unwrap();
    assert_eq!(tape.reasons[0].rule, "powder-in-the-grain");
    assert!(
        tape.reasons[0]
            .sentence
            .contains("takes only what lies on top")
    );
    let first = &advice.ranked[0];
    assert_eq!(first.reasons[0].rule, "tape-worked-into-the-grain");
    assert!(first.suited);
    let after = &first.consequences;
    // White card for dark powder; thick pliable tape reads direct.
    assert_eq!(after.card, Some(Ground::White));
    assert_eq!(after.reading.lateral, Lateral::Direct);
    assert!(after.set.is_none());
    // Dark on black is not advised either.
    assert_eq!(out(&advice, "gelatin-black")[0], "dark-on-black");
}

#[test]
fn a_ribbed_bottle_shoulder_takes_a_cast() {
    for curvature in [Curvature::Gentle, Curvature::Compound] {
        let advice = asked(&print(surface(Texture::Ribbed, curvature)));
        let mut best = order(&advice)[..2].to_vec();
        best.sort_unstable();
        assert_eq!(best, ["clear-pvs", "silicone-putty"]);
        assert!(out(&advice, "lifting-tape").contains(&"tape-bridges-ribs".into()));
        out(&advice, "polyethylene-tape");
    }
}

#[test]
fn a_small_dimpled_ball_takes_glue_where_there_is_nothing_to_cast_with() {
    let mut question = print(surface(Texture::Dimpled, Curvature::Compound));
    let all = asked(&question);
    assert!(all.place("silicone-putty").is_some() && all.place("clear-pvs").is_some());
    question.kit = Some(
        [
            "white-pva-glue",
            "polyethylene-tape",
            "lifting-tape",
            "thick-pliable-tape",
        ]
        .map(|m| lot(m, None))
        .to_vec(),
    );
    let advice = asked(&question);
    assert_eq!(order(&advice), ["white-pva-glue"]);
    assert_eq!(
        advice.ranked[0].consequences.reading.lateral,
        Lateral::Direct
    );
    assert!(out(&advice, "polyethylene-tape").contains(&"tape-folds-on-a-curve".into()));
    assert_eq!(out(&advice, "silicone-putty"), ["kit-missing"]);
    assert!(advice.nothing.is_none());
}

#[test]
fn a_gentle_smooth_curve_takes_polyethylene_and_a_tight_one_does_not() {
    let advice = asked(&print(surface(Texture::Smooth, Curvature::Gentle)));
    assert_eq!(order(&advice)[0], "polyethylene-tape");
    let advice = asked(&print(surface(Texture::Smooth, Curvature::Tight)));
    assert!(out(&advice, "polyethylene-tape").contains(&"tape-on-a-tight-curve".into()));
}

#[test]
fn a_carved_figure_is_cast() {
    let carved = Surface {
        recess: true,
        ..surface(Texture::Smooth, Curvature::Compound)
    };
    let advice = asked(&print(carved));
    for best in &advice.ranked[..2] {
        assert!(["silicone-putty", "clear-pvs"].contains(&best.medium.as_str()));
        assert!(best.reasons.iter().any(|r| r.rule == "cast-fills-a-recess"));
    }
    for sheet in ["lifting-tape", "thick-pliable-tape", "gelatin-white"] {
        assert!(out(&advice, sheet).contains(&"sheet-in-a-recess".into()));
    }
}

#[test]
fn a_pry_mark_on_a_fixed_frame_is_cast_and_reads_reversed_with_depth_inverted() {
    let question = of(
        surface(Texture::Impressed, Curvature::Flat),
        MarkKind::Toolmark,
        &[],
    );
    let advice = asked(&question);
    assert_eq!(order(&advice), ["silicone-putty", "clear-pvs"]);
    let after = &advice.ranked[0].consequences;
    assert_eq!(after.reading.lateral, Lateral::Reversed);
    assert_eq!(after.reading.relief, Relief::Inverted);
    // About 5 minutes, a thick layer about 10.
    let set = after.set.as_ref().unwrap();
    assert_eq!((set.earliest, set.usual), (Some(5), Some(10)));
    assert_eq!(out(&advice, "collected-object"), ["not-to-be-taken"]);
    assert!(out(&advice, "dental-stone-cast").contains(&"stone-is-coarse".into()));
    assert!(out(&advice, "lifting-tape").contains(&"depth-needs-a-cast".into()));
}

#[test]
fn a_dusty_shoe_mark_on_tile_is_drawn_by_a_charge_or_taken_by_black_gelatin() {
    let dusty = Surface {
        dusty: true,
        substrate: "2I".into(),
        ..surface(Texture::Smooth, Curvature::Flat)
    };
    let advice = asked(&of(dusty, MarkKind::Footwear, &["VIS"]));
    assert_eq!(
        order(&advice)[..2],
        ["electrostatic-dust-lift", "gelatin-black"]
    );
    // Electrostatic lifts are reversed: University of South Florida course notes.
    let reading = &advice.ranked[0].consequences.reading;
    assert_eq!(reading.lateral, Lateral::Reversed);
    assert!(out(&advice, "film-forming-liquid").contains(&"liquid-floats-dust".into()));
    assert!(out(&advice, "silicone-putty").contains(&"paste-smears-dust".into()));
    let noted = asked(&of(
        surface(Texture::Dusty, Curvature::Flat),
        MarkKind::Footwear,
        &[],
    ));
    assert_eq!(
        order(&noted)[..2],
        ["electrostatic-dust-lift", "gelatin-black"]
    );
}

#[test]
fn nothing_holds_on_a_wet_surface() {
    let wet = Surface {
        wet: true,
        ..surface(Texture::Smooth, Curvature::Flat)
    };
    let advice = asked(&print(wet.clone()));
    assert_eq!(order(&advice), [] as [&str; 0]);
    assert!(out(&advice, "lifting-tape").contains(&"nothing-sticks-to-wet".into()));
    let nothing = advice.nothing.unwrap();
    assert_eq!(nothing.code, NothingCode::WetSurface);
    assert!(nothing.next.contains("without heat"));
    assert!(advice.notes.iter().any(|n| n.rule == "dry-first"));
    // What can be carried is taken as it is.
    let carried = Surface {
        collectable: true,
        ..wet
    };
    assert_eq!(order(&asked(&print(carried))), ["collected-object"]);
}

#[test]
fn a_kit_with_only_expired_putty_is_a_named_reason() {
    let mut question = of(
        surface(Texture::Impressed, Curvature::Flat),
        MarkKind::Toolmark,
        &[],
    );
    question.kit = Some(vec![lot("silicone-putty", Some("2026-03-13"))]);
    let advice = asked(&question);
    assert!(advice.ranked.is_empty());
    assert_eq!(out(&advice, "silicone-putty"), ["kit-expired"]);
    let nothing = advice.nothing.as_ref().unwrap();
    assert_eq!(nothing.code, NothingCode::KitExpired);
    assert!(nothing.sentence.contains("silicone casting putty"));
    // The photograph comes first, here too.
    assert!(!advice.first.is_empty());

    // The day that stands on it is its last good one.
    question.kit = Some(vec![lot("silicone-putty", Some("2026-03-14"))]);
    assert_eq!(order(&asked(&question)), ["silicone-putty"]);
    // Without a day nothing has expired, and that is said.
    question.kit = Some(vec![lot("silicone-putty", Some("2020-01-01"))]);
    question.date = None;
    let advice = asked(&question);
    assert_eq!(order(&advice), ["silicone-putty"]);
    assert!(advice.notes.iter().any(|n| n.rule == "kit-undated"));

    question.kit = Some(Vec::new());
    assert_eq!(
        asked(&question).nothing.unwrap().code,
        NothingCode::KitEmpty
    );
    question.kit = Some(vec![lot("lifting-tape", None)]);
    assert_eq!(
        asked(&question).nothing.unwrap().code,
        NothingCode::KitLacks
    );
}

#[test]
fn the_lot_that_expires_first_is_used_first() {
    let mut question = print(surface(Texture::Smooth, Curvature::Flat));
    let named = |name: &str, expires| KitLot {
        lot: name.into(),
        ..lot("lifting-tape", expires)
    };
    question.kit = Some(vec![
        named("keeps", None),
        named("late", Some("2027-01-01")),
        named("gone", Some("2026-01-01")),
        named("soon", Some("2026-04-01")),
    ]);
    let advice = asked(&question);
    let lots: Vec<&str> = advice.ranked[0]
        .lots
        .iter()
        .map(|l| l.lot.as_str())
        .collect();
    assert_eq!(lots, ["soon", "late", "keeps"]);
}

#[test]
fn tone_decides_card_and_lifter() {
    let mut question = print(surface(Texture::Smooth, Curvature::Flat));
    for (tone, card, on, not_on) in [
        (
            MarkTone::Dark,
            Ground::White,
            "gelatin-white",
            "gelatin-black",
        ),
        (
            MarkTone::Light,
            Ground::Black,
            "gelatin-black",
            "gelatin-white",
        ),
        (
            MarkTone::Fluorescent,
            Ground::Black,
            "rubber-black",
            "rubber-white",
        ),
    ] {
        question.mark.tone = Some(tone);
        let advice = asked(&question);
        let tape = advice.place("lifting-tape").unwrap();
        assert_eq!(advice.ranked[tape - 1].consequences.card, Some(card));
        assert!(advice.place(on).is_some(), "{tone:?}");
        out(&advice, not_on);
    }
}

#[test]
fn what_colours_paper_is_not_lifted() {
    let paper = Surface {
        porosity: Some(SubstrateClass::Porous),
        collectable: true,
        ..surface(Texture::Absorbent, Curvature::Flat)
    };
    let advice = asked(&of(paper, MarkKind::FrictionRidge, &["NIN"]));
    assert_eq!(order(&advice), ["collected-object"]);
    assert!(out(&advice, "lifting-tape").contains(&"colour-stays-in-the-surface".into()));
}

#[test]
fn deep_grain_takes_film_and_loose_paint_takes_gelatin() {
    for texture in [Texture::MouldedGrain, Texture::Rough, Texture::BareWood] {
        let advice = asked(&print(surface(texture, Curvature::Flat)));
        assert_eq!(order(&advice)[0], "film-forming-liquid", "{texture:?}");
    }
    let loose = Surface {
        fragile: true,
        ..surface(Texture::Smooth, Curvature::Flat)
    };
    let advice = asked(&print(loose));
    assert!(order(&advice)[0].starts_with("gelatin-"));
    assert!(out(&advice, "thick-pliable-tape").contains(&"fragile-comes-away".into()));
}

#[test]
fn soil_takes_stone_and_an_adhesive_side_is_taken_whole() {
    let soil = asked(&of(
        surface(Texture::Impressed, Curvature::Flat),
        MarkKind::Footwear,
        &[],
    ));
    assert_eq!(order(&soil)[0], "dental-stone-cast");
    let tape = Surface {
        collectable: true,
        ..surface(Texture::Sticky, Curvature::Flat)
    };
    let advice = asked(&of(tape, MarkKind::FrictionRidge, &[]));
    assert_eq!(order(&advice)[0], "adhesive-tape-collected");
    assert!(out(&advice, "lifting-tape").contains(&"sticky-holds-the-sheet".into()));
}

#[test]
fn every_medium_is_advised_somewhere() {
    let rules = rules();
    let knowledge = rules.knowledge();
    let mut never: Vec<&str> = rules.media().iter().map(|m| m.id.as_str()).collect();
    never.retain(|m| *m != "photograph-only");
    for number in 0..20_000 {
        let mut question = super::surfaces::question(&rules, number);
        question.kit = None;
        let advice = advise(&knowledge, &question);
        if let Some(best) = advice.ranked.first() {
            never.retain(|m| *m != best.medium);
        }
    }
    // Rubber and clear gelatin are second choices everywhere; so is nothing else.
    never.retain(|m| !["rubber-black", "rubber-white", "gelatin-clear"].contains(m));
    assert_eq!(never, [] as [&str; 0], "never the best");
}

#[test]
fn cautions_stand_at_their_steps_and_the_photograph_comes_first() {
    let rules = rules();
    let knowledge = rules.knowledge();
    for medium in rules.media() {
        let steps = liftledger::lifting::advise::checklist::steps(&knowledge, medium);
        assert!(
            rules.advice().checklists.iter().any(|c| c.id == medium.id),
            "{}: no checklist",
            medium.id
        );
        let mut missing = medium.cautions.clone();
        for caution in steps.iter().flat_map(|s| &s.cautions) {
            assert!(!caution.defers_to.is_empty());
            missing.retain(|c| *c != caution.id);
        }
        assert_eq!(missing, [] as [String; 0], "{}", medium.id);
        if medium.id != "photograph-only" {
            assert!(steps[0].text.starts_with("Photograph "), "{}", medium.id);
        }
    }
    let at = |medium: &str, caution: &str| -> Vec<usize> {
        let medium = rules.medium(medium).unwrap();
        liftledger::lifting::advise::checklist::steps(&knowledge, medium)
            .iter()
            .filter(|s| s.cautions.iter().any(|c| c.id == caution))
            .map(|s| s.n)
            .collect()
    };
    // Blowing is cautioned at the step that blows, warmth at the one that dries, the charge at the one that charges.
    assert_eq!(at("film-forming-liquid", "blowing"), [3]);
    assert_eq!(at("film-forming-liquid", "warm-air"), [4]);
    assert_eq!(at("electrostatic-dust-lift", "high-voltage"), [3, 4]);
}

#[test]
fn a_question_that_names_what_there_is_not_is_refused() {
    let rules = rules();
    let plain = print(surface(Texture::Smooth, Curvature::Flat));
    let wrong = |change: &dyn Fn(&mut Question)| {
        let mut question = plain.clone();
        change(&mut question);
        question.check(&rules.knowledge()).unwrap_err().field
    };
    assert_eq!(
        wrong(&|q| q.surface.substrate = "9Z".into()),
        "surface.substrate"
    );
    assert_eq!(
        wrong(&|q| q.mark.methods = vec!["ZZZ".into()]),
        "mark.methods"
    );
    assert_eq!(
        wrong(&|q| q.mark.methods = vec!["BLP".into(); 21]),
        "mark.methods"
    );
    assert_eq!(
        wrong(&|q| q.kit = Some(vec![lot("toffee", None)])),
        "kit.medium"
    );
    assert_eq!(
        wrong(&|q| q.kit = Some(vec![lot("lifting-tape", None); 201])),
        "kit"
    );
    assert_eq!(wrong(&|q| q.air_c = Some(300)), "air_c");
    let mut long = lot("lifting-tape", None);
    long.lot = "x".repeat(61);
    assert_eq!(wrong(&|q| q.kit = Some(vec![long.clone()])), "kit.lot");
}
