//! What pages that show have in common: next acts as buttons, lists in parts, the reading of a restricted case.

use super::acts::address;
use crate::app::views::images::{Image, WorkingCopy};
use crate::app::views::next_acts::NextAct;
use crate::app::views::orientation::Orientation;
use crate::app::views::words;
use crate::app::{Part, Reader};
use crate::custody::Signed;
use crate::custody::state::Case;
use crate::ids::{CommandId, Piece, Subject};
use crate::ledger::event::Source;
use crate::people::Action;
use crate::web::draw::steps;
use crate::web::error::Failure;
use crate::web::form::Typed;
use crate::web::frame::{Frame, Link, Notice};
use crate::zone::Zone;

/// How many rows a list on a page has.
pub const ROWS: u32 = 50;

/// An act as a button.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Button {
    /// The form.
    pub href: String,
    /// What it says.
    pub label: String,
    /// Why it is offered.
    pub why: String,
    /// Whether the thing waits for it.
    pub first: bool,
}

impl Button {
    /// A button that is there because the role may do it.
    #[must_use]
    pub fn new(href: impl Into<String>, label: impl Into<String>) -> Self {
        Self {
            href: href.into(),
            label: label.into(),
            why: String::new(),
            first: false,
        }
    }
}

/// Where an act is done. Papers are printed from the page of the thing itself.
#[must_use]
pub fn act_href(act: &NextAct) -> String {
    let page = address(act.piece.into()).unwrap_or_else(|| "/".into());
    match act.act.as_str() {
        "print-label" | "print-report" => format!("{page}#papers"),
        "add-image" => format!("{page}/photograph"),
        word => format!("/do/{word}?piece={}", act.piece),
    }
}

/// Next acts as buttons; papers have a place of their own on the page.
#[must_use]
pub fn buttons(acts: &[NextAct]) -> Vec<Button> {
    acts.iter()
        .filter(|a| !matches!(a.act.as_str(), "print-label" | "print-report"))
        .map(|a| Button {
            href: act_href(a),
            label: a.label.clone(),
            why: a.why.clone(),
            first: a.first,
        })
        .collect()
}

/// The page of a piece.
#[must_use]
pub fn piece_href(piece: &Piece) -> String {
    subject_href(&Subject::from(*piece))
}

/// The page of a subject.
#[must_use]
pub fn subject_href(subject: &Subject) -> String {
    address(*subject).unwrap_or_else(|| "/".into())
}

/// The page of a picture's original.
#[must_use]
pub fn image_href(image: &Image) -> String {
    format!("/images/{}?of={}", image.digest, image.of)
}

/// The page of a picture.
#[must_use]
pub fn picture_href(image: &Image) -> String {
    super::acts::picture::page_of(image.of, image.digest)
}

/// The bytes of a working copy.
#[must_use]
pub fn copy_href(image: &Image, copy: &WorkingCopy) -> String {
    format!(
        "/copies/{}?of={}&original={}",
        copy.digest, image.of, image.digest
    )
}

/// The steps from the mark to a picture, drawn.
#[must_use]
pub fn drawn_steps(orientation: &Orientation) -> String {
    let list: Vec<steps::ViewStep> = orientation
        .steps
        .iter()
        .map(|s| steps::ViewStep {
            words: s.words.clone(),
            turns: s.turns,
        })
        .collect();
    steps::draw(&list)
}

/// An identifier for a form that is shown.
#[must_use]
pub fn new_command() -> CommandId {
    CommandId::new()
}

/// Whether a browser shows files of this type in a page.
#[must_use]
pub fn is_shown(image: &Image) -> bool {
    matches!(
        image.media_type.as_str(),
        "image/png" | "image/jpeg" | "image/webp" | "image/gif"
    )
}

/// Where a list begins, by the word in the address.
#[must_use]
pub fn part(typed: &Typed, name: &str) -> Part {
    let after = typed.get(name);
    Part {
        after: (!after.is_empty()).then(|| after.chars().take(2000).collect()),
        limit: ROWS,
    }
}

/// The address of the next part of a list; its cursor is made of letters that an address may hold.
#[must_use]
pub fn next_href(page: &str, name: &str, next: Option<&String>) -> Option<String> {
    next.map(|cursor| format!("{page}?{name}={cursor}"))
}

/// Puts the reading of a restricted case on the record, before anything of it is shown.
///
/// # Errors
/// [`Failure`].
pub async fn noted(reader: &Reader<'_>, case: &Case, what: &str) -> Result<(), Failure> {
    reader
        .note_reading(case, what, Signed::Session, Source::Desk)
        .await?;
    Ok(())
}

/// An exhibit number with its court and since when.
pub fn exhibit(e: &crate::custody::exhibit::Exhibit, zone: Zone) -> String {
    let mut out = format!("{}, since {}", e.number, words::minute(&e.at, zone));
    for (lead, said) in [("", &e.court), ("because ", &e.reason)] {
        if !said.is_empty() {
            out.push_str(&format!(", {lead}{said}"));
        }
    }
    out
}

/// The exhibit number of an item, and those before it, as facts.
pub fn exhibits(
    list: &[crate::custody::exhibit::Exhibit],
    zone: Zone,
) -> impl Iterator<Item = (String, String)> {
    let last = list.len().saturating_sub(1);
    list.iter().enumerate().rev().map(move |(n, e)| {
        let name = if n == last {
            "Exhibit"
        } else {
            "Exhibit before"
        };
        (name.to_owned(), exhibit(e, zone))
    })
}

