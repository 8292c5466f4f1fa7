//! What a recipe may say, and how it is written down.

use liftledger::imaging::recipe::{Op, Recipe};
use liftledger::imaging::view::suggest_for;
use liftledger::lifting::handedness::Step;

#[test]
fn a_recipe_is_plain_json() {
    let text = r#"{"version":1,"ops":[{"op":"flip"},{"op":"invert"},{"op":"quarter-turns","turns":3},
        {"op":"rotate","hundredths":-125},{"op":"crop","x":1,"y":2,"width":3,"height":4},{"op":"grey"},
        {"op":"resample","ppi":1000}]}"#;
    let recipe: Recipe = serde_json::from_str(text).unwrap();
    recipe.check().unwrap();
    assert!(recipe.flips() && recipe.inverts() && recipe.needs_scale());
    assert_eq!(
        serde_json::to_value(&recipe).unwrap(),
        serde_json::from_str::<serde_json::Value>(text).unwrap()
    );
    assert!(recipe.words().iter().all(|w| w.is_ascii()));
    assert_eq!(recipe.words()[3], "turned 1.25 degrees anticlockwise");
    for wrong in [
        r#"{"version":1,"ops":[{"op":"sharpen"}]}"#,
        r#"{"version":1,"ops":[{"op":"crop","x":-1,"y":2,"width":3,"height":4}]}"#,
        r#"{"version":1,"ops":[{"op":"rotate","hundredths":1,"about":3}]}"#,
        r#"{"version":1,"ops":[],"then":[]}"#,
    ] {
        assert!(serde_json::from_str::<Recipe>(wrong).is_err(), "{wrong}");
    }
}

#[test]
fn everything_in_a_recipe_has_bounds() {
    let crop = |x, width| Op::Crop {
        x,
        y: 0,
        width,
        height: 1,
    };
    let wrong = [
        vec![Op::Flip; 17],
        vec![Op::QuarterTurns { turns: 0 }],
        vec![Op::QuarterTurns { turns: 4 }],
        vec![Op::Rotate { hundredths: 0 }],
        vec![Op::Rotate { hundredths: 18_001 }],
        vec![Op::Rotate {
            hundredths: i32::MIN,
        }],
        vec![crop(0, 0)],
        vec![crop(u32::MAX, 1)],
        vec![Op::Resample { ppi: 49 }],
        vec![Op::Resample { ppi: 10_001 }],
        vec![Op::Resample { ppi: 500 }, Op::Resample { ppi: 1000 }],
    ];
    for ops in wrong {
        assert!(Recipe::new(ops.clone()).check().is_err(), "{ops:?}");
    }
    let of_tomorrow = Recipe {
        version: 2,
        ops: vec![],
    };
    assert!(of_tomorrow.check().is_err());
    assert!(Recipe::new(vec![Op::Flip; 16]).check().is_ok());
}

#[test]
fn flips_cancel_in_pairs() {
    for n in 0..6 {
        let recipe = Recipe::new(vec![Op::Flip; n]);
        assert_eq!(recipe.flips(), n % 2 == 1);
        assert!(!recipe.inverts());
    }
}

/// Written by hand from the geometry: which steps exchange left and right, and which make ridges light.
#[test]
fn the_suggested_recipe_undoes_what_the_steps_did() {
    let row = |view: &[Step], want: Option<&[Op]>| {
        let names: Vec<String> = view.iter().map(|s| s.name().to_owned()).collect();
        let got = suggest_for(&names).map(|r| r.ops);
        assert_eq!(got.as_deref(), want, "{view:?}");
    };
    row(&[Step::Front, Step::DarkPowder], Some(&[]));
    row(&[Step::ContactFace, Step::DarkPowder], Some(&[Op::Flip]));
    row(
        &[Step::ContactFace, Step::BlackGel, Step::LightPowder],
        Some(&[Op::Flip, Op::Invert]),
    );
    row(&[Step::Front, Step::LightPowder], Some(&[Op::Invert]));
    row(&[Step::ThroughSubstrate, Step::Flip], Some(&[]));
    row(&[Step::Front, Step::Unknown], None);
    // Which way round is known, tone is not: it is turned, and left as light or dark as it is.
    row(&[Step::Skin, Step::ToneUnknown], Some(&[Op::Flip]));
    assert_eq!(suggest_for(&["no-such-step".to_owned()]), None);
}
