//! Tampering, and what the verifier says to it. Every finding is named exactly: nothing missed, nobody wrongly accused.

use std::collections::BTreeSet;

use liftledger::{
    ids::Digest,
    ledger::{
        checkpoint::{Checkpoint, Key, sign},
        event::Event,
        merkle::{Frontier, leaf_hash},
        payload::Fields,
        verify::{
            FindingCode as Code, Options, RawCheckpoint, RawEvent, RawNode, Report, Verifier,
        },
    },
};
use serde_json::json;

use super::memory::{EVERY, Memory, row};

/// Findings that accuse one row of being altered. The others follow from it or are about many rows.
const ABOUT_A_ROW: [Code; 8] = [
    Code::HeaderUnreadable,
    Code::HeaderAltered,
    Code::IdDiffers,
    Code::SeqDiffers,
    Code::PayloadMissing,
    Code::PayloadUnreadable,
    Code::PayloadAltered,
    Code::NodeWrong,
];

fn accused(report: &Report) -> BTreeSet<u64> {
    report
        .findings
        .iter()
        .filter(|f| ABOUT_A_ROW.contains(&f.code))
        .filter_map(|f| f.seq)
        .collect()
}

fn codes(report: &Report) -> Vec<(Code, Option<u64>, Option<u64>)> {
    report
        .findings
        .iter()
        .map(|f| (f.code, f.seq, f.last))
        .collect()
}

fn has(report: &Report, code: Code, seq: u64) -> bool {
    report
        .findings
        .iter()
        .any(|f| f.code == code && f.seq == Some(seq))
}

/// Where in a row a byte can be flipped.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Place {
    Header(usize),
    Salt(usize),
    Fields(usize),
    Id(usize),
}

fn places(row: &RawEvent) -> Vec<Place> {
    let headers = (0..row.header.len()).map(Place::Header);
    let salts = (0..row.salt.as_ref().unwrap().len()).map(Place::Salt);
    let fields = (0..row.fields.as_ref().unwrap().len()).map(Place::Fields);
    headers
        .chain(salts)
        .chain(fields)
        .chain((0..row.id.len()).map(Place::Id))
        .collect()
}

fn flip(row: &mut RawEvent, place: Place, mask: u8) {
    match place {
        Place::Header(at) => row.header[at] ^= mask,
        Place::Salt(at) => row.salt.as_mut().unwrap()[at] ^= mask,
        Place::Fields(at) => row.fields.as_mut().unwrap()[at] ^= mask,
        Place::Id(at) => {
            // A text column holds text, so only bits that keep it ASCII.
            let mut bytes = std::mem::take(&mut row.id).into_bytes();
            bytes[at] ^= mask & 0x7f | u8::from(mask == 0x80);
            row.id = String::from_utf8(bytes).unwrap();
        }
    }
}

/// Flips one byte in each of every second row at once and looks at who is accused: those rows and no others. The rows
/// do not hide one another, since each is accused by its own bytes. Returns how many flips were tried.
fn flip_all(clean: &Memory, targets: &[Vec<Place>]) -> usize {
    let mut tried = 0;
    for half in 0..2 {
        let most = targets
            .iter()
            .skip(half)
            .step_by(2)
            .map(Vec::len)
            .max()
            .unwrap();
        for round in 0..most {
            let mut bad = clean.clone();
            let mut expected = BTreeSet::new();
            let mut headers = BTreeSet::new();
            let mut payloads = BTreeSet::new();
            for (i, places) in targets.iter().enumerate().skip(half).step_by(2) {
                let Some(&place) = places.get(round) else {
                    continue;
                };
                let seq = i as u64 + 1;
                flip(&mut bad.rows[i], place, 1 << ((round + i) % 8));
                expected.insert(seq);
                match place {
                    Place::Header(_) => drop(headers.insert(seq)),
                    Place::Salt(_) | Place::Fields(_) => drop(payloads.insert(seq)),
                    Place::Id(_) => {}
                }
            }
            let report = bad.verify();
            assert_eq!(accused(&report), expected, "half {half}, round {round}");
            for seq in headers {
                assert!(
                    has(&report, Code::HeaderAltered, seq),
                    "header of {seq}, round {round}"
                );
            }
            for seq in payloads {
                let found = has(&report, Code::PayloadAltered, seq)
                    || has(&report, Code::PayloadUnreadable, seq);
                assert!(found, "payload of {seq}, round {round}");
            }
            tried += expected.len();
        }
    }
    tried
}

