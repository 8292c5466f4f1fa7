//! The application: from a command to events, and back to the state.

mod record;
mod stage;
pub mod world;
