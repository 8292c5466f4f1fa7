//! What is left of a payload when its texts are expunged: identifiers, numbers, codes and times that later events stand on.
//!
//! The table names the fields; what it does not name is gone. A kind that has no row stays as it is: it says which papers
//! were made, or belongs to no case.

use std::collections::BTreeSet;

use serde_json::Value;

use crate::ledger::payload::Fields;

/// What is left of one kind of event.
struct Row {
    kind: &'static str,
    /// Stays as it was.
    keeps: &'static [&'static str],
    /// Stays while something is still kept by it: codes that keep rules ask for.
    held: &'static [&'static str],
    /// A text in whose place it says that it was expunged; an empty one stays empty.
    words: &'static [&'static str],
    /// Must be there for the event to be read, and is emptied.
    empty: &'static [&'static str],
}

const fn row(
    kind: &'static str,
    keeps: &'static [&'static str],
    words: &'static [&'static str],
    empty: &'static [&'static str],
) -> Row {
    Row {
        kind,
        keeps,
        held: &[],
        words,
        empty,
    }
}

/// Of these nothing is left: no later event stands on them, and the record does without.
const NOTHING: &[&str] = &[
    "image.added",
    "image.view-set",
    "image.scale-set",
    "image.copy-made",
    "image.value-assessed",
    "mark.developed",
    "finding.answered",
];

const ROWS: &[Row] = &[
    row(
        "case.opened",
        &["case", "number"],
        &["title", "offence"],
        &[],
    ),
    row(
        "case.scene-opened",
        &["case", "scene"],
        &["name", "address"],
        &[],
    ),
    row("case.assigned", &["case", "person", "assigned"], &[], &[]),
    row("case.restricted", &["case", "restricted"], &["reason"], &[]),
    row(
        "case.retention-set",
        &["case", "class", "class_name", "from", "until", "schedule"],
        &["reason"],
        &[],
    ),
    row(
        "case.disclosed",
        &[
            "case",
            "to",
            "authority",
            "digest",
            "bytes",
            "ledger_size",
            "events",
            "images",
            "images_left_out",
        ],
        &[],
        &[],
    ),
    Row {
        kind: "mark.noted",
        keeps: &["mark", "case", "number", "scene", "mark_kind"],
        held: &["substrate", "texture", "curvature"],
        words: &["object", "exact_place", "note"],
        empty: &["up", "substrate", "texture", "curvature"],
    },
    Row {
        kind: "item.recovered",
        keeps: &[
            "item",
            "case",
            "number",
            "code",
            "mark",
            "started_at",
            "from_item",
            "from_number",
            "form",
        ],
        held: &[
            "medium",
            "medium_name",
            "lot",
            "set_at",
            "wet",
            "biological",
            "fragile",
            "sharp",
            "size_mm",
            "thickness",
            "set_window",
            "view",
            "reads",
            "because",
            "packing",
            "needs",
        ],
        words: &["description"],
        empty: &[
            "medium",
            "medium_name",
            "lot",
            "card",
            "wet",
            "biological",
            "fragile",
            "sharp",
            "set_window",
            "view",
            "reads",
            "because",
            "packing",
            "warnings",
        ],
    },
    row(
        "item.sampled",
        &["item", "taken", "taken_number"],
        &["description"],
        &[],
    ),
    Row {
        kind: "item.imported",
        keeps: &[
            "item",
            "case",
            "number",
            "code",
            "mark",
            "mark_number",
            "scene",
            "form",
            "place",
            "place_name",
            "package",
            "package_number",
            "package_code",
            "seal",
            "received_on",
            "file_digest",
            "row",
        ],
        held: &["medium", "method", "container"],
        words: &["description", "object", "former", "note", "holder"],
        empty: &["medium", "method", "container", "file"],
    },
    row(
        "item.brought-in",
        &[
            "item",
            "case",
            "number",
            "code",
            "mark",
            "mark_number",
            "scene",
            "origin",
            "form",
            "wet",
            "biological",
            "fragile",
            "sharp",
        ],
        &[
            "description",
            "brought_by",
            "agency",
            "identification",
            "contact",
            "found_where",
            "found_when",
            "condition",
            "packaging",
            "note",
        ],
        &[],
    ),
    row(
        "item.exhibit-set",
        &["item", "case", "number", "was"],
        &["court", "reason"],
        &[],
    ),
    Row {
        kind: "item.dried",
        keeps: &["item"],
        held: &["needs"],
        words: &["how"],
        empty: &[],
    },
    row(
        "package.made",
        &[
            "package",
            "case",
            "number",
            "code",
            "container",
            "inner_mm",
            "stock_place",
            "stock_kind",
            "contents",
        ],
        &["note"],
        &["warnings"],
    ),
    row("package.put-in", &["package", "piece"], &[], &["warnings"]),
    row(
        "package.taken-out",
        &["package", "piece", "stayed"],
        &["reason"],
        &[],
    ),
    row(
        "package.repacked",
        &["package", "number", "from", "why"],
        &["reason"],
        &[],
    ),
    row(
        "item.consumed",
        &["item", "whole"],
        &["quantity", "said_by", "authority", "report", "note"],
        &[],
    ),
    row(
        "package.sealed",
        &["package", "seal", "initialled"],
        &[],
        &[],
    ),
    row(
        "package.opened",
        &["package", "seal", "seal_seen", "condition", "outside"],
        &["reason", "note"],
        &[],
    ),
    row(
        "custody.released",
        &[
            "piece",
            "to",
            "seal",
            "from_place",
            "due_at",
            "second",
            "second_name",
        ],
        &["purpose"],
        &["authority", "to_name"],
    ),
    row("custody.withdrawn", &["piece"], &["reason"], &[]),
    row(
        "custody.received",
        &["piece", "from", "seal", "seal_seen", "condition"],
        &["note"],
        &["from_name"],
    ),
    row("custody.refused", &["piece"], &["reason"], &[]),
    row(
        "custody.handed-out",
        &["piece", "seal", "due_at", "own_loan", "weight_mg"],
        &["name", "organisation", "purpose"],
        &[
            "authority",
            "identification",
            "reference",
            "tracking",
            "scale",
        ],
    ),
    row(
        "custody.taken-back",
        &[
            "piece",
            "seal",
            "seal_seen",
            "condition",
            "ends_loan",
            "weight_mg",
        ],
        &["name", "organisation", "note"],
        &["identification", "reference", "scale"],
    ),
    row(
        "custody.charge-taken",
        &[
            "piece",
            "alone_from",
            "unaccounted_since",
            "seal",
            "seal_seen",
            "condition",
        ],
        &["reason", "note"],
        &["from"],
    ),
    row(
        "custody.stored",
        &[
            "piece",
            "place",
            "place_name",
            "from_place",
            "override_by",
            "second",
            "second_name",
        ],
        &["override_reason"],
        &[],
    ),
    row(
        "custody.fetched",
        &["piece", "place", "second", "second_name"],
        &["purpose"],
        &[],
    ),
    row(
        "count.differs",
        &["count", "number", "difference", "piece", "place_name"],
        &["on_record"],
        &["label"],
    ),
    row(
        "count.resolved",
        &["count", "number", "piece", "outcome"],
        &["reason"],
        &[],
    ),
    row(
        "hold.placed",
        &["of", "number"],
        &["reason", "authority"],
        &[],
    ),
    row(
        "hold.lifted",
        &["of", "number"],
        &["reason", "authority"],
        &[],
    ),
    row(
        "disposition.authorised",
        &["piece", "method"],
        &["authority", "reason", "kept"],
        &[],
    ),
    row("disposition.revoked", &["piece"], &["reason"], &[]),
    row(
        "disposition.executed",
        &[
            "piece",
            "method",
            "authorised_by",
            "witness",
            "seal",
            "seal_seen",
            "condition",
        ],
        &["how", "name", "organisation", "note"],
        &[
            "authorised_by_name",
            "witness_name",
            "identification",
            "reference",
        ],
    ),
    row(
        "disposition.witnessed",
        &["piece", "method", "executed_by"],
        &["to"],
        &["executed_by_name"],
    ),
    row("disposition.declined", &["piece"], &["reason"], &[]),
    row(
        "record.amended",
        &["of", "event", "event_kind", "field"],
        &["was", "value", "reason"],
        &[],
    ),
    row(
        "paper.afis-exported",
        &[
            "of",
            "shown",
            "edition",
            "receiver",
            "receiver_name",
            "control",
            "digest",
            "bytes",
        ],
        &["statement"],
        &["image", "reads", "left_out"],
    ),
];

