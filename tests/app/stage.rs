//! Five hundred events verified, replayed, and tampered with.

use chrono::Duration;
use liftledger::app::{StageError, replay};
use liftledger::custody::{Act, hand_over};
use liftledger::ledger::checkpoint::Key;
use liftledger::ledger::merkle::Node;
use liftledger::ledger::verify::{Options, RawCheckpoint, RawEvent, RawNode, Verifier};

use super::world::{five_hundred, rows};

fn verify(
    rows: &[RawEvent],
    nodes: &[Node],
    head: &RawCheckpoint,
    key: &Key,
) -> Vec<(String, Option<u64>)> {
    let mut verifier = Verifier::new(key.verifying_key().clone(), Options::default());
    verifier.push(rows);
    let raw: Vec<RawNode> = nodes
        .iter()
        .map(|n| RawNode {
            level: i64::from(n.level),
            index: i64::try_from(n.index).unwrap(),
            hash: n.hash.0.to_vec(),
        })
        .collect();
    verifier.push_nodes(&raw);
    verifier.push_checkpoint(head);
    verifier
        .finish()
        .findings
        .iter()
        .map(|f| (f.code.as_str().to_owned(), f.seq))
        .collect()
}

#[test]
fn five_hundred_events_verify_and_replay_to_the_same_state() {
    let (w, piece, _) = five_hundred();
    let key = Key::new(&[7; 32], "ledger.example/test").unwrap();
    assert_eq!(w.events.len(), 500);
    assert_eq!(
        verify(&rows(&w.events), &w.nodes, &w.checkpoint(&key), &key),
        vec![]
    );
    let (state, stuck) = replay(&w.events);
    assert_eq!(stuck, vec![]);
    assert_eq!(state.people, w.stage.state.people);
    assert_eq!(state.cases, w.stage.state.cases);
    assert_eq!(state.marks, w.stage.state.marks);
    assert_eq!(state.items, w.stage.state.items);
    assert_eq!(state.packages, w.stage.state.packages);
    assert_eq!(state.holder(piece), w.stage.state.holder(piece));
    // Every count of a subject runs 1, 2, 3 … and the event names the person as they were.
    assert_eq!(
        w.events[499].header.touches[0].n,
        w.stage.count_of(piece.into()).unwrap()
    );
    assert!(w.events[499].field_str("by").unwrap().contains("Βάρνα"));
}

#[test]
fn tampering_is_found_and_names_the_event() {
    let (w, _, _) = five_hundred();
    let key = Key::new(&[7; 32], "ledger.example/test").unwrap();
    let head = w.checkpoint(&key);
    let clean = rows(&w.events);
    for at in (0..clean.len()).step_by(37) {
        let seq = Some(at as u64 + 1);
        for column in 0..3 {
            let mut bad = clean.clone();
            let row = &mut bad[at];
            let bytes = match column {
                0 => &mut row.header,
                1 => row.salt.as_mut().unwrap(),
                _ => row.fields.as_mut().unwrap(),
            };
            let middle = bytes.len() / 2;
            bytes[middle] ^= 1;
            let found = verify(&bad, &w.nodes, &head, &key);
            assert!(
                found.iter().any(|f| f.1 == seq),
                "event {seq:?}, column {column}: {found:?}"
            );
        }
        let mut gone = clean.clone();
        gone.remove(at);
        let found = verify(&gone, &w.nodes, &head, &key);
        assert!(
            found.iter().any(|f| f.1 == seq),
            "event {seq:?} deleted: {found:?}"
        );
    }
    let found = verify(&clean[..490], &w.nodes, &head, &key);
    assert!(
        found.iter().any(|f| f.1 == Some(491)),
        "tail cut off: {found:?}"
    );
}

#[test]
fn a_refusal_changes_nothing_and_time_does_not_run_backwards() {
    let (mut w, piece, hands) = five_hundred();
    let (size, root, count) = (
        w.stage.size(),
        w.stage.frontier().root(),
        w.stage.count_of(piece.into()),
    );
    // The offer is open: a second release is refused.
    let release = hand_over::Release {
        piece,
        to: hands[1],
        purpose: "again".into(),
        authority: String::new(),
        due_at: None,
        unsealed_reason: None,
    };
    let refused = w.act(Some(hands[0]), Act::Release(release));
    assert!(matches!(refused, Err(StageError::Refused(r)) if r.code == "offer-open"));
    assert_eq!(
        (size, root, count),
        (
            w.stage.size(),
            w.stage.frontier().root(),
            w.stage.count_of(piece.into())
        )
    );
    // The clock is set back by a day: the ledger's own time stays where it was.
    let before = w.events[499].header.recorded_at.clone();
    w.now -= Duration::days(1);
    let receive = hand_over::Receive {
        piece,
        seal_seen: "004217".into(),
        condition: hand_over::Condition::Intact,
        note: String::new(),
    };
    w.act(Some(hands[1]), Act::Receive(receive)).unwrap();
    assert_eq!(w.events[500].header.recorded_at, before);
}

#[test]
fn fifty_accept_the_same_offer_and_one_gets_it() {
    let (mut w, piece, hands) = five_hundred();
    let mut codes = Vec::new();
    for _ in 0..50 {
        let receive = hand_over::Receive {
            piece,
            seal_seen: "004217".into(),
            condition: hand_over::Condition::Intact,
            note: String::new(),
        };
        match w.act(Some(hands[1]), Act::Receive(receive)) {
            Ok(_) => codes.push("received".to_owned()),
            Err(StageError::Refused(r)) => codes.push(r.code),
            Err(e) => panic!("{e}"),
        }
    }
    assert_eq!(codes.iter().filter(|c| *c == "received").count(), 1);
    assert_eq!(codes.iter().filter(|c| *c == "no-open-offer").count(), 49);
}
