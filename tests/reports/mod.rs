//! Labels and reports: checks that need nothing but cargo.
mod codes;
mod labels;
mod report;
pub mod sample;
