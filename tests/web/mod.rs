mod acts;
mod api;
mod look;
mod pages;
mod session;
pub mod world;
