//! The application: from a command to events, and back to the state.

mod afis;
pub mod afis_bench;
pub mod backup;
pub mod boatyard;
mod bundle;
mod cautions;
mod clock_jumps;
mod crash;
mod demo;
mod house;
pub mod load;
mod papers;
mod record;
mod running;
pub mod served;
mod stage;
mod uploads;
mod views;
mod witness;
pub mod world;
