//! What is worked out from the trade rules: which way round an image reads, the size of a film, the volume of casting
//! material, the set time of a medium.

use axum::Json;
use axum::extract::State;
use schemars::{JsonSchema, SchemaGenerator};
use serde::Serialize;

use super::body::{Asked, bad_query};
use super::openapi::Op;
use crate::lifting::film::{Film, MAX_SIDE};
use crate::lifting::handedness::{Reading, Step, read};
use crate::lifting::thickness::{MAX_TENTHS, Thickness, tenths};
use crate::lifting::volume::{MAX_STRIP, Volume, volume};
use crate::lifting::{Medium, Window};
use crate::web::App;
use crate::web::error::Failure;

/// The most steps in one address.
const MOST_STEPS: usize = 20;
/// What is wanted of a length in the address.
const LENGTH: &str = "a length in mm with at most one decimal, within its limits";

fn length(asked: &Asked, name: &str, most: u32) -> Result<u32, Failure> {
    tenths(asked.0.get(name), most).map_err(|_| bad_query(name, LENGTH))
}

fn medium<'a>(app: &'a App, asked: &Asked) -> Result<&'a Medium, Failure> {
    let rules = &app.house().rules;
    rules
        .medium(asked.0.get("medium"))
        .ok_or_else(|| bad_query("medium", "a medium of the rules in force"))
}

/// Which way round an image reads.
pub async fn handedness(asked: Asked) -> Result<Json<Reading>, Failure> {
    let steps = asked.0.all("step");
    if steps.len() > MOST_STEPS {
        return Err(bad_query("step", "given at most 20 times"));
    }
    // As everywhere: a step that is not of the list is one that nobody can vouch for.
    let steps: Vec<Step> = steps
        .iter()
        .map(|s| s.parse().unwrap_or(Step::Unknown))
        .collect();
    Ok(Json(read(&steps)))
}

/// Describes [`handedness`].
pub fn handedness_described(g: &mut SchemaGenerator) -> Op {
    Op::new("Which way round an image reads, from the steps between the mark and the image")
        .more("A step that is not of the list counts as unknown, and one unknown step makes the answer unknown.")
        .queries("step", "The steps, in order")
        .json::<Reading>(g)
}

/// The film for a mark.
pub async fn film(State(app): State<App>, asked: Asked) -> Result<Json<Film>, Failure> {
    let rule = medium(&app, &asked)?
        .film
        .as_ref()
        .ok_or_else(|| bad_query("medium", "a medium that dries to a film"))?;
    let (l, w) = (
        length(&asked, "length_mm", MAX_SIDE)?,
        length(&asked, "width_mm", MAX_SIDE)?,
    );
    Ok(Json(crate::lifting::film::film(rule, l, w)))
}

/// Describes [`film`].
pub fn film_described(g: &mut SchemaGenerator) -> Op {
    Op::new("The film for a mark: its size with the margin, its area, the drops")
        .query("medium", true, "A medium that dries to a film")
        .query("length_mm", true, "Length of the mark")
        .query("width_mm", true, "Width of the mark")
        .json::<Film>(g)
}

/// The material for a cast.
pub async fn cast(asked: Asked) -> Result<Json<Volume>, Failure> {
    let strips = match (asked.0.get("base_mm"), asked.0.get("hardener_mm")) {
        ("", "") => None,
        _ => Some((
            length(&asked, "base_mm", MAX_STRIP)?,
            length(&asked, "hardener_mm", MAX_STRIP)?,
        )),
    };
    Ok(Json(volume(
        length(&asked, "length_mm", MAX_SIDE)?,
        length(&asked, "width_mm", MAX_SIDE)?,
        length(&asked, "thickness_mm", MAX_TENTHS)?,
        strips,
    )))
}

/// Describes [`cast`].
pub fn cast_described(g: &mut SchemaGenerator) -> Op {
    Op::new("The casting material for an area and a thickness, with an allowance that is our assumption")
        .query("length_mm", true, "Length of the cast")
        .query("width_mm", true, "Width of the cast")
        .query("thickness_mm", true, "Its thickness")
        .query("base_mm", false, "Width of the strip of the one part; gives the length of both strips")
        .query("hardener_mm", false, "Width of the strip of the other part")
        .json::<Volume>(g)
}

/// The set time of a medium.
#[derive(Serialize, JsonSchema)]
pub struct SetTime {
    /// The medium.
    pub medium: String,
    /// Its window; none where it has no setting time to keep.
    pub window: Option<Window>,
    /// The same in words.
    pub sentence: String,
}

/// How long a medium sets.
pub async fn set(State(app): State<App>, asked: Asked) -> Result<Json<SetTime>, Failure> {
    let medium = medium(&app, &asked)?;
    let air: Option<i16> = asked.optional("air_c", "a whole number of °C")?;
    if air.is_some_and(|c| !(-60..=70).contains(&c)) {
        return Err(bad_query("air_c", "between -60 and 70"));
    }
    let thickness: Option<Thickness> = asked.optional(
        "thickness",
        "thin, thick or millimetres with at most one decimal",
    )?;
    let window = app.house().rules.set_window(medium, air, thickness);
    Ok(Json(SetTime {
        medium: medium.id.clone(),
        sentence: window.as_ref().map_or_else(
            || "It has no setting time to keep.".into(),
            Window::sentence,
        ),
        window,
    }))
}

/// Describes [`set`].
pub fn set_described(g: &mut SchemaGenerator) -> Op {
    Op::new("How long a medium sets, at this air temperature and thickness")
        .more("What is interpolated or carried on says \"our assumption\"; where the figures are too far away the window is unknown.")
        .query("medium", true, "The medium")
        .query("air_c", false, "Air temperature, °C")
        .query("thickness", false, "thin, thick or millimetres")
        .json::<SetTime>(g)
}
