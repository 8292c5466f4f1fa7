//! Custody: refusals, what a decision needs, generated runs against a model, threads.

mod afis;
mod amendments;
mod images;
pub mod intake;
mod keeping;
mod kit;
mod loans;
mod model;
mod packing;
mod photographs;
mod refusals;
mod room;
mod thread;
mod wants;
pub mod yard;
