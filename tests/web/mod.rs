mod acts;
mod api;
mod look;
mod pages;
mod session;
mod world;
