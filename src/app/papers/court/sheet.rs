//! The hand-over sheet: what is handed over, written down and signed in ink while there is no network, and entered
//! afterwards by the acts that it would have been, each naming the sheet.
//!
//! The number of a seal stands nowhere on it: whoever receives reads it off the package and writes it down.

use super::pieces::{chosen, subjects};
use super::{PaperError, Setting, Told, in_ink, typed};
use crate::app::reader::Reader;
use crate::app::views::words;
use crate::custody::State;
use crate::custody::hand_over::seal_on;
use crate::ids::Piece;
use crate::reports::parts::{Blank, Part, Piece as Line, Signer};

/// The most empty lines of one sheet.
pub const MOST_EMPTY: usize = 60;

/// What is asked of a hand-over sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sheet {
    /// What is handed over; none for everything of the case that is in no package.
    pub pieces: Vec<Piece>,
    /// Who releases, where that is known.
    pub from: String,
    /// Who receives, where that is known.
    pub to: String,
    /// Why, where that is known.
    pub reason: String,
    /// How many empty lines for what is not listed.
    pub empty: usize,
}

impl Default for Sheet {
    fn default() -> Self {
        Self {
            pieces: Vec::new(),
            from: String::new(),
            to: String::new(),
            reason: String::new(),
            empty: 4,
        }
    }
}

/// What a piece is, in a few words.
pub(super) fn described(state: &State, piece: Piece) -> String {
    match piece {
        Piece::Item(id) => state
            .items
            .get(&id)
            .map(|i| i.recovered.description.clone())
            .unwrap_or_default(),
        Piece::Package(_) => {
            let inside: Vec<String> = state
                .items_in(piece)
                .iter()
                .map(|i| format!("item {}", i.number))
                .collect();
            if inside.is_empty() {
                "empty".into()
            } else {
                format!("in it {}", words::listed(&inside))
            }
        }
    }
}

/// The code on a piece's label.
pub(super) fn code(state: &State, piece: Piece) -> Option<&crate::ids::Code> {
    match piece {
        Piece::Item(id) => state.items.get(&id).map(|i| &i.code),
        Piece::Package(id) => state.packages.get(&id).map(|p| &p.code),
    }
}

fn signer(role: &str, known: &str) -> Signer {
    Signer {
        role: role.to_owned(),
        lines: vec![
            Blank::filled("Name", known),
            Blank::line("Number"),
            Blank::line("Signature"),
            Blank::line("Date, time"),
        ],
    }
}

pub(super) async fn told(reader: &Reader<'_>, s: &Setting, x: &Sheet) -> Result<Told, PaperError> {
    let (from, to) = (
        typed("Who releases", &x.from, false)?,
        typed("Who receives", &x.to, false)?,
    );
    let reason = typed("The reason", &x.reason, false)?;
    if x.empty > MOST_EMPTY {
        return Err(PaperError::Count(format!(
            "a sheet has at most {MOST_EMPTY} empty lines"
        )));
    }
    let (pieces, state) = chosen(reader, s.case.id, &x.pieces).await?;
    let mut lines: Vec<Line> = pieces
        .iter()
        .filter_map(|piece| {
            let code = code(&state, *piece)?;
            Some(Line {
                line: 0,
                code: code.as_str().to_owned(),
                code_grouped: code.grouped(),
                name: words::title(&state, *piece),
                description: described(&state, *piece),
                sealed: !seal_on(&state, *piece).is_empty(),
            })
        })
        .collect();
    let listed = lines.len();
    lines.extend((0..x.empty).map(|_| Line::default()));
    if lines.is_empty() {
        return Err(PaperError::Count(
            "there is nothing to list, and no empty line was asked for".into(),
        ));
    }
    for (n, line) in lines.iter_mut().enumerate() {
        line.line = n + 1;
    }
    let parts = vec![
        Part::Notice(
            "Wear gloves, touch no face that bears a mark, and follow your local rules for blood, sharp edges and wet things. A \
             package that leaks or smells is not opened."
                .into(),
        ),
        Part::Blanks(vec![
            Blank::filled("Reason for the hand-over", &reason),
            Blank::line("Where"),
            Blank::line("Date and time"),
        ]),
        in_ink(s.agency.zone),
        Part::Heading("What is handed over".into()),
        Part::Small(
            "Strike out what is not handed over. Read each seal off the package; its number is not printed here. Tick what you \
             see; anything but intact needs a note."
                .into(),
        ),
        Part::Pieces(lines),
        Part::Together(62.0),
        Part::Heading("Signed in ink".into()),
        Part::Signatures(vec![
            signer("Released by", &from),
            signer("Received by", &to),
        ]),
        Part::Blanks(vec![Blank::line("How many lines are handed over")]),
        Part::Heading("Entered in the ledger".into()),
        Part::Small(
            "As soon as there is a network again: each of the two enters the hand-over in their own account, with the date and \
             time that stand above, and names this sheet by its print identifier. Until then the record says that the releaser \
             has it. Keep the sheet; local rules say how long."
                .into(),
        ),
        Part::Blanks(vec![
            Blank::line("Release entered by, when"),
            Blank::line("Receipt entered by, when"),
        ]),
    ];
    Ok(Told {
        lead: format!(
            "For a hand-over while there is no network: {} listed, {}.",
            words::counted(listed, "thing"),
            words::counted(x.empty, "empty line")
        ),
        note: "This paper was printed before the hand-over; the record knows of it only what is entered afterwards. What a \
               signature in ink is worth, local law decides."
            .into(),
        facts: Vec::new(),
        parts,
        subjects: subjects(s.case.id, pieces),
        name: String::new(),
    })
}
