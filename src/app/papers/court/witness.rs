//! The witness sheet: what one person did in a case, from its events, for them to prepare their testimony with.

use std::collections::BTreeMap;

use super::pieces::{items, packages};
use super::{PaperError, Setting, Told, in_ink};
use crate::app::reader::{Part as Listed, Past, Reader};
use crate::app::views::words;
use crate::custody::State;
use crate::ids::{PersonId, Piece, Subject};
use crate::ledger::event::Attested;
use crate::ledger::times;
use crate::reports::parts::{Blank, Part, Signer, col};
use crate::reports::table::Row;

/// In which capacity somebody acted, by the kind of event.
fn capacity(kind: &str) -> &'static str {
    match kind {
        "mark.noted" | "mark.developed" | "item.recovered" => "at the scene",
        "image.added" | "image.view-set" | "image.scale-set" => "photographer",
        "image.copy-made" | "image.value-assessed" | "paper.afis-exported" => "examiner",
        "package.made" | "package.put-in" | "package.taken-out" | "package.sealed"
        | "package.opened" | "package.repacked" | "item.dried" => "packer",
        "custody.released" | "custody.withdrawn" => "releaser",
        "custody.received" | "custody.refused" | "custody.charge-taken" => "receiver",
        "custody.handed-out" | "custody.taken-back" => "contact to somebody outside",
        "custody.stored" | "custody.fetched" => "keeper of the storeroom",
        "disposition.authorised" | "disposition.revoked" => "authoriser",
        "disposition.executed" => "disposer",
        "disposition.witnessed" | "disposition.declined" => "witness of a disposition",
        _ => "keeper of the record",
    }
}

/// What an event is not about: readings and prints are no handling.
fn is_handling(kind: &str) -> bool {
    match kind {
        "paper.afis-exported" => true,
        "case.read" | "case.disclosed" => false,
        _ => !kind.starts_with("paper."),
    }
}

async fn subjects_of(reader: &Reader<'_>, s: &Setting) -> Result<Vec<Subject>, PaperError> {
    let mut out = vec![Subject::Case(s.case.id)];
    let mut part = Listed::default();
    loop {
        let page = reader.marks_of(s.case.id, &part).await?;
        out.extend(page.rows.iter().map(|m| Subject::Mark(m.id)));
        part.after = page.next;
        if part.after.is_none() || out.len() > super::MOST_PIECES {
            break;
        }
    }
    let items = items(reader, s.case.id).await?;
    out.extend(items.iter().map(|i| Subject::Item(i.id)));
    let packages = packages(reader, s.case.id).await?;
    out.extend(packages.iter().map(|p| Subject::Package(p.id)));
    Ok(out)
}

fn named(state: &State, subjects: &[Subject]) -> String {
    let list: Vec<String> = subjects
        .iter()
        .filter_map(|s| match s {
            Subject::Item(id) => Some(state.name(Piece::Item(*id))),
            Subject::Package(id) => Some(state.name(Piece::Package(*id))),
            Subject::Mark(id) => state.marks.get(id).map(|m| format!("mark M{}", m.number)),
            _ => None,
        })
        .collect();
    if list.is_empty() {
        "the case".into()
    } else {
        list.join(", ")
    }
}

/// What an event says beside its kind, in a few words: seal, condition, purpose, method.
fn details(past: &Past) -> String {
    let said = |name: &str| {
        past.event
            .field_str(name)
            .map(str::trim)
            .filter(|t| !t.is_empty())
            .map(str::to_owned)
    };
    let mut out = Vec::new();
    for (field, lead) in [
        ("to_name", "to "),
        ("from_name", "from "),
        ("place_name", "on "),
        ("organisation", "to or from "),
        ("purpose", "for "),
        ("seal", "seal on record "),
        ("seal_seen", "seal seen "),
        ("condition", "condition "),
        ("medium_name", "with "),
        ("method", "method "),
        ("reason", "why: "),
        ("note", "note: "),
        ("paper_sheet", "entered from a paper sheet, print "),
    ] {
        if let Some(value) = said(field) {
            out.push(format!("{lead}{value}"));
        }
    }
    out.join("; ")
}