#[test]
fn a_clean_ledger_has_no_findings() {
    for size in [0, 1, 2, 3, EVERY, 64, 500] {
        let clean = Memory::new(size);
        let report = clean.verify();
        assert_eq!((report.events, codes(&report)), (size, vec![]), "{size}");
        let mut frontier = Frontier::new();
        clean
            .events
            .iter()
            .for_each(|e| drop(frontier.append(e.leaf())));
        assert_eq!(report.root, frontier.root());
        assert!(report.is_clean());
    }
}

#[test]
fn every_byte_of_sixty_events() {
    let clean = Memory::new(60);
    let targets: Vec<_> = clean.rows.iter().map(places).collect();
    let bytes: usize = targets.iter().map(Vec::len).sum();
    assert_eq!(flip_all(&clean, &targets), bytes);
}

#[test]
fn every_seventh_byte_of_five_hundred_events() {
    let clean = Memory::new(500);
    let every =
        |(i, row): (usize, &RawEvent)| places(row).into_iter().skip(i % 7).step_by(7).collect();
    let targets: Vec<Vec<_>> = clean.rows.iter().enumerate().map(every).collect();
    let bytes: usize = targets.iter().map(Vec::len).sum();
    assert_eq!(flip_all(&clean, &targets), bytes);
}

/// One flip at a time, with everything the verifier says: besides the row, only what follows from it.
#[test]
fn one_byte_at_a_time() {
    let clean = Memory::new(500);
    for round in 0..120_usize {
        let i = round * 211 % 500;
        let seq = i as u64 + 1;
        let all = places(&clean.rows[i]);
        let place = all[round * 7919 % all.len()];
        let mut bad = clean.clone();
        flip(&mut bad.rows[i], place, 1 << (round % 7));
        let report = bad.verify();
        assert_eq!(accused(&report), BTreeSet::from([seq]), "{place:?}");
        if !matches!(place, Place::Header(_)) {
            assert_eq!(report.findings.len(), 1, "{place:?}: {:?}", report.findings);
            continue;
        }
        // The last checkpoint in front of the event stands, all from there on are refused.
        let last_good = (seq - 1) / EVERY * EVERY;
        let heads: Vec<_> = report
            .findings
            .iter()
            .filter(|f| f.code == Code::HistoryAltered)
            .collect();
        assert_eq!(
            heads.len(),
            clean.heads.len() - usize::try_from(last_good / EVERY).unwrap()
        );
        assert!(
            heads
                .iter()
                .all(|f| f.seq == Some(last_good + 1) && f.last >= Some(seq))
        );
    }
}

