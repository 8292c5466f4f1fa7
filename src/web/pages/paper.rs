//! Papers: labels and custody reports, each recorded before it is handed out.

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse as _, Response};

use super::show;
use crate::app::papers::label::{self, LabelKind};
use crate::app::papers::{By, Layout, Printed, certificate, report};
use crate::app::{ReadError, Reader};
use crate::ids::{CaseId, ItemId, PackageId, Piece, PlaceId, Subject};
use crate::reports::paper::Card;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::Typed;
use crate::web::path::Path;
use crate::web::session::Posted;

pub(super) fn handed_out(printed: Printed) -> Response {
    (
        [
            (header::CONTENT_TYPE, "application/pdf".to_owned()),
            (
                header::CONTENT_DISPOSITION,
                format!("inline; filename=\"{}\"", printed.file_name),
            ),
        ],
        printed.bytes,
    )
        .into_response()
}

fn kind(typed: &Typed) -> Result<LabelKind, Failure> {
    typed
        .get("kind")
        .parse()
        .map_err(|e: String| Failure::unreadable(&e))
}

fn size(typed: &Typed) -> Result<Card, Failure> {
    let word = typed.get("size");
    if word.is_empty() {
        return Ok(Card::default());
    }
    [Card::ThreeByFive, Card::FourBySix]
        .into_iter()
        .find(|c| label::card_word(*c) == word)
        .ok_or_else(|| Failure::unreadable("there is no card of that size"))
}

/// A label of an item.
pub async fn item_label(
    State(app): State<App>,
    Path(id): Path<ItemId>,
    posted: Posted,
) -> Result<Response, Failure> {
    let reader = posted.visitor.reader(&app);
    let (kind, size) = (kind(&posted.typed)?, size(&posted.typed)?);
    let by = By::session();
    Ok(handed_out(
        label::item_label(&reader, by, id, kind, size, &Layout::default()).await?,
    ))
}

/// A label of a package.
pub async fn package_label(
    State(app): State<App>,
    Path(id): Path<PackageId>,
    posted: Posted,
) -> Result<Response, Failure> {
    let reader = posted.visitor.reader(&app);
    let kind = kind(&posted.typed)?;
    let printed =
        label::package_label(&reader, By::session(), id, kind, &Layout::default()).await?;
    Ok(handed_out(printed))
}

/// The label of a place.
pub async fn place_label(
    State(app): State<App>,
    Path(id): Path<PlaceId>,
    posted: Posted,
) -> Result<Response, Failure> {
    let reader = posted.visitor.reader(&app);
    Ok(handed_out(
        label::place(&reader, By::session(), id, &Layout::default()).await?,
    ))
}

/// The cards of a case's items on sheets: of those named, or of all.
pub async fn case_labels(
    State(app): State<App>,
    Path(id): Path<CaseId>,
    posted: Posted,
) -> Result<Response, Failure> {
    let reader = posted.visitor.reader(&app);
    let case = reader.case(id).await?;
    show::noted(&reader, &case, "cards of the case's items").await?;
    let items: Vec<ItemId> = posted
        .typed
        .all("item")
        .into_iter()
        .map(|text| {
            text.parse()
                .map_err(|_| Failure::unreadable("item is no identifier"))
        })
        .collect::<Result<_, _>>()?;
    let size = size(&posted.typed)?;
    let layout = Layout::default();
    let printed = label::sheet(&reader, By::session(), id, &items, size, &layout).await?;
    Ok(handed_out(printed))
}

async fn print_report(reader: &Reader<'_>, of: Subject) -> Result<Response, Failure> {
    let case = match of {
        Subject::Item(id) => reader.item(id).await?.case,
        Subject::Package(id) => reader.package(id).await?.case,
        Subject::Case(id) => id,
        _ => return Err(ReadError::NotFound("report").into()),
    };
    let case = reader.case(case).await?;
    show::noted(reader, &case, "custody report").await?;
    let layout = Layout::default();
    let printed = report::report(reader, By::session(), of, &layout, |_, _| ()).await?;
    Ok(handed_out(printed))
}

/// The custody report of an item.
pub async fn item_report(
    State(app): State<App>,
    Path(id): Path<ItemId>,
    posted: Posted,
) -> Result<Response, Failure> {
    print_report(&posted.visitor.reader(&app), Subject::Item(id)).await
}

/// The custody report of everything in a package.
pub async fn package_report(
    State(app): State<App>,
    Path(id): Path<PackageId>,
    posted: Posted,
) -> Result<Response, Failure> {
    print_report(&posted.visitor.reader(&app), Subject::Package(id)).await
}

/// The custody report of a case.
pub async fn case_report(
    State(app): State<App>,
    Path(id): Path<CaseId>,
    posted: Posted,
) -> Result<Response, Failure> {
    print_report(&posted.visitor.reader(&app), Subject::Case(id)).await
}

async fn print_certificate(reader: &Reader<'_>, piece: Piece) -> Result<Response, Failure> {
    let case = reader.case(reader.thing(piece).await?.case()).await?;
    show::noted(reader, &case, "certificate of a disposition").await?;
    let layout = Layout::default();
    let printed = certificate::certificate(reader, By::session(), piece, &layout).await?;
    Ok(handed_out(printed))
}

/// The certificate of an item's disposition.
pub async fn item_certificate(
    State(app): State<App>,
    Path(id): Path<ItemId>,
    posted: Posted,
) -> Result<Response, Failure> {
    print_certificate(&posted.visitor.reader(&app), Piece::Item(id)).await
}

/// The certificate of a package's disposition.
pub async fn package_certificate(
    State(app): State<App>,
    Path(id): Path<PackageId>,
    posted: Posted,
) -> Result<Response, Failure> {
    print_certificate(&posted.visitor.reader(&app), Piece::Package(id)).await
}
