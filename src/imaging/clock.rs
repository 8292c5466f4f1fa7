//! A camera's clock held against the time that somebody states.

use chrono::{DateTime, Duration, FixedOffset, TimeZone as _};

use super::metadata::Captured;

/// How far a camera's clock may be from the time stated before it is flagged. Our assumption, no source.
pub const TOLERANCE: Duration = Duration::minutes(15);
/// The farthest that the zone of a camera's clock can be from that of the server.
const ANY_ZONE: Duration = Duration::hours(14);

/// What a capture time is held against.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Against {
    /// The time at which the picture was taken, as somebody states it.
    Stated(DateTime<FixedOffset>),
    /// The time of entry, where nobody stated any: a picture may be so much older.
    Entered(DateTime<FixedOffset>, Duration),
}

/// How long something is, to the minute or, beyond two days, to the hour.
fn long(d: Duration) -> String {
    let minutes = d.abs().num_minutes();
    match (minutes / 60, minutes % 60) {
        (0, m) => format!("{m} min"),
        (h, m) if h < 48 => format!("{h} h {m} min"),
        (h, _) => format!("{} days {} h", h / 24, h % 24),
    }
}

/// What is to be looked into, in a sentence without its full stop; none where the clock fits.
#[must_use]
pub fn note(captured: Captured, against: Against) -> Option<String> {
    let (at, older, slack, what) = match against {
        Against::Stated(at) => (at, TOLERANCE, Duration::zero(), "the time stated"),
        Against::Entered(at, older) => (at, older + TOLERANCE, ANY_ZONE, "it was entered"),
    };
    let (captured, slack) = match captured {
        Captured::At(captured) => (captured, Duration::zero()),
        // As if the camera's clock showed the zone in which the time is stated.
        Captured::Clock(clock) => (at.offset().from_local_datetime(&clock).single()?, slack),
    };
    let after = captured - at;
    if after <= TOLERANCE + slack && after >= -(older + slack) {
        return None;
    }
    let direction = if after > Duration::zero() {
        "after"
    } else {
        "before"
    };
    Some(format!(
        "The camera's clock says {} {direction} {what}",
        long(after)
    ))
}