/// A header that was altered with care: canonical, valid, its payload altered to match.
#[test]
fn a_consistent_alteration_is_named() {
    let clean = Memory::new(100);
    let mut bad = clean.clone();
    let old = &clean.events[41];
    let mut fields: Fields = old.fields.clone();
    fields.insert("shelf".to_owned(), json!(99));
    let h = old.header.clone();
    let draft = liftledger::ledger::event::Draft {
        seq: h.seq,
        id: h.id,
        kind: h.kind,
        case: h.case,
        touches: h.touches,
        actor: h.actor,
        attested: h.attested,
        source: h.source,
        claimed_at: h.claimed_at,
        recorded_at: h.recorded_at,
        rules: h.rules,
    };
    let forged = Event::seal(draft, old.salt, fields).unwrap();
    bad.rows[41] = row(&forged);
    let expected = vec![
        (Code::HistoryAltered, Some(38), Some(74)),
        (Code::HistoryAltered, Some(38), Some(100)),
        (Code::TailUnsigned, Some(38), Some(100)),
        (Code::HeaderAltered, Some(42), None),
    ];
    assert_eq!(codes(&bad.verify()), expected);

    // With the whole tree built anew only the checkpoints speak, and name the stretch.
    let mut frontier = Frontier::new();
    bad.nodes.clear();
    for row in &bad.rows {
        for node in frontier.append(leaf_hash(&row.header)) {
            let (level, index) = (i64::from(node.level), i64::try_from(node.index).unwrap());
            bad.nodes.push(RawNode {
                level,
                index,
                hash: node.hash.0.to_vec(),
            });
        }
    }
    assert_eq!(codes(&bad.verify()), expected[..3]);

    // With checkpoints signed anew by the same key the ledger is clean, and only a kept checkpoint tells.
    let kept = String::from_utf8(bad.heads[2].note.clone()).unwrap();
    let early = String::from_utf8(bad.heads[0].note.clone()).unwrap();
    let head = Checkpoint {
        origin: bad.key.name().to_owned(),
        size: 100,
        root: frontier.root(),
    };
    bad.heads.truncate(1);
    bad.heads.push(RawCheckpoint {
        size: 100,
        note: sign(&head, &bad.key).unwrap().into_bytes(),
    });
    assert!(bad.verify().is_clean());
    let mut verifier = bad.verifier();
    verifier.external_checkpoint(&early);
    verifier.external_checkpoint(&kept);
    assert_eq!(
        codes(&verifier.finish()),
        [(Code::ExternalDiffers, Some(1), Some(100))]
    );
}

#[test]
fn deleted_rows() {
    for seq in [1_u64, 2, 50, 61, 99] {
        let mut bad = Memory::new(100);
        let lost = bad.rows.remove(usize::try_from(seq - 1).unwrap());
        let mut verifier = bad.verifier();
        verifier.push_payload_without_event(lost.seq);
        let report = verifier.finish();
        let first = |code| {
            report
                .findings
                .iter()
                .filter(|f| f.code == code)
                .map(|f| (f.seq, f.last))
                .collect::<Vec<_>>()
        };
        assert_eq!(first(Code::EventMissing), [(Some(seq), Some(seq))]);
        assert_eq!(first(Code::PayloadWithoutEvent), [(Some(seq), None)]);
        assert!(accused(&report).is_empty(), "{:?}", report.findings);
        // The stored leaf stands in, so nothing else is drawn into it but the counts of its subjects.
        let others = report
            .findings
            .iter()
            .filter(|f| f.code != Code::EventMissing && f.subject.is_none());
        assert_eq!(others.count(), 1);
    }
    let mut bad = Memory::new(100);
    bad.rows.drain(20..30);
    assert!(codes(&bad.verify()).contains(&(Code::EventMissing, Some(21), Some(30))));
}

#[test]
fn the_tail_cut_off() {
    let mut bad = Memory::new(100);
    bad.rows.truncate(90);
    let report = bad.verify();
    assert!(codes(&report).contains(&(Code::TailMissing, Some(91), Some(100))));
    assert!(
        codes(&report).contains(&(Code::NodeExtra, Some(91), Some(100))),
        "{:?}",
        report.findings
    );
    assert!(codes(&report).contains(&(Code::TailUnsigned, Some(75), Some(90))));
    assert!(accused(&report).is_empty());

    // Cut off with its nodes and its last checkpoint, back to an older head: only a kept checkpoint tells.
    let whole = Memory::new(100);
    let mut bad = Memory::new(74);
    assert!(bad.verify().is_clean());
    bad.heads.truncate(2);
    let mut verifier = bad.verifier();
    verifier.external_checkpoint(std::str::from_utf8(&whole.heads[2].note).unwrap());
    assert_eq!(
        codes(&verifier.finish()),
        [(Code::ExternalAhead, Some(75), Some(100))]
    );
}

