//! Export folders: a whole ledger, a part of one, and what is wrong with those that were tampered with.

use std::collections::BTreeMap;

use liftledger::{
    ids::{CaseId, Digest, ItemId, Subject},
    ledger::{
        event::Event,
        export::{ExportError, Line, Proof, parse_subjects, subjects_to_bytes},
        merkle,
        verify::{
            Finding, FindingCode as Code, Report,
            folder::{self, Files},
        },
    },
};

use super::memory::{Memory, uuid};

#[derive(Clone)]
struct Folder {
    events: Vec<Vec<u8>>,
    checkpoint: Vec<u8>,
    vkey: Vec<u8>,
    proofs: Vec<Vec<u8>>,
    subjects: BTreeMap<Subject, u64>,
}

impl Folder {
    fn check(&self, part: bool) -> Report {
        let (events, proofs) = (self.events.concat(), self.proofs.concat());
        let subjects = subjects_to_bytes(&self.subjects);
        let files = Files {
            events: &events,
            checkpoint: &self.checkpoint,
            vkey: &self.vkey,
            proofs: part.then_some(proofs.as_slice()),
            subjects: part.then_some(subjects.as_slice()),
        };
        if part {
            folder::part(&files, None)
        } else {
            folder::whole(&files, None)
        }
    }
}

fn whole(memory: &Memory) -> Folder {
    Folder {
        events: memory
            .events
            .iter()
            .map(|e| Line::whole(e).to_bytes())
            .collect(),
        checkpoint: memory.heads.last().unwrap().note.clone(),
        vkey: format!("{}\n", memory.key.verifying_key()).into_bytes(),
        proofs: vec![],
        subjects: BTreeMap::new(),
    }
}

/// The third case: events 21 to 30. Of every second event the note is withheld.
fn third_case(memory: &Memory) -> Folder {
    let nodes: BTreeMap<(i64, i64), Digest> = memory
        .nodes
        .iter()
        .map(|n| {
            (
                (n.level, n.index),
                Digest(n.hash.clone().try_into().unwrap()),
            )
        })
        .collect();
    let lookup = |l: u8, i: u64| {
        nodes
            .get(&(i64::from(l), i64::try_from(i).unwrap()))
            .copied()
    };
    let size = memory.events.len() as u64;
    let events: Vec<&Event> = memory.events[20..30].iter().collect();
    let line = |e: &&Event| {
        let shown = e.header.seq.is_multiple_of(2);
        if shown {
            Line::whole(e)
        } else {
            Line::part(e, |name| name != "note")
        }
        .to_bytes()
    };
    let proof = |e: &&Event| {
        let seq = e.header.seq;
        Proof {
            seq,
            path: merkle::inclusion(seq - 1, size, lookup).unwrap(),
        }
        .to_bytes()
    };
    let mut subjects = BTreeMap::new();
    for touch in events.iter().flat_map(|e| &e.header.touches) {
        subjects.insert(touch.subject, touch.n);
    }
    Folder {
        events: events.iter().map(line).collect(),
        proofs: events.iter().map(proof).collect(),
        subjects,
        ..whole(memory)
    }
}

fn codes(report: &Report) -> Vec<(Code, Option<u64>)> {
    report.findings.iter().map(|f| (f.code, f.seq)).collect()
}

#[test]
fn clean_folders() {
    let memory = Memory::new(100);
    let report = whole(&memory).check(false);
    assert_eq!(
        (report.events, codes(&report), report.root),
        (100, vec![], memory.verify().root)
    );
    let report = third_case(&memory).check(true);
    assert_eq!(
        (report.events, codes(&report), report.root),
        (10, vec![], memory.verify().root)
    );
}

/// Every byte of a line of a whole export, and of a line with a withheld field.
#[test]
fn no_byte_of_a_line_can_be_changed() {
    let memory = Memory::new(40);
    let clean = whole(&memory);
    for at in 0..clean.events[7].len() {
        let mut bad = clean.clone();
        bad.events[7][at] ^= 1 << (at % 7);
        let report = bad.check(false);
        // A line that is none any more leaves a gap at its place. A header that still is one is caught by the
        // checkpoint, which names the stretch: a whole export carries no hashes of single events.
        let named = |f: &Finding| {
            f.seq
                .is_some_and(|first| (first..=f.last.unwrap_or(first)).contains(&8))
        };
        assert!(
            report.findings.iter().any(named),
            "byte {at}: {:?}",
            report.findings
        );
    }
    let clean = third_case(&memory);
    for at in 0..clean.events[2].len() {
        let mut bad = clean.clone();
        bad.events[2][at] ^= 1 << (at % 7);
        let report = bad.check(true);
        // A line that cannot be read leaves its proof behind, which names the event.
        assert!(
            report.findings.iter().any(|f| f.seq == Some(23)),
            "byte {at}: {:?}",
            report.findings
        );
    }
}

