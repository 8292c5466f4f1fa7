//! Time, as the server observes it.
//!
//! Always in UTC and whole microseconds: databases disagree about what comes below, and a time that changes on its way
//! through one would change a digest.

use std::sync::atomic::{AtomicI64, Ordering};

use chrono::{DateTime, SubsecRound as _, TimeDelta, Utc};

/// Where the time comes from.
pub trait Clock: Send + Sync {
    /// Now, in whole microseconds.
    fn now(&self) -> DateTime<Utc>;
}

/// Cuts a time to whole microseconds; never rounds up, so that nothing comes to lie in the future.
#[must_use]
pub fn whole_microseconds(at: DateTime<Utc>) -> DateTime<Utc> {
    at.trunc_subsecs(6)
}

/// The machine's clock.
#[derive(Clone, Copy, Debug, Default)]
pub struct SystemClock;

impl Clock for SystemClock {
    fn now(&self) -> DateTime<Utc> {
        whole_microseconds(Utc::now())
    }
}

/// A clock that stands still until it is moved: for tests and for telling an invented story.
#[derive(Debug)]
pub struct TestClock {
    microseconds: AtomicI64,
}

impl TestClock {
    /// A clock that stands at `at`.
    #[must_use]
    pub fn at(at: DateTime<Utc>) -> Self {
        Self {
            microseconds: AtomicI64::new(at.timestamp_micros()),
        }
    }

    /// Sets the clock.
    pub fn set(&self, at: DateTime<Utc>) {
        self.microseconds
            .store(at.timestamp_micros(), Ordering::SeqCst);
    }

    /// Moves the clock on (or back, for a clock that was set wrong) and returns the new time.
    pub fn advance(&self, by: TimeDelta) -> DateTime<Utc> {
        let step = by.num_microseconds().unwrap_or(0);
        self.microseconds.fetch_add(step, Ordering::SeqCst);
        self.now()
    }
}

impl Clock for TestClock {
    fn now(&self) -> DateTime<Utc> {
        // In range: it was made from a time, and moved by amounts a test chose.
        DateTime::from_timestamp_micros(self.microseconds.load(Ordering::SeqCst))
            .unwrap_or(DateTime::<Utc>::MAX_UTC)
    }
}
