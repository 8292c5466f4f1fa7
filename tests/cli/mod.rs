//! The command line, run as a process.

mod demo;
mod papers;
mod verify;
