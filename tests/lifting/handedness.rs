//! Sourced rows: how a view was made, and which way round it reads.

use liftledger::lifting::{
    Lateral::{self, *},
    Relief, Step, Tone, read,
};

const ASFOUND: Relief = Relief::AsFound;
const INV: Relief = Relief::Inverted;
const INK: Tone = Tone::AsInk;
const NEG: Tone = Tone::Reversed;
const FBI: &str = "FBI, Science of Fingerprints, chapter on court charts";
const USF: &str = "University of South Florida course notes";
const LANE: &str = "Lane et al. 1988, J. Forensic Identification 38(6) 292-294";
const BCA: &str = "Minnesota BCA evidence guide";
const HANDBOOK: &str = "FBI handbook of forensic services";
const GEO: &str = "geometry";
const PARITY: &str = "geometry: two mirrorings cancel";
const CP: &str = "common practice, no source";

/// (what was done, steps, left and right, depth, tone, source)
type Row = (
    &'static str,
    &'static str,
    Lateral,
    Relief,
    Tone,
    &'static str,
);

const ROWS: &[Row] = &[
    (
        "photograph of the mark, front side",
        "front",
        Direct,
        ASFOUND,
        INK,
        GEO,
    ),
    (
        "nothing between mark and view",
        "",
        Direct,
        ASFOUND,
        INK,
        GEO,
    ),
    (
        "clear tape on card, through the tape",
        "through-medium",
        Direct,
        ASFOUND,
        INK,
        LANE,
    ),
    (
        "black powder, tape, white card",
        "through-medium dark-powder",
        Direct,
        ASFOUND,
        INK,
        HANDBOOK,
    ),
    (
        "white powder, tape, black card",
        "through-medium light-powder black-card",
        Direct,
        ASFOUND,
        NEG,
        HANDBOOK,
    ),
    (
        "lifting liquid under tape, dark powder",
        "through-medium dark-powder",
        Direct,
        ASFOUND,
        INK,
        CP,
    ),
    (
        "glue film under tape, light powder",
        "through-medium light-powder",
        Direct,
        ASFOUND,
        NEG,
        CP,
    ),
    (
        "opaque white rubber lift, adhesive side",
        "contact-face dark-powder",
        Reversed,
        ASFOUND,
        INK,
        FBI,
    ),
    (
        "opaque black rubber lift, adhesive side",
        "contact-face black-gel light-powder",
        Reversed,
        ASFOUND,
        NEG,
        FBI,
    ),
    (
        "white gelatin, gel side",
        "contact-face",
        Reversed,
        ASFOUND,
        INK,
        USF,
    ),
    (
        "black gelatin, gel side",
        "contact-face black-gel",
        Reversed,
        ASFOUND,
        NEG,
        USF,
    ),
    (
        "light powder on black gelatin stays light",
        "contact-face black-gel light-powder",
        Reversed,
        ASFOUND,
        NEG,
        "any light powder or dust on black gelatin: ridges light",
    ),
    (
        "dust on black gelatin",
        "contact-face light-residue black-gel",
        Reversed,
        ASFOUND,
        NEG,
        USF,
    ),
    (
        "black gelatin flipped before comparison",
        "contact-face black-gel flip",
        Direct,
        ASFOUND,
        NEG,
        PARITY,
    ),
    (
        "black gelatin flipped and inverted",
        "contact-face black-gel flip invert",
        Direct,
        ASFOUND,
        INK,
        PARITY,
    ),
    (
        "electrostatic film, dust side",
        "contact-face light-residue",
        Reversed,
        ASFOUND,
        NEG,
        USF,
    ),
    (
        "electrostatic film, flipped",
        "contact-face light-residue flip",
        Direct,
        ASFOUND,
        NEG,
        PARITY,
    ),
    (
        "transparent gelatin through its carrier",
        "through-medium",
        Direct,
        ASFOUND,
        INK,
        GEO,
    ),
    (
        "transparent gelatin, gel side",
        "contact-face",
        Reversed,
        ASFOUND,
        INK,
        USF,
    ),
    (
        "dental stone, contact side",
        "contact-face cast",
        Reversed,
        INV,
        INK,
        BCA,
    ),
    (
        "silicone putty, contact side",
        "contact-face cast",
        Reversed,
        INV,
        INK,
        GEO,
    ),
    (
        "silicone putty, dark powder, flipped for a search",
        "contact-face cast dark-powder flip",
        Direct,
        INV,
        INK,
        CP,
    ),
    (
        "clear siloxane photographed through",
        "through-medium",
        Direct,
        ASFOUND,
        INK,
        CP,
    ),
    (
        "cast of a cast",
        "contact-face cast contact-face cast",
        Direct,
        ASFOUND,
        INK,
        PARITY,
    ),
    (
        "cast of a cast of a cast",
        "contact-face cast contact-face cast contact-face cast",
        Reversed,
        INV,
        INK,
        PARITY,
    ),
    (
        "lift taken off a reversed lift",
        "contact-face contact-face",
        Direct,
        ASFOUND,
        INK,
        PARITY,
    ),
    (
        "through glass from the far side",
        "through-substrate",
        Reversed,
        ASFOUND,
        INK,
        GEO,
    ),
    (
        "through glass by a mirror",
        "through-substrate mirror",
        Direct,
        ASFOUND,
        INK,
        PARITY,
    ),
    (
        "by a mirror under a ledge",
        "front mirror",
        Reversed,
        ASFOUND,
        INK,
        GEO,
    ),
    (
        "by two mirrors",
        "front mirror mirror",
        Direct,
        ASFOUND,
        INK,
        PARITY,
    ),
    (
        "sticky side of a tape that was touched",
        "front",
        Direct,
        ASFOUND,
        INK,
        GEO,
    ),
    (
        "the same through its backing",
        "through-substrate",
        Reversed,
        ASFOUND,
        INK,
        GEO,
    ),
    (
        "mark set off onto tape from another surface",
        "front set-off",
        Reversed,
        ASFOUND,
        INK,
        LANE,
    ),
    (
        "set off, and seen through the backing",
        "set-off through-substrate",
        Direct,
        ASFOUND,
        INK,
        PARITY,
    ),
    (
        "set off, then lifted with opaque rubber",
        "set-off contact-face",
        Direct,
        ASFOUND,
        INK,
        PARITY,
    ),
    ("the skin itself", "skin", Reversed, ASFOUND, INK, FBI),
    (
        "the skin itself, flipped",
        "skin flip",
        Direct,
        ASFOUND,
        INK,
        PARITY,
    ),
    (
        "underside of the outer skin, inked: position and colour",
        "skin furrows",
        Reversed,
        ASFOUND,
        NEG,
        FBI,
    ),
    (
        "finger took dark dust away",
        "front furrows",
        Direct,
        ASFOUND,
        NEG,
        "trade press: in dust subtraction the dark lines are furrows",
    ),
    (
        "finger took pale dust away",
        "front light-residue furrows",
        Direct,
        ASFOUND,
        INK,
        GEO,
    ),
    (
        "white powder on a dark panel",
        "front light-powder",
        Direct,
        ASFOUND,
        NEG,
        HANDBOOK,
    ),
    (
        "grey powder on chrome",
        "front light-powder",
        Direct,
        ASFOUND,
        NEG,
        HANDBOOK,
    ),
    (
        "superglue, white deposit",
        "front light-residue",
        Direct,
        ASFOUND,
        NEG,
        CP,
    ),
    (
        "fluorescent powder under the light",
        "front fluorescent",
        Direct,
        ASFOUND,
        NEG,
        CP,
    ),
    (
        "fluorescent powder, inverted",
        "front fluorescent invert",
        Direct,
        ASFOUND,
        INK,
        CP,
    ),
    (
        "fluorescent powder, inverted twice",
        "front fluorescent invert invert",
        Direct,
        ASFOUND,
        NEG,
        CP,
    ),
    (
        "a film negative of a dark mark",
        "front invert",
        Direct,
        ASFOUND,
        NEG,
        GEO,
    ),
    (
        "a file's orientation tag mirrors the image",
        "front flip",
        Reversed,
        ASFOUND,
        INK,
        GEO,
    ),
    (
        "flipped by mistake and flipped back",
        "front flip flip",
        Direct,
        ASFOUND,
        INK,
        PARITY,
    ),
    (
        "wrap touched or set off: nobody knows",
        "front unknown",
        Lateral::Unknown,
        Relief::Unknown,
        Tone::Unknown,
        "trade press on marks on wrapping: sometimes reversed",
    ),
    (
        "unknown stays unknown after a flip",
        "unknown flip",
        Lateral::Unknown,
        Relief::Unknown,
        Tone::Unknown,
        CP,
    ),
    (
        "side known, tone not",
        "contact-face tone-unknown",
        Reversed,
        ASFOUND,
        Tone::Unknown,
        CP,
    ),
    (
        "dark powder said to be on a black lifter",
        "contact-face black-gel dark-powder",
        Reversed,
        ASFOUND,
        Tone::Unknown,
        "the two statements contradict",
    ),
    (
        "dust film, flipped and inverted for comparison",
        "contact-face light-residue flip invert",
        Direct,
        ASFOUND,
        INK,
        PARITY,
    ),
    (
        "white rubber lift photographed in a mirror",
        "contact-face dark-powder mirror",
        Direct,
        ASFOUND,
        INK,
        PARITY,
    ),
    (
        "glowing powder on black gelatin",
        "contact-face fluorescent black-gel",
        Reversed,
        ASFOUND,
        NEG,
        USF,
    ),
    (
        "fumed and dyed mark under its light",
        "front fluorescent",
        Direct,
        ASFOUND,
        NEG,
        CP,
    ),
    (
        "stain of the ninhydrin family on paper",
        "front dark-powder",
        Direct,
        ASFOUND,
        INK,
        CP,
    ),
    (
        "contact face of a clear cast with light powder",
        "contact-face cast light-powder",
        Reversed,
        INV,
        NEG,
        GEO,
    ),
    (
        "tape lift on a clear carrier, from the carrier's side",
        "through-medium through-substrate",
        Reversed,
        ASFOUND,
        INK,
        LANE,
    ),
    (
        "dark powder on a pane, photographed from the other room",
        "through-substrate dark-powder",
        Reversed,
        ASFOUND,
        INK,
        GEO,
    ),
    (
        "light powder through the pane, inverted in software",
        "through-substrate light-powder invert",
        Reversed,
        ASFOUND,
        INK,
        PARITY,
    ),
    (
        "cast of a toolmark photographed in a mirror",
        "contact-face cast mirror",
        Direct,
        INV,
        INK,
        PARITY,
    ),
    (
        "cast of a mark that had been set off",
        "set-off contact-face cast",
        Direct,
        INV,
        INK,
        PARITY,
    ),
    (
        "the skin itself in a mirror",
        "skin mirror",
        Direct,
        ASFOUND,
        INK,
        PARITY,
    ),
    (
        "furrows in dust, printed as a negative",
        "front furrows invert",
        Direct,
        ASFOUND,
        INK,
        PARITY,
    ),
    (
        "clear gelatin, gel side, light powder",
        "contact-face light-powder",
        Reversed,
        ASFOUND,
        NEG,
        USF,
    ),
    (
        "a cast of which a step is not known",
        "contact-face cast unknown",
        Lateral::Unknown,
        Relief::Unknown,
        Tone::Unknown,
        CP,
    ),
    (
        "through the tape, flipped, tone not noted",
        "through-medium tone-unknown flip",
        Reversed,
        ASFOUND,
        Tone::Unknown,
        GEO,
    ),
];

