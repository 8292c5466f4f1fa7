//! The command line, run as a process.

mod advise;
mod afis;
mod certificate;
mod climate;
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
    liftledger_in(&[], command, args)
}

/// The same with these variables in its environment.
pub fn liftledger_in(
    environment: &[(&str, &str)],
    command: &[&str],
    args: &[&str],
) -> (Option<i32>, String, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(command)
        .args(args)
        .envs(environment.iter().copied())
        .output()
        .unwrap();
    let text = |b| String::from_utf8(b).unwrap();
    (out.status.code(), text(out.stdout), text(out.stderr))
}

/// Each command can be asked how it is used: two arguments of one name would end it instead.
#[test]
fn every_command_tells_how_it_is_used() {
    let (code, said, err) = liftledger(&["--help"], &[]);
    assert_eq!(code, Some(0), "{err}");
    let (_, list) = said.split_once("Commands:\n").unwrap();
    let names: Vec<&str> = list
        .lines()
        .take_while(|l| !l.is_empty())
        .filter_map(|l| l.strip_prefix("  ")?.split_whitespace().next())
        .filter(|n| *n != "help")
        .collect();
    assert!(names.len() > 20, "{names:?}");
    for name in names {
        let (code, said, err) = liftledger(&[name, "--help"], &[]);
        assert_eq!(code, Some(0), "{name}: {err}");
        assert!(said.contains("Usage:"), "{name}");
    }
}
