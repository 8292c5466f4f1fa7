//! The papers of the court file, and which papers of a case were printed. Each print is on the record before its bytes are
//! sent.

use axum::Json;
use axum::extract::State;
use axum::response::Response;
use schemars::JsonSchema;
use serde::Deserialize;

use super::body::{Body, Id};
use super::caller::Caller;
use super::papers::{PaperSize, Sheet, layout, pdf};
use crate::app::papers::court::{Asked, print, receipt, sheet, submission};
use crate::app::papers::printed::{self, Prints};
use crate::ids::{CaseId, ItemId, PersonId, Piece};
use crate::web::App;
use crate::web::error::Failure;

/// A receipt for whoever something was taken from.
#[derive(Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Receipt {
    /// What was taken; none means every item of the case.
    #[schemars(length(max = 1000))]
    pub items: Vec<ItemId>,
    /// From whom it was taken; empty leaves a line to write on.
    pub from: String,
    /// Whom to ask about it; empty for whoever prints.
    pub ask: String,
    /// Under which authority it was taken.
    pub authority: String,
    /// Whether the address of the scene stands on it.
    pub with_address: bool,
    /// The paper; without it, the agency's.
    pub paper: Option<PaperSize>,
}

/// A submission to a laboratory or an examiner.
#[derive(Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Submission {
    /// What goes; none means everything of the case that is in no package.
    #[serde(default)]
    #[schemars(length(max = 1000))]
    pub pieces: Vec<Piece>,
    /// To whom it goes.
    pub to: String,
    /// Which examinations are asked for.
    pub examinations: String,
    /// Reference.
    #[serde(default)]
    pub reference: String,
    /// By when, and why then.
    #[serde(default)]
    pub due: String,
    /// The paper; without it, the agency's.
    #[serde(default)]
    pub paper: Option<PaperSize>,
}

fn four() -> usize {
    4
}

/// A hand-over sheet.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct HandOverSheet {
    /// What is handed over; none means everything of the case that is in no package.
    #[serde(default)]
    #[schemars(length(max = 1000))]
    pub pieces: Vec<Piece>,
    /// Who releases, where that is known.
    #[serde(default)]
    pub from: String,
    /// Who receives, where that is known.
    #[serde(default)]
    pub to: String,
    /// Why, where that is known.
    #[serde(default)]
    pub reason: String,
    /// How many empty lines.
    #[serde(default = "four")]
    #[schemars(range(max = 60))]
    pub empty: usize,
    /// The paper; without it, the agency's.
    #[serde(default)]
    pub paper: Option<PaperSize>,
}

/// What one person did in a case.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WitnessSheet {
    /// Who.
    pub person: PersonId,
    /// The paper; without it, the agency's.
    #[serde(default)]
    pub paper: Option<PaperSize>,
}

/// The papers of a case that were printed.
pub async fn prints(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
) -> Result<Json<Prints>, Failure> {
    caller.noted_of(&app, id, "papers of the case").await?;
    let reader = caller.reader(&app);
    let case = reader.case(id).await?;
    Ok(Json(printed::of_case(&reader, &case).await?))
}

async fn printed(
    app: &App,
    caller: &Caller,
    id: CaseId,
    asked: &Asked,
    size: Option<PaperSize>,
) -> Result<Response, Failure> {
    caller.noted_of(app, id, asked.kind().title()).await?;
    let reader = caller.reader(app);
    Ok(pdf(
        print(&reader, caller.by(), id, asked, &layout(size)).await?
    ))
}

/// The exhibit list.
pub async fn exhibit_list(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    Body(asked): Body<Sheet>,
) -> Result<Response, Failure> {
    printed(&app, &caller, id, &Asked::ExhibitList, asked.paper).await
}

/// A receipt for whoever something was taken from.
pub async fn owner_receipt(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    Body(x): Body<Receipt>,
) -> Result<Response, Failure> {
    let asked = Asked::OwnerReceipt(receipt::Receipt {
        items: x.items,
        from: x.from,
        ask: x.ask,
        authority: x.authority,
        with_address: x.with_address,
    });
    printed(&app, &caller, id, &asked, x.paper).await
}

/// A submission to a laboratory or an examiner.
pub async fn laboratory_submission(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    Body(x): Body<Submission>,
) -> Result<Response, Failure> {
    let asked = Asked::LaboratorySubmission(submission::Submission {
        pieces: x.pieces,
        to: x.to,
        examinations: x.examinations,
        reference: x.reference,
        due: x.due,
    });
    printed(&app, &caller, id, &asked, x.paper).await
}

/// A hand-over sheet.
pub async fn hand_over_sheet(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    Body(x): Body<HandOverSheet>,
) -> Result<Response, Failure> {
    let asked = Asked::HandOverSheet(sheet::Sheet {
        pieces: x.pieces,
        from: x.from,
        to: x.to,
        reason: x.reason,
        empty: x.empty,
    });
    printed(&app, &caller, id, &asked, x.paper).await
}

/// What one person did in a case.
pub async fn witness_sheet(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    Body(x): Body<WitnessSheet>,
) -> Result<Response, Failure> {
    printed(&app, &caller, id, &Asked::WitnessSheet(x.person), x.paper).await
}

/// The blanks of a certification.
pub async fn certification(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    Body(asked): Body<Sheet>,
) -> Result<Response, Failure> {
    printed(&app, &caller, id, &Asked::Certification, asked.paper).await
}
