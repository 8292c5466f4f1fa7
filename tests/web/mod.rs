mod acts;
mod api;
mod look;
mod session;