fn steps(text: &str) -> Vec<Step> {
    text.split_whitespace()
        .map(|s| s.parse().unwrap())
        .collect()
}

#[test]
fn sourced_rows() {
    assert!(ROWS.len() >= 60, "{}", ROWS.len());
    for (what, chain, lateral, relief, tone, source) in ROWS {
        assert!(!source.is_empty(), "{what}");
        let reading = read(&steps(chain));
        assert_eq!(
            reading.lateral, *lateral,
            "{what} ({source}): {}",
            reading.sentence
        );
        assert_eq!(
            reading.relief, *relief,
            "{what} ({source}): {}",
            reading.sentence
        );
        assert_eq!(
            reading.tone, *tone,
            "{what} ({source}): {}",
            reading.sentence
        );
    }
}

#[test]
fn the_sentence_says_every_step_and_why() {
    for (what, chain, lateral, _, tone, _) in ROWS {
        let chain = steps(chain);
        let said = read(&chain).sentence;
        for step in &chain {
            assert!(said.contains(step.words()), "{what}: {said}");
        }
        let way = match lateral {
            Direct => "reads direct",
            Reversed => "laterally reversed",
            Lateral::Unknown => "not known",
        };
        assert!(said.contains(way), "{what}: {said}");
        let shade = match tone {
            Tone::AsInk => "as in ink",
            Tone::Reversed => "tone reversed",
            Tone::Unknown => "not known",
        };
        assert!(said.contains(shade), "{what}: {said}");
        assert!(said.ends_with('.') && !said.contains('!'), "{what}: {said}");
    }
    assert_eq!(
        read(&steps("contact-face cast flip")).sentence,
        "Steps: looked at on the contact face; moulded, so that hollows became heights; flipped in software. \
         Two steps exchange left and right, and they cancel, so the image reads direct. \
         One step inverts depth, so hollows and heights are exchanged. \
         The mark is taken as dark on its ground: ridges are dark, as in ink."
    );
}

