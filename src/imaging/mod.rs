//! Pixels.

pub mod probe;
pub mod ridge;
