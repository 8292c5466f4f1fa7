//! What a photograph's file says of itself, held against what its sender says.

use chrono::{DateTime, Duration, FixedOffset};
use liftledger::custody::fact::Fact;
use liftledger::custody::image::ImageAdded;
use liftledger::custody::{Act, Command};
use liftledger::ids::Subject;
use liftledger::imaging::metadata::FileSays;

use super::yard::{Yard, add_image, command};

fn added(y: &Yard) -> ImageAdded {
    let last = y.events.last().unwrap();
    match Fact::from_fields(&last.header.kind, &last.fields).unwrap() {
        Fact::ImageAdded(x) => x,
        other => panic!("{other:?}"),
    }
}

/// Adds a picture of the mark with this said by its file, and this by its sender.
fn add(says: FileSays, view: &[&str], claimed_at: Option<DateTime<FixedOffset>>) -> ImageAdded {
    let mut y = Yard::new();
    let mut x = add_image(Subject::Mark(y.things.mark), 9);
    x.says = says;
    x.view = view.iter().map(|s| (*s).to_owned()).collect();
    let sent = Command {
        claimed_at,
        late_reason: Some("written up in the evening".into()),
        ..command(Act::AddImage(x))
    };
    y.send(y.people.tech, &sent).unwrap();
    let added = added(&y);
    let kept = y.stage.state.marks[&y.things.mark].images.last().unwrap();
    assert_eq!(
        (&kept.says, &kept.clock_note),
        (&added.says, &added.clock_note)
    );
    added
}

/// Exif 2.32, 4.6.4: tags 2, 4, 5 and 7 have an odd number of mirrorings.
#[test]
fn a_mirroring_tag_counts_in_the_parity_for_stated_and_usual_views() {
    for tag in 1..=8 {
        let says = || FileSays {
            orientation_tag: Some(tag),
            ..FileSays::default()
        };
        let mirrors = [2, 4, 5, 7].contains(&tag);
        for (view, reads) in [
            (&[][..], "direct"),
            (&["front"], "direct"),
            (&["front", "mirror"], "reversed"),
        ] {
            let other = if reads == "direct" {
                "reversed"
            } else {
                "direct"
            };
            let x = add(says(), view, None);
            assert_eq!(
                x.reads,
                if mirrors { other } else { reads },
                "{tag} {view:?}"
            );
            assert_eq!(x.view.last().is_some_and(|s| s == "flip"), mirrors);
        }
        let unknown = add(says(), &["unknown"], None);
        assert_eq!(unknown.reads, "unknown");
    }
    assert_eq!(add(FileSays::default(), &[], None).view, ["front"]);
}

fn taken(at: String) -> FileSays {
    FileSays {
        captured_at: Some(at),
        ..FileSays::default()
    }
}

#[test]
fn a_camera_clock_that_differs_is_noted() {
    let now = Yard::new().now.fixed_offset();
    let zone = FixedOffset::east_opt(2 * 3600).unwrap();
    let stated = (now - Duration::hours(5)).with_timezone(&zone);
    let note = |offset: Duration| {
        let at = (stated + offset).to_utc().to_rfc3339();
        add(taken(at), &[], Some(stated)).clock_note
    };
    assert_eq!(note(Duration::minutes(15)), None);
    assert_eq!(note(Duration::minutes(-15)), None);
    assert_eq!(
        note(Duration::minutes(16)).unwrap(),
        "The camera's clock says 16 min after the time stated"
    );
    assert_eq!(
        note(Duration::minutes(-190)).unwrap(),
        "The camera's clock says 3 h 10 min before the time stated"
    );
    assert_eq!(
        note(Duration::days(-400)).unwrap(),
        "The camera's clock says 400 days 0 h before the time stated"
    );
    // A clock without a zone is taken as showing that of whoever states the time.
    let local = |offset: Duration| {
        let at = (stated + offset).format("%Y-%m-%dT%H:%M:%S").to_string();
        add(taken(at), &[], Some(stated)).clock_note
    };
    assert_eq!(local(Duration::zero()), None);
    assert_eq!(
        local(Duration::hours(-2)).unwrap(),
        "The camera's clock says 2 h 0 min before the time stated"
    );
}

#[test]
fn without_a_stated_time_the_entry_is_what_it_is_held_against() {
    let now = Yard::new().now.fixed_offset();
    let note = |offset: Duration| add(taken((now + offset).to_rfc3339()), &[], None).clock_note;
    // Entered in the evening what was taken in the morning: nothing to look into.
    assert_eq!(note(Duration::hours(-20)), None);
    assert!(
        note(Duration::hours(-25))
            .unwrap()
            .contains("before it was entered")
    );
    assert!(
        note(Duration::hours(1))
            .unwrap()
            .contains("after it was entered")
    );
    // Where neither says a zone, only what no zone explains is flagged.
    let clock = |offset: Duration| {
        let at = (now + offset).format("%Y-%m-%dT%H:%M:%S").to_string();
        add(taken(at), &[], None).clock_note
    };
    assert_eq!(clock(Duration::hours(13)), None);
    assert_eq!(clock(Duration::hours(-37)), None);
    assert!(clock(Duration::hours(15)).is_some());
    assert!(clock(Duration::hours(-39)).is_some());
}

#[test]
fn what_a_file_cannot_say_is_refused() {
    let mut y = Yard::new();
    let me = y.people.tech;
    let wrong = [
        taken("yesterday".into()),
        FileSays {
            orientation_tag: Some(9),
            ..FileSays::default()
        },
        FileSays {
            camera: Some("x".repeat(101)),
            ..FileSays::default()
        },
    ];
    for (says, code) in wrong
        .into_iter()
        .zip(["bad-value", "bad-value", "bad-text"])
    {
        let mut x = add_image(Subject::Mark(y.things.mark), 9);
        x.says = says;
        assert_eq!(y.refused(me, Act::AddImage(x)), code);
    }
}

/// Facts recorded before files were asked what they say.
#[test]
fn an_older_fact_is_read_and_written_as_it_was() {
    let x = add(FileSays::default(), &[], None);
    let fields = Fact::ImageAdded(x).to_fields().unwrap();
    assert!(!fields.contains_key("says") && !fields.contains_key("clock_note"));
    assert!(Fact::from_fields("image.added", &fields).is_ok());
}
