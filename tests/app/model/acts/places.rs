//! How much a place takes, whether it is for two people, and who is there beside the actor.

use liftledger::custody::Act;
use liftledger::people::Role;
use serde_json::{Value, json};

use super::super::shadow::Has;
use super::{MOST_PLACES, Maker, Shadow};

impl Maker {
    pub(super) fn add_place(&mut self, room: &Shadow) -> Option<(Option<usize>, Value)> {
        if room.places.len() >= MOST_PLACES {
            return None;
        }
        let name = if self.dice.percent(15) {
            "Shelf 1".into()
        } else {
            format!("Bin {}", self.made)
        };
        let mut fields = json!({"name": name, "kind": "bin", "climate": "room-temperature"});
        if self.dice.percent(40) {
            fields["parent"] = json!(room.places[self.place(room)?].id);
        }
        Some((None, fields))
    }

    pub(super) fn set_capacity(&mut self, room: &Shadow) -> Option<(Option<usize>, Value)> {
        let place = room.places[self.place(room)?].id;
        let mut fields = json!({"place": place});
        if self.dice.percent(75) {
            // None at all is refused.
            fields["capacity"] = json!(self.dice.below(14));
        }
        Some((None, fields))
    }

    pub(super) fn mark_two_person(&mut self, room: &Shadow) -> Option<(Option<usize>, Value)> {
        let place = self.place(room)?;
        let place = &room.places[place];
        // A mark is taken off oftener than one is put on, so that most places are open to one alone.
        let two_person = if place.two_person {
            self.dice.percent(15)
        } else {
            self.dice.percent(70)
        };
        Some((
            None,
            json!({"place": place.id, "two_person": two_person, "reason": "cash is kept there"}),
        ))
    }

    /// Who signs beside the actor: mostly somebody who may where two are needed, seldom somebody where none is.
    pub(super) fn beside(&mut self, act: &Act, room: &Shadow) -> Option<usize> {
        let stands = |piece| {
            let thing = room.find(piece)?;
            match room.has(thing) {
                Has::Place(place) => Some(place),
                _ => None,
            }
        };
        let to = match act {
            Act::Store(x) => Some(room.place(x.place)),
            Act::StoreMany(x) => Some(room.place(x.place)),
            _ => None,
        };
        let mut places: Vec<usize> = act.pieces().into_iter().filter_map(stands).collect();
        places.extend(to);
        let takes = act.takes_second();
        let needed = takes && places.into_iter().any(|p| room.for_two(p));
        let chance = match (takes, needed) {
            (true, true) => 85,
            (true, false) => 4,
            _ => 1,
        };
        if !self.dice.percent(chance) {
            return None;
        }
        if self.dice.percent(10) {
            return Some(self.dice.below(room.people.len()));
        }
        let role = self.dice.pick(&[Role::Custodian, Role::Supervisor])?;
        self.active(room, role)
    }
}
