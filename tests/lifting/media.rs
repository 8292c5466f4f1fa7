//! The media: all there, complete, and reading the right way round.

use super::rules;
use liftledger::{
    keeping::{Facts, KeepNeeds},
    lifting::{Form, Ground, Lateral, MarkTone, Relief, Tone, chain, contrast, read, view_steps},
};

const FBI: &str = "FBI, Science of Fingerprints";
const USF: &str = "University of South Florida course notes";
const CP: &str = "common practice, no source";

/// (medium, usual reading, depth, tone of the undeveloped mark, source)
const USUAL: &[(&str, Lateral, Relief, Tone, &str)] = &[
    (
        "thick-pliable-tape",
        Lateral::Direct,
        Relief::AsFound,
        Tone::AsInk,
        CP,
    ),
    (
        "film-forming-liquid",
        Lateral::Direct,
        Relief::AsFound,
        Tone::AsInk,
        CP,
    ),
    (
        "white-pva-glue",
        Lateral::Direct,
        Relief::AsFound,
        Tone::AsInk,
        CP,
    ),
    (
        "silicone-putty",
        Lateral::Reversed,
        Relief::Inverted,
        Tone::AsInk,
        CP,
    ),
    (
        "clear-pvs",
        Lateral::Direct,
        Relief::AsFound,
        Tone::AsInk,
        CP,
    ),
    (
        "polyethylene-tape",
        Lateral::Direct,
        Relief::AsFound,
        Tone::AsInk,
        CP,
    ),
    (
        "lifting-tape",
        Lateral::Direct,
        Relief::AsFound,
        Tone::AsInk,
        "geometry",
    ),
    (
        "gelatin-black",
        Lateral::Reversed,
        Relief::AsFound,
        Tone::Reversed,
        USF,
    ),
    (
        "gelatin-white",
        Lateral::Reversed,
        Relief::AsFound,
        Tone::AsInk,
        USF,
    ),
    (
        "gelatin-clear",
        Lateral::Direct,
        Relief::AsFound,
        Tone::AsInk,
        "geometry",
    ),
    (
        "rubber-black",
        Lateral::Reversed,
        Relief::AsFound,
        Tone::Reversed,
        FBI,
    ),
    (
        "rubber-white",
        Lateral::Reversed,
        Relief::AsFound,
        Tone::AsInk,
        FBI,
    ),
    (
        "electrostatic-dust-lift",
        Lateral::Reversed,
        Relief::AsFound,
        Tone::Reversed,
        USF,
    ),
    (
        "adhesive-tape-collected",
        Lateral::Direct,
        Relief::AsFound,
        Tone::AsInk,
        "geometry",
    ),
    (
        "dental-stone-cast",
        Lateral::Reversed,
        Relief::Inverted,
        Tone::AsInk,
        "Minnesota BCA evidence guide",
    ),
    (
        "collected-object",
        Lateral::Direct,
        Relief::AsFound,
        Tone::AsInk,
        "geometry",
    ),
    (
        "photograph-only",
        Lateral::Direct,
        Relief::AsFound,
        Tone::AsInk,
        "geometry",
    ),
];

#[test]
fn every_medium_reads_as_its_source_says() {
    let rules = rules();
    let ids: Vec<&str> = rules.media().iter().map(|m| m.id.as_str()).collect();
    assert_eq!(ids, USUAL.iter().map(|u| u.0).collect::<Vec<_>>());
    for (id, lateral, relief, tone, source) in USUAL {
        let medium = rules.medium(id).unwrap();
        let reading = read(view_steps(medium, None).unwrap());
        assert_eq!(
            (reading.lateral, reading.relief, reading.tone),
            (*lateral, *relief, *tone),
            "{id} ({source})"
        );
        assert!(view_steps(medium, Some("no-such-view")).is_none());
    }
    let clear = rules.medium("clear-pvs").unwrap();
    let face = read(view_steps(clear, Some("contact-face")).unwrap());
    assert_eq!(
        (face.lateral, face.relief),
        (Lateral::Reversed, Relief::Inverted)
    );
    let tape = rules.medium("adhesive-tape-collected").unwrap();
    assert_eq!(
        read(view_steps(tape, Some("through-backing")).unwrap()).lateral,
        Lateral::Reversed
    );
}

#[test]
fn every_medium_is_complete() {
    let rules = rules();
    for m in rules.media() {
        assert!(m.how.len() >= 3, "{}", m.id);
        assert!(
            m.how.iter().all(|s| s.ends_with('.') && !s.contains('!')),
            "{}",
            m.id
        );
        // Each recovery touches powder, chemistry, blades, blood or light.
        assert!(!m.cautions.is_empty(), "{}", m.id);
        assert_eq!(
            rules.cautions_of(&m.cautions).len(),
            m.cautions.len(),
            "{}",
            m.id
        );
        assert_eq!(m.card, m.form == Form::CardLift, "{}", m.id);
        assert!(!m.suits.textures.is_empty(), "{}", m.id);
        let needs = KeepNeeds::derive(rules.keeping(), m, &Facts::default());
        assert_eq!(needs.place.is_empty(), m.form == Form::Image, "{}", m.id);
        assert_eq!(
            needs.packing.labels.is_empty(),
            m.form == Form::Image,
            "{}",
            m.id
        );
        // Photograph before any lift (common practice, no source).
        if matches!(m.form, Form::CardLift | Form::Gel | Form::Film | Form::Cast) {
            assert!(
                m.how[0].starts_with("Photograph") && m.how[0].contains("scale"),
                "{}",
                m.id
            );
        }
    }
    for c in rules.cautions() {
        assert!(
            c.defers_to.contains("come first") || c.defers_to.contains("comes first"),
            "{}",
            c.id
        );
        assert!(c.shown().ends_with(&c.defers_to), "{}", c.id);
    }
}

