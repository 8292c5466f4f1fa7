//! Pixels.
//!
//! Reading order: [`probe`] (what a file says of itself), [`mod@decode`] (its pixels), [`raster`] and `warp` (what can be
//! done with them), [`recipe`] (steps from an original to a working copy), [`resolution`] (how many pixels an inch),
//! [`mod@derive`] (the copy), [`view`] (which copy is wanted, and how it reads). [`ridge`] draws invented marks.

pub mod decode;
pub mod derive;
pub mod probe;
pub mod raster;
pub mod recipe;
pub mod resolution;
pub mod ridge;
pub mod view;
mod warp;
