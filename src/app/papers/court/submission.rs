//! The submission to a laboratory or an examiner: what goes to them, in which packages and under which seals, what is asked
//! of them, what can hurt whoever opens it, and what was done to each mark before.

use super::pieces::{chosen, items_in, subjects};
use super::sheet::described;
use super::{PaperError, Setting, Told, in_ink, printed_by, typed};
use crate::app::reader::Reader;
use crate::app::views::item_file::{self, ItemFile};
use crate::app::views::words;
use crate::custody::hand_over::seal_on;
use crate::ids::{ItemId, Piece};
use crate::reports::parts::{Blank, Part, Signer, col};
use crate::reports::table::Row;

/// Most items of one submission: each is told whole.
pub const MOST_ITEMS: usize = 200;

/// What is asked of a submission.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Submission {
    /// What goes; none for everything of the case that is in no package.
    pub pieces: Vec<Piece>,
    /// To whom it goes.
    pub to: String,
    /// Which examinations are asked for.
    pub examinations: String,
    /// The laboratory's or the agency's reference.
    pub reference: String,
    /// By when, and why then.
    pub due: String,
}

fn packing(state: &crate::custody::State, piece: Piece) -> Row {
    let code = super::sheet::code(state, piece).map(crate::ids::Code::grouped);
    let seal = seal_on(state, piece);
    let held = words::held_by(state, piece).unwrap_or_default();
    Row {
        cells: vec![
            words::title(state, piece),
            code.unwrap_or_default(),
            described(state, piece),
            if seal.is_empty() {
                "not sealed".into()
            } else {
                seal.to_owned()
            },
            held,
        ],
        flagged: false,
    }
}

fn medium(file: &ItemFile) -> String {
    let r = &file.recovery;
    let mut out = vec![format!("{}, {}", r.medium_name, r.form_words)];
    if !r.card.is_empty() {
        out.push(format!("on {} card", r.card));
    }
    if !r.lot.is_empty() {
        out.push(format!("lot {}", r.lot));
    }
    out.push(format!("recovered {} by {}", r.when, r.by_name));
    out.join("; ")
}

/// What was done to the mark and to its pictures, oldest first, one a line.
fn history(file: &ItemFile) -> Vec<String> {
    let mut out: Vec<String> = file
        .mark
        .developments
        .iter()
        .map(|d| {
            let note = if d.note.is_empty() {
                String::new()
            } else {
                format!(", {}", d.note)
            };
            format!(
                "{}: {} ({}), by {}{note}",
                d.when, d.name, d.code, d.by_name
            )
        })
        .collect();
    if out.is_empty() {
        out.push("Not developed, by the record.".into());
    }
    out
}

/// Each picture and each working copy, with which way round it reads and what was done to it.
fn pictures(file: &ItemFile) -> Vec<Row> {
    let mut out = Vec::new();
    for image in file.mark.images.iter().chain(&file.images) {
        out.push(Row {
            cells: vec![
                image.file.clone(),
                image.viewed.clone(),
                image.orientation.words.clone(),
                image.orientation.because.clone(),
                image.density.clone(),
            ],
            flagged: image.orientation.reads != "direct",
        });
        for copy in &image.copies {
            out.push(Row {
                cells: vec![
                    format!("Working copy of {}", image.file),
                    copy.done.clone(),
                    copy.reads_words.clone(),
                    String::new(),
                    copy.ppi
                        .map(|p| format!("{p} pixels an inch at 1:1"))
                        .unwrap_or_default(),
                ],
                flagged: copy.reads != "direct",
            });
        }
    }
    out
}

fn one_item(file: &ItemFile) -> Vec<Part> {
    let m = &file.mark;
    let mut parts = vec![
        Part::Heading(format!(
            "Item {}: {}",
            file.number, file.recovery.description
        )),
        Part::Facts(vec![
            ("Code".into(), file.code_grouped.clone()),
            (
                "Mark".into(),
                format!("{}, {}", words::capital(&m.name), m.kind_words),
            ),
            ("On what".into(), format!("{}, {}", m.object, m.exact_place)),
            ("Up is".into(), m.up.clone()),
            (
                "Surface".into(),
                [&m.substrate_name, &m.texture, &m.curvature]
                    .into_iter()
                    .filter(|t| !t.is_empty())
                    .cloned()
                    .collect::<Vec<_>>()
                    .join(", "),
            ),
            ("Medium".into(), medium(file)),
            ("Done to the mark".into(), history(file).join("\n")),
            ("It is".into(), file.recovery.facts.join(", ")),
            ("Warnings".into(), file.recovery.warnings.join(" ")),
            ("The item itself".into(), file.orientation.words.clone()),
            ("Because".into(), file.orientation.because.clone()),
            ("Asks for".into(), file.keeping.sentence.clone()),
        ]),
    ];
    if let Some(banner) = &file.orientation.banner {
        parts.push(Part::Notice(format!("Item {}: {banner}", file.number)));
    }
    let rows = pictures(file);
    if !rows.is_empty() {
        parts.push(Part::Table {
            name: "Pictures",
            columns: vec![
                col("Picture", 2.0, false),
                col("Taken, or done to it", 2.4, false),
                col("Reads", 1.4, false),
                col("Because", 5.0, false),
                col("Density", 1.8, false),
            ],
            rows,
        });
    }
    parts
}

