mod acts;
mod afis;
mod api;
mod copies;
mod look;
mod pages;
mod session;
pub mod world;
