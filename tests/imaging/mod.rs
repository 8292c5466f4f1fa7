//! Pixels, and the files they come in.

mod copies;
pub mod files;
mod hostile;
mod probe;
mod recipe;
mod resolution;
mod ridge;
