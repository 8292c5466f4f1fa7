//! How much stands in each place and in those in it, how much each takes, and which are for two people.

use std::iter::successors;

use liftledger::custody::capacity::SetCapacity;
use liftledger::custody::place::AddPlace;
use liftledger::custody::two_person::MarkTwoPerson;
use liftledger::ids::{PlaceId, Subject};
use liftledger::people::Role;
use serde_json::{Value, json};

use super::{Has, Shadow, code_of};

pub struct Place {
    pub id: PlaceId,
    pub code: String,
    pub name: String,
    /// What it is in.
    pub within: Option<usize>,
    pub capacity: Option<u32>,
    pub two_person: bool,
}

/// What the record of a place must say.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Figures {
    /// What stands in it by itself.
    pub standing: u32,
    pub capacity: Option<u32>,
    pub two_person: bool,
    /// In it and in every place in it.
    pub things: u32,
    /// Of these, those in places with a capacity, and what such places take.
    pub counted: u32,
    pub room: u32,
}

impl Figures {
    pub fn agree(&self, doc: &str) -> Result<(), String> {
        let doc: Value = serde_json::from_str(doc).unwrap();
        let number = |v: &Value| v.as_u64().unwrap_or(0);
        let fill = &doc["fill"];
        let said = [
            number(&doc["standing"]),
            number(&fill["things"]),
            number(&fill["counted"]),
            number(&fill["room"]),
        ];
        let expected = [self.standing, self.things, self.counted, self.room].map(u64::from);
        must!(said == expected, "{said:?} stand there for {expected:?}");
        must!(
            doc["capacity"] == json!(self.capacity),
            "takes {} for {:?}",
            doc["capacity"],
            self.capacity
        );
        must!(
            doc["two_person"].is_object() == self.two_person,
            "for two: {}",
            doc["two_person"]
        );
        Ok(())
    }
}

impl Shadow {
    /// A place and those around it.
    fn around(&self, place: usize) -> impl Iterator<Item = usize> + '_ {
        successors(Some(place), |p| self.places[*p].within)
    }

    pub fn for_two(&self, place: usize) -> bool {
        self.around(place).any(|p| self.places[p].two_person)
    }

    /// Counted from where each thing is.
    pub fn figures(&self) -> Vec<Figures> {
        let mut all: Vec<Figures> = self
            .places
            .iter()
            .map(|p| Figures {
                capacity: p.capacity,
                two_person: p.two_person,
                ..Figures::default()
            })
            .collect();
        for t in &self.things {
            if let (None, Has::Place(p)) = (t.inside, t.has) {
                all[p].standing += 1;
            }
        }
        for place in 0..all.len() {
            let own = all[place];
            for outer in self.around(place) {
                let sum = &mut all[outer];
                sum.things += own.standing;
                if let Some(capacity) = own.capacity {
                    sum.counted += own.standing;
                    sum.room += capacity;
                }
            }
        }
        all
    }

    pub(super) fn placed(&mut self, id: PlaceId, x: &AddPlace) -> Result<(), String> {
        must!(
            self.places.iter().all(|p| p.name != x.name),
            "a place's name twice"
        );
        let within = x.parent.map(|p| self.place(p));
        self.places.push(Place {
            id,
            code: code_of(Subject::Place(id)),
            name: x.name.clone(),
            within,
            capacity: None,
            two_person: false,
        });
        Ok(())
    }

    pub(super) fn set_capacity(&mut self, who: usize, x: &SetCapacity) -> Result<(), String> {
        must!(self.is(who, Role::Custodian), "a capacity by no custodian");
        must!(x.capacity != Some(0), "a place that takes nothing");
        let place = self.place(x.place);
        must!(
            self.places[place].capacity != x.capacity,
            "a capacity said twice"
        );
        self.places[place].capacity = x.capacity;
        Ok(())
    }

    pub(super) fn mark_two_person(&mut self, who: usize, x: &MarkTwoPerson) -> Result<(), String> {
        must!(
            self.is(who, Role::Supervisor),
            "marked for two by no supervisor"
        );
        let place = self.place(x.place);
        must!(
            self.places[place].two_person != x.two_person,
            "marked for two twice"
        );
        self.places[place].two_person = x.two_person;
        Ok(())
    }

    /// One thing more finds room.
    pub(super) fn room_for_one(&self, place: usize) -> Result<(), String> {
        let stands = |t: &&super::Thing| t.inside.is_none() && t.has == Has::Place(place);
        let Some(capacity) = self.places[place].capacity else {
            return Ok(());
        };
        let standing = self.things.iter().filter(stands).count();
        must!(
            standing < capacity as usize,
            "put where {standing} of {capacity} stand"
        );
        Ok(())
    }

    /// Where two are needed there were two; and whoever signs beside somebody may.
    pub(super) fn second(
        &self,
        (who, beside): (usize, Option<usize>),
        places: &[usize],
        case: usize,
    ) -> Result<(), String> {
        let Some(other) = beside else {
            must!(
                !places.iter().any(|p| self.for_two(*p)),
                "one alone in a place for two"
            );
            return Ok(());
        };
        must!(other != who, "one person signed as two");
        must!(
            self.people[other].active,
            "beside them one whose account is off"
        );
        must!(
            self.is(other, Role::Custodian) || self.is(other, Role::Supervisor),
            "beside them one who may not"
        );
        must!(self.sees(other, case), "beside them one who may not see it");
        Ok(())
    }

    /// The same for a thing where it stands.
    pub(super) fn second_at(
        &self,
        thing: usize,
        signed: (usize, Option<usize>),
    ) -> Result<(), String> {
        let t = &self.things[thing];
        match t.has {
            Has::Place(place) => self.second(signed, &[place], t.case),
            _ => self.second(signed, &[], t.case),
        }
    }
}
