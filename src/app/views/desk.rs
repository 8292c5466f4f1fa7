//! The desks: what waits for somebody, grouped by how soon, each line with the one next act.

use std::collections::BTreeSet;

use chrono::{DateTime, TimeDelta, Utc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::case_findings;
use super::line::piece_line;
use super::next_acts::{NextAct, next_acts};
use super::times::calling;
use super::words;
use crate::app::reader::{Part, ReadError, Reader, Thing, Viewer};
use crate::custody::State;
use crate::custody::state::{Case, Custody, Holder};
use crate::ids::{CaseId, PersonId, Piece, Subject};
use crate::ledger::times;
use crate::people::{Action, Role};
use crate::store::{DocFilter, LIST_MAX};
use crate::zone::Zone;

/// How many lines a group has at the most.
pub const MOST_LINES: usize = 100;
/// How many cases are looked through for the one desk that goes through cases.
const MOST_CASES: usize = 20;
/// How many pages of offers, of [`LIST_MAX`] each, are looked through.
const OFFERS: usize = 10;
/// Due within this is soon (our assumption, no source).
const SOON: TimeDelta = TimeDelta::days(3);

/// Which desk.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Which {
    /// At the scene.
    Field,
    /// Intake and storeroom.
    Storeroom,
    /// At the laboratory.
    Examiner,
    /// For court.
    Court,
}

impl Which {
    /// Every desk, in order.
    pub const ALL: [Self; 4] = [Self::Field, Self::Storeroom, Self::Examiner, Self::Court];

    /// The word in addresses.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Field => "field",
            Self::Storeroom => "storeroom",
            Self::Examiner => "examiner",
            Self::Court => "court",
        }
    }

    /// The title.
    #[must_use]
    pub fn title(self) -> &'static str {
        match self {
            Self::Field => "Field",
            Self::Storeroom => "Intake and storeroom",
            Self::Examiner => "Examiner",
            Self::Court => "Court",
        }
    }

    /// The role whose desk it is.
    #[must_use]
    pub fn role(self) -> Role {
        match self {
            Self::Field => Role::Technician,
            Self::Storeroom => Role::Custodian,
            Self::Examiner => Role::Examiner,
            Self::Court => Role::CourtLiaison,
        }
    }

    /// The desks of a viewer. Whoever leads or audits has the court desk, which shows cases and findings.
    #[must_use]
    pub fn of(viewer: &Viewer) -> Vec<Self> {
        let roles = viewer.roles();
        let all = viewer.person.is_none();
        Self::ALL
            .into_iter()
            .filter(|d| {
                let leads = *d == Self::Court
                    && (roles.contains(&Role::Supervisor) || roles.contains(&Role::Auditor));
                all || roles.contains(&d.role()) || leads
            })
            .collect()
    }
}

/// A line of a desk.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Line {
    /// What it is about.
    pub subject: Subject,
    /// Its case.
    pub case: CaseId,
    /// The case's number.
    pub case_number: String,
    /// `Package P2`.
    pub name: String,
    /// Whether only those assigned see the case. A line then says no more than numbers: a desk is looked at many times
    /// a day, and what a case is about is read on its own pages, where the reading goes on the record.
    pub restricted: bool,
    /// What it is; empty where the case is restricted.
    pub what: String,
    /// Where it is; empty where the case is restricted.
    pub place: String,
    /// Why it stands here; the same.
    pub why: String,
    /// One or two words: `offered`, `overdue`; empty for none.
    pub badge: String,
    /// The one next act.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next_act: Option<NextAct>,
}

/// Lines of the same urgency.
#[derive(Clone, Debug, Default, PartialEq, Serialize, JsonSchema)]
pub struct Group {
    /// At most [`MOST_LINES`].
    pub lines: Vec<Line>,
    /// Whether there are more.
    pub more: bool,
}

impl Group {
    /// Whether there is room for another line beside so many that are to come; where there is none, there is more.
    fn has_room(&mut self, coming: usize) -> bool {
        let room = self.lines.len() + coming < MOST_LINES;
        self.more |= !room;
        room
    }

