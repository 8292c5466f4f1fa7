//! Clocks.

use chrono::{TimeDelta, TimeZone, Timelike, Utc};
use liftledger::clock::{Clock, SystemClock, TestClock, whole_microseconds};

#[test]
fn times_are_whole_microseconds() {
    assert_eq!(SystemClock.now().nanosecond() % 1000, 0);
    let at = Utc.timestamp_opt(1_700_000_000, 999_999_999).unwrap();
    assert_eq!(
        whole_microseconds(at),
        Utc.timestamp_opt(1_700_000_000, 999_999_000).unwrap()
    );
}

#[test]
fn a_test_clock_stands_still_until_it_is_moved() {
    let at = Utc.with_ymd_and_hms(2026, 3, 14, 8, 0, 0).unwrap();
    let clock = TestClock::at(at);
    assert_eq!((clock.now(), clock.now()), (at, at));
    assert_eq!(
        clock.advance(TimeDelta::minutes(5)),
        at + TimeDelta::minutes(5)
    );
    clock.set(at);
    assert_eq!(clock.now(), at);
}
