//! What is handed to others, as models that become bytes. Pure: no files, no clock, no database.
//!
//! - [`itl`] a latent print image with its orientation and processing history, as other laboratories' systems take it
//! - [`bag`] a disclosure bundle's container: a BagIt bag in a zip, written in one go
//! - [`contents`] what a bundle holds and what it leaves out, and why
//! - [`paper`] what a PDF that turned up says of which print it is
//! - [`provenance`] who did what with which item, as CASE/UCO JSON-LD
//! - [`bundle`] a bundle checked as a whole, by the same rules as anybody else's verifier
//! - [`signature`] signed papers: certificates, signatures and timestamps

pub mod bag;
pub mod bundle;
pub mod contents;
pub mod itl;
pub mod paper;
pub mod provenance;
pub mod signature;