pub(super) async fn told(
    reader: &Reader<'_>,
    s: &Setting,
    x: &Submission,
) -> Result<Told, PaperError> {
    let to = typed("To whom it goes", &x.to, true)?;
    let examinations = typed("Which examinations are asked for", &x.examinations, true)?;
    let reference = typed("The reference", &x.reference, false)?;
    let due = typed("By when", &x.due, false)?;
    let (pieces, state) = chosen(reader, s.case.id, &x.pieces).await?;
    let ids: Vec<ItemId> = items_in(&state, &pieces).iter().map(|i| i.id).collect();
    if ids.is_empty() {
        return Err(PaperError::Count(
            "there is no item in what was chosen".into(),
        ));
    }
    if ids.len() > MOST_ITEMS {
        return Err(PaperError::Count(format!(
            "one submission has at most {MOST_ITEMS} items. Choose some of the packages"
        )));
    }
    let mut files = Vec::with_capacity(ids.len());
    for id in &ids {
        files.push(item_file::load_at(reader, *id, s.now).await?);
    }
    let mut parts = vec![
        Part::Facts(vec![
            ("To".into(), to),
            (
                "From".into(),
                format!("{}, {}", printed_by(reader), s.agency.name),
            ),
            ("Reference".into(), reference),
            ("By when".into(), due),
        ]),
        Part::Heading("What is asked for".into()),
        Part::Text(examinations),
    ];
    // Each hazard once, with the items that bring it: whoever opens the package reads this first.
    let mut hazards: Vec<(String, Vec<String>)> = Vec::new();
    for file in &files {
        let mut words: Vec<String> = file
            .cautions
            .iter()
            .map(|c| format!("{} {}", c.text, c.defers_to))
            .collect();
        let facts = &file.recovery.facts;
        if facts.iter().any(|f| f.contains("biological")) {
            words.push(
                "May bear blood or other biological material: gloves, eye protection, and your local rules for infectious \
                 material."
                    .into(),
            );
        }
        if facts.iter().any(|f| f.contains("sharp")) {
            words.push("Sharp: open it so that nobody reaches into an edge.".into());
        }
        for one in words {
            match hazards.iter_mut().find(|(w, _)| *w == one) {
                Some((_, of)) => of.push(file.number.to_string()),
                None => hazards.push((one, vec![file.number.to_string()])),
            }
        }
    }
    parts.push(Part::Heading("Before anything is opened".into()));
    if hazards.is_empty() {
        parts.push(Part::Text(
            "The record names no hazard. Wear gloves all the same: the record may not know of powder, solvent or blood.".into(),
        ));
    }
    for (words, of) in &hazards {
        let which = if of.len() == 1 { "Item" } else { "Items" };
        parts.push(Part::Notice(format!("{which} {}: {words}", of.join(", "))));
    }
    parts.push(Part::Heading("What goes".into()));
    parts.push(Part::Table {
        name: "What goes",
        columns: vec![
            col("Package or item", 1.8, false),
            col("Code", 2.0, true),
            col("What is in it", 4.0, false),
            col("Seal on record", 1.8, true),
            col("Now with", 2.0, false),
        ],
        rows: pieces.iter().map(|p| packing(&state, *p)).collect(),
    });
    for file in &files {
        parts.extend(one_item(file));
    }
    let signer = |role: &str| Signer {
        role: role.to_owned(),
        lines: vec![
            Blank::line("Name"),
            Blank::line("Number"),
            Blank::line("Signature"),
            Blank::line("Date, time"),
        ],
    };
    parts.push(Part::Together(80.0));
    parts.push(Part::Heading("On receipt".into()));
    parts.push(Part::Blanks(vec![
        Blank::line("Seal numbers read, condition"),
        Blank::line("What differs from this paper"),
    ]));
    parts.push(in_ink(s.agency.zone));
    parts.push(Part::Signatures(vec![
        signer("Submitted by"),
        signer("Received by"),
    ]));
    Ok(Told {
        lead: format!(
            "{} in {}.",
            words::capital(&words::counted(files.len(), "item")),
            words::counted(pieces.len(), "piece")
        ),
        note: "A marked row of pictures is one that reads reversed, or of which nobody knows: turn it before it is compared. \
               What the paper says of methods and orientation is what the record says; it is no finding."
            .into(),
        facts: Vec::new(),
        parts,
        subjects: subjects(
            s.case.id,
            pieces
                .iter()
                .copied()
                .chain(ids.into_iter().map(Piece::Item)),
        ),
        name: String::new(),
    })
}
