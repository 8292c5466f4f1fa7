//! The custody table: one row an event of a trail, in words.

use std::collections::BTreeSet;

use chrono::{DateTime, FixedOffset, TimeDelta, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::trail::Step;
use super::words;
use crate::app::reader::Past;
use crate::custody::brought;
use crate::custody::consumed::ItemConsumed;
use crate::custody::disposition::Method;
use crate::custody::hand_over::Condition;
use crate::custody::import::NOT_WITNESSED;
use crate::custody::rules::{LATE_CUSTODY, LATE_SCENE};
use crate::custody::weight::grams;
use crate::custody::{Fact, State};
use crate::ids::{EventId, PackageId, PersonId, Piece, Subject};
use crate::keeping::fitting;
use crate::ledger::times;
use crate::zone::Zone;

/// What stands before the name of whoever was there beside the actor and signed.
const SECOND: &str = "Second person";

/// A row of the custody table.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct CustodyRow {
    /// Counted from 1; knots of the thread and findings point here.
    pub row: usize,
    /// Whose event it is: the piece itself, or a package that it was in.
    pub of: Subject,
    /// Which of that subject's events.
    pub n: u64,
    /// Position in the ledger.
    pub seq: u64,
    /// The event's identifier.
    pub event_id: EventId,
    /// What happened, by the ledger's word.
    pub kind: String,
    /// What happened, in words.
    pub act: String,
    /// When it happened, as claimed.
    pub claimed_at: DateTime<FixedOffset>,
    /// The same in words.
    pub claimed: String,
    /// When the server recorded it.
    pub recorded_at: DateTime<Utc>,
    /// The same in words.
    pub recorded: String,
    /// Whether it was entered late: an hour after a custody act, a day after a scene record.
    pub late: bool,
    /// Why it was entered late.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub late_reason: Option<String>,
    /// Who acted.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<PersonId>,
    /// Who acted, with number, as they were called then.
    pub by_name: String,
    /// Who or what had it before; empty where the act moved nothing.
    pub from: String,
    /// Who or what has it then, or is to have it; empty where the act moved nothing.
    pub to: String,
    /// The seal on record; empty for none.
    pub seal_on_record: String,
    /// The seal as it was seen; empty where nobody said.
    pub seal_seen: String,
    /// The condition as it was seen.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub condition: Option<Condition>,
    /// The same in words; empty where nobody said.
    pub condition_words: String,
    /// Due back.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub due_at: Option<DateTime<FixedOffset>>,
    /// The same in words; empty for none.
    pub due: String,
    /// What it was for, why, and what was noted, in sentences.
    pub note: String,
    /// How it was signed.
    pub attested: String,
    /// Where it was entered.
    pub source: String,
    /// The package on which it was recorded while this piece was in it: `package P2`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub through: Option<String>,
    /// The gravest finding about it, by its code.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub flag: Option<String>,
}

/// When a step happened, as claimed.
#[must_use]
pub fn claimed_at(step: &Step) -> DateTime<FixedOffset> {
    times::parse_claimed(&step.past.event.header.claimed_at)
        .unwrap_or_else(|_| recorded_at(step).fixed_offset())
}

/// When the server recorded a step.
#[must_use]
pub fn recorded_at(step: &Step) -> DateTime<Utc> {
    // The header was checked when it was opened, so the other branch stands for nothing that can be stored.
    times::parse_recorded(&step.past.event.header.recorded_at).unwrap_or(DateTime::UNIX_EPOCH)
}

/// Why a step was entered late, as its payload says.
#[must_use]
pub fn late_reason(step: &Step) -> Option<String> {
    let reason = step.past.event.fields.get("late_reason")?.as_str()?;
    Some(reason.to_owned())
}

/// Whether an event was entered late: later than its kind allows without a reason, or with a reason.
#[must_use]
pub fn is_late(past: &Past) -> bool {
    let header = &past.event.header;
    let claimed = times::parse_claimed(&header.claimed_at);
    let recorded = times::parse_recorded(&header.recorded_at);
    let late = match (claimed, recorded) {
        (Ok(claimed), Ok(recorded)) => recorded - claimed.to_utc() > allowed(past),
        _ => false,
    };
    late || past.event.fields.contains_key("late_reason")
}

