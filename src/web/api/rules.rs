//! The trade rules in force.

use axum::Json;
use axum::extract::State;
use schemars::{JsonSchema, SchemaGenerator};
use serde::Serialize;

use super::body::Id;
use super::openapi::Op;
use crate::keeping::climate::Climate;
use crate::keeping::container::Container;
use crate::keeping::{PackingRule, PlaceRule};
use crate::lifting::Sheet;
use crate::lifting::advise::AdviceRule;
use crate::lifting::caution::Caution;
use crate::lifting::medium::Medium;
use crate::lifting::method::Method;
use crate::lifting::surface::{Matrix, Substrate};
use crate::trade::Kind;
use crate::trade::catalogue::Shelf;
use crate::web::App;
use crate::web::error::Failure;

/// What the agency changed.
#[derive(Serialize, JsonSchema)]
pub struct OfAgency {
    /// Who stands behind the agency's file.
    pub agency: String,
    /// What it added or replaced.
    pub own: Vec<Named>,
    /// What it disabled; not in the lists.
    pub disabled: Vec<Named>,
}

/// An entry by its kind and identifier.
#[derive(Serialize, JsonSchema)]
pub struct Named {
    /// Kind.
    pub kind: Kind,
    /// Identifier.
    pub id: String,
    /// The source that the agency gives.
    pub source: String,
}

/// The trade rules, each with its identifier, its name and its source.
#[derive(Serialize, JsonSchema)]
pub struct Rules {
    /// The version that stands on every event.
    pub version: String,
    /// What the agency changed; none where it has no file of its own.
    pub changed: Option<OfAgency>,
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
    /// What things are packed in.
    pub packing: Vec<PackingRule>,
    /// Where things are kept.
    pub places: Vec<PlaceRule>,
    /// Makers' sheets of set times that the agency entered.
    pub sheets: Vec<Sheet>,
    /// Cautions. Local safety rules, safety data sheets and licensed practice come first.
    pub cautions: Vec<Caution>,
    /// Rules of advice: what excludes, prefers or speaks against media, and when.
    pub advice: Vec<AdviceRule>,
}

/// The rules in force.
pub async fn show(State(app): State<App>) -> Json<Rules> {
    let rules = &app.house().rules;
    let changed = rules.agency().map(|agency| OfAgency {
        agency: agency.to_owned(),
        own: rules
            .shelves()
            .into_iter()
            .flat_map(|s| {
                let kind = s.kind;
                let own = s.rows.into_iter().filter(|r| r.agency);
                own.map(move |r| Named {
                    kind,
                    id: r.id,
                    source: r.source,
                })
            })
            .collect(),
        disabled: rules
            .off()
            .iter()
            .map(|(kind, id, source)| Named {
                kind: *kind,
                id: id.clone(),
                source: source.clone(),
            })
            .collect(),
    });
    Json(Rules {
        version: rules.version().to_owned(),
        changed,
        media: rules.media().to_vec(),
        methods: rules.methods().to_vec(),
        substrates: rules.substrates().to_vec(),
        matrices: rules.matrices().to_vec(),
        containers: rules.containers().to_vec(),
        climates: rules.climates().to_vec(),
        packing: rules.keeping().packing.clone(),
        places: rules.keeping().places.clone(),
        sheets: rules.sheets().to_vec(),
        cautions: rules.cautions().to_vec(),
        advice: rules.advice().rules.clone(),
    })
}

/// The entries of one kind, as lists show them.
pub async fn shelf(State(app): State<App>, Id(kind): Id<Kind>) -> Result<Json<Shelf>, Failure> {
    Ok(Json(app.house().rules.shelf(kind)))
}

/// Describes [`shelf`].
pub fn shelf_described(g: &mut SchemaGenerator) -> Op {
    Op::new("The rules in force of one kind: what each says, where it comes from, and whether it is the agency's own")
        .json::<Shelf>(g)
}
