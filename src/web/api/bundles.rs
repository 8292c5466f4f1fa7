//! Disclosure bundles.

use axum::extract::State;
use axum::response::Response;
use schemars::{JsonSchema, SchemaGenerator};
use serde::Deserialize;

use super::body::{Body, Id};
use super::caller::Caller;
use super::openapi::Op;
use crate::app::papers::bundle::{Wanted, Withhold, handed};
use crate::ids::{CaseId, Seq};
use crate::web::App;
use crate::web::error::Failure;
use crate::web::pages::bundle::handed_out;

/// A field to withhold.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Field {
    /// Only in this event; in every event of the case if it is left out.
    #[serde(default)]
    pub event: Option<Seq>,
    /// The field.
    pub field: String,
    /// Why.
    pub reason: String,
}

/// What a bundle should hold.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct BundleWanted {
    /// To whom it goes.
    pub to: String,
    /// The order, request or rule that it follows.
    pub authority: String,
    /// Fields to withhold, at most 200. Papers are printed without their texts, or left out where a field is no free text.
    #[serde(default)]
    pub withhold: Vec<Field>,
    /// Leave the pictures out, for this reason.
    #[serde(default)]
    pub without_images: Option<String>,
}

/// For the description.
pub fn described(g: &mut SchemaGenerator) -> Op {
    Op::new("Make a disclosure bundle of a case; it is on the record before it is sent")
        .body::<BundleWanted>(g)
        .media("application/zip")
}

/// Makes the bundle and hands it out.
pub async fn make(
    State(app): State<App>,
    caller: Caller,
    Id(id): Id<CaseId>,
    Body(asked): Body<BundleWanted>,
) -> Result<Response, Failure> {
    if asked.withhold.len() > 200 {
        return Err(Failure::unreadable(
            "more than 200 fields are to be withheld",
        ));
    }
    let mut withhold = Vec::new();
    for one in asked.withhold {
        let one = Withhold::new(one.event, &one.field, &one.reason)
            .map_err(|e| Failure::unreadable(&e))?;
        withhold.push(one);
    }
    let wanted = Wanted {
        to: asked.to,
        authority: asked.authority,
        withhold,
        without_images: asked.without_images,
    };
    let (made, file) = handed(&caller.reader(&app), caller.by(), id, &wanted).await?;
    Ok(handed_out(&made, file))
}
