//! Parses arguments and calls the command line.

fn main() {}
