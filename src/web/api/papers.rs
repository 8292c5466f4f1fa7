//! Labels and reports. Each print is on the record before its bytes are sent.

use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use schemars::{JsonSchema, SchemaGenerator};
use serde::Deserialize;

use super::body::{Body, Id};
use super::caller::Caller;
use super::images::content_digest;
use super::openapi::Op;
use crate::app::papers::label::{self, LabelKind};
use crate::app::papers::{Layout, Printed, certificate, report};
use crate::ids::{CaseId, ItemId, PackageId, Piece, PlaceId, Subject};
use crate::reports::paper;
use crate::web::App;
use crate::web::error::Failure;

/// The paper in the printer.
#[derive(Clone, Copy, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum PaperSize {
    /// ISO A4.
    A4,
    /// US letter.
    Letter,
}

/// The size of a lift card.
#[derive(Clone, Copy, Default, Deserialize, JsonSchema)]
pub enum CardSize {
    /// 3 by 5 inches.
    #[default]
    #[serde(rename = "3x5")]
    ThreeByFive,
    /// 4 by 6 inches.
    #[serde(rename = "4x6")]
    FourBySix,
}

/// Which label.
#[derive(Clone, Copy, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Front and back of a lift card, two pages.
    Card,
    /// The front of a lift card.
    CardFront,
    /// The back of a lift card.
    CardBack,
    /// A box.
    Box,
    /// An envelope.
    Envelope,
    /// A strip across a closure.
    SealStrip,
}

/// A print on whole pages.
#[derive(Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Sheet {
    /// The paper; without it, the agency's.
    #[serde(default)]
    pub paper: Option<PaperSize>,
}

/// A label of an item or a package.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Label {
    /// Which. A package has `box`, `envelope` and `seal-strip`.
    pub kind: Kind,
    /// The size of a lift card; nothing else has a choice.
    #[serde(default)]
    pub size: CardSize,
}

/// Lift cards on sheets.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Cards {
    /// The items; none means every item of the case.
    #[serde(default)]
    #[schemars(length(max = 500))]
    pub items: Vec<ItemId>,
    /// The size of the cards.
    #[serde(default)]
    pub size: CardSize,
    /// The paper; without it, the agency's.
    #[serde(default)]
    pub paper: Option<PaperSize>,
}

impl CardSize {
    fn card(self) -> paper::Card {
        match self {
            Self::ThreeByFive => paper::Card::ThreeByFive,
            Self::FourBySix => paper::Card::FourBySix,
        }
    }
}

impl Kind {
    fn label(self) -> LabelKind {
        match self {
            Self::Card => LabelKind::Card,
            Self::CardFront => LabelKind::CardFront,
            Self::CardBack => LabelKind::CardBack,
            Self::Box => LabelKind::Box,
            Self::Envelope => LabelKind::Envelope,
            Self::SealStrip => LabelKind::SealStrip,
        }
    }
}

pub(super) fn layout(size: Option<PaperSize>) -> Layout {
    Layout {
        paper: size.map(|p| match p {
            PaperSize::A4 => paper::Paper::A4,
            PaperSize::Letter => paper::Paper::Letter,
        }),
        agency: None,
    }
}

/// For the description.
pub fn described(_: &mut SchemaGenerator, summary: &'static str) -> Op {
    Op::new(summary)
        .more(
            "The print is on the record, with the SHA-256 of the PDF, before its bytes are sent. The header \
             Liftledger-Event names the event, Content-Digest the SHA-256; Liftledger-Warning says what it lacks that the \
             server's settings ask for, a timestamp for instance.",
        )
        .media("application/pdf")
}

/// A text as a header's value: what is not plain ASCII becomes a question mark.
fn header_text(text: &str) -> Option<header::HeaderValue> {
    let plain: String = text
        .chars()
        .map(|c| if (' '..='~').contains(&c) { c } else { '?' })
        .collect();
    header::HeaderValue::from_str(&plain).ok()
}

