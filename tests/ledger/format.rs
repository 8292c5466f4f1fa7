//! The worked example of the format's page, recomputed.

use std::collections::BTreeMap;

use liftledger::{
    ids::{CaseId, Digest, EventId, ItemId, PersonId, Subject},
    ledger::{
        checkpoint::{Checkpoint, Key, VerifyingKey, open, sign},
        event::{Attested, Draft, Event, Header, Source, Touch},
        export::{Line, Proof, Shown, parse_subjects, subjects_to_bytes},
        expunged,
        merkle::{self, Frontier},
        payload::{self, Salt},
        verify::{
            FindingCode,
            folder::{self, Files},
        },
    },
};

const PAGE: &str = include_str!("../../src/ledger/FORMAT.md");

/// The lines of the first block behind a sentence of the page.
fn block(sentence: &str) -> String {
    let behind = PAGE
        .split_once(sentence)
        .unwrap_or_else(|| panic!("the page lacks: {sentence}"))
        .1;
    let block = behind
        .split_once("```text\n")
        .unwrap()
        .1
        .split_once("```")
        .unwrap()
        .0;
    block.to_owned()
}

fn events() -> Vec<Event> {
    let read = |line: &str| {
        let line = Line::parse(line.as_bytes()).unwrap();
        let Shown::Whole { salt, fields } = line.payload else {
            panic!("a whole export")
        };
        Event::open(line.header.into_bytes(), salt, &payload::to_bytes(&fields)).unwrap()
    };
    block("The whole export").lines().map(read).collect()
}

fn named<T: ToString>(values: impl IntoIterator<Item = (String, T)>) -> String {
    values
        .into_iter()
        .map(|(name, value)| format!("{name} {}\n", value.to_string()))
        .collect()
}

#[test]
fn payload_of_the_third_event() {
    let third = &events()[2];
    assert_eq!(third.salt, Salt(std::array::from_fn(|i| 32 + i as u8)));
    assert_eq!(
        format!("{}\n", String::from_utf8(third.fields_bytes()).unwrap()),
        block("as the payload row holds them")
    );
    let salts = third
        .fields
        .keys()
        .map(|name| (name.clone(), Digest(payload::field_salt(&third.salt, name))));
    assert_eq!(named(salts), block("The salt of each field"));
    let digests = payload::field_digests(&third.salt, &third.fields);
    assert_eq!(named(digests.clone()), block("The digest of each field"));
    let text = serde_json::to_string(&digests).unwrap();
    assert_eq!(
        format!("{text}\n"),
        block("The text that the payload's root")
    );
    assert_eq!(
        format!("{}\n", third.header.payload_root),
        block("The payload's root:")
    );
    let header = block("The header of event 3");
    assert_eq!(
        Header::parse(header.trim_end().as_bytes()).unwrap(),
        third.header
    );
}

fn frontier(events: &[Event]) -> (Frontier, BTreeMap<(u8, u64), Digest>) {
    let (mut frontier, mut nodes) = (Frontier::new(), BTreeMap::new());
    for event in events {
        nodes.extend(
            frontier
                .append(event.leaf())
                .into_iter()
                .map(|n| ((n.level, n.index), n.hash)),
        );
    }
    (frontier, nodes)
}

#[test]
fn tree_and_proofs() {
    let (frontier, nodes) = frontier(&events());
    let tree = format!(
        "leaf 0 {}\nleaf 1 {}\nleaf 2 {}\nnode {}\nroot {}\n",
        nodes[&(0, 0)],
        nodes[&(0, 1)],
        nodes[&(0, 2)],
        nodes[&(1, 0)],
        frontier.root()
    );
    assert_eq!(tree, block("The tree of all three"));
    let lookup = |l, i| nodes.get(&(l, i)).copied();
    let proofs: String = [2, 3]
        .map(|seq| Proof {
            seq,
            path: merkle::inclusion(seq - 1, 3, lookup).unwrap(),
        })
        .iter()
        .map(|proof| String::from_utf8(proof.to_bytes()).unwrap())
        .collect();
    assert_eq!(proofs, block("Inclusion of events 2 and 3"));
    let consistency: String = merkle::consistency(2, 3, lookup)
        .unwrap()
        .iter()
        .map(|d| format!("{d}\n"))
        .collect();
    assert_eq!(consistency, block("Consistency from 2 events to 3"));
}

#[test]
fn checkpoint_and_key() {
    let key = Key::new(
        &std::array::from_fn(|i| i as u8),
        "ledger.example/sallow-reach",
    )
    .unwrap();
    assert_eq!(
        format!("{}\n", key.verifying_key()),
        block("The key, `vkey.txt`")
    );
    let (frontier, _) = frontier(&events());
    let head = Checkpoint {
        origin: key.name().to_owned(),
        size: 3,
        root: frontier.root(),
    };
    let note = block("The note, `checkpoint.txt`");
    assert_eq!(sign(&head, &key).unwrap(), note);
    assert_eq!(open(&note, key.verifying_key()), Ok(head));
}

