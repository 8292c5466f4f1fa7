//! The application: from a command to events, and back to the state.

pub mod boatyard;
mod demo;
mod house;
mod papers;
mod record;
mod stage;
mod views;
pub mod world;
