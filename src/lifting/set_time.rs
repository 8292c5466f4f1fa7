//! Setting time: whether what was laid on was taken off in its window.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::medium::Medium;
use super::set_window::Window;

/// How a setting time stands to its window.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SetVerdict {
    /// The medium has no window.
    NoWindow,
    /// There are figures, but none for what was this cold, warm, thin or thick.
    NotKnown,
    /// Within the window.
    InTime,
    /// Taken off before it can have set.
    TooEarly,
    /// Left on longer than it should be.
    TooLong,
    /// The end lies before the start.
    Backwards,
}

/// The answer to a check. Nothing is refused on it: the lift is what it is, and the record says so.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct SetCheck {
    /// How it stands.
    pub verdict: SetVerdict,
    /// True where the person should be warned; otherwise it is a note.
    pub warning: bool,
    /// Whole minutes between the two times, rounded down; negative when they run backwards.
    pub minutes: i64,
    /// The answer in words, with "our assumption" where the figure is ours.
    pub sentence: String,
}

/// Checks the time between laying on and taking off against the medium's window, if it has one.
#[must_use]
pub fn check(
    medium: &Medium,
    window: Option<&Window>,
    start: DateTime<FixedOffset>,
    end: DateTime<FixedOffset>,
) -> SetCheck {
    let seconds = end.signed_duration_since(start).num_seconds();
    let minutes = seconds.div_euclid(60);
    let name = &medium.name;
    let answer = |verdict, warning, sentence| SetCheck {
        verdict,
        warning,
        minutes,
        sentence,
    };
    if seconds < 0 {
        return answer(
            SetVerdict::Backwards,
            true,
            format!(
                "The time at which {name} was taken off lies before the time it was laid on. Check both times."
            ),
        );
    }
    let Some(window) = window else {
        return answer(
            SetVerdict::NoWindow,
            false,
            format!("{name} has no setting time to keep."),
        );
    };
    let mut more = window.how.clone();
    more.push(window.note.clone());
    let more = more.join(" ");
    if window.unknown {
        return answer(
            SetVerdict::NotKnown,
            true,
            format!("{name} was on for {minutes} min. {more}"),
        );
    }
    if let Some(earliest) = window.earliest
        && seconds < i64::from(earliest.seconds)
    {
        return answer(
            SetVerdict::TooEarly,
            true,
            format!(
                "{name} was taken off after {minutes} min, before the {} that it needs to set. {more} Look at its edges and note how it came away.",
                earliest.words()
            ),
        );
    }
    if let Some(limit) = window.limit
        && seconds > i64::from(limit.seconds)
    {
        return answer(
            SetVerdict::TooLong,
            true,
            format!(
                "{name} was left on for {minutes} min, longer than {}. {more} Note how it came away and what it left behind.",
                limit.words()
            ),
        );
    }
    let usual = window.usual.map_or_else(String::new, |u| {
        format!(" The usual time is about {}.", u.words())
    });
    answer(
        SetVerdict::InTime,
        false,
        format!("{name} was on for {minutes} min.{usual} {more}"),
    )
}