    fn push(&mut self, line: Line) {
        if self.lines.len() < MOST_LINES {
            self.lines.push(line);
        } else {
            self.more = true;
        }
    }
}

/// A desk.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Desk {
    /// Which.
    pub which: Which,
    /// Its title.
    pub title: String,
    /// What waits for the viewer.
    pub now: Group,
    /// What comes next.
    pub soon: Group,
    /// What may wait.
    pub later: Group,
    /// When this was read.
    pub as_of: DateTime<Utc>,
    /// The same in words.
    pub as_of_words: String,
}

pub(super) struct Made<'a> {
    pub(super) reader: &'a Reader<'a>,
    zone: Zone,
    at: DateTime<Utc>,
    desk: Desk,
    listed: BTreeSet<Piece>,
}

#[derive(Clone, Copy)]
pub(super) enum When {
    Now,
    Soon,
    Later,
}

/// The desk as it is now.
///
/// # Errors
/// [`ReadError::Forbidden`] for a desk that is not the viewer's; see [`ReadError`].
pub async fn load(reader: &Reader<'_>, which: Which) -> Result<Desk, ReadError> {
    reader.must(Action::ReadEvidence)?;
    if !Which::of(reader.viewer()).contains(&which) {
        return Err(ReadError::NotFound("desk of yours"));
    }
    let zone = reader.house().zone().await?;
    let at = Utc::now();
    let mut made = Made {
        reader,
        zone,
        at,
        desk: Desk {
            which,
            title: which.title().into(),
            now: Group::default(),
            soon: Group::default(),
            later: Group::default(),
            as_of: at,
            as_of_words: words::when(&at, zone),
        },
        listed: BTreeSet::new(),
    };
    if let Some(me) = reader.viewer().id() {
        made.offered(me).await?;
        made.held(me).await?;
    }
    match which {
        Which::Field => made.field().await?,
        Which::Storeroom => made.storeroom().await?,
        Which::Examiner => made.examiner().await?,
        Which::Court => made.court().await?,
    }
    made.close().await?;
    Ok(made.desk)
}

