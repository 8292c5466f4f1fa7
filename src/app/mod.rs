//! The application: one append path, and what pages and commands read.

pub mod replay;
pub mod stage;

pub use replay::replay;
pub use stage::{Stage, StageError};
