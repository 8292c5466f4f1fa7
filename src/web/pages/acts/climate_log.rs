//! The form of a climate log: the readings of a place's logger, pasted as CSV.

use super::Sheet;
use crate::app::Reader;
use crate::app::views::words;
use crate::custody::climate_log::MAX_READINGS;
use crate::people::Action;
use crate::web::error::Failure;
use crate::web::form::{Input, Kind, Typed};
use crate::web::frame::Link;

/// Put the readings of a place's logger on the record.
pub(super) async fn log(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::Keep)?;
    let place = reader.place(typed.read("place")?).await?;
    let zone = reader.house().zone().await?;
    let offset = *chrono::Utc::now().with_timezone(&zone).offset();
    let page = format!("/places/{}", place.id);
    let climate = reader.house().rules.climate(&place.added.climate);
    let mut facts = vec![
        ("Place".to_owned(), place.added.name.clone()),
        (
            "Its class".into(),
            climate.map_or_else(
                || place.added.climate.clone(),
                |c| format!("{}: {}", c.name, c.description),
            ),
        ),
    ];
    if let Some(log) = &place.climate_log {
        facts.push((
            "Last reading on record".into(),
            words::minute(&log.last.at, zone),
        ));
    }
    let known = place.climate_log.as_ref().map(|l| l.logger.clone());
    let mut logger = Input::line("logger", "Which logger")
        .hint("Its number, and when it was last calibrated if that is known.");
    if let Some(known) = known {
        logger = logger.value(known);
    }
    let table = format!(
        "First line: time,temperature_c,humidity (or temperature_f; humidity may be missing). Then one reading a line, in order of time, at most {MAX_READINGS}. Rows that are on record already are left out."
    );
    Ok(Sheet {
        title: format!("Log the climate of {}", place.added.name),
        intro: "The readings hold for this place and for everything in it that has no logger of its own. Whatever stood there while they were outside the class bears a finding.".into(),
        thing: format!("the climate of {}", place.added.name),
        facts,
        inputs: vec![
            Input::hidden("place", place.id.to_string()),
            logger,
            Input::line("offset", "Times without an offset are in")
                .hint("From UTC: +01:00, as the logger's own clock goes, which is seldom set forward in spring. Leave it empty where every time bears its own.")
                .value(offset.to_string())
                .optional(),
            Input::new("csv", "Readings as CSV", Kind::Table).hint(table),
        ],
        crumbs: vec![
            Link::new("/places", "Places"),
            Link::new(page.clone(), place.added.name.clone()),
        ],
        done: format!("{page}#climate"),
        submit: "Put the readings on the record".into(),
        ..Sheet::default()
    })
}