#[test]
fn swapped_rows() {
    // The headers changed places under their numbers and identifiers, payloads with them.
    let mut bad = Memory::new(100);
    let (a, b) = (bad.rows[10].clone(), bad.rows[70].clone());
    bad.rows[10] = RawEvent {
        seq: a.seq,
        id: a.id.clone(),
        ..b.clone()
    };
    bad.rows[70] = RawEvent {
        seq: b.seq,
        id: b.id,
        ..a
    };
    let report = bad.verify();
    assert_eq!(accused(&report), BTreeSet::from([11, 71]));
    for seq in [11, 71] {
        for code in [Code::SeqDiffers, Code::IdDiffers, Code::HeaderAltered] {
            assert!(has(&report, code, seq), "{code} at {seq}");
        }
    }
    // Only the payloads changed places.
    let mut bad = Memory::new(100);
    let (a, b) = (bad.rows[10].clone(), bad.rows[70].clone());
    (bad.rows[10].salt, bad.rows[10].fields) = (b.salt, b.fields);
    (bad.rows[70].salt, bad.rows[70].fields) = (a.salt, a.fields);
    let report = bad.verify();
    assert_eq!(
        codes(&report),
        [
            (Code::PayloadAltered, Some(11), None),
            (Code::PayloadAltered, Some(71), None)
        ]
    );
}

#[test]
fn inserted_rows() {
    let clean = Memory::new(100);
    // A second row with a number that is taken.
    let mut bad = clean.clone();
    bad.rows.insert(31, clean.rows[30].clone());
    assert_eq!(codes(&bad.verify()), [(Code::SeqTwice, Some(31), None)]);
    // An event behind the last one, good in itself, but neither in the tree nor under a checkpoint.
    let mut bad = clean.clone();
    bad.rows.push(Memory::new(101).rows.remove(100));
    let report = bad.verify();
    assert_eq!(
        codes(&report),
        [
            (Code::NodeMissing, Some(101), Some(101)),
            (Code::TailUnsigned, Some(101), Some(101))
        ]
    );
    // An event put in between, all others moved by one: from there on each row holds another header than its own.
    let mut bad = clean.clone();
    let extra = RawEvent {
        seq: 31,
        ..clean.rows[80].clone()
    };
    bad.rows.insert(30, extra);
    for (i, row) in bad.rows.iter_mut().enumerate() {
        row.seq = i64::try_from(i).unwrap() + 1;
    }
    let report = bad.verify();
    assert_eq!(accused(&report), (31..=101).collect());
    assert!((31..=100).all(|seq| has(&report, Code::HeaderAltered, seq)));
    assert!(
        has(&report, Code::IdTwice, 82),
        "the copied event is met a second time at its own place"
    );
    // Numbers no row can have.
    for seq in [0, -5, i64::MIN, i64::MAX] {
        let mut bad = clean.clone();
        bad.rows.push(RawEvent {
            seq,
            ..clean.rows[0].clone()
        });
        let report = bad.verify();
        let found = report
            .findings
            .iter()
            .find(|f| f.code == Code::SeqOutOfRange)
            .unwrap();
        assert_eq!(found.seq, u64::try_from(seq).ok().filter(|&n| n > 0));
    }
}

#[test]
fn a_row_out_of_order() {
    let mut bad = Memory::new(20);
    bad.rows.swap(4, 9);
    let report = bad.verify();
    assert!(has(&report, Code::OutOfOrder, 5), "{:?}", report.findings);
}

#[test]
fn lost_payloads() {
    let mut bad = Memory::new(20);
    bad.rows[3].salt = None;
    bad.rows[5].fields = None;
    (bad.rows[7].salt, bad.rows[7].fields) = (None, None);
    bad.rows[9].salt.as_mut().unwrap().push(0);
    let expected = [
        (Code::PayloadMissing, Some(4), None),
        (Code::PayloadMissing, Some(6), None),
        (Code::PayloadMissing, Some(8), None),
        (Code::PayloadUnreadable, Some(10), None),
    ];
    assert_eq!(codes(&bad.verify()), expected);
}

