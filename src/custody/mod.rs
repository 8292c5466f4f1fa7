//! Custody: commands, state, decisions, refusals.
pub mod thread;
