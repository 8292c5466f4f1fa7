//! Places in the storeroom, and what goes onto them and off them.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::capacity::{self, DEEPEST};
use super::fact::{Draft, Fact};
use super::hand_over::{sealed_or_reason, unsealed_text};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, TradeReason, capital, not_found};
use super::state::{Holder, Key, Place, State};
use super::two_person;
use crate::ids::{Code, ItemId, PersonId, Piece, PlaceId, Subject};
use crate::people::{Action, permission};

/// What kind of place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PlaceKind {
    /// A building.
    Building,
    /// A room.
    Room,
    /// A unit: a cabinet, a refrigerator, a freezer, a rack.
    Unit,
    /// A shelf.
    Shelf,
    /// A bin.
    Bin,
}

/// Add a place in the storeroom.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AddPlace {
    /// Name, as on its label; unique.
    pub name: String,
    /// Kind.
    pub kind: PlaceKind,
    /// What it is in.
    #[serde(default)]
    pub parent: Option<PlaceId>,
    /// Climate class, by the trade rules' identifier: room-temperature, temperature-controlled, refrigerated, frozen.
    pub climate: String,
    /// Damp.
    #[serde(default)]
    pub damp: bool,
    /// In direct or strong light.
    #[serde(default)]
    pub lit: bool,
    /// Hot, or near something hot.
    #[serde(default)]
    pub hot: bool,
    /// Dusty.
    #[serde(default)]
    pub dusty: bool,
    /// Things stand on edge there.
    #[serde(default)]
    pub on_edge: bool,
    /// Things are stacked there.
    #[serde(default)]
    pub stacked: bool,
    /// Marked for biological hazards.
    #[serde(default)]
    pub biohazard_marked: bool,
}

/// Against a keep rule, by a named person's decision.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Override {
    /// Who answers for it.
    pub by: PersonId,
    /// Why.
    pub reason: String,
}

/// Store on a shelf, or move to another.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Store {
    /// What.
    pub piece: Piece,
    /// Where.
    pub place: PlaceId,
    /// Against a keep rule.
    #[serde(default)]
    pub overridden: Option<Override>,
    /// Why it is stored unsealed, if it is.
    #[serde(default)]
    pub unsealed_reason: Option<String>,
}

/// Take from a shelf into one's own hands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Fetch {
    /// What.
    pub piece: Piece,
    /// Why.
    pub purpose: String,
}

/// A place was added.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PlaceAdded {
    /// Place.
    pub place: PlaceId,
    /// The code on its label.
    pub code: Code,
    /// Name.
    pub name: String,
    /// Kind.
    pub place_kind: PlaceKind,
    /// What it is in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub parent: Option<PlaceId>,
    /// Climate class.
    pub climate: String,
    /// Damp.
    pub damp: bool,
    /// In direct or strong light.
    pub lit: bool,
    /// Hot, or near something hot.
    #[serde(default)]
    pub hot: bool,
    /// Dusty.
    #[serde(default)]
    pub dusty: bool,
    /// Things stand on edge there.
    #[serde(default)]
    pub on_edge: bool,
    /// Things are stacked there.
    #[serde(default)]
    pub stacked: bool,
    /// Marked for biological hazards.
    #[serde(default)]
    pub biohazard_marked: bool,
}

/// A piece was stored.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stored {
    /// What.
    pub piece: Piece,
    /// Where.
    pub place: PlaceId,
    /// The place's name at that moment.
    pub place_name: String,
    /// Where it stood before, if on a shelf.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_place: Option<PlaceId>,
    /// Keep rules that were overridden.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub overridden: Vec<String>,
    /// Who answers for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub override_by: Option<PersonId>,
    /// Why.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub override_reason: Option<String>,
    /// Why it is stored unsealed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unsealed_reason: Option<String>,
    /// Who else was there and signed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second: Option<PersonId>,
    /// Their name at that moment.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_name: Option<String>,
}

/// A piece was taken from a shelf.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Fetched {
    /// What.
    pub piece: Piece,
    /// From where.
    pub place: PlaceId,
    /// Why.
    pub purpose: String,
    /// Who else was there and signed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second: Option<PersonId>,
    /// Their name at that moment.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_name: Option<String>,
}

