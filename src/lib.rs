//! Evidence-lift chain-of-custody and packaging ledger.
//!
//! The map, in reading order. Each layer knows only the ones above it.
//!
//! Core (pure: no async, no database, no network, no files, no clock):
//! - [`ids`] typed identifiers, digests, codes that a scanner reads
//! - [`ledger`] events, commitments, tree, checkpoints, the verifier
//! - [`people`] roles, permissions, passwords
//! - [`lifting`] how it was lifted, and which way round the image reads
//! - [`keeping`] what it must be packed in and where it may be stored
//! - [`imaging`] pixels: what a picture is, how it was turned, its density, working copies
//! - [`custody`] commands, state, decisions, refusals
//! - [`reports`] labels and papers as PDF
//! - [`disclosure`] what is handed to others: latent prints for an AFIS, bundles that anybody can check
//!
//! Application:
//! - [`app`] the only append path, and what pages and commands read
//!
//! Edges:
//! - [`config`] [`metrics`] [`clock`] [`whole`] [`keys`] [`originals`] [`uploads`] [`timestamps`] [`trade`] [`receivers`] [`witnesses`] [`store`] [`web`] [`cli`] [`witness`]

pub mod app;
pub mod cli;
pub mod clock;
pub mod config;
pub mod custody;
pub mod disclosure;
pub mod ids;
pub mod imaging;
pub mod keeping;
pub mod keys;
pub mod ledger;
pub mod lifting;
pub mod metrics;
pub mod originals;
pub mod people;
pub mod receivers;
pub mod reports;
pub mod store;
pub mod timestamps;
pub mod tls;
pub mod trade;
pub mod uploads;
pub mod web;
pub mod whole;
pub mod witness;
pub mod witnesses;
pub mod zone;
