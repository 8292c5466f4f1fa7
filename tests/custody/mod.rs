//! Custody: refusals, what a decision needs, generated runs against a model, threads.

mod afis;
mod amendments;
mod climate;
mod exhibits;
mod expungement;
mod images;
pub mod intake;
mod keeping;
mod kit;
mod loans;
mod model;
mod packing;
pub mod packs;
mod photographs;
mod recoveries;
mod refusals;
mod room;
mod rooms;
mod samples;
mod seal_stock;
mod sheets;
mod shelving;
mod thread;
mod wants;
pub mod yard;
