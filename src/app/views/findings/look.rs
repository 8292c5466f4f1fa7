//! The walk along a trail: what each event has to tell that somebody who asks about continuity must know.

use std::collections::BTreeSet;

use chrono::{DateTime, FixedOffset};

use super::super::custody_rows::{claimed_at, late_by, late_reason, recorded_at};
use super::super::trail::Step;
use super::super::words;
use super::{Asked, Kind, OPEN_OFFER, Raw, Severity, VERY_LATE, held, pictures};
use crate::app::views::legacy::legacy;
use crate::custody::Fact;
use crate::custody::continuity::{gaps, overlaps};
use crate::custody::hand_over::{ChargeTaken, Stayed, TakenBack};
use crate::custody::item::{ItemRecovered, NOT_PHOTOGRAPHED};
use crate::custody::kit;
use crate::custody::package::PieceTakenOut;
use crate::custody::rules::SKEW;
use crate::custody::state::Item;
use crate::custody::weight;
use crate::ids::{PackageId, Piece, Seq, Subject};
use crate::keeping::{Met, Moments, Stand};
use crate::people::Role;

pub(super) struct Look<'a> {
    pub(super) asked: &'a Asked<'a>,
    pub(super) found: Vec<Raw>,
    /// Packages opened and not sealed again since, with the event.
    pub(super) open: Vec<(PackageId, usize)>,
    /// Packages that bear a seal.
    pub(super) sealed: BTreeSet<PackageId>,
    /// An offer on its way, or a hand-out: since when, by which step.
    offered: Option<(DateTime<FixedOffset>, usize)>,
    /// To whom it was handed outside, by which step.
    outside: Option<(String, String, usize)>,
    /// Due back, once the offer on its way is received, by which step.
    offered_due: Option<(DateTime<FixedOffset>, usize)>,
    /// Due back, by which step.
    pub(super) due: Option<(DateTime<FixedOffset>, usize)>,
    /// The seal with which it was sent, by which step.
    pub(super) sent: Option<(String, usize)>,
    /// What weighed how much when it went outside, by which scale and step.
    weighed: Option<(Piece, u64, Option<String>, usize)>,
    /// Whether an examiner or somebody outside had it.
    examined: bool,
    /// Whether a photograph of the item itself was met on the trail.
    photographed: bool,
}

/// A word as a key has it.
pub(super) fn word(text: &str) -> String {
    let plain = |c: char| {
        let c = c.to_ascii_lowercase();
        if c.is_ascii_lowercase() || c.is_ascii_digit() {
            c
        } else {
            '-'
        }
    };
    text.chars().take(60).map(plain).collect()
}

/// Whose an event's findings are: the package that something goes into or out of, the mark or item that a picture shows, else
/// whose history it was read from.
fn owner(step: &Step) -> Subject {
    match &step.past.fact {
        Some(Fact::PackageMade(x)) => Subject::Package(x.package),
        Some(Fact::PiecePutIn(x)) => Subject::Package(x.package),
        Some(Fact::PieceTakenOut(x)) => Subject::Package(x.package),
        Some(Fact::AfisExported(x)) => x.shown,
        Some(Fact::ItemImported(x)) => Subject::Item(x.item),
        Some(Fact::BroughtIn(x)) => Subject::Item(x.item),
        _ => step.of,
    }
}

/// What a trail has to tell, and what is so now.
pub(super) fn trail(asked: &Asked<'_>) -> Vec<Raw> {
    let mut look = Look {
        asked,
        found: Vec::new(),
        open: Vec::new(),
        sealed: BTreeSet::new(),
        offered: None,
        outside: None,
        offered_due: None,
        due: None,
        sent: None,
        weighed: None,
        examined: false,
        photographed: false,
    };
    for (row, step) in pictures::merged(asked) {
        look.clocks(row, step);
    }
    for i in 0..asked.steps.len() {
        look.step(i);
    }
    look.times();
    look.times_now();
    look.now();
    look.found
}

