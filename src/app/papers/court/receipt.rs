//! The receipt for whoever something was taken from, or who brought it to the counter: what, from whom and where, when, by whom, and who to ask. The address
//! of a scene stands on it only where whoever prints says so: a victim's address is nobody else's business.

use std::collections::BTreeSet;

use super::pieces::{items, subjects};
use super::{PaperError, Setting, Told, in_ink, printed_by, typed};
use crate::app::reader::Reader;
use crate::app::views::words;
use crate::custody::brought::UNKNOWN;
use crate::custody::state::Item;
use crate::ids::{ItemId, Piece, Subject};
use crate::reports::parts::{Blank, Part, Signer, col};
use crate::reports::table::Row;

/// What is asked of a receipt.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Receipt {
    /// What was taken; none for every item of the case.
    pub items: Vec<ItemId>,
    /// From whom it was taken.
    pub from: String,
    /// Whom to ask about it, with a telephone number; empty for whoever prints.
    pub ask: String,
    /// Under which authority it was taken: consent, a warrant with its number.
    pub authority: String,
    /// Whether the address of the scene stands on it.
    pub with_address: bool,
}

fn taken(item: &Item) -> bool {
    // A photograph takes nothing along.
    item.recovered.form != "image"
}

pub(super) async fn told(
    reader: &Reader<'_>,
    s: &Setting,
    x: &Receipt,
) -> Result<Told, PaperError> {
    let from = typed("From whom it was taken", &x.from, false)?;
    let ask = typed("Whom to ask", &x.ask, false)?;
    let authority = typed("The authority", &x.authority, false)?;
    let zone = s.agency.zone;
    let all = items(reader, s.case.id).await?;
    if let Some(stranger) = x.items.iter().find(|i| !all.iter().any(|a| a.id == **i)) {
        return Err(PaperError::Count(format!(
            "item {stranger} is not of case {}",
            s.case.number
        )));
    }
    let listed: Vec<&Item> = all
        .iter()
        .filter(|i| taken(i) && (x.items.is_empty() || x.items.contains(&i.id)))
        .collect();
    if listed.is_empty() {
        return Err(PaperError::Count(
            "nothing was taken: only photographs, or nothing at all".into(),
        ));
    }
    let asked: Vec<Subject> = listed.iter().map(|i| Subject::Item(i.id)).collect();
    let state = reader.around(&asked).await?;
    let mut scenes = BTreeSet::new();
    let rows: Vec<Row> = listed
        .iter()
        .map(|item| {
            let mark = state.marks.get(&item.mark);
            let place = mark.map(|m| {
                scenes.insert(m.noted.scene);
                format!("{}, {}", m.noted.object, m.noted.exact_place)
            });
            let scene = mark.and_then(|m| s.case.scenes.iter().find(|c| c.id == m.noted.scene));
            let form = words::form(&item.recovered.form);
            let by = item
                .recovered_by
                .or(item.brought.as_ref().map(|b| b.taken_in_by))
                .map(|p| words::person_in(&state, p))
                .unwrap_or_default();
            Row {
                cells: vec![
                    item.number.to_string(),
                    item.code.grouped(),
                    format!("{}\n{form}", item.recovered.description),
                    format!(
                        "{}{}",
                        scene.map(|c| format!("{}: ", c.name)).unwrap_or_default(),
                        place.unwrap_or_default()
                    ),
                    words::minute(&item.recovered_at, zone),
                    by,
                ],
                flagged: false,
            }
        })
        .collect();
    // What was brought to the counter was taken from nobody.
    let brought: BTreeSet<String> = listed
        .iter()
        .filter_map(|i| i.brought.as_ref().map(|b| b.told.who()))
        .collect();
    let all_brought = listed.iter().all(|i| i.brought.is_some());
    let from = match brought.first() {
        Some(who) if from.is_empty() && all_brought && brought.len() == 1 && who != UNKNOWN => {
            who.clone()
        }
        _ => from,
    };
    let (verb, source, by_whom) = if all_brought {
        ("taken in at the counter", "Brought by", "Taken in by")
    } else {
        ("taken as evidence", "Taken from", "Taken by")
    };
    let mut facts = vec![
        (source.to_owned(), from.clone()),
        ("Under".to_owned(), authority),
        (
            "Whom to ask".to_owned(),
            if ask.is_empty() {
                format!("{}, {}", printed_by(reader), s.agency.name)
            } else {
                ask
            },
        ),
    ];
    for scene in s.case.scenes.iter().filter(|c| scenes.contains(&c.id)) {
        let words = if x.with_address && !scene.address.is_empty() {
            format!("{}, {}", scene.name, scene.address)
        } else {
            scene.name.clone()
        };
        facts.push(("Where".to_owned(), words));
    }
    let heading = if all_brought {
        "What was taken in"
    } else {
        "What was taken"
    };
    let mut blanks = Vec::new();
    if from.is_empty() {
        blanks.push(Blank::line(source));
    }
    blanks.push(Blank::lines("What the owner wishes to note", 2));
    let signer = |role: &str, name: &str| Signer {
        role: role.to_owned(),
        lines: vec![
            Blank::filled("Name", name),
            Blank::line("Number or relation"),
            Blank::line("Signature"),
            Blank::line("Date, time"),
        ],
    };
    let parts = vec![
        Part::Facts(facts),
        Part::Heading(heading.into()),
        Part::Table {
            name: heading,
            columns: vec![
                col("Item", 0.7, false),
                col("Code", 1.9, true),
                col("What", 3.4, false),
                col("Where it was", 3.2, false),
                col("When", 1.9, false),
                col("By whom", 1.8, false),
            ],
            rows,
        },
        Part::Blanks(blanks),
        Part::Text(
            "The signature confirms that this receipt was handed over, not that what was taken was given freely, and not that \
             the list is agreed with. Whoever does not wish to sign need not; say so on the line."
                .into(),
        ),
        in_ink(zone),
        Part::Signatures(vec![
            signer(by_whom, ""),
            signer("Receipt handed to", &from),
        ]),
    ];
    Ok(Told {
        lead: format!(
            "{} {verb} in this case. Name the case number and the item's number when you ask about it.",
            words::capital(&words::counted(listed.len(), "item"))
        ),
        note: "When and whether something comes back depends on the case; local law and counsel decide."
            .into(),
        facts: Vec::new(),
        parts,
        subjects: subjects(s.case.id, listed.iter().map(|i| Piece::Item(i.id))),
        name: String::new(),
    })
}
