//! Choices that several forms offer, and the beginning that forms about a piece share.

use super::{Sheet, address};
use crate::app::views::words;
use crate::app::{Part, Reader, Thing, knowledge};
use crate::custody::State;
use crate::custody::package::MAX_CONTENTS;
use crate::custody::state::{self, Case, Item, Person, Place};
use crate::ids::{CaseId, ItemId, Piece, Subject};
use crate::people::{Action, permission};
use crate::trade::TradeRules;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};
use crate::web::frame::Link;
use crate::zone::Zone;

/// How many hand-over sheets a form offers.
const MOST_SHEETS: usize = 50;

/// The item that a form is about: its own field where it was sent, else the piece of the address.
///
/// # Errors
/// [`Failure`] where it names none, or a package.
pub fn item(typed: &Typed) -> Result<ItemId, Failure> {
    if typed.has("item") {
        return typed.read("item");
    }
    match typed.read("piece")? {
        Piece::Item(id) => Ok(id),
        Piece::Package(_) => Err(Failure::unreadable("this form is about an item")),
    }
}

/// People who may hold evidence and may see the case, but the reader.
///
/// # Errors
/// [`Failure`].
pub async fn recipients(reader: &Reader<'_>, case: &Case) -> Result<Vec<Choice>, Failure> {
    let me = reader.viewer().id();
    let mut people = active_people(reader).await?;
    people.retain(|p| {
        let holds = p.roles.iter().any(|r| r.may_hold());
        holds && Some(p.id) != me && case.seen_by(Some(p.id))
    });
    Ok(people.iter().map(person_choice).collect())
}

/// Everybody whose account is switched on, by user name.
///
/// # Errors
/// [`Failure`].
pub async fn active_people(reader: &Reader<'_>) -> Result<Vec<Person>, Failure> {
    let mut out = Vec::new();
    let mut part = Part::default();
    // An agency has hundreds of people, not more; the loop is bounded all the same.
    for _ in 0..20 {
        let page = reader.people(Some(true), &part).await?;
        out.extend(page.rows);
        match page.next {
            Some(next) => part.after = Some(next),
            None => break,
        }
    }
    Ok(out)
}

/// The field that names a second person, where a place for two people is among those that an act may be about.
///
/// # Errors
/// [`Failure`].
pub async fn beside(reader: &Reader<'_>, two_person: bool) -> Result<Vec<Input>, Failure> {
    if !two_person {
        return Ok(Vec::new());
    }
    let me = reader.viewer().id();
    let people = active_people(reader).await?;
    let choices = people
        .iter()
        .filter(|p| Some(p.id) != me && permission::allows(&p.roles, Action::StandBeside))
        .map(person_choice)
        .collect();
    Ok(vec![
        Input::new("beside", "The second person", Kind::One(choices))
            .hint("Needed where the place is for two people. They give their own password on the next page.")
            .optional(),
    ])
}

/// A person as a choice.
#[must_use]
pub fn person_choice(person: &Person) -> Choice {
    let roles = crate::web::session::roles_words(person);
    Choice::new(
        person.id.to_string(),
        format!("{}, {roles} (no. {})", person.name, person.number),
    )
}

/// The places of the storeroom, by name.
///
/// # Errors
/// [`Failure`].
pub async fn places(reader: &Reader<'_>) -> Result<Vec<Place>, Failure> {
    let mut out = Vec::new();
    let mut part = Part::default();
    for _ in 0..10 {
        let page = reader.places(&part).await?;
        out.extend(page.rows);
        match page.next {
            Some(next) => part.after = Some(next),
            None => break,
        }
    }
    Ok(out)
}

/// What the viewer has in their own hands of a case: in no package, and on offer to nobody.
///
/// # Errors
/// [`Failure`].
pub async fn in_my_hands(reader: &Reader<'_>, case: CaseId) -> Result<Vec<Thing>, Failure> {
    let Some(me) = reader.viewer().id() else {
        return Ok(Vec::new());
    };
    let mut out = Vec::new();
    let mut part = Part::default();
    for _ in 0..10 {
        let page = reader.held_by(me, &part).await?;
        let loose = |t: &Thing| {
            let custody = t.custody();
            t.case() == case && custody.inside.is_none() && custody.offer.is_none()
        };
        out.extend(page.rows.into_iter().filter(loose));
        match page.next {
            Some(next) if out.len() < MAX_CONTENTS => part.after = Some(next),
            _ => break,
        }
    }
    out.truncate(MAX_CONTENTS);
    Ok(out)
}

/// The conditions in which something is seen.
#[must_use]
pub fn conditions() -> Vec<Choice> {
    [
        ("intact", "intact, seal number as on record"),
        ("damaged", "damaged"),
        ("open", "open"),
        ("wet", "wet"),
        ("leaking", "leaking"),
        ("mismatch", "the seal is not the one on record"),
    ]
    .map(|(value, label)| Choice::new(value, label))
    .to_vec()
}

/// The cautions for whoever packs or unpacks these things, each once.
#[must_use]
pub fn cautions_of(rules: &TradeRules, things: &[state::Thing<'_>]) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for item in things.iter().flat_map(items_in) {
        let needs = knowledge::needs(rules, &state::Thing::Item(item)).unwrap_or_default();
        for caution in &needs.packing.cautions {
            let shown = caution.shown();
            if !out.contains(&shown) {
                out.push(shown);
            }
        }
    }
    out
}

