//! Pixels, and the files they come in.

mod codes;
mod copies;
pub mod files;
mod hostile;
pub mod photo;
mod probe;
mod recipe;
mod resolution;
mod ridge;
