//! Shelving: many things put onto one place, or moved there, each decided as if it came alone.
//!
//! As with an intake there is no event of it: each line becomes the event that storing the thing by itself would be; either all
//! are recorded or none is. Against a keep rule a thing is stored by itself, with the name of whoever answers for it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::capacity;
use super::command::Act;
use super::count::read_label;
use super::fact::Draft;
use super::intake::{all_or_none, by_label};
use super::place::Store;
use super::refusal::Refusal;
use super::rules::Context;
use super::state::State;
use crate::ids::{Code, Piece, PlaceId};

/// Put many things onto one place.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct StoreMany {
    /// Where.
    pub place: PlaceId,
    /// What was scanned or typed off each label, at most [`super::intake::MAX_LINES`].
    pub codes: Vec<String>,
    /// Why those of them that are not in a sealed package are stored so.
    #[serde(default)]
    pub unsealed_reason: Option<String>,
}

impl StoreMany {
    /// The things that the labels name, where they were loaded.
    pub(super) fn pieces<'a>(&'a self, state: &'a State) -> impl Iterator<Item = Piece> + 'a {
        let codes = self.codes.iter().take(super::intake::MAX_LINES);
        codes.filter_map(|code| read_label(state, code).ok())
    }

    /// The codes, where the labels bear some.
    pub(super) fn codes(&self) -> impl Iterator<Item = Code> + '_ {
        let codes = self.codes.iter().take(super::intake::MAX_LINES);
        codes.filter_map(|code| code.parse().ok())
    }
}

pub(super) fn store(ctx: &Context<'_>, x: &StoreMany) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    all_or_none(&x.codes, "codes", |code, number, named| {
        let drafts = by_label(ctx, code, number, named, |piece| {
            Act::Store(Store {
                piece,
                place: x.place,
                overridden: None,
                unsealed_reason: x.unsealed_reason.clone(),
            })
        })?;
        // Each line was decided by the record as it is; those before it take room, too.
        let more = u32::try_from(named.len()).unwrap_or(u32::MAX);
        if let Some(place) = ctx.state.places.get(&x.place) {
            capacity::room_for(ctx, place, more, None)?;
        }
        Ok(drafts)
    })
}
