//! Headers: their one layout, and what is refused.

use chrono::{DateTime, FixedOffset, Utc};
use liftledger::{
    ids::{CaseId, EventId, ItemId, PersonId, Subject},
    ledger::{
        canonical,
        event::{Attested, Draft, Event, EventError, Header, MAX_TOUCHES, Source, Touch},
        payload::{Fields, PayloadError, Salt},
        times,
    },
};
use proptest::prelude::*;
use serde_json::json;
use uuid::Uuid;

fn item(n: u128) -> Subject {
    Subject::Item(ItemId(Uuid::from_u128(n)))
}

fn draft() -> Draft {
    Draft {
        seq: 7,
        id: EventId(Uuid::from_u128(0x0197_a0c0_0000_7000_8000_0000_0000_0007)),
        kind: "item.recovered".to_owned(),
        case: Some(CaseId(Uuid::from_u128(5))),
        touches: vec![
            Touch {
                subject: item(1),
                n: 1,
            },
            Touch {
                subject: item(2),
                n: 12,
            },
        ],
        actor: None,
        attested: Attested::OneTimeCode,
        source: Source::CommandLine,
        claimed_at: "2026-03-02T10:40:00.000000+01:00".to_owned(),
        recorded_at: "2026-03-02T09:41:30.250000Z".to_owned(),
        rules: "base-1".to_owned(),
    }
}

fn sealed() -> Event {
    Event::seal(
        draft(),
        Salt([9; 16]),
        Fields::from([
            ("note".to_owned(), json!("wet")),
            ("n".to_owned(), json!(3)),
        ]),
    )
    .unwrap()
}

#[test]
fn what_is_sealed_opens_again() {
    let event = sealed();
    let again = Event::open(event.bytes.clone(), event.salt, &event.fields_bytes()).unwrap();
    assert_eq!(again, event);
    assert_eq!(again.field_str("note"), Some("wet"));
    assert_eq!(again.field_i64("n"), Some(3));
    assert_eq!(again.field_str("n"), None);
    assert_eq!(again.count_of(item(2)), Some(12));
    assert_eq!(again.count_of(item(3)), None);
    let other = Event::open(event.bytes, Salt([8; 16]), &sealed().fields_bytes());
    assert_eq!(other, Err(EventError::PayloadDiffers(7)));
}

#[test]
fn the_header_is_canonical_json_of_what_it_says() {
    let event = sealed();
    let value = canonical::parse_strict(&event.bytes).unwrap();
    assert_eq!(value, serde_json::to_value(&event.header).unwrap());
    assert_eq!(value["actor"], "");
    assert_eq!(value["attested"], "one-time-code");
    assert_eq!(value["source"], "command-line");
    for word in Attested::ALL {
        assert_eq!(serde_json::to_value(word).unwrap(), word.as_str());
    }
    for word in Source::ALL {
        assert_eq!(serde_json::to_value(word).unwrap(), word.as_str());
    }
}

#[test]
fn each_rule_of_a_header_refuses() {
    type Change = fn(&mut Draft);
    let twice = item(1);
    let rules: [(Change, EventError); 13] = [
        (|d| d.seq = 0, EventError::Seq),
        (|d| d.seq = 1 << 53, EventError::Seq),
        (|d| d.kind = String::new(), EventError::Kind(String::new())),
        (|d| d.kind = "Item".into(), EventError::Kind("Item".into())),
        (|d| d.rules = "a\"b".into(), EventError::Rules),
        (|d| d.rules = "x".repeat(129), EventError::Rules),
        (
            |d| d.claimed_at = "2026-03-02T10:40:00.000000Z".into(),
            EventError::ClaimedAt,
        ),
        (
            |d| d.claimed_at = "2026-03-02T10:40:00.000000-00:00".into(),
            EventError::ClaimedAt,
        ),
        (
            |d| d.recorded_at = "2026-02-30T09:41:30.250000Z".into(),
            EventError::RecordedAt,
        ),
        (
            |d| d.recorded_at = "2026-03-02T09:41:30.25Z".into(),
            EventError::RecordedAt,
        ),
        (
            |d| d.touches[1] = d.touches[0],
            EventError::TouchedTwice(twice),
        ),
        (|d| d.touches[0].n = 0, EventError::Count(twice)),
        (
            |d| {
                d.touches = (0..=MAX_TOUCHES as u128)
                    .map(|n| Touch {
                        subject: item(n),
                        n: 1,
                    })
                    .collect()
            },
            EventError::TooManyTouches,
        ),
    ];
    for (change, refusal) in rules {
        let mut d = draft();
        change(&mut d);
        assert_eq!(Event::seal(d, Salt([0; 16]), Fields::new()), Err(refusal));
    }
    let bad = Event::seal(
        draft(),
        Salt([0; 16]),
        Fields::from([("x".to_owned(), json!(null))]),
    );
    assert_eq!(
        bad,
        Err(EventError::Payload(PayloadError::Value("x".to_owned())))
    );
    let mut header = sealed().header;
    header.v = 2;
    assert_eq!(header.to_bytes(), Err(EventError::Version(2)));
}

