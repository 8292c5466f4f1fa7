//! The command line, run as a process.

mod verify;
