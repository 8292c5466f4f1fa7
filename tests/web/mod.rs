mod acts;
mod api;
mod look;
mod pages;
mod room;
mod session;
pub mod world;
