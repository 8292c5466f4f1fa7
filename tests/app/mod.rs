//! The application: from a command to events, and back to the state.

mod demo;
mod house;
mod record;
mod stage;
mod views;
pub mod world;