/// That a record was expunged, as a fact.
pub fn expunged(
    expunged: Option<&crate::custody::expungement::Expunged>,
) -> impl Iterator<Item = (String, String)> {
    expunged
        .into_iter()
        .map(|e| ("Record".to_owned(), e.words()))
}

/// What examinations used up of it, as facts.
pub fn consumed(
    consumed: &[crate::custody::consumed::Consumed],
    zone: Zone,
) -> impl Iterator<Item = (String, String)> {
    consumed.iter().map(move |c| {
        let what = if c.whole {
            "Used up"
        } else {
            "Used up in part"
        };
        let said = format!(
            "{}, {}; said by {}, report {}",
            c.quantity,
            words::minute(&c.at, zone),
            c.said_by,
            c.report
        );
        (what.to_owned(), said)
    })
}

/// A hold: since when, by whose order and why.
pub fn hold(h: &crate::custody::hold::Hold, zone: Zone) -> String {
    format!(
        "since {}, ordered by {}: {}",
        words::minute(&h.at, zone),
        h.authority,
        h.reason
    )
}

/// The holds that stand, as facts.
pub fn held(
    holds: &[crate::custody::hold::Hold],
    zone: Zone,
) -> impl Iterator<Item = (String, String)> {
    crate::custody::hold::standing(holds)
        .map(move |h| (format!("Hold {}", h.number), hold(h, zone)))
}

/// How long the evidence of a case is kept, in words; empty where nobody has said.
#[must_use]
pub fn kept(case: &Case) -> String {
    case.retention.as_ref().map_or_else(String::new, |r| {
        let until = r
            .until
            .map_or_else(|| "for good".to_owned(), |d| format!("until {d}"));
        format!(
            "{until}: {}, counted from {}, by schedule {}",
            r.class_name, r.from, r.schedule
        )
    })
}

/// Where a page of a case stands: cases, the case, itself.
#[must_use]
pub fn crumbs(case_href: String, case_number: &str, name: &str) -> Vec<Link> {
    vec![
        Link::new("/cases", "Cases"),
        Link::new(case_href, case_number),
        Link::new("", name),
    ]
}

/// What just happened and, where there is one, the act that comes next.
#[must_use]
pub fn with_next(notice: Option<Notice>, acts: &[NextAct]) -> Option<Notice> {
    notice.map(|mut n| {
        n.next = acts.iter().find(|a| a.first).map(|a| match a.act.as_str() {
            // To take an offer back is possible, but nothing that has to be done.
            "withdraw" => "the other person receives it or refuses it.".to_owned(),
            _ => format!("{}. {}", a.label, a.why),
        });
        n
    })
}

/// Which words a frame's viewer may correct: the acts of amending and printing, asked once for a page.
#[derive(Clone, Copy, Debug, Default)]
pub struct May {
    /// Correct a record.
    pub amend: bool,
    /// Keep the storeroom.
    pub keep: bool,
    /// Print labels.
    pub label: bool,
    /// Print reports.
    pub report: bool,
    /// Make disclosure bundles.
    pub disclose: bool,
    /// Set view steps and scales, make working copies.
    pub images: bool,
    /// Say what pictures are worth.
    pub assess: bool,
    /// Hand pictures off to an AFIS.
    pub hand_off: bool,
    /// Answer findings.
    pub answer: bool,
}

impl May {
    /// What this reader may.
    #[must_use]
    pub fn of(reader: &Reader<'_>) -> Self {
        let viewer = reader.viewer();
        Self {
            amend: viewer.may(Action::Amend),
            assess: viewer.may(Action::AssessValue),
            hand_off: viewer.may(Action::HandOff),
            answer: viewer.may(Action::AnswerFindings),
            keep: viewer.may(Action::Keep),
            label: viewer.may(Action::PrintLabel),
            report: viewer.may(Action::PrintReport),
            disclose: viewer.may(Action::Disclose),
            images: viewer.may(Action::WorkImages),
        }
    }

    /// Whether an event of this kind has anything that this reader may correct.
    #[must_use]
    pub fn corrects(&self, kind: &str) -> bool {
        self.amend
            && crate::custody::amendment::AMENDABLE
                .iter()
                .any(|(k, _)| *k == kind)
    }
}

/// A label that can be printed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LabelButton {
    /// Kind, by the word of papers.
    pub kind: &'static str,
    /// Size of the card, `3x5` or `4x6`; empty where there is one size.
    pub size: &'static str,
    /// What the button says.
    pub label: &'static str,
}

/// The labels of an item: first what its recovery asks for.
#[must_use]
pub fn item_labels(on_card: bool) -> Vec<LabelButton> {
    let label = |kind, size, label| LabelButton { kind, size, label };
    let mut cards = vec![
        label("card", "3x5", "Card 3 by 5 in, both sides"),
        label("card", "4x6", "Card 4 by 6 in, both sides"),
    ];
    let mut others = vec![
        label("box", "", "Box label"),
        label("envelope", "", "Envelope label"),
        label("seal-strip", "", "Seal strip"),
    ];
    if on_card {
        cards.append(&mut others);
        cards
    } else {
        others.append(&mut cards);
        others
    }
}

/// The labels of a package.
#[must_use]
pub fn package_labels() -> Vec<LabelButton> {
    item_labels(false)
        .into_iter()
        .filter(|l| l.size.is_empty())
        .collect()
}

/// A frame with its notice.
#[must_use]
pub fn framed(mut frame: Frame, notice: Option<Notice>) -> Frame {
    frame.notice = notice;
    frame
}
