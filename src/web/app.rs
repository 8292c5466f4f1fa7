//! What every handler has at hand.

use std::sync::Arc;

use chrono::{DateTime, Utc};

use crate::app::house::House;
use crate::clock::{Clock, SystemClock};

/// What every handler has at hand; cheap to clone.
#[derive(Clone)]
pub struct App {
    house: Arc<House>,
    clock: Arc<dyn Clock>,
    secure: bool,
    least_free: u64,
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
        }
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