#[test]
fn lines_left_out_put_in_or_moved_in_a_whole_export() {
    let memory = Memory::new(100);
    let clean = whole(&memory);
    let mut bad = clean.clone();
    bad.events.remove(49);
    let report = bad.check(false);
    assert!(codes(&report).contains(&(Code::EventMissing, Some(50))));
    let mut bad = clean.clone();
    bad.events.truncate(90);
    assert!(codes(&bad.check(false)).contains(&(Code::TailMissing, Some(91))));
    let mut bad = clean.clone();
    bad.events.push(clean.events[3].clone());
    assert_eq!(codes(&bad.check(false)), [(Code::SeqTwice, Some(4))]);
    let mut bad = clean.clone();
    bad.events.swap(10, 11);
    assert!(codes(&bad.check(false)).contains(&(Code::OutOfOrder, Some(11))));
    let mut bad = clean.clone();
    bad.events[99].pop();
    assert_eq!(codes(&bad.check(false)), [(Code::LineUnreadable, None)]);
    let mut bad = clean.clone();
    bad.events[9].insert(0, b' ');
    assert!(codes(&bad.check(false)).contains(&(Code::LineUnreadable, Some(10))));
}

#[test]
fn a_part_that_lacks_something() {
    let memory = Memory::new(100);
    let clean = third_case(&memory);
    let case = Subject::Case(CaseId(uuid(0xc, 2)));

    // An event left out together with its proof: the counts tell, by subject and number.
    let mut bad = clean.clone();
    bad.events.remove(4);
    bad.proofs.remove(4);
    let report = bad.check(true);
    assert!(
        report
            .findings
            .iter()
            .all(|f| f.code == Code::SubjectIncomplete)
    );
    assert!(
        report
            .findings
            .iter()
            .any(|f| f.subject == Some(case) && f.text.contains("number 5"))
    );

    // The last event left out, and the count lowered to match: only the count on paper tells.
    let mut bad = clean.clone();
    bad.events.pop();
    bad.proofs.pop();
    let report = bad.check(true);
    assert!(
        report
            .findings
            .iter()
            .any(|f| f.subject == Some(case) && f.text.contains("number 10"))
    );
    bad.subjects.insert(case, 9);
    let last = memory.events[29].header.touches[1];
    bad.subjects.insert(last.subject, last.n - 1);
    assert!(bad.check(true).is_clean());

    let mut bad = clean.clone();
    bad.subjects.insert(case, 9);
    assert_eq!(codes(&bad.check(true)), [(Code::SubjectExceeded, Some(30))]);
    let mut bad = clean.clone();
    bad.subjects
        .insert(Subject::Item(ItemId(uuid(0xd, 999))), 2);
    let report = bad.check(true);
    assert_eq!(codes(&report), [(Code::SubjectIncomplete, None)]);
    assert!(
        report.findings[0].text.contains("numbers 1 to 2"),
        "{}",
        report.findings[0].text
    );
    let mut bad = clean.clone();
    bad.subjects.clear();
    assert_eq!(codes(&bad.check(true)), [(Code::SubjectsEmpty, None)]);
    let mut bad = clean.clone();
    bad.proofs.remove(3);
    assert_eq!(codes(&bad.check(true)), [(Code::ProofMissing, Some(24))]);
    let mut bad = clean.clone();
    bad.events[3] = bad.events[4].clone();
    let report = bad.check(true);
    assert!(codes(&report).contains(&(Code::SeqTwice, Some(25))));
    assert!(codes(&report).contains(&(Code::ProofExtra, Some(24))));
    let mut bad = clean.clone();
    bad.proofs[3] = bad.proofs[4].clone();
    let report = bad.check(true);
    assert_eq!(
        codes(&report),
        [(Code::ProofMissing, Some(24)), (Code::ProofExtra, Some(25))]
    );
    let mut bad = clean.clone();
    bad.events.swap(3, 4);
    assert!(codes(&bad.check(true)).contains(&(Code::OutOfOrder, Some(24))));
}

