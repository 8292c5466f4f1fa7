//! Measures of the ledger.

fn main() {}