#[test]
fn nodes_of_the_tree() {
    let clean = Memory::new(100);
    for (level, index, first, last) in [
        (0, 17, 18, 18),
        (1, 20, 41, 42),
        (3, 4, 33, 40),
        (6, 0, 1, 64),
    ] {
        let covered = (Some(first), Some(last));
        let mut bad = clean.clone();
        let at = bad.node(level, index);
        bad.nodes.remove(at);
        assert_eq!(
            codes(&bad.verify()),
            [(Code::NodeMissing, covered.0, covered.1)],
            "{level} {index}"
        );

        let mut bad = clean.clone();
        bad.nodes[at].hash[5] ^= 4;
        let report = bad.verify();
        assert_eq!(
            report.findings.len(),
            1,
            "{level} {index}: {:?}",
            report.findings
        );
        assert_eq!(
            (report.findings[0].code, report.findings[0].seq),
            (Code::NodeWrong, Some(first))
        );

        let mut bad = clean.clone();
        bad.nodes[at].hash.pop();
        assert_eq!(
            codes(&bad.verify()),
            [(Code::NodeWrong, covered.0, covered.1)],
            "{level} {index}"
        );

        let mut bad = clean.clone();
        bad.nodes.push(bad.nodes[at].clone());
        let report = bad.verify();
        assert_eq!(report.findings.len(), 1);
        assert_eq!(report.findings[0].code, Code::NodeExtra);
    }
    let mut bad = clean.clone();
    bad.nodes.push(RawNode {
        level: 1,
        index: 50,
        hash: vec![0; 32],
    });
    bad.nodes.push(RawNode {
        level: -1,
        index: 3,
        hash: vec![0; 32],
    });
    bad.nodes.push(RawNode {
        level: 64,
        index: i64::MAX,
        hash: vec![],
    });
    bad.nodes.push(RawNode {
        level: 0,
        index: i64::MAX,
        hash: vec![],
    });
    let report = bad.verify();
    assert_eq!(report.findings.len(), 4, "{:?}", report.findings);
    assert!(report.findings.iter().all(|f| f.code == Code::NodeExtra));
    // The leaf was changed together with a header: the header is named all the same, by the node above.
    let mut bad = clean.clone();
    bad.rows[17].header = Memory::new(17).rows[16].header.clone();
    let at = bad.node(0, 17);
    bad.nodes[at].hash = leaf_hash(&bad.rows[17].header).0.to_vec();
    let report = bad.verify();
    assert!(has(&report, Code::SeqDiffers, 18));
    assert!(
        report
            .findings
            .iter()
            .any(|f| f.code == Code::NodeWrong && f.seq == Some(17) && f.last == Some(18))
    );
}

#[test]
fn counts_and_times() {
    // Sealed by a faulty server, so tree and checkpoint agree, and still it does not fit.
    type Change = fn(&mut Event);
    let cases: [(Change, &[Code]); 4] = [
        (
            |e| e.header.touches[0].n += 5,
            &[Code::SubjectGap, Code::SubjectBackwards],
        ),
        (
            |e| e.header.touches[0].n -= 1,
            &[Code::SubjectTwice, Code::SubjectGap],
        ),
        (
            |e| e.header.touches[0].n = 1,
            &[Code::SubjectBackwards, Code::SubjectGap],
        ),
        (
            |e| e.header.recorded_at.replace_range(..4, "2001"),
            &[Code::RecordedBackwards],
        ),
    ];
    for (change, expected) in cases {
        let mut all = Memory::new(20);
        let event = &mut all.events[16];
        change(event);
        event.bytes = event.header.to_bytes().unwrap();
        all.rows[16] = row(event);
        let mut verifier = Verifier::new(all.key.verifying_key().clone(), Options { nodes: false });
        verifier.push(&all.rows);
        let mut frontier = Frontier::new();
        all.rows
            .iter()
            .for_each(|r| drop(frontier.append(leaf_hash(&r.header))));
        let head = Checkpoint {
            origin: all.key.name().to_owned(),
            size: 20,
            root: frontier.root(),
        };
        let note = sign(&head, &all.key).unwrap().into_bytes();
        verifier.push_checkpoint(&RawCheckpoint { size: 20, note });
        let report = verifier.finish();
        let found: Vec<_> = report.findings.iter().map(|f| (f.code, f.seq)).collect();
        let expected: Vec<_> = expected
            .iter()
            .zip(17..)
            .map(|(&code, seq)| (code, Some(seq)))
            .collect();
        assert_eq!(found, expected);
    }
}