/// Whether events of this kind are expunged at all.
#[must_use]
pub fn goes(kind: &str) -> bool {
    NOTHING.contains(&kind) || ROWS.iter().any(|r| r.kind == kind)
}

/// Whether an expunged event of this kind leads to nothing: the record is made without it.
#[must_use]
pub fn leads_nowhere(kind: &str) -> bool {
    NOTHING.contains(&kind)
}

/// What is left of a payload. `held` says that something is still kept by its codes.
#[must_use]
pub fn of(kind: &str, fields: &Fields, words: &str, held: bool) -> Fields {
    let mut left = Fields::new();
    if let Some(row) = ROWS.iter().find(|r| r.kind == kind) {
        let kept = row.keeps.iter().chain(row.held.iter().filter(|_| held));
        for name in row.empty {
            if let Some(value) = fields.get(*name) {
                left.insert((*name).into(), emptied(value));
            }
        }
        for name in row.words {
            match fields.get(*name).and_then(Value::as_str) {
                None => {}
                Some(text) if text.trim().is_empty() => {
                    left.insert((*name).into(), Value::String(String::new()));
                }
                Some(_) => {
                    left.insert((*name).into(), Value::String(words.into()));
                }
            }
        }
        for name in kept {
            if let Some(value) = fields.get(*name) {
                left.insert((*name).into(), value.clone());
            }
        }
    }
    // Who did it, whom the header names too; and an identifier that says nothing, by which what is sent again is known.
    for name in ["by", "command"] {
        if let Some(value) = fields.get(name) {
            left.insert(name.into(), value.clone());
        }
    }
    left
}

fn emptied(value: &Value) -> Value {
    match value {
        Value::String(text) if is_digest(text) => Value::String("0".repeat(64)),
        Value::String(_) => Value::String(String::new()),
        Value::Array(_) => Value::Array(Vec::new()),
        Value::Bool(_) => Value::Bool(false),
        other => other.clone(),
    }
}

fn is_digest(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'))
}

/// The digests of the files that an event brought: the picture's, or the working copy's.
#[must_use]
pub fn pictures<'a>(kind: &str, fields: &'a Fields) -> Vec<&'a str> {
    let name = match kind {
        "image.added" => "digest",
        "image.copy-made" => "copy",
        _ => return Vec::new(),
    };
    fields
        .get(name)
        .and_then(Value::as_str)
        .into_iter()
        .collect()
}

/// Whether an event is about one of these files.
#[must_use]
pub fn names_picture(fields: &Fields, digests: &BTreeSet<&str>) -> bool {
    !digests.is_empty()
        && ["digest", "copy", "image", "context"]
            .iter()
            .filter_map(|name| fields.get(*name)?.as_str())
            .any(|d| digests.contains(d))
}
