//! The times of a recovery beside the time of its mark.

use chrono::{Duration, FixedOffset};
use liftledger::custody::Act;

use super::yard::{Yard, recover};

/// A mark is often noted when its lift lies in the tray, also when that is on the next day of the calendar, here or there.
#[test]
fn a_mark_may_be_noted_after_its_recovery() {
    for hours_east in [-12, 0, 14] {
        let mut y = Yard::new();
        let (tech, mark) = (y.people.tech, y.things.mark);
        let zone = FixedOffset::east_opt(hours_east * 3600).unwrap();
        let noted = y.stage.state.marks[&mark].noted_at.with_timezone(&zone);
        let mut act = recover(mark, "lifting-tape", y.now);
        act.started_at = noted - Duration::hours(24) - Duration::seconds(1);
        assert_eq!(y.refused(tech, Act::Recover(act.clone())), "bad-value");
        act.started_at = noted - Duration::hours(24);
        assert_ne!(act.started_at.date_naive(), noted.date_naive());
        y.act(tech, Act::Recover(act)).unwrap();
    }
}
