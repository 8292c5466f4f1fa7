//! What needs nothing but cargo.
#![allow(clippy::unwrap_used)]

mod app;
mod cli;
mod custody;
mod disclosure;
mod edges;
mod ids;
mod imaging;
mod keeping;
mod ledger;
mod lifting;
mod people;
mod reports;
mod store;
mod web;
mod zone;
