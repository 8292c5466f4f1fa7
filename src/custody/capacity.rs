//! How much a place takes, and how much stands there: kept with the place, so that nobody has to count a storeroom to know.
//!
//! What counts is what stands in a place by itself: a box is one, whatever is in it. A capacity is that of the place alone;
//! a room without one still sums up what the places in it say. What is out on loan leaves room behind.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule};
use super::rules::{Context, Meta, Misfit};
use super::state::{Place, State, Thing};
use crate::ids::{PlaceId, Subject};

/// The greatest capacity that a place may have.
pub const MAX_CAPACITY: u32 = 100_000;
/// How many places may stand in one another.
pub const DEEPEST: usize = 10;
/// How many places beside a full one are looked at.
pub const MAX_NEAR: usize = 200;
/// How many of them a refusal names.
const NAMED: usize = 3;

/// Say how much a place takes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetCapacity {
    /// Which place.
    pub place: PlaceId,
    /// How many packages and loose items it takes, 1 to [`MAX_CAPACITY`]; none where that is not counted.
    #[serde(default)]
    pub capacity: Option<u32>,
}

/// It was said how much a place takes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CapacitySet {
    /// Which place.
    pub place: PlaceId,
    /// How many packages and loose items.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub capacity: Option<u32>,
}

/// What stands in a place and in every place in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Fill {
    /// Packages and loose items.
    pub things: u32,
    /// Of them, those in places that have a capacity.
    pub counted: u32,
    /// How many those places take together.
    pub room: u32,
}

impl Fill {
    /// Whether nothing is in it.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    fn changed(self, before: Self, after: Self) -> Option<Self> {
        let one = |n: u32, less: u32, more: u32| n.checked_sub(less)?.checked_add(more);
        Some(Self {
            things: one(self.things, before.things, after.things)?,
            counted: one(self.counted, before.counted, after.counted)?,
            room: one(self.room, before.room, after.room)?,
        })
    }
}

/// Whether nothing stands there.
#[expect(
    clippy::trivially_copy_pass_by_ref,
    reason = "serde hands fields on by reference"
)]
pub(super) fn is_none(standing: &u32) -> bool {
    *standing == 0
}

impl Place {
    /// Whether so many more find room; always where there is no capacity.
    #[must_use]
    pub fn takes(&self, more: u32) -> bool {
        self.capacity
            .is_none_or(|c| self.standing.saturating_add(more) <= c)
    }

    /// What stands in it alone.
    fn own(&self) -> Fill {
        Fill {
            things: self.standing,
            counted: self.capacity.map_or(0, |_| self.standing),
            room: self.capacity.unwrap_or(0),
        }
    }
}

impl State {
    /// A place and those around it, the innermost first, as far as they were loaded.
    pub fn places_around(&self, place: PlaceId) -> impl Iterator<Item = &Place> {
        let first = self.places.get(&place);
        std::iter::successors(first, |p| self.places.get(&p.added.parent?)).take(DEEPEST)
    }
}

/// The place has room for so many more.
///
/// # Errors
/// [`Rule::PlaceFull`], which names places beside it that have room and suit the thing.
pub(super) fn room_for(
    ctx: &Context<'_>,
    place: &Place,
    more: u32,
    thing: Option<&Thing<'_>>,
) -> Result<(), Refusal> {
    if place.takes(more) {
        return Ok(());
    }
    let near = ctx.state.near.get(&place.id).into_iter().flatten();
    let free: Vec<String> = near
        .filter(|id| **id != place.id)
        .filter_map(|id| ctx.state.places.get(id))
        .filter(|p| p.capacity.is_some() && p.takes(1))
        .filter(|p| thing.is_none_or(|t| ctx.trade.place(t, &p.added).is_ok()))
        .take(NAMED)
        .map(|p| format!("{} ({})", p.added.name, standing_words(p)))
        .collect();
    let next = if free.is_empty() {
        "Choose another place; of none beside it is it on record that it has room.".to_owned()
    } else {
        format!("Another place near by with room: {}.", free.join(", "))
    };
    let here = place.capacity.unwrap_or(0);
    let all = if more > 1 {
        format!(", and {more} more would come")
    } else {
        String::new()
    };
    let stand = if place.standing == 1 {
        "stands"
    } else {
        "stand"
    };
    Err(Refusal::new(
        Rule::PlaceFull,
        format!(
            "{} takes {here}; {} {stand} there{all}.",
            place.added.name, place.standing
        ),
        next,
    )
    .on("place"))
}

/// How full a place is: `3 of 12`, or `3` where it has no capacity.
#[must_use]
pub fn standing_words(place: &Place) -> String {
    match place.capacity {
        Some(capacity) => format!("{} of {capacity}", place.standing),
        None => place.standing.to_string(),
    }
}

pub(super) fn set(ctx: &Context<'_>, x: &SetCapacity) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    let place = ctx.place(x.place)?;
    if x.capacity.is_some_and(|c| c == 0 || c > MAX_CAPACITY) {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("A place takes 1 to {MAX_CAPACITY} packages."),
            "Give such a number, or none where it is not to be counted.",
        )
        .on("capacity"));
    }
    if x.capacity == place.capacity {
        return Err(Refusal::new(
            Rule::BadValue,
            match x.capacity {
                Some(c) => format!("{} takes {c} by the record already.", place.added.name),
                None => format!("{} has no capacity on record.", place.added.name),
            },
            "Nothing is left to do.",
        )
        .on("capacity"));
    }
    let fact = Fact::CapacitySet(CapacitySet {
        place: x.place,
        capacity: x.capacity,
    });
    Ok(ctx.draft(None, vec![Subject::Place(x.place)], fact))
}

pub(super) fn was_set(state: &mut State, x: &CapacitySet, meta: &Meta) -> Result<(), Misfit> {
    change(state, x.place, meta, |place| {
        place.capacity = x.capacity;
        Some(())
    })
}

/// A piece that stood in one place stands in another now, or in none.
pub(super) fn moved(
    state: &mut State,
    from: Option<PlaceId>,
    to: Option<PlaceId>,
    meta: &Meta,
) -> Result<(), Misfit> {
    if from == to {
        return Ok(());
    }
    let by_one = |state: &mut State, place: Option<PlaceId>, by: i32| match place {
        Some(place) => change(state, place, meta, |p| {
            p.standing = p.standing.checked_add_signed(by)?;
            Some(())
        }),
        None => Ok(()),
    };
    by_one(state, from, -1)?;
    by_one(state, to, 1)
}

/// Changes a place, and what every place around it sums up.
fn change(
    state: &mut State,
    place: PlaceId,
    meta: &Meta,
    with: impl FnOnce(&mut Place) -> Option<()>,
) -> Result<(), Misfit> {
    let here = state
        .places
        .get_mut(&place)
        .ok_or_else(|| meta.misfit("no such place"))?;
    let before = here.own();
    with(here).ok_or_else(|| meta.misfit("fewer things than none stand in a place"))?;
    let after = here.own();
    let around: Vec<PlaceId> = state.places_around(place).map(|p| p.id).collect();
    for id in around {
        if let Some(p) = state.places.get_mut(&id) {
            p.fill = p
                .fill
                .changed(before, after)
                .ok_or_else(|| meta.misfit("fewer things than none stand in a place"))?;
        }
        state.also.insert(Subject::Place(id));
    }
    Ok(())
}
