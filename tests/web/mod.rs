mod look;
mod session;