impl Look<'_> {
    pub(super) fn minute(&self, at: &DateTime<FixedOffset>) -> String {
        words::minute(at, self.asked.zone)
    }

    /// Something that the step at `i` tells.
    pub(super) fn at(
        &mut self,
        i: usize,
        kind: Kind,
        severity: Severity,
        sentence: String,
    ) -> &mut Raw {
        let step = &self.asked.steps[i];
        self.found.push(Raw {
            kind,
            severity,
            sentence,
            of: owner(step),
            events: [step.seq()].into(),
            detail: String::new(),
            seq: Some(step.seq()),
            row: Some(i + 1),
            from: None,
            to: Some(claimed_at(step)),
        });
        let last = self.found.len() - 1;
        &mut self.found[last]
    }

    /// The last finding rests on this step too. Of two subjects' events, it is the piece's that is looked at.
    pub(super) fn rests_on(&mut self, i: usize) {
        let step = &self.asked.steps[i];
        let piece = Subject::from(self.asked.piece);
        if let Some(found) = self.found.last_mut() {
            found.events.insert(step.seq());
            if owner(step) != found.of {
                found.of = piece;
            }
        }
    }

    pub(super) fn since(&mut self, from: DateTime<FixedOffset>) {
        if let Some(found) = self.found.last_mut() {
            found.from = Some(from);
        }
    }

    fn step(&mut self, i: usize) {
        let steps = self.asked.steps;
        let step = &steps[i];
        let at = claimed_at(step);
        let Some(fact) = &step.past.fact else {
            let kind = &step.past.event.header.kind;
            let sentence = format!("This version of the program cannot read this event ({kind}).");
            self.at(i, Kind::UnknownEvent, Severity::Attention, sentence);
            return;
        };
        match fact {
            Fact::ItemRecovered(x) => {
                self.examined |= self.by_examiner(step);
                self.recovered(i, x);
            }
            Fact::ItemImported(x) => {
                if x.seal.is_some() {
                    self.sealed.extend(x.package);
                }
                self.at(i, Kind::LegacyHistory, Severity::Attention, legacy(x));
            }
            Fact::BroughtIn(x) => {
                self.at(i, Kind::LegacyHistory, Severity::Attention, x.before());
            }
            Fact::ImageAdded(x) if Subject::from(self.asked.piece) == x.of => {
                self.first_photograph(i, at);
            }
            Fact::PackageMade(x) => self.packed(i, &x.contents, &x.warnings),
            Fact::PiecePutIn(x) => self.packed(i, &[x.piece], &x.warnings),
            Fact::PackageSealed(x) => {
                self.open.retain(|(p, _)| *p != x.package);
                self.sealed.insert(x.package);
            }
            Fact::PackageOpened(x) => {
                self.sealed.remove(&x.package);
                self.open.push((x.package, i));
                // What came back opened is told at its return.
                if !x.outside {
                    self.seal(i, x.into());
                }
                if x.reason.trim().is_empty() {
                    let sentence = "It was opened, and nobody said why.".to_owned();
                    self.at(i, Kind::OpenedWithoutReason, Severity::Attention, sentence);
                }
            }
            Fact::Released(x) => {
                self.leaves(i, x.piece, x.unsealed_reason.as_deref());
                self.offered = Some((at, i));
                self.sent = Some((x.seal.clone(), i));
                self.offered_due = x.due_at.map(|due| (due, i));
            }
            Fact::Withdrawn(_) | Fact::Refused(_) => {
                self.answered(i, at);
                self.sent = None;
            }
            Fact::Received(x) => {
                self.answered(i, at);
                // An offer moves nothing: only what was received is due back.
                self.due = self.offered_due.take().or(self.due);
                self.examined |= self.by_examiner(step);
                self.arrives(i, x.into());
            }
            Fact::HandedOut(x) => {
                self.leaves(i, x.piece, x.unsealed_reason.as_deref());
                self.identified(i, &x.identification, &x.name, &x.organisation);
                self.examined = true;
                self.weighed = x.weight_mg.map(|mg| (x.piece, mg, x.scale.clone(), i));
                self.outside = Some((x.name.clone(), x.organisation.clone(), i));
                self.sent = Some((x.seal.clone(), i));
                self.due = x.due_at.map(|due| (due, i)).or(self.due);
            }
            Fact::TakenBack(x) => {
                self.identified(i, &x.identification, &x.name, &x.organisation);
                self.brought(i, &x.name, &x.organisation);
                self.arrives(i, x.into());
                self.weighs(i, x);
                self.back(i, at);
            }
            Fact::ChargeTaken(x) => {
                self.charge(i, x);
                self.sent = None;
                self.seal(i, x.into());
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
                    self.at(i, Kind::KeepRuleOverridden, Severity::Attention, sentence);
                }
                self.back(i, at);
            }
            Fact::DispositionExecuted(x) => {
                self.seal(i, x.into());
            }
            Fact::PieceTakenOut(x) => self.came_without(i, x),
            Fact::ItemConsumed(_) => self.used_up(i),
            _ => {}
        }
    }

    /// Whether an examiner acted, by the roles that they have now.
    fn by_examiner(&self, step: &Step) -> bool {
        let actor = step.past.event.header.actor;
        let person = actor.and_then(|id| self.asked.state.people.get(&id));
        person.is_some_and(|p| p.roles.contains(&Role::Examiner))
    }

    /// What it weighs now, against what it weighed when it went out.
    fn weighs(&mut self, i: usize, x: &TakenBack) {
        // What stayed out without its package was not weighed alone.
        let went = self.weighed.take().filter(|(piece, ..)| *piece == x.piece);
        let (Some((_, out, scale, by)), Some(back)) = (went, x.weight_mg) else {
            return;
        };
        let Some(differs) = weight::difference(out, back) else {
            return;
        };
        let named = |scale: Option<&str>| scale.unwrap_or("a scale that is not named").to_owned();
        let sentence = format!(
            "It came back with {} by {}: {differs} with which it went out by {}. More than {} counts as a difference here.",
            weight::grams(back),
            named(x.scale.as_deref()),
            named(scale.as_deref()),
            weight::grams(weight::tolerance(out))
        );
        self.at(i, Kind::WeightDiffers, Severity::Attention, sentence);
        self.rests_on(by);
    }

    /// A package came back without something.
    fn came_without(&mut self, i: usize, x: &PieceTakenOut) {
        let Some(stayed) = x.stayed else { return };
        let severity = match stayed {
            Stayed::Missing => Severity::Break,
            Stayed::Retained => Severity::Attention,
            Stayed::Consumed => Severity::Note,
        };
        let sentence = format!(
            "Package and contents went out together, and {} did not come back: {}; the reason given: {}",
            self.asked.state.name(x.piece),
            stayed.words(),
            x.reason
        );
        self.at(i, Kind::ReturnedWithout, severity, sentence);
    }

    /// An examination used it up: had anybody who examines it?
    fn used_up(&mut self, i: usize) {
        let by = self.by_examiner(&self.asked.steps[i]);
        if !self.examined && !by {
            let sentence = "It was used up by an examination, and by the record no examiner and nobody outside had it before.";
            self.at(
                i,
                Kind::UsedUpUnexamined,
                Severity::Attention,
                sentence.to_owned(),
            );
        }
    }

    /// The item that is looked at, if it is one.
    fn item(&self) -> Option<&Item> {
        match self.asked.piece {
            Piece::Item(id) => self.asked.state.items.get(&id),
            Piece::Package(_) => None,
        }
    }

    /// What the record warned of at the recovery.
    fn recovered(&mut self, i: usize, x: &ItemRecovered) {
        for (n, warning) in x.warnings.iter().enumerate() {
            if warning == NOT_PHOTOGRAPHED {
                self.not_photographed_before(i, x);
            } else if kit::is_expired(warning) {
                self.at(i, Kind::ExpiredLot, Severity::Attention, warning.clone());
            } else {
                // One event may warn of several things, in an order that is on the record.
                self.at(i, Kind::RecoveryWarning, Severity::Note, warning.clone())
                    .detail = (n + 1).to_string();
            }
        }
    }

    /// Nobody had added a photograph of the mark when it was lifted; one may have been taken and added later.
    fn not_photographed_before(&mut self, i: usize, x: &ItemRecovered) {
        let taken = self
            .asked
            .mark
            .iter()
            .filter(|s| matches!(&s.past.fact, Some(Fact::ImageAdded(_))))
            .map(|s| (claimed_at(s), s.seq()))
            .filter(|(at, _)| *at <= x.started_at)
            .min();
        let (severity, sentence) = match taken {
            Some((at, seq)) => (
                Severity::Note,
                format!(
                    "No photograph of the mark was on the record when it was lifted; one said to be taken before, at {}, was added in event {seq}.",
                    self.minute(&at)
                ),
            ),
            None => (
                Severity::Attention,
                "No photograph of the mark was taken before it was lifted, by the record."
                    .to_owned(),
            ),
        };
        self.at(i, Kind::NotPhotographedBefore, severity, sentence);
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
            let detail = word(&rule);
            let found = self.at(i, Kind::PhotographedLate, Severity::Attention, sentence);
            found.from = Some(recovered);
            found.detail = detail;
        }
    }

    /// What the record warned of when it was packed: of this item, or of everything that went into this package.
    fn packed(&mut self, i: usize, contents: &[Piece], warnings: &[String]) {
        for (n, warning) in warnings.iter().enumerate() {
            // The warning names the item by its number.
            let of = contents.iter().find_map(|p| match p {
                Piece::Item(id) => {
                    let item = self.asked.state.items.get(id)?;
                    let named = warning.starts_with(&format!("Item {} ", item.number));
                    named.then_some(*id)
                }
                Piece::Package(_) => None,
            });
            let own = match (self.asked.piece, of) {
                (Piece::Item(me), Some(of)) => me == of,
                (Piece::Item(_), None) => false,
                (Piece::Package(_), _) => true,
            };
            if own {
                let found = self.at(i, Kind::PackedTooSoon, Severity::Attention, warning.clone());
                found.detail = (n + 1).to_string();
                if let Some(id) = of {
                    found.of = Subject::Item(id);
                }
            }
        }
    }

    /// What the two times of an event say: entered late, or claimed after it was recorded.
    fn clocks(&mut self, row: Option<usize>, step: &Step) {
        if matches!(step.past.fact, Some(Fact::FindingAnswered(_))) {
            return;
        }
        let what = words::act(&step.past.event.header.kind).to_owned();
        let (claimed, recorded) = (claimed_at(step), recorded_at(step));
        let told = |kind, severity, sentence, from, to| Raw {
            kind,
            severity,
            sentence,
            of: owner(step),
            events: [step.seq()].into(),
            detail: String::new(),
            seq: Some(step.seq()),
            row,
            from,
            to,
        };
        let ahead = claimed.to_utc() - recorded;
        if ahead > chrono::TimeDelta::zero() {
            let sentence = format!(
                "{what} is claimed for {} after the server recorded it.",
                words::duration_words(ahead)
            );
            let severity = if ahead > SKEW {
                Severity::Attention
            } else {
                Severity::Note
            };
            let at = recorded.fixed_offset();
            let raw = told(
                Kind::ClockAhead,
                severity,
                sentence,
                Some(at),
                Some(claimed),
            );
            self.found.push(raw);
        }
        let (reason, late) = (late_reason(step), late_by(step));
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
        let sentence = format!("{what} was entered{by} after it happened; {why}");
        let raw = told(
            Kind::LateEntry,
            severity,
            sentence,
            Some(claimed),
            Some(claimed),
        );
        self.found.push(raw);
    }

    fn answered(&mut self, i: usize, at: DateTime<FixedOffset>) {
        if let Some((since, by)) = self.offered.take()
            && at - since > OPEN_OFFER
        {
            let sentence = format!(
                "The offer of {} was answered after {}; until then the releaser had it by the record.",
                self.minute(&since),
                words::duration_words(at - since)
            );
            self.at(i, Kind::OfferAnsweredLate, Severity::Note, sentence);
            self.since(since);
            self.rests_on(by);
        }
    }

    fn identified(&mut self, i: usize, identification: &str, name: &str, organisation: &str) {
        if identification.trim().is_empty() {
            let sentence = format!(
                "No identification of {} is on record.",
                words::outside(name, organisation)
            );
            self.at(i, Kind::NotIdentified, Severity::Attention, sentence);
        }
    }

    fn brought(&mut self, i: usize, by: &str, of: &str) {
        let Some((name, organisation, out)) = self.outside.take() else {
            return;
        };
        if (name.as_str(), organisation.as_str()) == (by, of) {
            return;
        }
        let sentence = format!(
            "It was handed to {} and brought back by {}.",
            words::outside(&name, &organisation),
            words::outside(by, of)
        );
        // Two drivers of one carrier are usual; somebody of another organisation is not.
        let severity = if organisation == of {
            Severity::Note
        } else {
            Severity::Attention
        };
        self.at(i, Kind::BroughtByAnother, severity, sentence);
        self.rests_on(out);
    }

    fn back(&mut self, i: usize, at: DateTime<FixedOffset>) {
        if let Some((due, by)) = self.due.take()
            && at > due
        {
            let sentence = format!(
                "It was due back at {} and came back {} later.",
                self.minute(&due),
                words::duration_words(at - due)
            );
            self.at(i, Kind::ReturnedLate, Severity::Note, sentence);
            self.since(due);
            self.rests_on(by);
        }
    }

    /// Somebody took charge of it: nobody vouches for the time since it was last certain who had it.
    fn charge(&mut self, i: usize, x: &ChargeTaken) {
        let at = claimed_at(&self.asked.steps[i]);
        self.offered = None;
        self.outside = None;
        self.weighed = None;
        let length = words::duration_words(at - x.unaccounted_since);
        let sentence = format!(
            "Nobody vouches for {length}: from {}, when it was last on the record with {}, until {}, when charge was taken of it.",
            self.minute(&x.unaccounted_since),
            x.from,
            self.minute(&at)
        );
        self.at(i, Kind::Gap, Severity::Break, sentence);
        self.since(x.unaccounted_since);
        if let (Some(certain), Some(found)) = (self.asked.steps[i].certain, self.found.last_mut()) {
            found.events.insert(certain);
        }
    }

    /// The arithmetic: gaps that nobody said, and times that two holders claim.
    fn times(&mut self) {
        let steps = self.asked.steps;
        let stretches = held::stretches(steps, self.asked.now);
        let place = |seq: Seq| steps.iter().position(|s| s.seq() == seq);
        for gap in gaps(&stretches) {
            let (before, after) = (&stretches[gap.before], &stretches[gap.after]);
            let (Some(i), Some(by)) = (place(after.begun), place(before.last)) else {
                continue;
            };
            if matches!(steps[i].past.fact, Some(Fact::ChargeTaken(_))) {
                continue;
            }
            let sentence = format!(
                "Nobody vouches for {}: {} had it until {}, and {} had it only from {}.",
                words::duration_words(gap.length()),
                before.holder,
                self.minute(&gap.from.fixed_offset()),
                after.holder,
                self.minute(&gap.to.fixed_offset())
            );
            self.at(i, Kind::Gap, Severity::Break, sentence);
            self.between(gap.from.fixed_offset(), gap.to.fixed_offset());
            self.rests_on(by);
        }
        for part in overlaps(&stretches) {
            let (before, after) = (&stretches[part.before], &stretches[part.after]);
            let (Some(i), Some(by)) = (place(after.begun), place(before.last)) else {
                continue;
            };
            let sentence = format!(
                "Two claim it for {}: {} had it until {}, and {} already from {}.",
                words::duration_words(part.length()),
                before.holder,
                self.minute(&before.to.fixed_offset()),
                after.holder,
                self.minute(&part.from.fixed_offset())
            );
            self.at(i, Kind::Overlap, Severity::Break, sentence);
            self.between(part.from.fixed_offset(), part.to.fixed_offset());
            self.rests_on(by);
        }
    }

    fn between(&mut self, from: DateTime<FixedOffset>, to: DateTime<FixedOffset>) {
        if let Some(found) = self.found.last_mut() {
            found.from = Some(from);
            found.to = Some(to);
        }
    }
}
