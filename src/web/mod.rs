//! Pages and JSON API.

pub mod assets;
pub mod draw;
pub mod frame;
