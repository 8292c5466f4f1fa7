//! Pixels.
//!
//! Reading order: [`probe`] (what a file is), [`metadata`] (what it says of itself), [`clock`] (its camera's clock),
//! [`mod@decode`] (its pixels), [`raster`] and `warp` (what can be done with them), [`recipe`] (steps from an original to a working copy), [`resolution`] (how many pixels an inch),
//! [`mod@derive`] (the copy), [`view`] (which copy is wanted, and how it reads). [`codes`] reads QR codes off a photograph. [`ridge`] draws invented marks.

pub mod clock;
pub mod codes;
mod corners;
pub mod decode;
pub mod derive;
pub mod metadata;
pub mod probe;
pub mod raster;
pub mod recipe;
pub mod resolution;
pub mod ridge;
pub mod view;
mod warp;
