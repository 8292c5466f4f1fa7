mod acts;
mod look;
mod session;
