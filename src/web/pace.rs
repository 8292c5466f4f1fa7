//! How often somebody may ask for the same thing: so many at once, so many a second.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

use chrono::{DateTime, Utc};

use crate::ids::PersonId;

/// So many are answered at once.
const BURST: i64 = 30;
/// And one more after each of so many milliseconds. Our assumptions, no source: faster than anybody types.
const EACH_MS: i64 = 100;
/// So many people are remembered; beyond that those who asked nothing lately are forgotten first.
const PEOPLE: usize = 4_096;

/// Remembers, for each person, when what they asked would have been answered one by one.
#[derive(Debug, Default)]
pub struct Pace {
    until: Mutex<HashMap<PersonId, DateTime<Utc>>>,
}

impl Pace {
    /// Whether this person may ask now; counts as asked where they may.
    #[must_use]
    pub fn may(&self, person: PersonId, now: DateTime<Utc>) -> bool {
        let mut until = self.until.lock().unwrap_or_else(PoisonError::into_inner);
        if until.len() >= PEOPLE && !until.contains_key(&person) {
            until.retain(|_, at| *at > now);
            if until.len() >= PEOPLE {
                return false;
            }
        }
        let at = until.get(&person).copied().unwrap_or(now);
        let most = now + chrono::TimeDelta::milliseconds(BURST * EACH_MS);
        // A clock that was set back must keep nobody waiting.
        let at = if at > most { now } else { at.max(now) };
        let next = at + chrono::TimeDelta::milliseconds(EACH_MS);
        if next > most {
            return false;
        }
        until.insert(person, next);
        true
    }
}
