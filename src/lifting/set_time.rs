//! Setting time: whether what was laid on was taken off in its window.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::medium::{Medium, SetFigure, SetWindow};

/// How a setting time stands to its window.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SetVerdict {
    /// The medium has no window.
    NoWindow,
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

/// Checks the time between laying on and taking off.
#[must_use]
pub fn check(
    medium: &Medium,
    start: DateTime<FixedOffset>,
    end: DateTime<FixedOffset>,
) -> SetCheck {
    let took = end.signed_duration_since(start);
    let seconds = took.num_seconds();
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
    let Some(window) = &medium.set else {
        return answer(
            SetVerdict::NoWindow,
            false,
            format!("{name} has no setting time to keep."),
        );
    };
    if let Some(earliest) = window.earliest
        && seconds < i64::from(earliest) * 60
    {
        return answer(
            SetVerdict::TooEarly,
            true,
            format!(
                "{name} was taken off after {minutes} min, before the {} that it needs to set{}. {} Look at its edges and note how it came away.",
                figure(earliest),
                ours(window, SetFigure::Earliest),
                window.note
            ),
        );
    }
    if let Some(limit) = window.limit
        && seconds > i64::from(limit) * 60
    {
        return answer(
            SetVerdict::TooLong,
            true,
            format!(
                "{name} was left on for {minutes} min, longer than {}{}. {} Note how it came away and what it left behind.",
                figure(limit),
                ours(window, SetFigure::Limit),
                window.note
            ),
        );
    }
    let usual = window.usual.map_or_else(String::new, |u| {
        format!(
            " The usual time is about {}{}.",
            figure(u),
            ours(window, SetFigure::Usual)
        )
    });
    answer(
        SetVerdict::InTime,
        false,
        format!("{name} was on for {minutes} min.{usual} {}", window.note),
    )
}

fn figure(minutes: u32) -> String {
    if minutes >= 120 && minutes.is_multiple_of(60) {
        format!("{} h", minutes / 60)
    } else {
        format!("{minutes} min")
    }
}

fn ours(window: &SetWindow, which: SetFigure) -> &'static str {
    if window.assumed.contains(&which) {
        " (our assumption)"
    } else {
        ""
    }
}
