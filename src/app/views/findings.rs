//! Findings: what somebody who asks about the continuity of custody must be told, each with the row it stands on.
//!
//! Custody is continuous by construction: the ledger never has two holders or none. What can be missing is that
//! somebody vouches. A **gap** is a stretch for which nobody does: it begins at the last event at which a holder was
//! certain and ends when somebody took charge of what nobody had released to them.

use std::collections::BTreeSet;

use chrono::{DateTime, FixedOffset, TimeDelta, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::custody_rows::{CustodyRow, claimed_at, late_by, late_reason};
use super::trail::Step;
use super::words;
use crate::custody::hand_over::Condition;
use crate::custody::state::{Custody, Holder, Item};
use crate::custody::{Fact, State};
use crate::ids::{PackageId, Piece, Subject};
use crate::keeping::{Met, Moments, Stand};

/// An offer that nobody answers for longer than this is worth a look (our assumption, no source).
pub const OPEN_OFFER: TimeDelta = TimeDelta::hours(24);
/// An entry later than this wants attention and not only a note (our assumption, no source).
pub const VERY_LATE: TimeDelta = TimeDelta::hours(24);

/// How grave a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Severity {
    /// Worth knowing; explained on the record.
    Note,
    /// Somebody should look into it.
    Attention,
    /// Continuity or the integrity of a seal is in question.
    Break,
}

impl Severity {
    /// The word for people.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Note => "note",
            Self::Attention => "attention",
            Self::Break => "break",
        }
    }
}

/// One finding.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Finding {
    /// What it is, stable: `gap`, `seal-mismatch` …
    pub code: String,
    /// How grave.
    pub severity: Severity,
    /// In a sentence, with times in the agency's zone.
    pub sentence: String,
    /// The event it stands on; none for what is so now.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub seq: Option<u64>,
    /// The row of the custody table, counted from 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub row: Option<usize>,
    /// Since when.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<DateTime<FixedOffset>>,
    /// Until when.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<DateTime<FixedOffset>>,
}

/// Nothing was found: the sentence that says so, and no more than so.
pub const NONE_FOUND: &str = "No finding: every hand-over has a release and a receipt, and every seal that was looked \
at bears the number on record. It says nothing about whether what people entered was true.";

/// How many findings there are of each severity.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Tally {
    /// Breaks.
    pub breaks: usize,
    /// For attention.
    pub attention: usize,
    /// Notes.
    pub notes: usize,
}

impl Tally {
    /// Counts.
    #[must_use]
    pub fn of<'a>(findings: impl IntoIterator<Item = &'a Finding>) -> Self {
        let mut tally = Self::default();
        for finding in findings {
            match finding.severity {
                Severity::Break => tally.breaks += 1,
                Severity::Attention => tally.attention += 1,
                Severity::Note => tally.notes += 1,
            }
        }
        tally
    }

    /// In words: `1 break, 2 for attention`; `no finding`.
    #[must_use]
    pub fn words(&self) -> String {
        let mut parts = Vec::new();
        if self.breaks > 0 {
            parts.push(words::counted(self.breaks, "break"));
        }
        if self.attention > 0 {
            parts.push(format!("{} for attention", self.attention));
        }
        if self.notes > 0 {
            parts.push(words::counted(self.notes, "note"));
        }
        if parts.is_empty() {
            "no finding".into()
        } else {
            parts.join(", ")
        }
    }
}

/// What is looked at.
pub struct Asked<'a> {
    /// The piece.
    pub piece: Piece,
    /// Its trail.
    pub steps: &'a [Step],
    /// What it is now.
    pub state: &'a State,
    /// The agency's zone.
    pub zone: FixedOffset,
    /// The server's clock.
    pub now: DateTime<Utc>,
}

struct Look<'a> {
    asked: &'a Asked<'a>,
    found: Vec<Finding>,
    /// Packages opened and not sealed again since, with the event.
    open: Vec<(PackageId, usize)>,
    /// Packages that bear a seal.
    sealed: BTreeSet<PackageId>,
    /// An offer on its way: since when.
    offered: Option<DateTime<FixedOffset>>,
    /// To whom it was handed outside.
    outside: Option<(String, String)>,
    /// Due back, once the offer on its way is received.
    offered_due: Option<DateTime<FixedOffset>>,
    /// Due back.
    due: Option<DateTime<FixedOffset>>,
    /// Whether a photograph of the item itself was met on the trail.
    photographed: bool,
}

/// What there is to tell about a trail and about now, in order of the rows.
#[must_use]
pub fn findings(asked: &Asked<'_>) -> Vec<Finding> {
    let mut look = Look {
        asked,
        found: Vec::new(),
        open: Vec::new(),
        sealed: BTreeSet::new(),
        offered: None,
        outside: None,
        offered_due: None,
        due: None,
        photographed: false,
    };
    for i in 0..asked.steps.len() {
        look.step(i);
    }
    look.times_now();
    look.now();
    look.found
}

