//! Advice: which medium for this surface.

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use schemars::SchemaGenerator;
use serde_json::json;

use super::body::Body;
use super::openapi::Op;
use crate::app::views::advice::{self, AdviceTold};
use crate::lifting::advise::Question;
use crate::web::App;
use crate::web::error::Failure;

/// What it takes and gives.
pub fn described(g: &mut SchemaGenerator) -> Op {
    Op::new("Which medium takes a mark off a surface, with reasons, what is excluded and why, consequences and steps")
        .more("Advice never decides and puts nothing on the record. Without `kit` every medium counts as at hand; without \
               `date` it is today in the agency's zone.")
        .body::<Question>(g)
        .example(json!({
            "surface": {"texture": "ribbed", "curvature": "gentle", "substrate": "2A"},
            "mark": {"kind": "friction-ridge", "methods": ["BLP"]},
            "kit": [{"medium": "silicone-putty", "lot": "SP-0931", "expires_on": "2027-06-30"}],
        }))
        .json::<AdviceTold>(g)
}

/// Advises.
pub async fn advise(
    State(app): State<App>,
    Body(mut question): Body<Question>,
) -> Result<Json<AdviceTold>, Failure> {
    if question.date.is_none() {
        let zone = app.house().zone().await?;
        question.date = Some(app.now().with_timezone(&zone).date_naive());
    }
    advice::told(&app.house().rules, question)
        .map(Json)
        .map_err(|e| {
            let mut failure = Failure::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                "bad-value",
                &e.sentence,
                "GET /api/rules has the codes, media and words that there are.",
            );
            failure.refusal.field = Some(e.field.into());
            failure
        })
}
