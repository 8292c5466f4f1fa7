//! The form of an answer to a finding.

use axum::http::StatusCode;
use serde_json::{Map, Value};

use super::{Sheet, address, case};
use crate::app::Reader;
use crate::app::views::told::told;
use crate::custody::finding::FindingKey;
use crate::ids::{Piece, Subject};
use crate::people::Action;
use crate::web::error::Failure;
use crate::web::form::{Input, Kind, Typed};
use crate::web::frame::Link;

/// Where the form was opened from is no field of the command.
fn shape(fields: &mut Map<String, Value>) {
    fields.remove("from");
}

fn none_such() -> Failure {
    Failure::new(
        StatusCode::CONFLICT,
        "no-such-finding",
        "There is no such finding now.",
        "Open the page of the thing and answer a finding that stands there.",
    )
}

/// The piece from whose page a subject's findings are told, and how the subject is called.
async fn piece_of(reader: &Reader<'_>, of: Subject) -> Result<(Piece, String), Failure> {
    Ok(match of {
        Subject::Item(id) => (
            Piece::Item(id),
            format!("item {}", reader.item(id).await?.number),
        ),
        Subject::Package(id) => (
            Piece::Package(id),
            format!("package P{}", reader.package(id).await?.number),
        ),
        Subject::Mark(id) => {
            let mark = reader.mark(id).await?;
            let item = mark.items.first().ok_or_else(none_such)?;
            (Piece::Item(*item), format!("mark M{}", mark.number))
        }
        _ => return Err(none_such()),
    })
}

/// Answer a finding. Opened with its key, and with where to go back to: the case, or the thing itself.
pub(super) async fn answer(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::AnswerFindings)?;
    let key: FindingKey = typed.read("finding")?;
    let (piece, name) = piece_of(reader, key.of).await?;
    let case = reader.case(reader.thing(piece).await?.case()).await?;
    let told = told(reader, piece).await?;
    let finding = told
        .findings
        .into_iter()
        .find(|f| f.key == key)
        .ok_or_else(none_such)?;
    let page = address(key.of).unwrap_or_else(|| "/".into());
    let events: Vec<String> = finding.events.iter().map(ToString::to_string).collect();
    let mut facts = vec![
        ("Case".into(), format!("{}, {}", case.number, case.title)),
        ("Of".into(), name.clone()),
        (
            "Finding".into(),
            format!(
                "{} ({}): {}",
                finding.title,
                finding.severity.word(),
                finding.sentence
            ),
        ),
        ("Rests on".into(), format!("event {}", events.join(", "))),
        ("What would answer it".into(), finding.would_answer),
    ];
    if let Some(said) = finding.answer {
        facts.push((
            "Answered until now".into(),
            format!("{} ({})", said.text, said.line),
        ));
    }
    let from = typed.get("from");
    let done = match from {
        "ready" => format!("/cases/{}/ready", case.id),
        "case" => format!("/cases/{}", case.id),
        // The page of the thing from which it was opened: a package's finding is answered from the page of a cast in it, too.
        _ => from
            .parse::<Piece>()
            .ok()
            .and_then(|p| address(p.into()))
            .unwrap_or_else(|| page.clone()),
    };
    let mut crumbs = case::crumbs(&case);
    crumbs.push(Link::new(page, name.clone()));
    Ok(Sheet {
        title: format!("Answer a finding of {name}"),
        thing: format!("a finding of {name} of case {}", case.number),
        intro: "The finding stays where it is; the answer stands beside it, on pages and papers, with your name. A later answer \
                stands in front of an earlier one, and both stay on the record. Say what is known and how; what it is worth in \
                court is for counsel and local law."
            .into(),
        facts,
        inputs: vec![
            Input::hidden("finding", key.to_string()),
            Input::hidden("from", from.chars().take(50).collect::<String>()),
            Input::lines("text", "The answer"),
            Input::new("evidence", "Event that shows it", Kind::Whole)
                .hint("The number of an event of this case, such as a photograph or a later receipt.")
                .optional(),
        ],
        submit: "Put the answer on the record".into(),
        crumbs,
        done,
        about: Some(case),
        arrange: Some(shape),
        ..Sheet::default()
    })
}
