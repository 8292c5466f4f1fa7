//! Rows to write.

use liftledger::store::{Batch, CheckpointRow, DocRow, EventRow, NodeRow, PayloadRow, TouchRow};

/// Events `from..=to`, each with payload, leaf node and a touch of `item:a`.
pub fn batch(from: u64, to: u64) -> Batch {
    let mut b = Batch::default();
    for seq in from..=to {
        b.events.push(EventRow {
            seq,
            id: format!("event-{seq:06}"),
            header: format!("{{\"recorded_at\":\"2031-05-01T08:00:00.{seq:06}Z\",\"seq\":{seq}}}")
                .into_bytes(),
        });
        b.payloads.push(PayloadRow {
            seq,
            salt: vec![7; 16],
            fields: b"{}".to_vec(),
        });
        b.nodes.push(NodeRow {
            level: 0,
            idx: seq - 1,
            hash: seq.to_be_bytes().repeat(4),
        });
        b.touches.push(TouchRow {
            subject: "item:a".into(),
            n: seq,
            seq,
        });
    }
    b.checkpoint = Some(CheckpointRow {
        size: to,
        note: format!("note over {to}"),
    });
    b
}

pub fn doc(subject: &str, kind: &str) -> DocRow {
    DocRow {
        subject: subject.into(),
        kind: kind.into(),
        active: true,
        doc: "{}".into(),
        ..DocRow::default()
    }
}