/// Puts the gravest finding of each row on it.
pub fn flag(rows: &mut [CustodyRow], findings: &[Finding]) {
    for row in rows {
        row.flag = findings
            .iter()
            .filter(|f| f.row == Some(row.row))
            .max_by_key(|f| f.severity)
            .map(|f| f.code.clone());
    }
}

impl Look<'_> {
    fn minute(&self, at: &DateTime<FixedOffset>) -> String {
        words::minute(at, self.asked.zone)
    }

    fn at(&mut self, i: usize, code: &str, severity: Severity, sentence: String) -> &mut Finding {
        let step = &self.asked.steps[i];
        self.found.push(Finding {
            code: code.into(),
            severity,
            sentence,
            seq: Some(step.seq()),
            row: Some(i + 1),
            from: None,
            to: Some(claimed_at(step)),
        });
        let last = self.found.len() - 1;
        &mut self.found[last]
    }

    fn still(
        &mut self,
        code: &str,
        severity: Severity,
        sentence: String,
        since: Option<DateTime<FixedOffset>>,
    ) {
        self.found.push(Finding {
            code: code.into(),
            severity,
            sentence,
            seq: None,
            row: None,
            from: since,
            to: None,
        });
    }

    fn step(&mut self, i: usize) {
        let steps = self.asked.steps;
        let step = &steps[i];
        let at = claimed_at(step);
        self.late(i);
        let Some(fact) = &step.past.fact else {
            let kind = &step.past.event.header.kind;
            let sentence = format!("This version of the program cannot read this event ({kind}).");
            self.at(i, "unknown-event", Severity::Attention, sentence);
            return;
        };
        match fact {
            Fact::ItemRecovered(x) => {
                for warning in &x.warnings {
                    self.at(i, "recovery-warning", Severity::Note, warning.clone());
                }
            }
            Fact::ImageAdded(x) if Subject::from(self.asked.piece) == x.of => {
                self.first_photograph(i, at);
            }
            Fact::PackageMade(x) => self.packed(i, &x.warnings),
            Fact::PiecePutIn(x) => self.packed(i, &x.warnings),
            Fact::PackageSealed(x) => {
                self.open.retain(|(p, _)| *p != x.package);
                self.sealed.insert(x.package);
            }
            Fact::PackageOpened(x) => {
                self.sealed.remove(&x.package);
                self.open.push((x.package, i));
                self.seal(i, &x.seal, &x.seal_seen, x.condition, &x.note);
            }
            Fact::Released(x) => {
                self.leaves(i, x.piece, x.unsealed_reason.as_deref());
                self.offered = Some(at);
                self.offered_due = x.due_at;
            }
            Fact::Withdrawn(_) | Fact::Refused(_) => self.answered(i, at),
            Fact::Received(x) => {
                self.answered(i, at);
                // An offer moves nothing: only what was received is due back.
                self.due = self.offered_due.take().or(self.due);
                self.seal(i, &x.seal, &x.seal_seen, x.condition, &x.note);
            }
            Fact::HandedOut(x) => {
                self.leaves(i, x.piece, x.unsealed_reason.as_deref());
                self.identified(i, &x.identification, &x.name, &x.organisation);
                self.outside = Some((x.name.clone(), x.organisation.clone()));
                self.due = x.due_at.or(self.due);
            }
            Fact::TakenBack(x) => {
                self.identified(i, &x.identification, &x.name, &x.organisation);
                if let Some((name, organisation)) = self.outside.take()
                    && (&name, &organisation) != (&x.name, &x.organisation)
                {
                    let sentence = format!(
                        "It was handed to {} and brought back by {}.",
                        words::outside(&name, &organisation),
                        words::outside(&x.name, &x.organisation)
                    );
                    // Two drivers of one carrier are usual; somebody of another organisation is not.
                    let severity = if organisation == x.organisation {
                        Severity::Note
                    } else {
                        Severity::Attention
                    };
                    self.at(i, "brought-by-another", severity, sentence);
                }
                self.seal(i, &x.seal, &x.seal_seen, x.condition, &x.note);
                self.back(i, at);
            }
            Fact::ChargeTaken(x) => {
                self.offered = None;
                self.outside = None;
                let length = words::duration_words(at - x.unaccounted_since);
                let sentence = format!(
                    "Nobody vouches for {length}: from {}, when it was last on the record with {}, until {}, when charge was taken of it.",
                    self.minute(&x.unaccounted_since),
                    x.from,
                    self.minute(&at)
                );
                let finding = self.at(i, "gap", Severity::Break, sentence);
                finding.from = Some(x.unaccounted_since);
                self.seal(i, &x.seal, &x.seal_seen, x.condition, &x.note);
            }
            Fact::Stored(x) => {
                self.leaves(i, x.piece, x.unsealed_reason.as_deref());
                if !x.overridden.is_empty() {
                    let who = x.override_by.map_or_else(
                        || "somebody".to_owned(),
                        |p| words::person_in(self.asked.state, p),
                    );
                    let sentence = format!(
                        "It was stored at {} against keep rule {}; {who} answers for it: {}",
                        x.place_name,
                        words::listed(&x.overridden),
                        x.override_reason
                            .as_deref()
                            .unwrap_or("no reason on record")
                    );
                    self.at(i, "keep-rule-overridden", Severity::Attention, sentence);
                }
                self.back(i, at);
            }
            _ => {}
        }
    }

    /// The item that is looked at, if it is one.
    fn item(&self) -> Option<&Item> {
        match self.asked.piece {
            Piece::Item(id) => self.asked.state.items.get(&id),
            Piece::Package(_) => None,
        }
    }

    /// A lift that fades is photographed at once: whether its first photograph was in time.
    fn first_photograph(&mut self, i: usize, at: DateTime<FixedOffset>) {
        if std::mem::replace(&mut self.photographed, true) {
            return;
        }
        let Some(item) = self.item() else { return };
        let moments = Moments {
            photographed: Some(at),
            ..item.moments()
        };
        let late: Vec<(String, DateTime<FixedOffset>)> = item
            .needs()
            .into_iter()
            .flat_map(|n| &n.packing.limits)
            .filter(|l| {
                l.met_by() == Some(Met::Photograph) && l.stand(&moments, at) == Stand::MetLate
            })
            .map(|l| (l.rule().to_owned(), moments.recovered))
            .collect();
        for (rule, recovered) in late {
            let sentence = format!(
                "It asks to be photographed at once (rule {rule}): it was recovered at {} and first photographed {} later.",
                self.minute(&recovered),
                words::duration_words(at - recovered)
            );
            self.at(i, "photographed-late", Severity::Attention, sentence)
                .from = Some(recovered);
        }
    }

    /// What the record warned of when it was packed: of this item, or of everything that went into this package.
    fn packed(&mut self, i: usize, warnings: &[String]) {
        let of = self.item().map(|item| format!("Item {} ", item.number));
        for warning in warnings {
            if of.as_ref().is_none_or(|of| warning.starts_with(of)) {
                self.at(i, "packed-too-soon", Severity::Attention, warning.clone());
            }
        }
    }

    /// What a rule asks to be done at once and what is late by now, of every item in it.
    fn times_now(&mut self) {
        let (state, now) = (self.asked.state, self.asked.now.fixed_offset());
        for item in state.items_in(self.asked.piece) {
            let moments = item.moments();
            let limits = item.needs().into_iter().flat_map(|n| &n.packing.limits);
            for limit in limits.filter(|l| l.stand(&moments, now) == Stand::Late) {
                let sentence = format!(
                    "Item {} asks for this without delay: {} (rule {}). Nothing on the record says that it was done; it was recovered at {}.",
                    item.number,
                    limit.what,
                    limit.rule(),
                    self.minute(&moments.recovered)
                );
                self.still(
                    "not-done-at-once",
                    Severity::Attention,
                    sentence,
                    Some(moments.recovered),
                );
            }
        }
    }

    fn late(&mut self, i: usize) {
        let step = &self.asked.steps[i];
        let reason = late_reason(step);
        let late = late_by(step);
        if late.is_none() && reason.is_none() {
            return;
        }
        let by = late.map_or_else(String::new, |l| format!(" {}", words::duration_words(l)));
        let why = reason.map_or_else(
            || "no reason is on record.".to_owned(),
            |r| format!("the reason given: {r}"),
        );
        let severity = if late.is_some_and(|l| l > VERY_LATE) {
            Severity::Attention
        } else {
            Severity::Note
        };
        let sentence = format!(
            "{} was entered{by} after it happened; {why}",
            words::act(&step.past.event.header.kind)
        );
        let from = claimed_at(step);
        self.at(i, "late-entry", severity, sentence).from = Some(from);
    }

    fn seal(&mut self, i: usize, on: &str, seen: &str, condition: Condition, note: &str) {
        let noted = if note.trim().is_empty() {
            String::new()
        } else {
            format!(" Noted: {}", note.trim())
        };
        let differs = !on.is_empty() && !seen.is_empty() && on != seen;
        if differs || condition == Condition::Mismatch {
            let record = if on.is_empty() {
                "no seal".to_owned()
            } else {
                format!("seal {on}")
            };
            let found = if seen.is_empty() {
                "none was read".to_owned()
            } else {
                format!("{seen} was seen")
            };
            let sentence = format!("On record is {record}; {found}.{noted}");
            self.at(i, "seal-mismatch", Severity::Break, sentence);
        } else if condition == Condition::Open && !on.is_empty() {
            let sentence = format!("It was found open although seal {on} is on record.{noted}");
            self.at(i, "found-open", Severity::Break, sentence);
        } else if condition != Condition::Intact {
            let sentence = format!("It was found {}.{noted}", words::condition(condition));
            self.at(i, "condition", Severity::Attention, sentence);
        }
    }

    /// It leaves somebody's hands: was it sealed?
    fn leaves(&mut self, i: usize, piece: Piece, unsealed: Option<&str>) {
        if let Piece::Package(package) = piece
            && let Some(at) = self.open.iter().position(|(p, _)| *p == package)
        {
            let (_, opened) = self.open.remove(at);
            let since = claimed_at(&self.asked.steps[opened]);
            let sentence = format!(
                "{} was opened at {} and left without a new seal.",
                words::title(self.asked.state, piece),
                self.minute(&since)
            );
            self.at(i, "not-resealed", Severity::Attention, sentence)
                .from = Some(since);
        }
        let sealed = matches!(piece, Piece::Package(p) if self.sealed.contains(&p));
        // A reason that was given although it was sealed is no finding.
        if let Some(why) = unsealed.filter(|_| !sealed) {
            let sentence = format!("It went unsealed; the reason given: {why}");
            self.at(i, "unsealed", Severity::Note, sentence);
        }
    }

    fn answered(&mut self, i: usize, at: DateTime<FixedOffset>) {
        if let Some(since) = self.offered.take()
            && at - since > OPEN_OFFER
        {
            let sentence = format!(
                "The offer of {} was answered after {}; until then the releaser had it by the record.",
                self.minute(&since),
                words::duration_words(at - since)
            );
            self.at(i, "offer-answered-late", Severity::Note, sentence)
                .from = Some(since);
        }
    }

    fn identified(&mut self, i: usize, identification: &str, name: &str, organisation: &str) {
        if identification.trim().is_empty() {
            let sentence = format!(
                "No identification of {} is on record.",
                words::outside(name, organisation)
            );
            self.at(i, "not-identified", Severity::Attention, sentence);
        }
    }

    fn back(&mut self, i: usize, at: DateTime<FixedOffset>) {
        if let Some(due) = self.due.take()
            && at > due
        {
            let sentence = format!(
                "It was due back at {} and came back {} later.",
                self.minute(&due),
                words::duration_words(at - due)
            );
            self.at(i, "returned-late", Severity::Note, sentence).from = Some(due);
        }
    }

    /// What is so now.
    fn now(&mut self) {
        let state = self.asked.state;
        let outermost = state.outermost(self.asked.piece);
        let Some(custody) = state.custody(outermost) else {
            return;
        };
        let now = self.asked.now;
        self.offer_now(custody, now);
        if let Some(due) = custody.loan.as_ref().and_then(|l| l.due_at)
            && now > due.to_utc()
        {
            let sentence = format!(
                "It was due back at {}, {} ago; {} has it.",
                self.minute(&due),
                words::duration_words(now - due.to_utc()),
                words::holder(state, &custody.holder)
            );
            self.still("overdue", Severity::Attention, sentence, Some(due));
        }
        if let Holder::Person { person } = &custody.holder
            && state.people.get(person).is_some_and(|p| !p.active)
        {
            let sentence = format!(
                "The account of {}, who has it, is switched off.",
                words::person_in(state, *person)
            );
            self.still("holder-switched-off", Severity::Attention, sentence, None);
        }
    }

    fn offer_now(&mut self, custody: &Custody, now: DateTime<Utc>) {
        let state = self.asked.state;
        let Some(offer) = &custody.offer else { return };
        let open = now - offer.at.to_utc();
        if open > OPEN_OFFER {
            let sentence = format!(
                "It is on offer to {} since {}, {}, and nobody has answered.",
                words::person_in(state, offer.to),
                self.minute(&offer.at),
                words::duration_words(open)
            );
            self.still("offer-open", Severity::Attention, sentence, Some(offer.at));
        }
        if state.people.get(&offer.to).is_some_and(|p| !p.active) {
            let sentence = format!(
                "It is on offer to {}, whose account is switched off.",
                words::person_in(state, offer.to)
            );
            self.still(
                "offer-to-switched-off",
                Severity::Attention,
                sentence,
                Some(offer.at),
            );
        }
    }
}
