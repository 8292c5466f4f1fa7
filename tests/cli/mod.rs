//! The command line, run as a process.

mod advise;
mod afis;
mod count;
mod demo;
mod handedness;
mod measure;
mod papers;
mod pdf;
mod rules;
mod verify;

use std::process::Command;

/// Runs the program: its exit code, and what it wrote to its two streams.
pub fn liftledger(command: &[&str], args: &[&str]) -> (Option<i32>, String, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(command)
        .args(args)
        .output()
        .unwrap();
    let text = |b| String::from_utf8(b).unwrap();
    (out.status.code(), text(out.stdout), text(out.stderr))
}
