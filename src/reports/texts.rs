//! Every text of a paper's model, for whoever leaves some of them out. Each struct is taken apart by all of its fields, so
//! that a field added later cannot be forgotten here: it does not compile.

use serde_json::Value;

use super::custody_report::{
    CustodyReport, CustodyRow, FindingRow, Integrity, KeepRule, ReportImage, ReportItem, SealRow,
};
use super::parts::{Blank, Frame, Part, Piece, Signer};
use super::table::Row;
use crate::custody::thread::Thread;

/// What is done with a text.
pub type Each<'a> = &'a mut dyn FnMut(&mut String);

fn pairs(list: &mut [(String, String)], each: Each<'_>) {
    for (name, value) in list {
        each(name);
        each(value);
    }
}

fn all(list: &mut [String], each: Each<'_>) {
    list.iter_mut().for_each(each);
}

/// Every text of a custody report but its digests, its signed checkpoint and its print identifier.
pub fn of_report(report: &mut CustodyReport, each: Each<'_>) {
    let CustodyReport {
        agency,
        case_number,
        case_title,
        printed_by,
        printed_when: _,
        printed_at: _,
        print_id: _,
        withheld: _,
        paper: _,
        zone: _,
        items,
        integrity,
    } = report;
    for text in [agency, case_number, case_title, printed_by] {
        each(text);
    }
    for item in items {
        of_item(item, each);
    }
    let Integrity {
        checkpoint: _,
        ledger_size: _,
        tree_head: _,
        signature: _,
        witnesses: _,
        counts,
    } = integrity;
    for (name, _) in counts {
        each(name);
    }
}

fn of_item(item: &mut ReportItem, each: Each<'_>) {
    let ReportItem {
        number: _,
        code: _,
        description,
        facts,
        orientation: _,
        orientation_steps,
        images,
        packaging,
        keep_rules,
        seals,
        thread,
        custody,
        findings,
        flags,
        amendments,
    } = item;
    each(description);
    each(orientation_steps);
    pairs(facts, each);
    pairs(packaging, each);
    for image in images {
        let ReportImage {
            file,
            media_type: _,
            size: _,
            sha256: _,
            viewed,
            reads: _,
            thumbnail: _,
        } = image;
        each(file);
        each(viewed);
    }
    for rule in keep_rules {
        let KeepRule {
            rule,
            reason,
            source,
        } = rule;
        for text in [rule, reason, source] {
            each(text);
        }
    }
    for seal in seals {
        let SealRow {
            number,
            applied,
            cut,
        } = seal;
        for text in [number, applied, cut] {
            each(text);
        }
    }
    for row in custody {
        let CustodyRow {
            row: _,
            through,
            n: _,
            seq: _,
            claimed: _,
            recorded: _,
            act,
            from,
            to,
            seal_seen,
            condition,
            note,
            attested,
            late: _,
            flag,
        } = row;
        for text in [
            through, act, from, to, seal_seen, condition, note, attested, flag,
        ] {
            each(text);
        }
    }
    for finding in findings {
        let FindingRow {
            severity: _,
            grave: _,
            title,
            sentence,
            row: _,
            events: _,
            answer,
            answered,
            would_answer,
        } = finding;
        for text in [title, sentence, answer, answered, would_answer] {
            each(text);
        }
    }
    all(flags, each);
    all(amendments, each);
    *thread = thread.take().and_then(|t| of_thread(&t, each));
}

/// The thread with its texts changed; none where it is no thread any more, and is then not drawn.
fn of_thread(thread: &Thread, each: Each<'_>) -> Option<Thread> {
    let mut value = serde_json::to_value(thread).ok()?;
    of_value(&mut value, each);
    serde_json::from_value(value).ok()
}

fn of_value(value: &mut Value, each: Each<'_>) {
    match value {
        Value::String(text) => each(text),
        Value::Array(list) => list.iter_mut().for_each(|v| of_value(v, each)),
        Value::Object(map) => map.values_mut().for_each(|v| of_value(v, each)),
        _ => {}
    }
}

fn of_blank(blank: &mut Blank, each: Each<'_>) {
    let Blank {
        label,
        filled,
        lines: _,
    } = blank;
    each(label);
    each(filled);
}

/// Every text of a paper made of parts, but its print identifier.
pub fn of_parts(frame: &mut Frame, parts: &mut [Part], each: Each<'_>) {
    let Frame {
        agency,
        title,
        case_number,
        case_title,
        lead,
        ledger,
        note,
        printed_by,
        printed_when: _,
        printed_at: _,
        print_id: _,
        scanned: _,
        paper: _,
    } = frame;
    for text in [
        agency,
        title,
        case_number,
        case_title,
        lead,
        note,
        printed_by,
    ] {
        each(text);
    }
    pairs(ledger, each);
    for part in parts {
        match part {
            Part::Heading(text)
            | Part::Text(text)
            | Part::Small(text)
            | Part::Letters(text)
            | Part::Notice(text)
            | Part::Tick(text) => each(text),
            Part::Facts(list) => pairs(list, each),
            Part::Table {
                name: _,
                columns: _,
                rows,
            } => {
                for Row { cells, flagged: _ } in rows {
                    all(cells, each);
                }
            }
            Part::Blanks(list) => list.iter_mut().for_each(|b| of_blank(b, each)),
            Part::Signatures(list) => {
                for Signer { role, lines } in list {
                    each(role);
                    lines.iter_mut().for_each(|b| of_blank(b, each));
                }
            }
            Part::Pieces(list) => {
                for piece in list {
                    let Piece {
                        line: _,
                        code: _,
                        code_grouped: _,
                        name,
                        description,
                        sealed: _,
                    } = piece;
                    each(name);
                    each(description);
                }
            }
            Part::Together(_) => {}
        }
    }
}
