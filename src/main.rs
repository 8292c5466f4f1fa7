//! Parses arguments and calls the command line.

use std::process::ExitCode;

fn main() -> ExitCode {
    liftledger::cli::run(std::env::args_os())
}