#[test]
fn forged_and_broken_checkpoints() {
    let clean = Memory::new(100);
    let stranger = Key::new(&[9; 32], clean.key.name()).unwrap();
    let head = |size: u64, root: Digest| Checkpoint {
        origin: clean.key.name().to_owned(),
        size,
        root,
    };
    let raw = |size: i64, note: String| RawCheckpoint {
        size,
        note: note.into_bytes(),
    };
    let root = clean.verify().root;

    let mut bad = clean.clone();
    bad.heads[2] = raw(100, sign(&head(100, root), &stranger).unwrap());
    let report = bad.verify();
    let expected = [
        (Code::TailUnsigned, Some(75), Some(100)),
        (Code::CheckpointForged, None, None),
    ];
    assert_eq!(codes(&report), expected);

    // The text of the head changed under its old signature.
    let mut bad = clean.clone();
    let note = String::from_utf8(clean.heads[2].note.clone()).unwrap();
    bad.heads[2] = raw(99, note.replacen("\n100\n", "\n99\n", 1));
    assert_eq!(codes(&bad.verify()), expected);

    let mut bad = clean.clone();
    bad.heads[1].note = b"\xff\xfe".to_vec();
    assert_eq!(
        codes(&bad.verify()),
        [(Code::CheckpointUnreadable, None, None)]
    );

    let mut bad = clean.clone();
    bad.heads[1].size = 73;
    assert_eq!(
        codes(&bad.verify()),
        [(Code::CheckpointSizeDiffers, None, None)]
    );

    // Signed by the right key over a root that never was: the key was misused.
    let mut bad = clean.clone();
    bad.heads.push(raw(
        100,
        sign(&head(100, Digest([1; 32])), &clean.key).unwrap(),
    ));
    assert_eq!(codes(&bad.verify()).len(), 1);
    assert_eq!(bad.verify().findings[0].code, Code::HistoryAltered);
    let mut bad = clean.clone();
    bad.heads.push(raw(
        1_000_000,
        sign(&head(1_000_000, root), &clean.key).unwrap(),
    ));
    assert_eq!(
        codes(&bad.verify()),
        [(Code::TailMissing, Some(101), Some(1_000_000))]
    );

    let mut bad = clean.clone();
    bad.heads.clear();
    assert_eq!(
        codes(&bad.verify()),
        [(Code::TailUnsigned, Some(1), Some(100))]
    );

    let mut verifier = clean.verifier();
    verifier.external_checkpoint("nothing");
    verifier.external_checkpoint(&sign(&head(100, root), &stranger).unwrap());
    verifier.external_checkpoint(&note);
    let expected = [
        (Code::ExternalUnreadable, None, None),
        (Code::ExternalForged, None, None),
    ];
    assert_eq!(codes(&verifier.finish()), expected);
}

#[test]
fn no_byte_of_a_checkpoint_can_be_changed() {
    let clean = Memory::new(5);
    for at in 0..clean.heads[0].note.len() {
        let mut bad = clean.clone();
        bad.heads[0].note[at] ^= 1 << (at % 8);
        assert!(!bad.verify().is_clean(), "byte {at}");
    }
}

#[test]
fn words_are_stable() {
    for code in Code::ALL {
        assert_eq!(serde_json::to_value(code).unwrap(), code.as_str());
    }
}
