//! The trade rules in force.

use axum::Json;
use axum::extract::State;
use schemars::JsonSchema;
use serde::Serialize;

use crate::keeping::climate::Climate;
use crate::keeping::container::Container;
use crate::lifting::advise::AdviceRule;
use crate::lifting::caution::Caution;
use crate::lifting::medium::Medium;
use crate::lifting::method::Method;
use crate::lifting::surface::{Matrix, Substrate};
use crate::web::App;

/// The trade rules, each with its identifier, its name and its source.
#[derive(Serialize, JsonSchema)]
pub struct Rules {
    /// The version that stands on every event.
    pub version: String,
    /// Lifting and casting media.
    pub media: Vec<Medium>,
    /// Ways to develop a mark.
    pub methods: Vec<Method>,
    /// Surfaces.
    pub substrates: Vec<Substrate>,
    /// What a mark is made of.
    pub matrices: Vec<Matrix>,
    /// Containers.
    pub containers: Vec<Container>,
    /// Climates of places.
    pub climates: Vec<Climate>,
    /// Cautions. Local safety rules, safety data sheets and licensed practice come first.
    pub cautions: Vec<Caution>,
    /// Rules of advice: what excludes, prefers or speaks against media, and when.
    pub advice: Vec<AdviceRule>,
}

/// The rules in force.
pub async fn show(State(app): State<App>) -> Json<Rules> {
    let rules = &app.house().rules;
    Json(Rules {
        version: rules.version().to_owned(),
        media: rules.media().to_vec(),
        methods: rules.methods().to_vec(),
        substrates: rules.substrates().to_vec(),
        matrices: rules.matrices().to_vec(),
        containers: rules.containers().to_vec(),
        climates: rules.climates().to_vec(),
        cautions: rules.cautions().to_vec(),
        advice: rules.advice().rules.clone(),
    })
}