#[test]
fn a_part_with_an_event_that_never_was() {
    let memory = Memory::new(100);
    let mut bad = third_case(&memory);
    let old = &memory.events[26];
    let mut header = old.header.clone();
    header.kind = "item.lost".to_owned();
    let forged = Event {
        bytes: header.to_bytes().unwrap(),
        header,
        ..old.clone()
    };
    bad.events[6] = Line::whole(&forged).to_bytes();
    assert_eq!(codes(&bad.check(true)), [(Code::ProofWrong, Some(27))]);
    // A field shown otherwise than it was, with a salt that is right.
    let mut bad = third_case(&memory);
    let line = String::from_utf8(bad.events[4].clone()).unwrap();
    bad.events[4] = line
        .replacen("\"shelf\":12", "\"shelf\":11", 1)
        .into_bytes();
    assert_ne!(bad.events[4], line.into_bytes());
    assert_eq!(codes(&bad.check(true)), [(Code::PayloadAltered, Some(25))]);
}

#[test]
fn keys_and_checkpoints_of_a_folder() {
    let memory = Memory::new(20);
    let clean = whole(&memory);
    let stranger = liftledger::ledger::checkpoint::Key::new(&[3; 32], memory.key.name()).unwrap();
    let events = clean.events.concat();
    let mut files = Files {
        events: &events,
        checkpoint: &clean.checkpoint,
        vkey: &clean.vkey,
        proofs: None,
        subjects: None,
    };
    let report = folder::whole(&files, Some(stranger.verifying_key()));
    let found: Vec<_> = report.findings.iter().map(|f| f.code).collect();
    assert_eq!(
        found,
        [Code::TailUnsigned, Code::CheckpointForged, Code::KeyDiffers]
    );
    files.vkey = b"not a key\n";
    assert_eq!(
        folder::whole(&files, None).findings[0].code,
        Code::KeyUnreadable
    );
    assert_eq!(
        codes(&folder::whole(&files, Some(memory.key.verifying_key()))),
        [(Code::KeyUnreadable, None)]
    );
    files.vkey = &clean.vkey;
    files.checkpoint = b"";
    let report = folder::whole(&files, None);
    assert_eq!(
        codes(&report),
        [
            (Code::TailUnsigned, Some(1)),
            (Code::CheckpointUnreadable, None)
        ]
    );
    let report = folder::part(&files, None);
    assert!(codes(&report).contains(&(Code::SubjectsUnreadable, None)));
}

#[test]
fn lines_of_the_wrong_shape() {
    let shape = |line: &str| Line::parse(line.as_bytes()).unwrap_err();
    let hex32 = "0".repeat(32);
    let hex64 = "0".repeat(64);
    for line in [
        "[]".to_owned(),
        "{}".to_owned(),
        r#"{"fields":{},"header":"h"}"#.to_owned(),
        format!(r#"{{"fields":{{}},"header":"h","more":1,"salt":"{hex32}"}}"#),
        format!(r#"{{"fields":{{}},"header":"h","salt":"{hex64}"}}"#),
        format!(r#"{{"fields":{{"A":1}},"header":"h","salt":"{hex32}"}}"#),
        format!(r#"{{"fields":{{"a":null}},"header":"h","salt":"{hex32}"}}"#),
        r#"{"digests":{},"fields":{"a":1},"header":"h","salts":{}}"#.to_owned(),
        format!(r#"{{"digests":{{}},"fields":{{}},"header":"h","salts":{{"a":"{hex64}"}}}}"#),
        format!(
            r#"{{"digests":{{"a":"{hex64}"}},"fields":{{"a":1}},"header":"h","salts":{{"a":"{hex64}"}}}}"#
        ),
        format!(r#"{{"digests":{{"a":"{hex32}"}},"fields":{{}},"header":"h","salts":{{}}}}"#),
    ] {
        assert_eq!(shape(&line), ExportError::Shape, "{line}");
    }
    assert_eq!(
        shape(r#"{"header":"h","fields":{}}"#),
        ExportError::NotCanonical
    );
    assert!(
        Line::parse(format!(r#"{{"fields":{{}},"header":"h","salt":"{hex32}"}}"#).as_bytes())
            .is_ok()
    );
    for line in [
        r#"{"path":[],"seq":0}"#,
        r#"{"path":["00"],"seq":1}"#,
        r#"{"path":[],"seq":1,"x":1}"#,
        "[]",
    ] {
        assert!(Proof::parse(line.as_bytes()).is_err(), "{line}");
    }
    let item = format!("item:{}", uuid(0xd, 1));
    for text in [
        "[]".to_owned(),
        format!(r#"{{"{item}":0}}"#),
        r#"{"item:x":1}"#.to_owned(),
        format!(r#"{{ "{item}":1}}"#),
    ] {
        assert!(parse_subjects(text.as_bytes()).is_err(), "{text}");
    }
}
