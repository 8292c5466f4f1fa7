//! Words: times with zones, signatures, acts, sizes, orientation.

use chrono::{DateTime, FixedOffset};
use liftledger::app::views::orientation::orientation;
use liftledger::app::views::words;
use liftledger::custody::Fact;
use liftledger::lifting::handedness::{Relief, Tone};
use liftledger::zone::Zone;

#[test]
fn times_always_show_their_zone() {
    let at = DateTime::parse_from_rfc3339("2026-11-25T13:20:05Z").unwrap();
    let zone = |h: i32| Zone::Fixed(FixedOffset::east_opt(h * 3600).unwrap());
    assert_eq!(words::when(&at, zone(1)), "2026-11-25 14:20:05 +01:00");
    assert_eq!(words::minute(&at, zone(0)), "2026-11-25 13:20 +00:00");
    assert_eq!(words::minute(&at, zone(-14)), "2026-11-24 23:20 -14:00");
}

#[test]
fn a_signature_on_the_record_becomes_words() {
    assert_eq!(words::signed_by("N. Brandt (4711)"), "N. Brandt, no. 4711");
    assert_eq!(words::signed_by("A (b) Cole (T-1)"), "A (b) Cole, no. T-1");
    assert_eq!(words::signed_by("nobody"), "nobody");
}

#[test]
fn every_kind_of_fact_has_an_act() {
    for kind in Fact::KINDS {
        assert_ne!(words::act(kind), *kind);
    }
    assert_eq!(words::act("later.kind"), "later.kind");
}

#[test]
fn sizes_in_words() {
    assert_eq!(words::bytes(812), "812 bytes");
    assert_eq!(words::bytes(1_000), "1.0 kB");
    assert_eq!(words::bytes(4_150_000), "4.2 MB");
    assert_eq!(words::bytes(u64::MAX), "18446744073709.6 MB");
}

#[test]
fn a_cast_on_its_contact_face_is_mirrored_and_says_so() {
    let view = ["contact-face".to_owned(), "cast".to_owned()];
    let o = orientation(&view, "reversed", "why");
    assert_eq!(o.banner.as_deref(), Some(words::MIRRORED));
    assert_eq!(o.steps[0].turns, Some(true));
    assert_eq!(o.steps[1].turns, Some(false));
    assert_eq!(o.relief, Relief::Inverted);
}

#[test]
fn a_step_of_a_later_version_leaves_everything_unknown() {
    let o = orientation(&["sideways".to_owned()], "unknown", "why");
    assert_eq!(o.steps[0].turns, None);
    assert_eq!((o.relief, o.tone), (Relief::Unknown, Tone::Unknown));
    assert_eq!(o.banner.as_deref(), Some(words::NOT_ESTABLISHED));
}
