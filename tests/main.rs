//! What needs nothing but cargo.
#![allow(clippy::unwrap_used)]

mod custody;
mod edges;
mod imaging;
mod people;
