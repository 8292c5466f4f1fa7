mod acts;
mod api;
mod copies;
mod look;
mod pages;
mod session;
pub mod world;
