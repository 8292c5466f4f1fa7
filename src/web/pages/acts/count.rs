//! Forms of counts: begin, scan, end, resolve a difference.

use serde_json::{Map, Value};

use super::choices::places;
use super::{Sheet, wrong};
use crate::app::Reader;
use crate::app::views::count_file::{self, CountFile, outcome_words};
use crate::app::views::words;
use crate::custody::count::{MAX_BATCH, MAX_PLACES, Outcome};
use crate::custody::state::Place;
use crate::ids::{CountId, PlaceId};
use crate::people::Action;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};
use crate::web::frame::Link;

fn begin_fields(fields: &mut Map<String, Value>) {
    fields.remove("place");
    fields.remove("below");
}

/// A place and everything in it, the place first.
fn with_below(all: &[Place], place: PlaceId) -> Vec<PlaceId> {
    let mut out = vec![place];
    let mut at = 0;
    while at < out.len() && out.len() <= MAX_PLACES {
        let inner = all
            .iter()
            .filter(|p| p.added.parent == Some(out[at]) && !out.contains(&p.id))
            .map(|p| p.id)
            .collect::<Vec<_>>();
        out.extend(inner);
        at += 1;
    }
    out
}

/// Begin a count; `place` says where.
pub(super) async fn begin(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::Keep)?;
    let all = places(reader).await?;
    let choices = all
        .iter()
        .map(|p| {
            let kind = words::place_kind(p.added.place_kind);
            Choice::new(p.id.to_string(), format!("{} ({kind})", p.added.name))
        })
        .collect();
    let mut sheet = Sheet {
        title: "Begin a count".into(),
        thing: "a count in the storeroom".into(),
        intro: "What the record says stands there is fixed at this moment, and not shown until the count is ended.".into(),
        inputs: vec![
            Input::new("place", "Which place", Kind::One(choices)),
            Input::new("below", "And every place in it", Kind::Yes),
            Input::new("sample.missing", "A sample: to show one, if so many were missing", Kind::Whole)
                .hint("Leave both empty to count everything. A sample names what is to be looked for.")
                .optional(),
            Input::line("sample.confidence", "With this confidence")
                .hint("Such as 0.95 or 95%.")
                .optional(),
        ],
        submit: "Begin the count".into(),
        crumbs: vec![Link::new("/counts", "Counts")],
        done: "/counts".into(),
        arrange: Some(begin_fields),
        ..Sheet::default()
    };
    if let Ok(place) = typed.read::<PlaceId>("place") {
        let named = if typed.get("below") == "yes" {
            with_below(&all, place)
        } else {
            vec![place]
        };
        let list = named.iter().map(|p| Value::String(p.to_string())).collect();
        sheet.known.push(("places".into(), Value::Array(list)));
    } else if typed.has("sent") {
        sheet.wrong = Some(wrong(
            "bad-value",
            "No place is given.",
            "Choose a place.",
            "place",
        ));
    }
    let empty = |name| typed.get(name).trim().is_empty();
    if empty("sample.missing") != empty("sample.confidence") {
        let field = if empty("sample.missing") {
            "sample.missing"
        } else {
            "sample.confidence"
        };
        sheet.wrong = Some(wrong(
            "bad-value",
            "How many missing, and how sure, belong together.",
            "Fill in both for a sample, or leave both empty.",
            field,
        ));
    }
    Ok(sheet)
}

fn about(file: &CountFile, title: &str, submit: &str) -> Sheet {
    let names: Vec<&str> = file.places.iter().map(|p| p.name.as_str()).collect();
    Sheet {
        title: title.to_owned(),
        thing: format!("the count of {}", file.name),
        facts: vec![
            ("Places".into(), names.join(", ")),
            (
                "Begun".into(),
                format!("{} by {}", file.begun, file.begun_by),
            ),
        ],
        inputs: vec![Input::hidden("count", file.id.to_string())],
        submit: submit.to_owned(),
        crumbs: vec![
            Link::new("/counts", "Counts"),
            Link::new(
                format!("/counts/{}", file.id),
                format!("Count of {}", file.name),
            ),
        ],
        done: format!("/counts/{}", file.id),
        ..Sheet::default()
    }
}

/// One text a line; what is empty is left out.
fn by_line(fields: &mut Map<String, Value>) {
    if let Some(Value::String(text)) = fields.get("codes") {
        let lines = text
            .lines()
            .map(str::trim)
            .filter(|l| !l.is_empty())
            .map(|l| Value::String(l.to_owned()))
            .collect();
        fields.insert("codes".into(), Value::Array(lines));
    }
}

/// Scan codes into a count.
pub(super) async fn scan(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::Keep)?;
    let file = count_file::load(reader, typed.read::<CountId>("count")?).await?;
    let mut sheet = about(
        &file,
        &format!("Scan into the count of {}", file.name),
        "Record what was scanned",
    );
    sheet
        .inputs
        .push(Input::lines("codes", "Codes, one a line").hint(format!(
            "A scanner that types ends each line by itself. At most {MAX_BATCH} at a time."
        )));
    sheet.arrange = Some(by_line);
    Ok(sheet)
}

/// End a count.
pub(super) async fn end(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::Keep)?;
    let file = count_file::load(reader, typed.read::<CountId>("count")?).await?;
    let mut sheet = about(
        &file,
        &format!("End the count of {}", file.name),
        "End the count",
    );
    sheet.intro = "What was seen is held against the record. What differs goes on the record, one event each, and is resolved \
                   by somebody who did not count. Nothing more can be scanned afterwards."
        .into();
    sheet
        .facts
        .push(("Seen".into(), words::counted(file.seen, "thing")));
    let misread = file
        .odd
        .iter()
        .filter(|o| o.why == crate::custody::count::Odd::Misread)
        .count();
    if misread > 0 {
        sheet.facts.push((
            "Misread".into(),
            format!(
                "{}; where one was not scanned again, its thing will be missing",
                words::counted(misread, "label")
            ),
        ));
    }
    Ok(sheet)
}

/// Resolve a difference.
pub(super) async fn resolve(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::ResolveCount)?;
    let file = count_file::load(reader, typed.read::<CountId>("count")?).await?;
    let number: u32 = typed.read("number")?;
    let mut sheet = about(
        &file,
        &format!("Resolve difference {number} of {}", file.name),
        "Put it on the record",
    );
    if let Some(d) = file.differences.iter().find(|d| d.number == number) {
        sheet.facts.push((
            "Difference".into(),
            format!("{} ({}): {}", d.name, d.label, d.kind_words),
        ));
        if !d.on_record.is_empty() {
            sheet
                .facts
                .push(("By the record".into(), d.on_record.clone()));
        }
    }
    sheet.intro = "Resolving says what came of it; it moves nothing. What has to be stored, received or taken charge of is done \
                   by its own act."
        .into();
    let outcomes = [
        (Outcome::FoundInPlace, "found-in-place"),
        (Outcome::SetRight, "set-right"),
        (Outcome::NotOurs, "not-ours"),
        (Outcome::NotFound, "not-found"),
        (Outcome::Miscounted, "miscounted"),
    ]
    .map(|(outcome, word)| Choice::new(word, words::capital(outcome_words(outcome))))
    .to_vec();
    sheet
        .inputs
        .push(Input::hidden("number", number.to_string()));
    sheet.inputs.push(Input::new(
        "outcome",
        "What came of it",
        Kind::One(outcomes),
    ));
    sheet
        .inputs
        .push(Input::lines("reason", "How that is known"));
    sheet.known.push(("number".into(), Value::from(number)));
    Ok(sheet)
}