/// How late a step was entered, where that is later than its kind allows without a reason.
#[must_use]
pub fn late_by(step: &Step) -> Option<TimeDelta> {
    let late = recorded_at(step) - claimed_at(step).to_utc();
    (late > allowed(&step.past)).then_some(late)
}

/// How late an event of this kind may be entered without a reason.
fn allowed(past: &Past) -> TimeDelta {
    match &past.fact {
        Some(Fact::MarkNoted(_) | Fact::MarkDeveloped(_) | Fact::ImageAdded(_)) => LATE_SCENE,
        Some(Fact::ItemRecovered(_) | Fact::CaseOpened(_) | Fact::SceneOpened(_)) => LATE_SCENE,
        _ => LATE_CUSTODY,
    }
}

/// Who acted, in words.
#[must_use]
pub fn by_name(step: &Step) -> String {
    match step.past.event.fields.get("by").and_then(|v| v.as_str()) {
        Some(by) => words::signed_by(by),
        None => "the ledger itself".into(),
    }
}

/// What a fact says of from, to, seals and reasons.
#[derive(Default)]
struct Said {
    from: String,
    to: String,
    seal: String,
    seen: String,
    condition: Option<Condition>,
    due: Option<DateTime<FixedOffset>>,
    notes: Vec<String>,
}

impl Said {
    fn note(&mut self, lead: &str, text: &str) {
        let text = text.trim();
        if text.is_empty() {
            return;
        }
        let full = if lead.is_empty() {
            words::capital(text)
        } else {
            format!("{lead}: {text}")
        };
        let stop = if full.ends_with(['.', '!', '?', ':', ';']) {
            ""
        } else {
            "."
        };
        self.notes.push(format!("{full}{stop}"));
    }

    fn weight(&mut self, mg: Option<u64>, scale: Option<&str>) {
        if let Some(mg) = mg {
            let scale = scale.unwrap_or("a scale that is not named");
            self.note("Weight", &format!("{} by {scale}", grams(mg)));
        }
    }

    fn seen(&mut self, seal: &str, seen: &str, condition: Condition, note: &str) {
        self.seal = seal.to_owned();
        self.seen = seen.to_owned();
        self.condition = Some(condition);
        self.note("", note);
    }
}

/// Who has the piece, as far as the trail has been walked, in words.
#[derive(Default)]
struct Walk {
    holder: String,
    offered_from: Option<String>,
    /// Packages that bear a seal.
    sealed: BTreeSet<PackageId>,
}

impl Walk {
    fn bears_seal(&self, piece: Piece) -> bool {
        matches!(piece, Piece::Package(p) if self.sealed.contains(&p))
    }
}

/// The rows of a trail. The state gives the words for packages, places and people that the events themselves do not
/// name. No row is flagged yet: [`super::findings::flag`] does that.
#[must_use]
pub fn rows(steps: &[Step], state: &State, zone: Zone) -> Vec<CustodyRow> {
    let mut walk = Walk::default();
    steps
        .iter()
        .enumerate()
        .map(|(i, step)| row(i + 1, step, state, zone, &mut walk))
        .collect()
}

fn row(number: usize, step: &Step, state: &State, zone: Zone, walk: &mut Walk) -> CustodyRow {
    let header = &step.past.event.header;
    let by_name = by_name(step);
    let mut said = said(step, state, zone, &by_name, walk);
    if let Some(sheet) = step.past.event.field_str("paper_sheet") {
        said.note("", &format!("Entered from a paper sheet, print {sheet}"));
    }
    let (claimed_at, recorded_at) = (claimed_at(step), recorded_at(step));
    let late_reason = late_reason(step);
    CustodyRow {
        row: number,
        of: step.of,
        n: step.past.n,
        seq: header.seq,
        event_id: header.id,
        kind: header.kind.clone(),
        act: act(step),
        claimed: words::when(&claimed_at, zone),
        claimed_at,
        recorded: words::when(&recorded_at, zone),
        recorded_at,
        late: late_reason.is_some() || late_by(step).is_some(),
        late_reason,
        by: header.actor,
        by_name,
        from: said.from,
        to: said.to,
        seal_on_record: said.seal,
        seal_seen: said.seen,
        condition: said.condition,
        condition_words: said
            .condition
            .map(words::condition)
            .unwrap_or_default()
            .to_owned(),
        due: said
            .due
            .map(|d| words::minute(&d, zone))
            .unwrap_or_default(),
        due_at: said.due,
        note: said.notes.join(" "),
        attested: words::attested(header.attested).into(),
        source: words::source(header.source).into(),
        through: step.through.map(|p| state.name(Piece::Package(p))),
        flag: None,
    }
}