#[test]
fn names_are_those_of_the_design_and_travel_as_json() {
    // The nine names of the handedness rule; the others carry depth and tone.
    let design = [
        "contact-face",
        "through-medium",
        "front",
        "through-substrate",
        "mirror",
        "set-off",
        "skin",
        "flip",
        "unknown",
    ];
    for name in design {
        assert_eq!(name.parse::<Step>().unwrap().to_string(), name);
    }
    for step in Step::ALL {
        assert_eq!(serde_json::to_value(step).unwrap(), step.name());
        assert_eq!(
            serde_json::from_value::<Step>(step.name().into()).unwrap(),
            step
        );
        assert_eq!(step.name().parse::<Step>().unwrap(), step);
    }
    assert!("Contact-Face".parse::<Step>().is_err());
    assert!(
        "sideways"
            .parse::<Step>()
            .unwrap_err()
            .to_string()
            .contains("sideways")
    );
    let reading = read(&[Step::ContactFace]);
    let json = serde_json::to_value(&reading).unwrap();
    assert_eq!(json["lateral"], "reversed");
    assert_eq!(json["relief"], "as-found");
    assert_eq!(json["tone"], "as-ink");
    assert_eq!(
        serde_json::from_value::<liftledger::lifting::Reading>(json).unwrap(),
        reading
    );
}

#[test]
fn an_endless_chain_is_not_guessed() {
    let longest = vec![Step::Flip; liftledger::lifting::MAX_STEPS];
    assert_eq!(read(&longest).lateral, Direct);
    let too_long = vec![Step::Flip; liftledger::lifting::MAX_STEPS + 1];
    assert_eq!(read(&too_long).lateral, Lateral::Unknown);
    assert_eq!(read(&too_long).tone, Tone::Unknown);
}