#[test]
fn the_folders_of_the_example_verify() {
    let events = events();
    let whole: Vec<u8> = events
        .iter()
        .flat_map(|e| Line::whole(e).to_bytes())
        .collect();
    assert_eq!(whole, block("The whole export").as_bytes());
    let (note, vkey) = (
        block("The note, `checkpoint.txt`"),
        block("The key, `vkey.txt`"),
    );
    let trusted: VerifyingKey = vkey.trim_end().parse().unwrap();
    let mut files = Files {
        events: &whole,
        checkpoint: note.as_bytes(),
        vkey: vkey.as_bytes(),
        proofs: None,
        subjects: None,
    };
    let report = folder::whole(&files, Some(&trusted));
    assert_eq!((report.events, report.findings), (3, vec![]));

    let withheld = Line::part(&events[2], |name| name != "description").to_bytes();
    assert_eq!(
        withheld,
        block("Event 3 with its description withheld").as_bytes()
    );
    let mut part = Line::whole(&events[1]).to_bytes();
    part.extend(withheld);
    let (proofs, subjects) = (
        block("Inclusion of events 2 and 3"),
        block("`subjects.json`:\n"),
    );
    let stated = parse_subjects(subjects.as_bytes()).unwrap();
    assert_eq!(subjects_to_bytes(&stated), subjects.as_bytes());
    files.events = &part;
    files.proofs = Some(proofs.as_bytes());
    files.subjects = Some(subjects.as_bytes());
    let report = folder::part(&files, Some(&trusted));
    assert_eq!((report.events, report.findings), (2, vec![]));
}

/// Event 4 of the last chapter: it expunges event 3.
fn expungement() -> Event {
    let id = |n: u128| uuid::Uuid::from_u128(0x0197_a0c0_0000_7000_8000_0000_0000_0000 | n);
    let fields = serde_json::json!({
        "court": "Sallow District Court", "events": [3], "left": "{\"3\":{}}", "order": "26-EX-3",
    });
    let touch = |subject, n| Touch { subject, n };
    let draft = Draft {
        seq: 4,
        id: EventId(id(0x104)),
        kind: expunged::KIND.into(),
        case: Some(CaseId(id(0xc))),
        touches: vec![
            touch(Subject::Case(CaseId(id(0xc))), 3),
            touch(Subject::Item(ItemId(id(0xd))), 2),
        ],
        actor: Some(PersonId(id(0xa))),
        attested: Attested::Password,
        source: Source::Desk,
        claimed_at: "2026-03-09T11:05:00.000000+01:00".into(),
        recorded_at: "2026-03-09T10:05:00.500000Z".into(),
        rules: "base-1".into(),
    };
    let fields = fields.as_object().unwrap().clone().into_iter().collect();
    Event::seal(draft, Salt(std::array::from_fn(|i| 48 + i as u8)), fields).unwrap()
}

#[test]
fn the_expunged_event_of_the_example_verifies_and_only_by_its_expungement() {
    let mut all = events();
    let fourth = expungement();
    let third = Event::expunged(all[2].bytes.clone(), 4, payload::Fields::new()).unwrap();
    let lines: Vec<u8> = [&third, &fourth]
        .iter()
        .flat_map(|e| Line::whole(e).to_bytes())
        .collect();
    assert_eq!(
        String::from_utf8(lines.clone()).unwrap(),
        block("The lines of the whole export")
    );
    all.push(fourth.clone());
    let (frontier, nodes) = frontier(&all);
    let tree = format!("leaf 3 {}\nroot {}\n", nodes[&(0, 3)], frontier.root());
    assert_eq!(tree, block("The tree of all four"));
    let key = Key::new(
        &std::array::from_fn(|i| i as u8),
        "ledger.example/sallow-reach",
    )
    .unwrap();
    let head = Checkpoint {
        origin: key.name().to_owned(),
        size: 4,
        root: frontier.root(),
    };
    let note = sign(&head, &key).unwrap();
    assert_eq!(note, block(&format!("root {}\n", frontier.root())));

    let whole = |third: &Event, fourth: &Event| {
        let events = [&all[0], &all[1], third, fourth];
        let events: Vec<u8> = events
            .iter()
            .flat_map(|e| Line::whole(e).to_bytes())
            .collect();
        let vkey = format!("{}\n", key.verifying_key());
        let report = folder::whole(
            &Files {
                events: &events,
                checkpoint: note.as_bytes(),
                vkey: vkey.as_bytes(),
                proofs: None,
                subjects: None,
            },
            Some(key.verifying_key()),
        );
        let codes: Vec<FindingCode> = report.findings.iter().map(|f| f.code).collect();
        (report.expunged, codes)
    };
    assert_eq!(whole(&third, &fourth), (1, vec![]));
    // Still there; and marked as expunged by an event that does not name it.
    assert_eq!(
        whole(&all[2], &fourth),
        (0, vec![FindingCode::PayloadNotRemoved])
    );
    let elsewhere = Event::expunged(all[2].bytes.clone(), 2, payload::Fields::new()).unwrap();
    assert_eq!(
        whole(&elsewhere, &fourth),
        (0, vec![FindingCode::NotExpunged])
    );
    let both = Event::expunged(fourth.bytes.clone(), 2, payload::Fields::new()).unwrap();
    assert_eq!(
        whole(&third, &both),
        (0, vec![FindingCode::NotExpunged, FindingCode::NotExpunged])
    );
    assert_eq!(expunged::left(&fourth).into_keys().collect::<Vec<_>>(), [3]);
}
