//! A ledger in memory: rows as a store would hold them, ready to be tampered with.

use chrono::{DateTime, Utc};
use liftledger::{
    ids::{CaseId, EventId, ItemId, PersonId, Subject},
    ledger::{
        checkpoint::{Checkpoint, Key, sign},
        event::{Attested, Draft, Event, Source, Touch},
        merkle::Frontier,
        payload::{Fields, Salt},
        times,
        verify::{Options, RawCheckpoint, RawEvent, RawNode, Report, Verifier},
    },
};
use serde_json::json;
use std::collections::HashMap;
use uuid::Uuid;

/// A checkpoint is signed whenever so many events have come, and after the last one.
pub const EVERY: u64 = 37;

#[derive(Clone)]
pub struct Memory {
    pub key: Key,
    pub events: Vec<Event>,
    pub rows: Vec<RawEvent>,
    pub nodes: Vec<RawNode>,
    pub heads: Vec<RawCheckpoint>,
}

pub fn uuid(kind: u128, n: u64) -> Uuid {
    Uuid::from_u128(0x0197_a0c0_0000_7000_8000_0000_0000_0000 | kind << 32 | u128::from(n))
}

/// Cases of ten events each; each case has three items; five people act in turn.
fn draft(seq: u64, counts: &mut HashMap<Subject, u64>) -> (Draft, Salt, Fields) {
    let case = CaseId(uuid(0xc, (seq - 1) / 10));
    let mut subjects = vec![Subject::Case(case)];
    if seq % 10 != 1 {
        subjects.push(Subject::Item(ItemId(uuid(
            0xd,
            (seq - 1) / 10 * 3 + seq % 3,
        ))));
    }
    let touches = subjects
        .into_iter()
        .map(|subject| {
            let n = counts.entry(subject).or_default();
            *n += 1;
            Touch { subject, n: *n }
        })
        .collect();
    let time = DateTime::<Utc>::from_timestamp(1_772_400_000 + i64::try_from(seq).unwrap() * 61, 0)
        .unwrap();
    let draft = Draft {
        seq,
        id: EventId(uuid(0xe, seq)),
        kind: if seq % 10 == 1 {
            "case.opened"
        } else {
            "item.moved"
        }
        .to_owned(),
        case: Some(case),
        touches,
        actor: (seq > 1).then(|| PersonId(uuid(0xa, seq % 5))),
        attested: Attested::ALL[usize::try_from(seq).unwrap() % Attested::ALL.len()],
        source: Source::Desk,
        claimed_at: times::claimed(time.fixed_offset()),
        recorded_at: times::recorded(time),
        rules: "base-1".to_owned(),
    };
    let salt = Salt(std::array::from_fn(|i| (seq * 31 + i as u64 * 7) as u8));
    let fields = Fields::from([
        (
            "note".to_owned(),
            json!(format!("Slip {} of \"Sallow Reach\", dry", seq % 9)),
        ),
        ("parts".to_owned(), json!([{"of": "hull", "n": seq}, true])),
        ("shelf".to_owned(), json!(seq % 13)),
    ]);
    (draft, salt, fields)
}

impl Memory {
    pub fn new(size: u64) -> Self {
        let key = Key::new(&[42; 32], "ledger.example/memory").unwrap();
        let mut all = Self {
            key,
            events: vec![],
            rows: vec![],
            nodes: vec![],
            heads: vec![],
        };
        let (mut frontier, mut counts) = (Frontier::new(), HashMap::new());
        for seq in 1..=size {
            let (draft, salt, fields) = draft(seq, &mut counts);
            let event = Event::seal(draft, salt, fields).unwrap();
            for node in frontier.append(event.leaf()) {
                let (level, index) = (i64::from(node.level), i64::try_from(node.index).unwrap());
                all.nodes.push(RawNode {
                    level,
                    index,
                    hash: node.hash.0.to_vec(),
                });
            }
            all.rows.push(row(&event));
            all.events.push(event);
            if seq % EVERY == 0 || seq == size {
                let head = Checkpoint {
                    origin: all.key.name().to_owned(),
                    size: seq,
                    root: frontier.root(),
                };
                let note = sign(&head, &all.key).unwrap().into_bytes();
                all.heads.push(RawCheckpoint {
                    size: i64::try_from(seq).unwrap(),
                    note,
                });
            }
        }
        all
    }

    /// A verifier that has taken everything in.
    pub fn verifier(&self) -> Verifier {
        let mut verifier = Verifier::new(self.key.verifying_key().clone(), Options::default());
        for batch in self.rows.chunks(97) {
            verifier.push(batch);
        }
        verifier.push_nodes(&self.nodes);
        for head in &self.heads {
            verifier.push_checkpoint(head);
        }
        verifier
    }

    pub fn verify(&self) -> Report {
        self.verifier().finish()
    }

    pub fn node(&mut self, level: i64, index: i64) -> usize {
        self.nodes
            .iter()
            .position(|n| n.level == level && n.index == index)
            .unwrap()
    }
}

pub fn row(event: &Event) -> RawEvent {
    RawEvent {
        seq: i64::try_from(event.header.seq).unwrap(),
        id: event.header.id.to_string(),
        header: event.bytes.clone(),
        salt: Some(event.salt.0.to_vec()),
        fields: Some(event.fields_bytes()),
    }
}
