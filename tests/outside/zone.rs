//! The agency's zone held against Python's zoneinfo, which reads the zone files of the system (IANA's database as Debian's
//! package tzdata has it; PostgreSQL's package brings it).

use chrono::{MappedLocalTime, NaiveDateTime};
use liftledger::zone::Zone;

use crate::libraries::ask;

/// Half an hour's and an hour's steps, at 1, 2 and at midnight, north and south, whole offsets and others, and none.
const ZONES: [&str; 14] = [
    "Africa/Cairo",
    "America/Chicago",
    "America/New_York",
    "America/Santiago",
    "America/St_Johns",
    "Asia/Kathmandu",
    "Asia/Kolkata",
    "Asia/Tokyo",
    "Australia/Lord_Howe",
    "Australia/Sydney",
    "Europe/London",
    "Europe/Oslo",
    "Pacific/Chatham",
    "UTC",
];

/// Each quarter of an hour that a clock may show in 2024 and the offsets that it may have had; on one line each.
const SCRIPT: &str = "
import sys, zoneinfo
from datetime import datetime, timedelta, timezone
for name in sys.stdin.read().split():
    zone = zoneinfo.ZoneInfo(name)
    at = datetime(2024, 1, 1)
    while at.year == 2024:
        meant = set()
        for fold in (0, 1):
            there = at.replace(tzinfo=zone, fold=fold)
            back = there.astimezone(timezone.utc).astimezone(zone).replace(tzinfo=None)
            if back == at:
                meant.add(int(there.utcoffset().total_seconds()))
        print(name, at.isoformat(), *sorted(meant, reverse=True))
        at += timedelta(minutes=15)
";

#[test]
fn what_a_clock_showed_means_what_another_library_says() {
    let said = ask(SCRIPT, ZONES.join(" ").as_bytes());
    let said = String::from_utf8(said).unwrap();
    let (mut lines, mut twice, mut never) = (0, 0, 0);
    for line in said.lines() {
        let mut words = line.split(' ');
        let zone: Zone = words.next().unwrap().parse().unwrap();
        let clock: NaiveDateTime = words.next().unwrap().parse().unwrap();
        let offsets: Vec<i32> = words.map(|w| w.parse().unwrap()).collect();
        let ours = match zone.of_clock(clock) {
            MappedLocalTime::None => vec![],
            MappedLocalTime::Single(at) => vec![at],
            MappedLocalTime::Ambiguous(first, second) => vec![first, second],
        };
        let told: Vec<i32> = ours
            .iter()
            .map(|at| at.offset().local_minus_utc())
            .collect();
        assert_eq!(told, offsets, "{line}");
        // And the moment is shown as that clock showed it.
        for at in &ours {
            assert_eq!(at.with_timezone(&zone).naive_local(), clock, "{line}");
        }
        lines += 1;
        twice += usize::from(ours.len() == 2);
        never += usize::from(ours.is_empty());
    }
    // 366 days of 96 quarters; ten zones set their clocks back and forward, one of them by half an hour.
    assert_eq!(lines, ZONES.len() * 366 * 96);
    assert_eq!((twice, never), (9 * 4 + 2, 9 * 4 + 2));
}