/// The act, where the fact says more than its kind.
fn act(step: &Step) -> String {
    match &step.past.fact {
        Some(Fact::Stored(x)) if x.from_place.is_some() => "Moved".into(),
        Some(Fact::Released(x)) if x.from_place.is_some() => "Released from store".into(),
        Some(Fact::PackageMade(_)) if matches!(step.of, Subject::Package(_)) => {
            if step.through.is_some() {
                "Packed".into()
            } else {
                "Package made".into()
            }
        }
        _ => words::act(&step.past.event.header.kind).to_owned(),
    }
}

#[expect(
    clippy::too_many_lines,
    reason = "one arm a kind of fact, each a few lines"
)]
fn said(step: &Step, state: &State, zone: Zone, by: &str, walk: &mut Walk) -> Said {
    let mut s = Said::default();
    match &step.past.fact {
        Some(Fact::PackageSealed(x)) => drop(walk.sealed.insert(x.package)),
        Some(Fact::ItemImported(x)) if x.seal.is_some() => walk.sealed.extend(x.package),
        Some(Fact::PackageOpened(x)) => drop(walk.sealed.remove(&x.package)),
        _ => {}
    }
    let package = |id| state.name(Piece::Package(id));
    let place = |id| {
        state
            .places
            .get(&id)
            .map_or_else(|| "a place".to_owned(), |p| words::place(&p.added.name))
    };
    if let Some(by) = step.past.event.expunged {
        s.note("", &format!("Expunged by order of a court, see event {by}"));
    }
    let Some(fact) = &step.past.fact else {
        if step.past.event.expunged.is_some() {
            return s;
        }
        s.note(
            "",
            "This version of the program does not know this kind of event; its fields are in the export",
        );
        return s;
    };
    match fact {
        Fact::ItemRecovered(x) => {
            s.to = by.to_owned();
            s.note("With", &x.medium_name);
            if let Some(number) = x.from_number {
                s.note("", &format!("taken from item {number}"));
            }
            for warning in &x.warnings {
                s.note("", warning);
            }
        }
        Fact::ItemImported(x) => {
            s.to = if let Some(id) = x.place {
                place(id)
            } else if x.holder.is_empty() {
                by.to_owned()
            } else {
                x.holder.clone()
            };
            s.seal = x.seal.clone().unwrap_or_default();
            s.note("", NOT_WITNESSED);
            s.note("From", &format!("{}, row {}", x.file, x.row));
            s.note("Its number there", &x.former);
            if let Some(day) = x.received_on {
                s.note("Received there", &day.to_string());
            }
            for (lead, text) in [
                ("Medium", &x.medium),
                ("Method", &x.method),
                ("Packed in", &x.container),
                ("Note", &x.note),
            ] {
                s.note(lead, text);
            }
        }
        Fact::BroughtIn(x) => {
            s.to = by.to_owned();
            s.note("", brought::NOT_WITNESSED);
            s.note("Brought by", &x.who());
            s.note("From", x.origin.words());
            for (lead, text) in [
                ("Identification seen", &x.identification),
                ("Found or kept, as said there", &x.found_where),
                ("When, as said there", &x.found_when),
                ("Condition as it came", &x.condition),
                ("Packaging as it came", &x.packaging),
                ("Note", &x.note),
            ] {
                s.note(lead, text);
            }
        }
        Fact::PackageMade(x) => {
            if walk.holder.is_empty() {
                s.to = by.to_owned();
            }
            let box_name = package(x.package);
            let inside: Vec<String> = x.contents.iter().map(|p| state.name(*p)).collect();
            let went_in = match step.of {
                Subject::Item(id) => Some(Piece::Item(id)),
                Subject::Package(id) if id != x.package => Some(Piece::Package(id)),
                _ => None,
            };
            match went_in {
                // In the table of what went in: that it went in.
                Some(piece) => s.note("", &format!("{} into {box_name}", state.name(piece))),
                None if inside.is_empty() => s.note("", &format!("{box_name} made, empty")),
                None => s.note(
                    "",
                    &format!("{box_name} made of {}", words::listed(&inside)),
                ),
            }
            if let Some(inner) = x.inner_mm {
                let inside = format!("{} inside", fitting::words(inner));
                s.note(
                    "",
                    &match &x.stock_kind {
                        Some(kind) => format!("box {kind} from stock, {inside}"),
                        None => inside,
                    },
                );
            }
            s.note("", &x.note);
            for warning in &x.warnings {
                s.note("", warning);
            }
        }
        Fact::PiecePutIn(x) => {
            s.note(
                "",
                &format!("{} into {}", state.name(x.piece), package(x.package)),
            );
            for warning in &x.warnings {
                s.note("", warning);
            }
        }
        Fact::PieceTakenOut(x) => {
            s.note(
                "",
                &format!("{} out of {}", state.name(x.piece), package(x.package)),
            );
            s.note(
                "It did not come back",
                x.stayed.map_or("", |stayed| stayed.words()),
            );
            s.note("Why", &x.reason);
        }
        Fact::PackageRepacked(x) => {
            for from in &x.from {
                let left = if from.emptied {
                    ", which is empty now and closed"
                } else {
                    ""
                };
                s.note(
                    "",
                    &format!(
                        "{} of package P{} into package P{}{left}",
                        words::counted(from.pieces, "thing"),
                        from.number,
                        x.number
                    ),
                );
            }
            s.note("", x.why.words());
            s.note("Why", &x.reason);
        }
        Fact::ItemConsumed(x) => {
            if x.whole {
                s.from.clone_from(&walk.holder);
                s.to = words::disposed(Method::Consumed);
            }
            let how = if x.whole {
                "Used up"
            } else {
                "Used up in part"
            };
            s.note(how, &x.quantity);
            s.note("As is said by", &x.said_by);
            s.note("Authority", &x.authority);
            s.note("Report", &x.report);
            s.note("", &x.note);
        }
        Fact::PackageSealed(x) => {
            s.seal = x.seal.clone();
            let how = if x.initialled {
                "initials and date across the seal"
            } else {
                "not initialled"
            };
            s.note("", &format!("{} sealed, {how}", package(x.package)));
        }
        Fact::PackageOpened(x) => {
            s.seen(&x.seal, &x.seal_seen, x.condition, &x.note);
            if x.outside {
                s.note("", "Opened while it was outside, nobody here saw when");
            }
            s.note("Why", &x.reason);
        }
        Fact::Released(x) => {
            s.from = x.from_place.map_or_else(|| by.to_owned(), place);
            walk.offered_from = x.from_place.map(place);
            s.to = x.to_name.clone();
            if let Some(person) = state.people.get(&x.to) {
                s.to = words::person(person);
            }
            s.seal = x.seal.clone();
            s.due = x.due_at;
            s.note("For", &x.purpose);
            s.note("Authority", &x.authority);
            s.note(SECOND, x.second_name.as_deref().unwrap_or_default());
            if let Some(due) = &x.due_at {
                s.note("Due back", &words::minute(due, zone));
            }
            if let Some(why) = x.unsealed_reason.as_ref().filter(|_| x.seal.is_empty()) {
                s.note("Unsealed", why);
            }
        }
        Fact::Withdrawn(x) => s.note("Why", &x.reason),
        Fact::Refused(x) => s.note("Why", &x.reason),
        Fact::Received(x) => {
            let releaser = state
                .people
                .get(&x.from)
                .map_or_else(|| x.from_name.clone(), words::person);
            s.from = match walk.offered_from.take() {
                Some(place) => format!("{place}, released by {releaser}"),
                None => releaser,
            };
            s.to = by.to_owned();
            s.seen(&x.seal, &x.seal_seen, x.condition, &x.note);
        }
        Fact::HandedOut(x) => {
            s.from = by.to_owned();
            s.to = words::outside(&x.name, &x.organisation);
            s.seal = x.seal.clone();
            s.due = x.due_at;
            s.note("For", &x.purpose);
            s.note("Authority", &x.authority);
            s.note("Identification", &x.identification);
            s.note("Reference", &x.reference);
            s.note("Tracking number", &x.tracking);
            s.weight(x.weight_mg, x.scale.as_deref());
            if let Some(due) = &x.due_at {
                s.note("Due back", &words::minute(due, zone));
            }
            if let Some(why) = x.unsealed_reason.as_ref().filter(|_| x.seal.is_empty()) {
                s.note("Unsealed", why);
            }
        }
        Fact::TakenBack(x) => {
            s.from = words::outside(&x.name, &x.organisation);
            s.to = by.to_owned();
            s.seen(&x.seal, &x.seal_seen, x.condition, &x.note);
            s.note("Identification", &x.identification);
            s.note("Reference", &x.reference);
            s.weight(x.weight_mg, x.scale.as_deref());
        }
        Fact::ChargeTaken(x) => {
            s.from = format!("{}, by the record", x.from);
            s.to = by.to_owned();
            s.seen(&x.seal, &x.seal_seen, x.condition, &x.note);
            s.note("Why", &x.reason);
            s.note(
                "Not accounted for since",
                &words::minute(&x.unaccounted_since, zone),
            );
        }
        Fact::Stored(x) => {
            s.from = x.from_place.map_or_else(|| by.to_owned(), place);
            s.to = words::place(&x.place_name);
            s.note(SECOND, x.second_name.as_deref().unwrap_or_default());
            if !x.overridden.is_empty() {
                let who = x
                    .override_by
                    .map_or_else(|| "somebody".to_owned(), |p| words::person_in(state, p));
                let why = x.override_reason.clone().unwrap_or_default();
                s.note(
                    &format!("Against {}, answered for by {who}", x.overridden.join(", ")),
                    &why,
                );
            }
            if let Some(why) = x
                .unsealed_reason
                .as_ref()
                .filter(|_| !walk.bears_seal(x.piece))
            {
                s.note("Unsealed", why);
            }
        }
        Fact::Fetched(x) => {
            s.from = place(x.place);
            s.to = by.to_owned();
            s.note("For", &x.purpose);
            s.note(SECOND, x.second_name.as_deref().unwrap_or_default());
        }
        Fact::ImageAdded(x) => {
            s.note("File", &format!("{}, {}", x.name, words::reads(&x.reads)));
            if let Some(note) = &x.clock_note {
                s.note("Clock", note);
            }
        }
        Fact::ViewSet(x) => {
            let said = format!("{}, {}", x.view.join(", "), words::reads(&x.reads));
            s.note("Taken", &said);
            s.note("Until now", &x.was.join(", "));
            s.note("Why", &x.reason);
        }
        Fact::ScaleSet(x) => {
            s.note("Density", &x.density);
            s.note("", &x.warning);
            s.note("Why", &x.reason);
        }
        Fact::CopyMade(x) => {
            let said = format!("{}, {}", x.done, words::reads(&x.reads));
            s.note("Working copy", &said);
        }
        Fact::Amended(x) => {
            s.note(
                "",
                &format!("{} was \"{}\", is \"{}\"", field(&x.field), x.was, x.value),
            );
            s.note("Why", &x.reason);
        }
        Fact::ExhibitSet(x) => {
            let was = x.was.as_ref().map(|w| format!(", until now exhibit {w}"));
            s.note(
                "",
                &format!("Exhibit {}{}", x.number, was.unwrap_or_default()),
            );
            s.note("Court", &x.court);
            s.note("Why", &x.reason);
        }
        Fact::LabelPrinted(x) => {
            s.note("", &x.label.replace('-', " "));
            s.note("", x.warning.as_deref().unwrap_or_default());
        }
        Fact::ReportPrinted(x) => {
            s.note("", x.warning.as_deref().unwrap_or_default());
            if let Some(paper) = x.paper {
                s.note("", paper.title());
            }
            if let Some(whom) = &x.made_for {
                s.note("For", whom);
            }
            s.note("", &format!("At {} events in the ledger", x.ledger_size));
        }
        Fact::CaseDisclosed(x) => {
            s.to = x.to.clone();
            s.note("Under", &x.authority);
            s.note("Bundle", &x.digest.to_string());
        }
        Fact::ValueAssessed(x) => {
            s.note("", &words::capital(x.value.words()));
            s.note("Why", &x.reason);
            if let Some(was) = x.was {
                s.note("Until now", was.words());
            }
        }
        Fact::AfisExported(x) => {
            s.note("To", &x.receiver_name);
            s.note("", &x.statement);
            for left in &x.left_out {
                s.note("Left out", left);
            }
        }
        Fact::FindingAnswered(x) => {
            s.note(&super::findings::title_of(&x.finding.code), &x.text);
            if let Some(seq) = x.evidence {
                s.note("Shown by", &format!("event {seq}"));
            }
        }
        Fact::MarkNoted(x) => s.note("", &format!("{}, {}", x.object, x.exact_place)),
        Fact::MarkDeveloped(x) => {
            s.note("Method", &x.method);
            s.note("", &x.note);
        }
        Fact::CaseOpened(x) => s.note("", &x.title),
        Fact::SceneOpened(x) => s.note("", &format!("{}, {}", x.name, x.address)),
        Fact::Assigned(x) => {
            let who = words::person_in(state, x.person);
            let what = if x.assigned {
                "assigned"
            } else {
                "no longer assigned"
            };
            s.note("", &format!("{who} {what}"));
        }
        Fact::Restricted(x) => {
            let what = if x.restricted {
                "restricted"
            } else {
                "open again"
            };
            s.note(&words::capital(what), &x.reason);
        }
        Fact::CaseRead(x) => s.note("", &x.what),
        Fact::ItemSampled(x) => s.note(
            &format!("Item {} was taken from it", x.taken_number),
            &x.description,
        ),
        Fact::ItemDried(x) => s.note("How", &x.how),
        Fact::PlaceAdded(x) => s.note("", &x.name),
        Fact::CapacitySet(x) => s.note(
            "It takes",
            &x.capacity
                .map_or_else(|| "not counted".to_owned(), |c| c.to_string()),
        ),
        Fact::TwoPersonMarked(x) => {
            let how = if x.two_person {
                "For two people"
            } else {
                "No longer for two people"
            };
            s.note(how, &x.reason);
        }
        Fact::StockCounted(x) => s.note(
            &x.kind,
            &format!("{} counted, {} by the record", x.count, x.before),
        ),
        Fact::StockTaken(x) => s.note(&x.kind, &format!("{} taken: {}", x.count, x.purpose)),
        Fact::SealsDelivered(x) => s.note("Seals", &x.span.to_string()),
        Fact::SealsIssued(x) => {
            s.to.clone_from(&x.to_name);
            s.note("Seals", &x.span.to_string());
        }
        Fact::SealsSpoiled(x) => s.note("Seals", &format!("{} written off: {}", x.span, x.reason)),
        Fact::ClimateLogged(x) => {
            let outside = match x.excursions.len() {
                0 => "no excursion".to_owned(),
                n => words::counted(n, "excursion"),
            };
            s.note(
                &x.logger,
                &format!(
                    "{} of the climate, {outside}",
                    words::counted(x.readings.len(), "reading")
                ),
            );
        }
        Fact::CountBegun(x) => s.note("Of", &x.place_names.join(", ")),
        Fact::CodesScanned(x) => s.note("", &format!("{} seen", x.seen.len())),
        Fact::CountEnded(x) => {
            s.note("", &format!("{} of {} found", x.found, x.expected));
        }
        Fact::CountDiffers(x) => {
            let kind = super::count_file::kind_words(x.difference);
            s.note(&format!("Count of {}", x.place_name), kind);
            s.note("By the record", &x.on_record);
        }
        Fact::DifferenceResolved(x) => {
            let outcome = super::count_file::outcome_words(x.outcome);
            s.note(&words::capital(outcome), &x.reason);
        }
        Fact::HoldPlaced(x) => {
            s.note(
                &format!("Hold {}, ordered by {}", x.number, x.authority),
                &x.reason,
            );
        }
        Fact::HoldLifted(x) => {
            s.note(
                &format!("Hold {} lifted, ordered by {}", x.number, x.authority),
                &x.reason,
            );
        }
        Fact::RetentionSet(x) => {
            let until = x
                .until
                .map_or_else(|| "for good".to_owned(), |d| format!("until {d}"));
            s.note(
                &x.class_name,
                &format!("kept {until} by schedule {}", x.schedule),
            );
            s.note("Why", &x.reason);
        }
        Fact::DispositionAuthorised(x) => {
            s.note("To be", x.method.words());
            s.note("Authority", &x.authority);
            s.note("Why", &x.reason);
            s.note("The schedule", &x.kept);
            s.note("Why earlier", x.early_reason.as_deref().unwrap_or_default());
        }
        Fact::DispositionRevoked(x) => s.note("Why", &x.reason),
        Fact::DispositionExecuted(x) => {
            s.seen(&x.seal, &x.seal_seen, x.condition, &x.note);
            s.note(&words::capital(x.method.words()), &x.how);
            if !x.name.is_empty() {
                s.note("Received by", &words::outside(&x.name, &x.organisation));
            }
            s.note("Identification", &x.identification);
            s.note("Reference", &x.reference);
            s.note("Witness", &x.witness_name);
        }
        Fact::DispositionWitnessed(x) => {
            s.from = x.executed_by_name.clone();
            s.to = words::disposed(x.method);
            if !x.to.is_empty() {
                s.note("Received by", &x.to);
            }
        }
        Fact::DispositionDeclined(x) => s.note("Why", &x.reason),
        Fact::ExpungementOrdered(x) => {
            s.note("Order", &format!("{} of {}, {}", x.order, x.dated, x.court));
        }
        Fact::ExpungementWithdrawn(x) => s.note("Why", &x.reason),
        Fact::ExpungementCarriedOut(x) => {
            s.note("Order", &format!("{} of {}, {}", x.order, x.dated, x.court));
            s.note(
                "Expunged",
                &format!("the texts and pictures of {} events", x.events.len()),
            );
        }
        Fact::PersonAdded(_) | Fact::RolesSet(_) | Fact::ActiveSet(_) => {}
        Fact::KitAdded(x) => s.note("Lot", &format!("{} of {}", x.lot, x.medium_name)),
        Fact::KitRemoved(x) => s.note("Lot", &format!("{} of {}", x.lot, x.medium_name)),
    }
    if moves(fact) && !s.to.is_empty() {
        walk.holder.clone_from(&s.to);
    }
    if matches!(
        fact,
        Fact::Withdrawn(_) | Fact::Refused(_) | Fact::ChargeTaken(_)
    ) {
        walk.offered_from = None;
    }
    s
}

/// Whether somebody or something else has the piece after this. An offer moves nothing.
#[must_use]
pub fn moves(fact: &Fact) -> bool {
    matches!(
        fact,
        Fact::ItemRecovered(_)
            | Fact::ItemImported(_)
            | Fact::BroughtIn(_)
            | Fact::PackageMade(_)
            | Fact::Received(_)
            | Fact::HandedOut(_)
            | Fact::TakenBack(_)
            | Fact::ChargeTaken(_)
            | Fact::Stored(_)
            | Fact::Fetched(_)
            | Fact::DispositionWitnessed(_)
            | Fact::ItemConsumed(ItemConsumed { whole: true, .. })
    )
}

/// The name of a field that can be amended, in words.
#[must_use]
pub fn field(name: &str) -> String {
    words::capital(&name.replace('_', " "))
}

impl CustodyRow {
    /// Whether somebody said that the seal seen is not the seal on record.
    #[must_use]
    pub fn condition_is_mismatch(&self) -> bool {
        self.condition == Some(Condition::Mismatch)
    }
}