#[test]
fn a_long_list_of_touches_is_checked_for_repetition_too() {
    let mut d = draft();
    d.touches = (0..100)
        .map(|n| Touch {
            subject: item(n),
            n: 1,
        })
        .collect();
    let event = Event::seal(d.clone(), Salt([0; 16]), Fields::new()).unwrap();
    assert_eq!(Header::parse(&event.bytes).unwrap(), event.header);
    d.touches[99] = d.touches[3];
    assert_eq!(
        Event::seal(d, Salt([0; 16]), Fields::new()),
        Err(EventError::TouchedTwice(item(3)))
    );
}

#[test]
fn other_spellings_of_a_header_are_refused() {
    let text = String::from_utf8(sealed().bytes).unwrap();
    let changes = [
        ("\"v\":1}", "\"v\":2}"),
        ("\"v\":1}", "\"v\":1,\"w\":1}"),
        ("\"seq\":7", "\"seq\":07"),
        ("\"seq\":7", "\"seq\":7.0"),
        ("\"seq\":7", "\"seq\":\"7\""),
        ("\"seq\":7", "\"seq\":0"),
        ("item.recovered", "item\\u002erecovered"),
        ("0197a0c0", "0197A0C0"),
        ("0197a0c0-0000", "{197a0c0-0000"),
        ("\"actor\":\"\"", "\"actor\":null"),
        ("\"n\":1,", "\"n\":0,"),
        ("base-1", "base\u{e9}"),
        ("item:", "thing:"),
        ("2026-03-02T09", "2026-03-02t09"),
    ];
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        let changed = text.replacen(from, to, 1);
        assert_eq!(
            Header::parse(changed.as_bytes()),
            Err(EventError::NotCanonical),
            "{to}"
        );
    }
}

#[test]
fn times_are_cut_off_not_rounded() {
    let time: DateTime<Utc> = "2026-12-31T23:59:59.999999999Z".parse().unwrap();
    assert_eq!(times::recorded(time), "2026-12-31T23:59:59.999999Z");
    let time: DateTime<FixedOffset> = "2026-06-01T05:06:07.1234567-09:30".parse().unwrap();
    assert_eq!(times::claimed(time), "2026-06-01T05:06:07.123456-09:30");
    let utc: DateTime<FixedOffset> = "2026-06-01T05:06:07Z".parse().unwrap();
    assert_eq!(times::claimed(utc), "2026-06-01T05:06:07.000000+00:00");
    let leap: DateTime<Utc> = "2016-12-31T23:59:60.5Z".parse().unwrap();
    assert!(times::is_recorded(&times::recorded(leap)));
    for text in [times::claimed(time), times::claimed(utc)] {
        assert_eq!(times::claimed(times::parse_claimed(&text).unwrap()), text);
    }
    let text = "2024-02-29T00:00:00.000001Z";
    assert_eq!(times::recorded(times::parse_recorded(text).unwrap()), text);
    for text in [
        "2025-02-29T00:00:00.000001Z",
        "2024-02-29T24:00:00.000001Z",
        "2024-02-29T00:00:60.000001Z",
    ] {
        assert!(times::parse_recorded(text).is_err(), "{text}");
    }
    assert!(times::parse_claimed("2024-02-29T00:00:00.000001+24:00").is_err());
    // A date has no zone: the 2nd begins at 10:00 UTC of the 1st where it begins first.
    let at = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
    let second = "2026-03-02".parse().unwrap();
    assert!(times::is_to_come(second, at("2026-03-01T09:59:59Z")));
    assert!(!times::is_to_come(second, at("2026-03-01T10:00:00Z")));
}

/// The slow way: serde reads it, and it is written again to the same bytes.
fn slow(bytes: &[u8]) -> Option<Header> {
    let header: Header = serde_json::from_slice(bytes).ok()?;
    (header.to_bytes().ok()? == bytes).then_some(header)
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(1500) })]

    #[test]
    fn both_readers_of_a_header_agree(
        seq in 1_u64..1 << 53,
        actor in proptest::option::of(any::<u128>()),
        touches in proptest::collection::btree_map(any::<u128>(), 1_u64..99, 0..4),
        damage in proptest::collection::vec((any::<u16>(), any::<u8>()), 0..3),
    ) {
        let mut d = draft();
        d.seq = seq;
        d.actor = actor.map(|n| PersonId(Uuid::from_u128(n)));
        d.touches = touches.into_iter().map(|(s, n)| Touch { subject: item(s), n }).collect();
        let mut bytes = Event::seal(d, Salt([1; 16]), Fields::new()).unwrap().bytes;
        for (at, mask) in damage {
            let at = usize::from(at) % bytes.len();
            bytes[at] ^= mask & 0x7f;
        }
        prop_assert_eq!(Header::parse(&bytes).ok(), slow(&bytes));
        if Header::parse(&bytes).is_ok() {
            prop_assert!(canonical::parse_strict(&bytes).is_ok());
        }
    }
}