/// Facts of the trade held as check values: common practice, no source.
#[test]
fn facts_of_the_trade() {
    let rules = rules();
    let how = |id: &str| rules.medium(id).unwrap().how.join(" ");
    assert!(how("thick-pliable-tape").contains("fingertip"));
    assert!(how("film-forming-liquid").contains("3.2 mm (1/8 in)"));
    assert!(how("film-forming-liquid").contains("hot air spoils"));
    assert!(how("white-pva-glue").contains("edges and corners first"));
    assert!(how("silicone-putty").contains("flip a working copy"));
    assert!(how("silicone-putty").contains("small rigid box"));
    assert!(how("clear-pvs").contains("tip kept inside"));
    // The lifting liquid brings a caution about vapour, the electrostatic device one about shock.
    assert!(
        rules
            .medium("film-forming-liquid")
            .unwrap()
            .cautions
            .contains(&"lifting-liquid".to_owned())
    );
    assert!(
        rules
            .medium("electrostatic-dust-lift")
            .unwrap()
            .cautions
            .contains(&"high-voltage".to_owned())
    );
    let set = |id: &str| {
        let w = rules.medium(id).unwrap().set.clone().unwrap();
        (w.earliest, w.usual)
    };
    assert_eq!(set("silicone-putty"), (Some(5), Some(10)));
    assert_eq!(set("clear-pvs"), (Some(2), Some(3)));
    assert_eq!(set("dental-stone-cast").0, Some(20));
}

#[test]
fn a_chain_takes_tone_and_card_into_account() {
    let rules = rules();
    let tape = rules.medium("thick-pliable-tape").unwrap();
    let tone = |m, card| read(&chain(tape, None, Some(m), Some(card)).unwrap()).tone;
    assert_eq!(tone(MarkTone::Dark, Ground::White), Tone::AsInk);
    assert_eq!(tone(MarkTone::Light, Ground::Black), Tone::Reversed);
    assert_eq!(tone(MarkTone::Fluorescent, Ground::Black), Tone::Reversed);
    assert_eq!(tone(MarkTone::Varies, Ground::White), Tone::Unknown);
    // Dark powder on a black card is a contradiction and not a guess.
    assert_eq!(tone(MarkTone::Dark, Ground::Black), Tone::Unknown);
    let gel = rules.medium("gelatin-black").unwrap();
    let reading = read(&chain(gel, None, Some(MarkTone::Light), None).unwrap());
    assert_eq!(
        (reading.lateral, reading.tone),
        (Lateral::Reversed, Tone::Reversed)
    );
    assert!(chain(gel, Some("through-tape"), None, None).is_none());
}

/// White card for black powder, black card for light: FBI handbook of forensic services.
#[test]
fn a_card_contrasts_with_the_powder() {
    assert_eq!(contrast::card_for(MarkTone::Dark), Some(Ground::White));
    assert_eq!(contrast::card_for(MarkTone::Light), Some(Ground::Black));
    assert_eq!(contrast::card_for(MarkTone::Varies), None);
    assert_eq!(contrast::warning(MarkTone::Dark, Ground::White), None);
    assert_eq!(contrast::warning(MarkTone::Light, Ground::Black), None);
    assert_eq!(contrast::warning(MarkTone::Light, Ground::Clear), None);
    assert_eq!(contrast::warning(MarkTone::Varies, Ground::Black), None);
    // Every tone on every ground: a warning exactly where a mark would lie on a ground of its own tone.
    for (tone, white, black) in [
        (MarkTone::Dark, false, true),
        (MarkTone::Light, true, false),
        (MarkTone::Fluorescent, true, false),
        (MarkTone::Varies, false, false),
    ] {
        assert_eq!(
            contrast::warning(tone, Ground::White).is_some(),
            white,
            "{tone:?}"
        );
        assert_eq!(
            contrast::warning(tone, Ground::Black).is_some(),
            black,
            "{tone:?}"
        );
        assert_eq!(contrast::warning(tone, Ground::Clear), None, "{tone:?}");
        // The words beforehand name the card that brings no warning.
        if let Some(ground) = contrast::card_for(tone) {
            assert!(contrast::advice(tone).starts_with(ground.word()));
            assert_eq!(contrast::warning(tone, ground), None);
        } else {
            assert!(contrast::advice(tone).starts_with("look at the mark first"));
        }
    }
    let said = contrast::warning(MarkTone::Dark, Ground::Black).unwrap();
    assert!(
        said.contains("dark mark") || said.contains("A dark mark"),
        "{said}"
    );
    assert!(
        said.contains("white ground") && said.contains("black one was used"),
        "{said}"
    );
    assert!(contrast::warning(MarkTone::Fluorescent, Ground::White).is_some());
}