pub(super) fn pdf(printed: Printed) -> Response {
    let warning = printed.warning.as_deref().and_then(header_text);
    // The name holds letters, digits, hyphens and dots only.
    let headers = [
        (header::CONTENT_TYPE, "application/pdf".to_owned()),
        (
            header::CONTENT_DISPOSITION,
            format!("inline; filename=\"{}\"", printed.file_name),
        ),
        (
            header::HeaderName::from_static("content-digest"),
            content_digest(&printed.digest),
        ),
        (
            header::HeaderName::from_static("liftledger-event"),
            printed.recorded.seq.to_string(),
        ),
    ];
    let mut answer = (headers, printed.bytes).into_response();
    if let Some(warning) = warning {
        let name = header::HeaderName::from_static("liftledger-warning");
        answer.headers_mut().insert(name, warning);
    }
    answer
}

/// A label of an item.
pub async fn item_label(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<ItemId>,
    Body(asked): Body<Label>,
) -> Result<Response, Failure> {
    let (kind, card) = (asked.kind.label(), asked.size.card());
    let layout = layout(None);
    let printed =
        label::item_label(&caller.reader(&app), caller.by(), id, kind, card, &layout).await?;
    Ok(pdf(printed))
}

/// A label of a package.
pub async fn package_label(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<PackageId>,
    Body(asked): Body<Label>,
) -> Result<Response, Failure> {
    let kind = asked.kind.label();
    let layout = layout(None);
    let printed =
        label::package_label(&caller.reader(&app), caller.by(), id, kind, &layout).await?;
    Ok(pdf(printed))
}

/// The label of a place.
pub async fn place_label(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<PlaceId>,
    Body(asked): Body<Sheet>,
) -> Result<Response, Failure> {
    let layout = layout(asked.paper);
    let printed = label::place(&caller.reader(&app), caller.by(), id, &layout).await?;
    Ok(pdf(printed))
}

/// Lift cards of several items.
pub async fn cards(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    Body(asked): Body<Cards>,
) -> Result<Response, Failure> {
    if asked.items.len() > 500 {
        return Err(Failure::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "bad-value",
            "More than 500 items are named.",
            "Print them in several parts.",
        ));
    }
    let (layout, card) = (layout(asked.paper), asked.size.card());
    let reader = caller.reader(&app);
    let printed = label::sheet(&reader, caller.by(), id, &asked.items, card, &layout).await?;
    Ok(pdf(printed))
}

async fn report_of(
    app: &App,
    caller: &Caller,
    of: Subject,
    asked: &Sheet,
) -> Result<Response, Failure> {
    let layout = layout(asked.paper);
    let reader = caller.reader(app);
    let printed = report::report(&reader, caller.by(), of, &layout, |_, _| {}).await?;
    Ok(pdf(printed))
}

/// The report of a case.
pub async fn case_report(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    Body(asked): Body<Sheet>,
) -> Result<Response, Failure> {
    report_of(&app, &caller, Subject::Case(id), &asked).await
}

/// The report of an item.
pub async fn item_report(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<ItemId>,
    Body(asked): Body<Sheet>,
) -> Result<Response, Failure> {
    report_of(&app, &caller, Subject::Item(id), &asked).await
}

/// The report of everything in a package.
pub async fn package_report(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<PackageId>,
    Body(asked): Body<Sheet>,
) -> Result<Response, Failure> {
    report_of(&app, &caller, Subject::Package(id), &asked).await
}

async fn certificate_of(
    app: &App,
    caller: &Caller,
    piece: Piece,
    asked: &Sheet,
) -> Result<Response, Failure> {
    let layout = layout(asked.paper);
    let reader = caller.reader(app);
    let printed = certificate::certificate(&reader, caller.by(), piece, &layout).await?;
    Ok(pdf(printed))
}

/// The certificate of an item's disposition.
pub async fn item_certificate(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<ItemId>,
    Body(asked): Body<Sheet>,
) -> Result<Response, Failure> {
    certificate_of(&app, &caller, Piece::Item(id), &asked).await
}

/// The certificate of a package's disposition.
pub async fn package_certificate(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<PackageId>,
    Body(asked): Body<Sheet>,
) -> Result<Response, Failure> {
    certificate_of(&app, &caller, Piece::Package(id), &asked).await
}