pub(super) async fn told(
    reader: &Reader<'_>,
    s: &Setting,
    of: PersonId,
) -> Result<Told, PaperError> {
    let person = reader.person(of).await?;
    let zone = s.agency.zone;
    let subjects = subjects_of(reader, s).await?;
    let mut events: BTreeMap<u64, Past> = BTreeMap::new();
    for subject in &subjects {
        for past in reader.history(*subject).await? {
            let header = &past.event.header;
            if header.actor == Some(of) && is_handling(&header.kind) {
                events.insert(header.seq, past);
            }
        }
    }
    if events.is_empty() {
        return Err(PaperError::Count(format!(
            "{} did nothing in case {} that is on the record",
            person.name, s.case.number
        )));
    }
    let state = reader.around(&subjects).await?;
    // By when it happened, as claimed; what was entered late stands where it belongs.
    let mut list: Vec<&Past> = events.values().collect();
    let at = |past: &Past| times::parse_claimed(&past.event.header.claimed_at).ok();
    list.sort_by_key(|p| (at(p).map(|t| t.to_utc()), p.event.header.seq));
    let mut as_what: BTreeMap<&str, usize> = BTreeMap::new();
    let rows: Vec<Row> = list
        .iter()
        .map(|past| {
            let header = &past.event.header;
            *as_what.entry(capacity(&header.kind)).or_default() += 1;
            let about: Vec<Subject> = header.touches.iter().map(|t| t.subject).collect();
            let claimed =
                at(past).map_or_else(|| header.claimed_at.clone(), |t| words::when(&t, zone));
            let recorded = times::parse_recorded(&header.recorded_at)
                .map_or_else(|_| header.recorded_at.clone(), |t| words::when(&t, zone));
            let late = past.event.field_str("late_reason").map(str::to_owned);
            let mut said = details(past);
            if let Some(why) = &late {
                if !said.is_empty() {
                    said.push('\n');
                }
                said.push_str(&format!("Entered late: {why}"));
            }
            let signed = match header.attested {
                Attested::None => String::new(),
                how => words::attested(how).to_owned(),
            };
            Row {
                cells: vec![
                    format!("{claimed}\nrec. {recorded}"),
                    format!("{}\n{}", words::act(&header.kind), capacity(&header.kind)),
                    named(&state, &about),
                    said,
                    format!("{signed}\nevent {}", header.seq).trim().to_owned(),
                ],
                flagged: late.is_some(),
            }
        })
        .collect();
    let count = rows.len();
    let capacities: Vec<String> = as_what
        .iter()
        .map(|(what, n)| format!("{what} ({n})"))
        .collect();
    let roles: Vec<&str> = person.roles.iter().map(|r| r.title()).collect();
    let parts = vec![
        Part::Facts(vec![
            ("Person".into(), words::person(&person)),
            ("Roles now".into(), roles.join(", ")),
            ("In this case".into(), capacities.join(", ")),
        ]),
        Part::Heading("What is on the record, in the order in which it happened".into()),
        Part::Table {
            name: "Events",
            columns: vec![
                col("Claimed, recorded", 3.5, false),
                col("Act, as what", 2.2, false),
                col("What", 1.8, false),
                col("On the record", 3.9, false),
                col("Signed", 1.5, false),
            ],
            rows,
        },
        Part::Heading("Own notes".into()),
        Part::Small(
            "For what you remember and the record does not say. Notes made to prepare testimony may have to be shown to the \
             other side; ask counsel before you write."
                .into(),
        ),
        Part::Blanks(vec![Blank::lines("Notes", 6)]),
        in_ink(zone),
        Part::Signatures(vec![Signer {
            role: "Read by".into(),
            lines: vec![
                Blank::filled("Name", &person.name),
                Blank::line("Signature"),
                Blank::line("Date, time"),
            ],
        }]),
    ];
    Ok(Told {
        lead: format!(
            "{} by {} in this case. Readings and prints are left out.",
            words::capital(&words::counted(count, "entry").replace("entrys", "entries")),
            person.name
        ),
        note: "This paper repeats what the ledger has on record for one person. A witness says what they know; where that is \
               something else than the record, say so, and have the record corrected by a new entry."
            .into(),
        facts: Vec::new(),
        parts,
        subjects,
        name: person.name,
    })
}
