//! What every handler has at hand.

use std::sync::Arc;

use chrono::{DateTime, Utc};

use tokio::sync::{Semaphore, watch};

use super::live::{self, Streams};
use super::pace::Pace;
use super::turn;
use crate::app::house::House;
use crate::app::import::sent::SentFiles;
use crate::clock::{Clock, SystemClock};

/// What every handler has at hand; cheap to clone.
#[derive(Clone)]
pub struct App {
    house: Arc<House>,
    clock: Arc<dyn Clock>,
    secure: bool,
    least_free: u64,
    typing: Arc<Pace>,
    streams: Arc<Streams>,
    sent_files: Arc<SentFiles>,
    pace: live::Pace,
    turns: Arc<Semaphore>,
    stopping: watch::Receiver<bool>,
}

impl App {
    /// Over a house. `secure` says that browsers reach this server by https only, so that the cookie is never sent
    /// without it.
    #[must_use]
    pub fn new(house: Arc<House>, secure: bool) -> Self {
        Self::with_clock(house, secure, Arc::new(SystemClock))
    }

    /// With another clock, for tests of limits in time.
    #[must_use]
    pub fn with_clock(house: Arc<House>, secure: bool, clock: Arc<dyn Clock>) -> Self {
        Self {
            house,
            clock,
            secure,
            least_free: 0,
            typing: Arc::default(),
            streams: Arc::default(),
            sent_files: Arc::default(),
            pace: live::Pace::default(),
            turns: turn::turns(),
            // Without its sender it never changes: nobody stops this server but whoever ends the process.
            stopping: watch::channel(false).1,
        }
    }

    /// That hears here when the server stops.
    #[must_use]
    pub fn with_stop(mut self, stopping: watch::Receiver<bool>) -> Self {
        self.stopping = stopping;
        self
    }

    /// With other times between what streams do, for tests.
    #[must_use]
    pub fn with_pace(mut self, pace: live::Pace) -> Self {
        self.pace = pace;
        self
    }

    /// The turns of what only reads; see [`turn`].
    #[must_use]
    pub fn turns(&self) -> &Arc<Semaphore> {
        &self.turns
    }

    /// The streams that are open.
    #[must_use]
    pub fn streams(&self) -> &Arc<Streams> {
        &self.streams
    }

    /// The times between what streams do.
    #[must_use]
    pub fn pace(&self) -> live::Pace {
        self.pace
    }

    /// Becomes true when the server stops.
    #[must_use]
    pub fn stopping(&self) -> watch::Receiver<bool> {
        self.stopping.clone()
    }

    /// With a least free room for originals, in bytes, under which the server is not ready.
    #[must_use]
    pub fn with_least_free(mut self, bytes: u64) -> Self {
        self.least_free = bytes;
        self
    }

    /// Under so much free room for originals, in bytes, the server is not ready.
    #[must_use]
    pub fn least_free(&self) -> u64 {
        self.least_free
    }

    /// How often people may ask while they type.
    #[must_use]
    pub fn typing(&self) -> &Pace {
        &self.typing
    }

    /// The files of existing rooms that were sent.
    #[must_use]
    pub fn sent_files(&self) -> &SentFiles {
        &self.sent_files
    }

    /// The house, for work that goes on behind an answer; whoever has it gives it back when the server stops.
    #[must_use]
    pub fn shared_house(&self) -> Arc<House> {
        self.house.clone()
    }

    /// The house.
    #[must_use]
    pub fn house(&self) -> &House {
        &self.house
    }

    /// The server's clock.
    #[must_use]
    pub fn now(&self) -> DateTime<Utc> {
        self.clock.now()
    }

    /// Whether browsers reach this server by https only.
    #[must_use]
    pub fn secure(&self) -> bool {
        self.secure
    }
}
