//! View steps, scales and working copies on the record.

use liftledger::custody::Act;
use liftledger::custody::image::SetScale;
use liftledger::custody::state::ImageRef;
use liftledger::ids::{Digest, Subject};
use liftledger::imaging::recipe::{Op, Recipe};
use liftledger::imaging::resolution::Scale;

use super::yard::{Yard, add_copy, add_image, set_scale, set_view, span};

fn image(y: &Yard) -> &ImageRef {
    &y.stage.state.marks[&y.things.mark].images[0]
}

#[test]
fn view_steps_are_set_with_a_reason_and_recorded_with_what_follows() {
    let mut y = Yard::new();
    let (tech, mark) = (y.people.tech, Subject::Mark(y.things.mark));
    assert_eq!(image(&y).reads, "direct");
    y.act(tech, set_view(mark, 1, &["front", "mirror"]))
        .unwrap();
    assert_eq!(image(&y).view, ["front", "mirror"]);
    assert_eq!(image(&y).reads, "reversed");
    let event = y.events.last().unwrap();
    assert_eq!(event.header.kind, "image.view-set");
    assert_eq!(event.field_str("reads"), Some("reversed"));
    assert_eq!(event.fields["was"], serde_json::json!(["front"]));
    let Act::SetView(mut silent) = set_view(mark, 1, &["front"]) else {
        unreachable!()
    };
    silent.reason = " ".into();
    assert_eq!(y.refused(tech, Act::SetView(silent)), "bad-text");
    assert_eq!(
        y.refused(tech, set_view(mark, 1, &["front", "mirror"])),
        "bad-value"
    );
    for wrong in [&["sideways"][..], &[], &["front"; 21]] {
        assert_eq!(y.refused(tech, set_view(mark, 1, wrong)), "bad-value");
    }
    assert_eq!(y.refused(tech, set_view(mark, 2, &["skin"])), "not-found");
    // A scale in the same picture is no part of the steps, and a custodian looks after other things.
    assert_eq!(
        y.refused(y.people.custodian, set_view(mark, 1, &["front"])),
        "role-may-not"
    );
}

#[test]
fn the_flip_of_a_mirroring_tag_stays_whatever_is_said_of_how_the_picture_was_taken() {
    let mut y = Yard::new();
    let (tech, mark) = (y.people.tech, Subject::Mark(y.things.mark));
    // Exif 2.32, tag 0x0112: 2, 4, 5 and 7 mirror.
    for (n, tag) in [(20, 1), (22, 2), (24, 4), (25, 5), (27, 7), (28, 8)] {
        let mut x = add_image(mark, n);
        x.view = vec!["front".into()];
        x.says.orientation_tag = Some(tag);
        y.act(tech, Act::AddImage(x)).unwrap();
        let mirrors = [2, 4, 5, 7].contains(&tag);
        let of = |y: &Yard| {
            let images = &y.stage.state.marks[&y.things.mark].images;
            let image = images.iter().find(|i| i.digest == Digest([n; 32]));
            let image = image.unwrap();
            (image.view.clone(), image.reads.clone())
        };
        let reads = |direct: bool| if direct { "direct" } else { "reversed" };
        assert_eq!(of(&y).1, reads(!mirrors), "{tag}");
        y.act(tech, set_view(mark, n, &["contact-face"])).unwrap();
        let (view, now) = of(&y);
        assert_eq!(
            view.contains(&"flip".to_owned()),
            mirrors,
            "{tag}: {view:?}"
        );
        assert_eq!(now, reads(mirrors), "{tag}");
        // Said again with the flip named or not: nothing new.
        let with = if mirrors {
            vec!["contact-face", "flip"]
        } else {
            vec!["contact-face"]
        };
        assert_eq!(y.refused(tech, set_view(mark, n, &with)), "bad-value");
        assert_eq!(
            y.refused(tech, set_view(mark, n, &["contact-face"])),
            "bad-value"
        );
    }
}

