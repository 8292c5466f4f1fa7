//! The command line, run as a process.

mod advise;
mod afis;
mod count;
mod demo;
mod handedness;
mod measure;
mod papers;
mod rules;
mod verify;