pub(super) fn add(ctx: &Context<'_>, x: &AddPlace) -> Result<Vec<Draft>, Refusal> {
    text("name", &x.name, 100, true)?;
    text("climate", &x.climate, 40, true)?;
    if !ctx.trade.knows_climate(&x.climate) {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("There is no climate class {}.", x.climate),
            "Choose one of the list.",
        )
        .on("climate"));
    }
    if ctx.state.place_names.contains_key(&x.name) {
        return Err(Refusal::new(
            Rule::Taken,
            format!("There is a place {} already.", x.name),
            "Choose another name.",
        )
        .on("name"));
    }
    if let Some(parent) = x.parent
        && ctx.state.places_around(parent).count() >= DEEPEST
    {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("Places stand at most {DEEPEST} deep in one another."),
            "Put it into a place further out.",
        )
        .on("parent"));
    }
    let place = PlaceId(ctx.command.id.0);
    let code = Code::of(Subject::Place(place)).ok_or_else(|| not_found("code"))?;
    let fact = Fact::PlaceAdded(PlaceAdded {
        place,
        code,
        name: x.name.clone(),
        place_kind: x.kind,
        parent: x.parent,
        climate: x.climate.clone(),
        damp: x.damp,
        lit: x.lit,
        hot: x.hot,
        dusty: x.dusty,
        on_edge: x.on_edge,
        stacked: x.stacked,
        biohazard_marked: x.biohazard_marked,
    });
    Ok(ctx.draft(None, vec![Subject::Place(place)], fact))
}

pub(super) fn store(ctx: &Context<'_>, x: &Store) -> Result<Vec<Draft>, Refusal> {
    if let Some(over) = &x.overridden {
        text("reason", &over.reason, 500, true)?;
    }
    unsealed_text(x.unsealed_reason.as_deref())?;
    let (custody, case) = ctx.piece(x.piece)?;
    ctx.loose(x.piece, custody)?;
    ctx.no_offer(x.piece, custody)?;
    let from_place = match custody.holder {
        Holder::Place { place } => Some(place),
        _ => {
            ctx.held(x.piece)?;
            None
        }
    };
    let place = ctx.place(x.place)?;
    if from_place == Some(x.place) {
        return Err(Refusal::new(
            Rule::ToOneself,
            format!("{} is there already.", capital(&ctx.state.name(x.piece))),
            "Nothing is left to do.",
        )
        .on("place"));
    }
    sealed_or_reason(ctx.state, x.piece, x.unsealed_reason.as_deref())?;
    let thing = ctx
        .state
        .thing(x.piece)
        .ok_or_else(|| not_found("item or package"))?;
    let against = ctx
        .trade
        .place(&thing, &place.added)
        .err()
        .unwrap_or_default();
    if !against.is_empty() {
        let Some(over) = &x.overridden else {
            let why: Vec<String> = against
                .iter()
                .map(|r| format!("{} (rule {}, {})", r.sentence, r.rule, r.source))
                .collect();
            return Err(Refusal::new(
                Rule::KeepRule,
                format!(
                    "{} may not be stored at {}: {}",
                    capital(&ctx.state.name(x.piece)),
                    place.added.name,
                    why.join(" ")
                ),
                next_steps(&against),
            )
            .on("place"));
        };
        let may = ctx
            .state
            .people
            .get(&over.by)
            .is_some_and(|p| p.active && permission::allows(&p.roles, Action::OverrideKeeping));
        if !may {
            return Err(Refusal::new(
                Rule::OverrideNotAuthorised,
                "The person named may not answer for storing against a keep rule.",
                "Name a supervisor.",
            )
            .on("overridden"));
        }
    }
    capacity::room_for(ctx, place, 1, Some(&thing))?;
    let second = two_person::second(ctx, &[from_place, Some(x.place)], case)?;
    let over = x.overridden.as_ref().filter(|_| !against.is_empty());
    let fact = Fact::Stored(Stored {
        piece: x.piece,
        place: x.place,
        place_name: place.added.name.clone(),
        from_place,
        overridden: against.into_iter().map(|r| r.rule).collect(),
        override_by: over.map(|o| o.by),
        override_reason: over.map(|o| o.reason.clone()),
        unsealed_reason: x.unsealed_reason.clone().filter(|r| !r.trim().is_empty()),
        second: second.as_ref().map(|s| s.person),
        second_name: second.map(|s| s.name),
    });
    let mut subjects = vec![x.piece.into(), Subject::Place(x.place)];
    subjects.extend(from_place.map(Subject::Place));
    Ok(ctx.draft(Some(case), subjects, fact))
}