impl Made<'_> {
    fn group(&mut self, when: When) -> &mut Group {
        match when {
            When::Now => &mut self.desk.now,
            When::Soon => &mut self.desk.soon,
            When::Later => &mut self.desk.later,
        }
    }

    pub(super) fn push(&mut self, when: When, line: Line) {
        self.group(when).push(line);
    }

    /// Those things that are not listed yet and whose lines there is room for: what is around the others need not be read.
    fn with_room(&mut self, when: When, all: impl IntoIterator<Item = Thing>) -> Vec<Thing> {
        let mut things = Vec::new();
        for thing in all {
            if !self.listed.contains(&thing.piece()) && self.group(when).has_room(things.len()) {
                things.push(thing);
            }
        }
        things
    }

    /// Takes the words out of the lines of restricted cases.
    async fn close(&mut self) -> Result<(), ReadError> {
        let desk = &mut self.desk;
        let groups = [&mut desk.now, &mut desk.soon, &mut desk.later];
        let lines = groups.iter().flat_map(|g| &g.lines);
        let cases = self.reader.cases_of(lines.map(|l| l.case)).await?;
        for group in groups {
            for line in &mut group.lines {
                if cases.get(&line.case).is_none_or(|c| c.restricted) {
                    line.restricted = true;
                    line.what.clear();
                    line.place.clear();
                    line.why.clear();
                }
            }
        }
        Ok(())
    }

    pub(super) async fn state(&self, things: &[Thing]) -> Result<State, ReadError> {
        let asked: Vec<Subject> = things.iter().map(|t| Subject::from(t.piece())).collect();
        self.reader.around(&asked).await
    }

    fn thing(&mut self, when: When, state: &State, piece: Piece, why: String, badge: &str) {
        if !self.listed.insert(piece) {
            return;
        }
        let rules = &self.reader.house().rules;
        let Some(line) = piece_line(state, rules, piece, self.zone, self.at) else {
            return;
        };
        let next = next_acts(self.reader.viewer(), state, piece);
        let line = Line {
            subject: piece.into(),
            case: line.case,
            case_number: line.case_number,
            restricted: false,
            name: line.name,
            what: line.what,
            place: line.standing,
            why,
            badge: badge.into(),
            next_act: next.into_iter().find(|a| a.first),
        };
        self.push(when, line);
    }

    /// What is offered to me.
    async fn offered(&mut self, me: PersonId) -> Result<(), ReadError> {
        let page = self.reader.offered_to(me, &Part::default()).await?;
        let things = self.with_room(When::Now, page.rows);
        let state = self.state(&things).await?;
        for thing in &things {
            if let Some(done) = thing
                .custody()
                .disposition
                .as_ref()
                .and_then(|d| d.executed.as_ref())
            {
                let why = format!(
                    "{} carried its disposition out at {} and named you as the witness.",
                    words::person_in(&state, done.by),
                    words::minute(&done.at, self.zone)
                );
                self.thing(When::Now, &state, thing.piece(), why, "to be witnessed");
                continue;
            }
            let Some(offer) = &thing.custody().offer else {
                continue;
            };
            let why = format!(
                "{} released it to you at {}: {}",
                words::person_in(&state, offer.by),
                words::minute(&offer.at, self.zone),
                offer.purpose
            );
            self.thing(When::Now, &state, thing.piece(), why, "offered to you");
        }
        self.desk.now.more |= page.next.is_some();
        Ok(())
    }

    /// What I hold.
    async fn held(&mut self, me: PersonId) -> Result<(), ReadError> {
        let page = self.reader.held_by(me, &Part::default()).await?;
        let state = self.state(&page.rows).await?;
        for thing in &page.rows {
            let (when, why, badge) = self.mine(thing, &state);
            self.thing(when, &state, thing.piece(), why, badge);
        }
        self.desk.now.more |= page.next.is_some();
        Ok(())
    }

    fn mine(&self, thing: &Thing, state: &State) -> (When, String, &'static str) {
        let custody = thing.custody();
        if let Some((why, badge)) = self.at_once(state, thing.piece()) {
            return (When::Now, why, badge);
        }
        if let Some(offer) = &custody.offer {
            let why = format!(
                "You released it to {} at {}; it is yours until it is received.",
                words::person_in(state, offer.to),
                words::minute(&offer.at, self.zone)
            );
            return (When::Soon, why, "not answered");
        }
        if let Some(due) = custody.loan.as_ref().and_then(|l| l.due_at) {
            let words = super::standing::due(due, self.at);
            let why = format!(
                "You have it out, {words} ({}).",
                words::minute(&due, self.zone)
            );
            let left = due.to_utc() - self.at;
            return if left < TimeDelta::zero() {
                (When::Now, why, "overdue")
            } else if left < SOON {
                (When::Soon, why, "due soon")
            } else {
                (When::Later, why, "due back")
            };
        }
        let storeroom = self.desk.which == Which::Storeroom;
        match thing {
            Thing::Item(_) => (
                When::Now,
                "It is in your hands and not packed.".into(),
                "not packed",
            ),
            Thing::Package(p) if p.contents.is_empty() => (
                When::Later,
                "It is in your hands with nothing in it.".into(),
                "empty",
            ),
            Thing::Package(p) if p.seal().is_none() => (
                When::Now,
                "It is in your hands and not sealed.".into(),
                "not sealed",
            ),
            Thing::Package(_) if storeroom => (
                When::Now,
                "It is in your hands, to be put on a shelf.".into(),
                "to be stored",
            ),
            Thing::Package(_) => (
                When::Now,
                "It is sealed and in your hands, to be released.".into(),
                "to be released",
            ),
        }
    }

    /// What a rule asks to be done at once with an item in it, and what is not on the record yet.
    fn at_once(&self, state: &State, piece: Piece) -> Option<(String, &'static str)> {
        let rules = &self.reader.house().rules;
        let now = self.at.fixed_offset();
        state.items_in(piece).into_iter().find_map(|item| {
            let time = calling(rules, item, self.zone, now)?;
            let of = match piece {
                Piece::Item(_) => String::new(),
                Piece::Package(_) => format!("Item {}: ", item.number),
            };
            Some((format!("{of}{}", time.sentence), time.badge))
        })
    }

    /// Items of a case that somebody has to act on at once, wherever they are.
    async fn at_once_in(&mut self, case: &Case) -> Result<(), ReadError> {
        let rules = self.reader.house().rules.clone();
        let now = self.at.fixed_offset();
        let items = self.reader.items_of(case.id, &Part::default()).await?;
        let calling: Vec<(Piece, String, &'static str)> = items
            .rows
            .iter()
            .filter_map(|item| {
                let time = calling(&rules, item, self.zone, now)?;
                Some((Piece::Item(item.id), time.sentence, time.badge))
            })
            .collect();
        if calling.is_empty() {
            return Ok(());
        }
        let asked: Vec<Subject> = calling.iter().map(|(p, ..)| (*p).into()).collect();
        let state = self.reader.around(&asked).await?;
        for (piece, why, badge) in calling {
            // Its package may stand here already, for the same reason.
            if !self.listed.contains(&state.outermost(piece)) {
                self.thing(When::Now, &state, piece, why, badge);
            }
        }
        Ok(())
    }

    pub(super) async fn my_cases(&self) -> Result<Vec<Case>, ReadError> {
        let me = self.reader.viewer().id();
        let page = self.reader.cases(&Part::default()).await?;
        Ok(page
            .rows
            .into_iter()
            .filter(|c| me.is_none_or(|me| c.assigned.contains(&me)))
            .take(MOST_CASES)
            .collect())
    }

    fn case_line(&mut self, when: When, case: &Case, why: String, badge: &str) {
        self.push(
            when,
            Line {
                subject: Subject::Case(case.id),
                case: case.id,
                case_number: case.number.clone(),
                restricted: false,
                name: format!("Case {}", case.number),
                what: case.title.clone(),
                place: words::holds(case.marks, case.items, case.packages),
                why,
                badge: badge.into(),
                next_act: None,
            },
        );
    }

    async fn field(&mut self) -> Result<(), ReadError> {
        for case in self.my_cases().await? {
            self.at_once_in(&case).await?;
            let marks = self.reader.marks_of(case.id, &Part::default()).await?;
            for mark in marks.rows {
                let (why, badge) = match (mark.items.is_empty(), mark.images.is_empty()) {
                    (false, false) => continue,
                    (true, true) => (
                        "It was noted, and is neither photographed nor recovered.",
                        "not photographed",
                    ),
                    (true, false) => ("It is photographed and not recovered.", "not recovered"),
                    (false, true) => ("It has no photograph on record.", "not photographed"),
                };
                let line = Line {
                    subject: Subject::Mark(mark.id),
                    case: case.id,
                    case_number: case.number.clone(),
                    restricted: false,
                    name: format!("Mark M{}", mark.number),
                    what: words::mark_kind(mark.noted.mark_kind).into(),
                    place: format!("{}, {}", mark.noted.object, mark.noted.exact_place),
                    why: why.into(),
                    badge: badge.into(),
                    next_act: None,
                };
                self.push(When::Soon, line);
            }
            let why = "You are assigned to it.".to_owned();
            self.case_line(When::Later, &case, why, "");
        }
        Ok(())
    }

    /// What is out on loan, most urgent first.
    async fn out(&mut self, all: bool) -> Result<(), ReadError> {
        let horizon = times::recorded(self.at + TimeDelta::days(3650));
        let page = self.reader.due_before(&horizon, &Part::default()).await?;
        // What is around a thing is read only where there is room for its line.
        let (mut things, mut told, mut coming) = (Vec::new(), Vec::new(), [0; 3]);
        for thing in page.rows {
            let custody = thing.custody();
            let outside = matches!(custody.holder, Holder::Outside { .. });
            let Some(due) = custody.loan.as_ref().and_then(|l| l.due_at) else {
                continue;
            };
            if !(all || outside) || self.listed.contains(&thing.piece()) {
                continue;
            }
            let left = due.to_utc() - self.at;
            let (when, badge) = if left < TimeDelta::zero() {
                (When::Now, "overdue")
            } else if left < SOON {
                (When::Soon, "due soon")
            } else {
                (When::Later, "out")
            };
            let before = &mut coming[when as usize];
            if self.group(when).has_room(*before) {
                *before += 1;
                things.push(thing);
                told.push((when, badge, due));
            }
        }
        let state = self.state(&things).await?;
        for (thing, (when, badge, due)) in things.iter().zip(told) {
            let custody = thing.custody();
            let why = format!(
                "{} has it, {} ({}){}.",
                words::holder(&state, &custody.holder),
                super::standing::due(due, self.at),
                words::minute(&due, self.zone),
                tracked(custody)
            );
            self.thing(when, &state, thing.piece(), why, badge);
        }
        self.desk.later.more |= page.next.is_some();
        Ok(())
    }

    /// What is outside without a date.
    async fn outside(&mut self) -> Result<(), ReadError> {
        let filter = DocFilter {
            holder: Some("outside".into()),
            ..DocFilter::default()
        };
        let page = self.reader.things(filter, &Part::default()).await?;
        let things = self.with_room(When::Later, page.rows);
        let state = self.state(&things).await?;
        for thing in &things {
            let why = format!(
                "{} has it, without a date on which it is due back{}.",
                words::holder(&state, &thing.custody().holder),
                tracked(thing.custody())
            );
            self.thing(When::Later, &state, thing.piece(), why, "outside");
        }
        self.desk.later.more |= page.next.is_some();
        Ok(())
    }

    async fn storeroom(&mut self) -> Result<(), ReadError> {
        self.out(true).await?;
        self.outside().await?;
        self.on_its_way().await
    }

    /// What was released from the storeroom and is not received yet.
    async fn on_its_way(&mut self) -> Result<(), ReadError> {
        let mut part = Part::first(LIST_MAX);
        for _ in 0..OFFERS {
            let page = self.reader.offered(&part).await?;
            let from_store = page
                .rows
                .into_iter()
                .filter(|t| t.custody().offer.as_ref().is_some_and(|o| o.from_place));
            let things = self.with_room(When::Soon, from_store);
            let state = self.state(&things).await?;
            for thing in &things {
                let Some(offer) = &thing.custody().offer else {
                    continue;
                };
                let why = format!(
                    "Released from the storeroom to {} at {} and not received yet.",
                    words::person_in(&state, offer.to),
                    words::minute(&offer.at, self.zone)
                );
                self.thing(When::Soon, &state, thing.piece(), why, "not answered");
            }
            part.after = page.next;
            // Where there are more than are shown, nothing further on would be.
            if part.after.is_none() || self.desk.soon.more {
                return Ok(());
            }
        }
        self.desk.soon.more = true;
        Ok(())
    }

    async fn court(&mut self) -> Result<(), ReadError> {
        self.out(false).await?;
        self.outside().await?;
        let cases = self.reader.cases(&Part::default()).await?;
        for (i, case) in cases.rows.iter().enumerate() {
            if i < MOST_CASES {
                let found = case_findings::load(
                    self.reader,
                    case.id,
                    self.zone,
                    self.at,
                    case_findings::MOST_HERE,
                )
                .await?;
                let why = words::capital(&format!("{}.", found.words));
                let badge = if found.open_breaks() {
                    "break"
                } else if found.calls() {
                    "attention"
                } else {
                    ""
                };
                self.case_line(When::Later, case, why, badge);
            } else {
                let why = "Open it to have its findings looked up.".to_owned();
                self.case_line(When::Later, case, why, "");
            }
        }
        self.desk.later.more |= cases.next.is_some();
        Ok(())
    }
}

/// The carrier's tracking number, for the end of a sentence.
fn tracked(custody: &Custody) -> String {
    match super::standing::tracking(custody) {
        "" => String::new(),
        number => format!("; tracking number {number}"),
    }
}
