mod acts;
mod afis;
mod api;
mod copies;
mod look;
mod pages;
mod room;
mod session;
pub mod world;