#[test]
fn a_copy_reads_by_the_steps_and_its_recipe_and_anew_when_the_steps_change() {
    let mut y = Yard::new();
    let (examiner, mark) = (y.people.examiner, Subject::Mark(y.things.mark));
    y.act(examiner, set_view(mark, 1, &["contact-face"]))
        .unwrap();
    let flip = Recipe::new(vec![Op::Flip]);
    let twice = Recipe::new(vec![Op::Flip, Op::QuarterTurns { turns: 2 }, Op::Flip]);
    y.act(examiner, add_copy(mark, 1, 8, flip.clone())).unwrap();
    y.act(examiner, add_copy(mark, 1, 9, twice)).unwrap();
    let reads = |y: &Yard| -> Vec<String> {
        let copies = image(y).copies.iter();
        copies.map(|c| c.reads.clone()).collect()
    };
    assert_eq!(reads(&y), ["direct", "reversed"]);
    assert_eq!(image(&y).copies[0].view, ["contact-face"]);
    assert_eq!(image(&y).copies[0].by, Some(examiner));
    // Somebody finds out that it was taken through the carrier after all.
    y.act(examiner, set_view(mark, 1, &["through-medium"]))
        .unwrap();
    assert_eq!(reads(&y), ["reversed", "direct"]);
    assert_ne!(image(&y).copies[0].view, image(&y).view, "seen at the copy");
    y.act(examiner, set_view(mark, 1, &["unknown"])).unwrap();
    assert_eq!(reads(&y), ["unknown", "unknown"]);
    // The same bytes are one copy.
    assert_eq!(
        y.refused(examiner, add_copy(mark, 1, 8, flip)),
        "already-in-use"
    );
    let turned = Recipe::new(vec![Op::QuarterTurns { turns: 4 }]);
    assert_eq!(
        y.refused(examiner, add_copy(mark, 1, 7, turned)),
        "bad-value"
    );
}

#[test]
fn a_scale_is_set_once_freely_and_then_with_a_reason() {
    let mut y = Yard::new();
    let (examiner, mark) = (y.people.examiner, Subject::Mark(y.things.mark));
    let scale = span(100, 100, 4100, 100, "10 mm");
    y.act(examiner, set_scale(mark, 1, Some(scale))).unwrap();
    assert_eq!(image(&y).scale, Some(scale));
    let event = y.events.last().unwrap();
    // 400 pixels on 10 mm are 1016 an inch.
    assert_eq!(event.fields["ppi"], serde_json::json!(1016));
    assert_eq!(
        event.field_str("density"),
        Some("1016 ± 6.3 pixels an inch")
    );
    assert_eq!(event.field_str("warning"), Some(""));
    let coarse = Scale::Scanner { ppi: 600 };
    assert_eq!(
        y.refused(examiner, set_scale(mark, 1, Some(coarse))),
        "bad-text",
        "a second scale needs a reason"
    );
    y.act(
        examiner,
        Act::SetScale(SetScale {
            of: mark,
            digest: Digest([1; 32]),
            scale: Some(coarse),
            reason: "it is a flatbed scan".into(),
        }),
    )
    .unwrap();
    let warning = y.events.last().unwrap().field_str("warning").unwrap();
    assert!(warning.starts_with("Less than 1000"), "{warning}");
    // A copy is made by the scale on record, not by another.
    assert_eq!(
        y.refused(examiner, add_copy(mark, 1, 8, Recipe::new(vec![]))),
        "bad-value"
    );
    for wrong in [
        span(0, 0, 100, 0, "10 mm"),
        span(0, 0, 300_000, 0, "10 mm"),
        span(0, 0, 4000, 0, "9999 in"),
    ] {
        let act = Act::SetScale(SetScale {
            of: mark,
            digest: Digest([1; 32]),
            scale: Some(wrong),
            reason: "again".into(),
        });
        assert_eq!(y.refused(examiner, act), "bad-value");
    }
}
