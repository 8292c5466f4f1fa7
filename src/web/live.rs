//! Streams that keep a page up to date: how many there may be, and how often they look.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use crate::ids::PersonId;

/// How many streams a server has at the most.
pub const IN_ALL: usize = 256;
/// How many of one person: a browser has six connections to a server, and a stream takes one of them. Our assumptions, no
/// source; who gets no stream asks every few seconds instead.
pub const OF_ONE: usize = 4;

/// The times between what a stream does.
#[derive(Clone, Copy, Debug)]
pub struct Pace {
    /// Between two looks, however fast the ledger grows.
    pub look: Duration,
    /// Between two signs of life. At each, too, whether the session still lasts.
    pub beat: Duration,
    /// Between two looks when nothing grows: what is due becomes overdue by itself.
    pub rest: Duration,
}

impl Default for Pace {
    fn default() -> Self {
        Self {
            look: Duration::from_secs(2),
            beat: Duration::from_secs(15),
            rest: Duration::from_secs(60),
        }
    }
}

/// The streams that are open, by person.
#[derive(Debug, Default)]
pub struct Streams(Mutex<HashMap<PersonId, usize>>);

impl Streams {
    /// A place for one more; none where there are enough.
    #[must_use]
    pub fn take(self: &Arc<Self>, person: PersonId) -> Option<Seat> {
        // Nothing is left half done while it is held.
        let mut open = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if open.values().sum::<usize>() >= IN_ALL {
            return None;
        }
        let mine = open.entry(person).or_insert(0);
        if *mine >= OF_ONE {
            return None;
        }
        *mine += 1;
        Some(Seat {
            streams: self.clone(),
            person,
        })
    }

    /// How many are open.
    #[must_use]
    pub fn open(&self) -> usize {
        let open = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        open.values().sum()
    }
}

/// The place of one stream, given back when it is dropped.
#[derive(Debug)]
pub struct Seat {
    streams: Arc<Streams>,
    person: PersonId,
}

impl Drop for Seat {
    fn drop(&mut self) {
        let mut open = self
            .streams
            .0
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        if let Some(mine) = open.get_mut(&self.person) {
            *mine = mine.saturating_sub(1);
            if *mine == 0 {
                open.remove(&self.person);
            }
        }
    }
}