/// Every item in a thing.
fn items_in<'a>(thing: &state::Thing<'a>) -> Vec<&'a Item> {
    match thing {
        state::Thing::Item(item) => vec![item],
        state::Thing::Package { contents, .. } => contents.iter().flat_map(items_in).collect(),
    }
}

/// The fields about what is seen when something changes hands. The seal on record is not shown beside the field: whoever
/// receives reads it off the package.
#[must_use]
pub fn seen(sealed: bool) -> Vec<Input> {
    let seal = if sealed {
        Input::line("seal_seen", "Seal number that you see")
            .hint("Read it off the package, or scan it. Empty only where there is none to read: the condition then says so.")
            .optional_by_hint()
    } else {
        Input::hidden("seal_seen", "").optional()
    };
    vec![
        seal,
        Input::new(
            "condition",
            "Condition that you see",
            Kind::One(conditions()),
        )
        .value("intact"),
        Input::lines("note", "Note")
            .hint("Needed for any condition but intact.")
            .optional_by_hint(),
    ]
}

/// A piece that a form is about, with what its words need.
pub struct About {
    /// Which.
    pub piece: Piece,
    /// Its record.
    pub thing: Thing,
    /// Its case.
    pub case: Case,
    /// What is around it.
    pub state: State,
    /// The agency's zone.
    pub zone: Zone,
}

impl About {
    /// Reads the piece that the field `piece` names.
    ///
    /// # Errors
    /// [`Failure`].
    pub async fn read(reader: &Reader<'_>, typed: &Typed) -> Result<Self, Failure> {
        Self::of(reader, typed.read("piece")?).await
    }

    /// Reads a piece.
    ///
    /// # Errors
    /// [`Failure`].
    pub async fn of(reader: &Reader<'_>, piece: Piece) -> Result<Self, Failure> {
        reader.must(Action::ReadEvidence)?;
        let thing = reader.thing(piece).await?;
        let case = reader.case(thing.case()).await?;
        let state = reader.around(&[Subject::from(piece)]).await?;
        Ok(Self {
            piece,
            thing,
            case,
            state,
            zone: reader.house().zone().await?,
        })
    }

    /// What its packing asks of whoever handles it, as cautions.
    #[must_use]
    pub fn cautions(&self, rules: &TradeRules) -> Vec<String> {
        cautions_of(rules, self.state.thing(self.piece).as_slice())
    }

    /// The page of the piece.
    #[must_use]
    pub fn page(&self) -> String {
        address(self.piece.into()).unwrap_or_else(|| "/".into())
    }

    /// Who has it, in words.
    #[must_use]
    pub fn holder(&self) -> String {
        words::held_by(&self.state, self.piece).unwrap_or_else(|| "nobody known".into())
    }

    /// Whether it stands in a place for two people.
    #[must_use]
    pub fn is_two_person(&self) -> bool {
        let holder = self.state.holder(self.piece);
        let place = holder.and_then(crate::custody::state::Holder::place);
        place.is_some_and(|p| self.state.two_person(p).is_some())
    }

    /// Whether there is a seal on it now.
    #[must_use]
    pub fn is_sealed(&self) -> bool {
        match &self.thing {
            Thing::Package(p) => p.seal().is_some(),
            Thing::Item(_) => false,
        }
    }

    /// What is in it, in words; empty for an item.
    #[must_use]
    pub fn contents(&self) -> String {
        match &self.thing {
            Thing::Item(_) => String::new(),
            Thing::Package(p) => p
                .contents
                .iter()
                .take(30)
                .map(|x| self.state.name(*x))
                .collect::<Vec<_>>()
                .join(", "),
        }
    }

    /// Offers the hand-over sheets of the case, newest first, to enter it from.
    pub fn on_paper(&self, sheet: &mut Sheet) {
        let newest = self.case.sheets.iter().rev().take(MOST_SHEETS);
        sheet.paper_sheets = newest
            .map(|s| {
                let at = words::minute(&s.at, self.zone);
                Choice::new(
                    s.print.to_string(),
                    format!("printed {at}, print {}", s.print),
                )
            })
            .collect();
    }

    /// The sheet that a form about this piece begins with.
    #[must_use]
    pub fn sheet(&self, verb: &str) -> Sheet {
        let name = self.thing.name();
        let mut facts = vec![
            (
                "Case".into(),
                format!("{}, {}", self.case.number, self.case.title),
            ),
            (
                "What".into(),
                format!("{name}, code {}", self.thing.code().grouped()),
            ),
        ];
        match &self.thing {
            Thing::Item(item) => facts.push(("It is".into(), item.recovered.description.clone())),
            Thing::Package(_) => facts.push(("In it".into(), self.contents())),
        }
        facts.push(("Now with".into(), self.holder()));
        facts.retain(|(_, v): &(String, String)| !v.is_empty());
        Sheet {
            title: format!("{verb} {name}"),
            thing: format!("{name} of case {}", self.case.number),
            facts,
            inputs: vec![Input::hidden("piece", self.piece.to_string())],
            submit: verb.to_owned(),
            crumbs: vec![
                Link::new("/cases", "Cases"),
                Link::new(format!("/cases/{}", self.case.id), self.case.number.clone()),
                Link::new(self.page(), name),
            ],
            done: self.page(),
            about: Some(self.case.clone()),
            ..Sheet::default()
        }
    }
}
