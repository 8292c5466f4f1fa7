//! The agency: its name on papers, the zone of its times, the paper in its printers.

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::body::Body;
use crate::app::agency::{Agency, AgencyError, paper_word, parse_paper};
use crate::web::App;
use crate::web::error::Failure;
use crate::zone::ZoneError;

/// The agency, as it is set.
#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AgencyTold {
    /// Its name, as on labels and reports.
    pub name: String,
    /// The zone in which times are shown, and in which a form's times are meant: a name of IANA's list such as `Europe/Oslo`, or an
    /// offset from UTC such as `+01:00`.
    pub zone: String,
    /// The paper in its printers: `a4` or `letter`.
    pub paper: String,
}

impl From<Agency> for AgencyTold {
    fn from(agency: Agency) -> Self {
        Self {
            name: agency.name,
            zone: agency.zone.to_string(),
            paper: paper_word(agency.paper).into(),
        }
    }
}

fn refused(e: AgencyError) -> Failure {
    match e {
        AgencyError::Store(e) => e.into(),
        e => Failure::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "bad-value",
            &format!("It is not taken: {e}."),
            "Change it and send it again.",
        ),
    }
}

/// What is set.
pub async fn show(State(app): State<App>) -> Result<Json<AgencyTold>, Failure> {
    Ok(Json(app.house().agency().await?.into()))
}

/// Sets it.
pub async fn set(
    State(app): State<App>,
    Body(asked): Body<AgencyTold>,
) -> Result<Json<AgencyTold>, Failure> {
    let agency = Agency {
        name: asked.name.trim().to_owned(),
        zone: asked
            .zone
            .parse()
            .map_err(|e: ZoneError| refused(e.into()))?,
        paper: parse_paper(&asked.paper).map_err(refused)?,
    };
    app.house().set_agency(&agency).await.map_err(refused)?;
    Ok(Json(agency.into()))
}
