//! Disclosure bundles: the form, and the file.

use askama::Template;
use axum::body::{Body, Bytes};
use axum::extract::{Path, State};
use axum::http::{HeaderName, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use futures_util::stream;
use tokio::io::AsyncReadExt as _;

use super::show;
use super::{block, draw};
use crate::app::papers::By;
use crate::app::papers::bundle::{BundleError, Bundled, Wanted, Withhold, handed};
use crate::custody::Refusal;
use crate::custody::state::Case;
use crate::ids::CaseId;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::{Input, Typed};
use crate::web::frame::{Frame, RefusalBlock};
use crate::web::session::{Posted, Visitor};

/// The most fields that one form may withhold.
const MOST_LINES: usize = 200;

#[derive(Template)]
#[template(path = "disclosure/form.html")]
struct FormPage {
    frame: Frame,
    id: CaseId,
    number: String,
    title: String,
    inputs: Vec<Input>,
    refusal: Option<RefusalBlock>,
}

fn inputs(typed: &Typed) -> Vec<Input> {
    let mut inputs = vec![
        Input::line("to", "For whom").hint("Counsel, court or agency, as they are to stand on the record."),
        Input::line("authority", "Under which order, request or rule"),
        Input::lines("withhold", "Fields to withhold, each with its reason")
            .hint("A line each: address=a witness lives there. In one event only: 17.note=names a minor. Papers are printed without it, or left out where it is no free text.")
            .optional(),
        Input::line("without_images", "Leave the pictures out, for this reason")
            .hint("Left empty, all pictures go in.")
            .optional(),
    ];
    for input in &mut inputs {
        let value = typed.get(&input.name).to_owned();
        if !value.is_empty() {
            input.values = vec![value];
        }
    }
    inputs
}

fn page(
    visitor: &Visitor,
    case: &Case,
    typed: &Typed,
    refusal: Option<Refusal>,
) -> Result<Response, Failure> {
    let frame = visitor.frame(show::crumbs(
        format!("/cases/{}", case.id),
        &case.number,
        "Disclosure bundle",
    ));
    let status = if refusal.is_some() {
        StatusCode::UNPROCESSABLE_ENTITY
    } else {
        StatusCode::OK
    };
    let thing = format!("a bundle of case {}", case.number);
    let page = draw(&FormPage {
        frame,
        id: case.id,
        number: case.number.clone(),
        title: case.title.clone(),
        inputs: inputs(typed),
        refusal: refusal.map(|r| block(&r, &thing)),
    })?;
    Ok((status, page).into_response())
}

/// The form.
pub async fn form(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<CaseId>,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let case = reader.case(id).await?;
    show::noted(&reader, &case, "form of a disclosure").await?;
    page(&visitor, &case, &Typed::default(), None)
}

fn refused(sentence: String, field: &str) -> Refusal {
    Refusal::coded(
        "bundle-refused",
        sentence,
        "Correct it and make the bundle again.",
    )
    .on(field)
}

/// What the form asks for.
fn wanted(typed: &Typed) -> Result<Wanted, Refusal> {
    let mut withhold = Vec::new();
    let lines = typed
        .get("withhold")
        .lines()
        .filter(|l| !l.trim().is_empty());
    for line in lines {
        if withhold.len() >= MOST_LINES {
            return Err(refused(
                format!("A form withholds at most {MOST_LINES} lines."),
                "withhold",
            ));
        }
        let one: Withhold = line.parse().map_err(|e| refused(e, "withhold"))?;
        withhold.push(one);
    }
    let reason: String = typed
        .get("without_images")
        .trim()
        .chars()
        .take(300)
        .collect();
    Ok(Wanted {
        to: typed.get("to").to_owned(),
        authority: typed.get("authority").to_owned(),
        withhold,
        without_images: (!reason.is_empty()).then_some(reason),
    })
}

/// Makes the bundle and hands it out.
pub async fn make(
    State(app): State<App>,
    Path(id): Path<CaseId>,
    posted: Posted,
) -> Result<Response, Failure> {
    let Posted { visitor, typed } = posted;
    let reader = visitor.reader(&app);
    let case = reader.case(id).await?;
    show::noted(&reader, &case, "disclosure bundle").await?;
    let wanted = match wanted(&typed) {
        Ok(wanted) => wanted,
        Err(refusal) => return page(&visitor, &case, &typed, Some(refusal)),
    };
    match handed(&reader, By::session(), id, &wanted).await {
        Ok((made, file)) => Ok(handed_out(&made, file)),
        Err(BundleError::Asked(sentence)) => {
            page(&visitor, &case, &typed, Some(refused(sentence, "withhold")))
        }
        Err(e) => Err(e.into()),
    }
}

/// The file, part by part: a bundle may be larger than memory.
pub fn handed_out(made: &Bundled, file: std::fs::File) -> Response {
    let file = tokio::fs::File::from_std(file);
    let parts = stream::unfold(file, |mut file| async move {
        let mut part = vec![0; 256 * 1024];
        match file.read(&mut part).await {
            Ok(0) => None,
            Ok(n) => {
                part.truncate(n);
                Some((Ok(Bytes::from(part)), file))
            }
            Err(e) => Some((Err(e), file)),
        }
    });
    (
        [
            (header::CONTENT_TYPE, "application/zip".to_owned()),
            (header::CONTENT_LENGTH, made.bytes.to_string()),
            (
                header::CONTENT_DISPOSITION,
                format!("attachment; filename=\"{}\"", made.file_name),
            ),
            // As recorded, for whoever holds what arrived against it.
            (HeaderName::from_static("x-sha256"), made.digest.to_string()),
        ],
        Body::from_stream(parts),
    )
        .into_response()
}