/// What the rules suggest, each once, and who may decide otherwise.
fn next_steps(against: &[TradeReason]) -> String {
    let mut steps: Vec<&str> = Vec::new();
    for reason in against {
        if !reason.next.is_empty() && !steps.contains(&reason.next.as_str()) {
            steps.push(&reason.next);
        }
    }
    if steps.is_empty() {
        steps.push("Choose another place.");
    }
    format!(
        "{} Or have a supervisor answer for it with a reason.",
        steps.join(" ")
    )
}

pub(super) fn fetch(ctx: &Context<'_>, x: &Fetch) -> Result<Vec<Draft>, Refusal> {
    text("purpose", &x.purpose, 300, true)?;
    let (custody, case) = ctx.piece(x.piece)?;
    ctx.loose(x.piece, custody)?;
    ctx.no_offer(x.piece, custody)?;
    let Holder::Place { place } = custody.holder else {
        return Err(Refusal::new(
            Rule::NotStored,
            format!(
                "{} is not on a shelf: {} has it.",
                capital(&ctx.state.name(x.piece)),
                ctx.holder_name(&custody.holder)
            ),
            "Have it released to you and receive it.",
        ));
    };
    let second = two_person::second(ctx, &[Some(place)], case)?;
    let fact = Fact::Fetched(Fetched {
        piece: x.piece,
        place,
        purpose: x.purpose.clone(),
        second: second.as_ref().map(|s| s.person),
        second_name: second.map(|s| s.name),
    });
    Ok(ctx.draft(
        Some(case),
        vec![x.piece.into(), Subject::Place(place)],
        fact,
    ))
}

pub(super) fn added(state: &mut State, x: &PlaceAdded) -> Result<(), Misfit> {
    state.place_names.insert(x.name.clone(), x.place);
    state.known.insert(Key::PlaceName(x.name.clone()));
    state.known.insert(Key::Subject(Subject::Place(x.place)));
    state.known.insert(Key::Code(x.code.clone()));
    state.codes.insert(x.code.clone(), Subject::Place(x.place));
    state.places.insert(
        x.place,
        Place {
            id: x.place,
            code: x.code.clone(),
            added: x.clone(),
            seals: Vec::new(),
            stock: Vec::new(),
            climate_log: None,
            capacity: None,
            two_person: None,
            standing: 0,
            fill: capacity::Fill::default(),
        },
    );
    Ok(())
}

pub(super) fn stored(state: &mut State, x: &Stored, meta: &Meta) -> Result<(), Misfit> {
    let custody = state
        .custody_mut(x.piece)
        .ok_or_else(|| meta.misfit("no such piece"))?;
    let from = custody.holder.place();
    custody.holder = Holder::Place { place: x.place };
    // Back on a shelf: no longer out.
    custody.loan = None;
    custody.last_at = meta.at;
    let first: Vec<ItemId> = state
        .items_in(x.piece)
        .into_iter()
        .filter(|i| i.shelved_at.is_none() && i.imported.is_none())
        .map(|i| i.id)
        .collect();
    for id in first {
        if let Some(item) = state.items.get_mut(&id) {
            item.shelved_at = Some(meta.at);
            state.also.insert(Subject::Item(id));
        }
    }
    capacity::moved(state, from, Some(x.place), meta)
}

pub(super) fn fetched(state: &mut State, x: &Fetched, meta: &Meta) -> Result<(), Misfit> {
    let person = meta
        .actor
        .ok_or_else(|| meta.misfit("fetching has an actor"))?;
    let custody = state
        .custody_mut(x.piece)
        .ok_or_else(|| meta.misfit("no such piece"))?;
    let from = custody.holder.place();
    custody.holder = Holder::Person { person };
    custody.last_at = meta.at;
    capacity::moved(state, from, None, meta)
}
