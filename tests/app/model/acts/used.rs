//! What an examination uses up.

use liftledger::ids::Piece;
use liftledger::people::Role;
use serde_json::{Value, json};

use super::super::shadow::Has;
use super::{Maker, Shadow};

impl Maker {
    /// Part of an item, or seldom all of it, by whoever has it, or while it is outside.
    pub(super) fn consume(&mut self, room: &Shadow) -> Option<(Option<usize>, Value)> {
        let whole = self.dice.percent(30);
        let item = self.item(room, |t| {
            let there = match room.has(t) {
                Has::Person(p) => room.is(p, Role::Custodian) || room.is(p, Role::Examiner),
                Has::Outside => true,
                _ => false,
            };
            there && !(whole && room.things[t].inside.is_some())
        })?;
        let quantity = if whole {
            "all of it"
        } else {
            "one of two swabs"
        };
        let Piece::Item(id) = room.things[item].piece else {
            return None;
        };
        Some((
            Self::holder(room, item),
            json!({"item": id, "whole": whole, "quantity": quantity, "said_by": "the examiner",
            "authority": "consent 4 of the prosecutor", "report": format!("R-{}", self.made)}),
        ))
    }
}
