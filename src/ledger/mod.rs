//! Events, what they commit to, the tree over them, signed checkpoints, and the verifier.
//!
//! This module knows nothing of custody, so that it can be audited alone. It reads no clock, no file and no randomness:
//! times, salts and keys come from the caller. In reading order:
//!
//! - [`canonical`] one byte form for one JSON value (RFC 8785)
//! - [`times`] the two forms of a time in a header
//! - [`payload`] named fields, each committed by itself
//! - [`event`] header and payload together
//! - [`merkle`] the tree over the headers (RFC 9162)
//! - [`checkpoint`] the signed tree head (C2SP signed note)
//! - [`cosignature`] a witness's signature on it (C2SP tlog-cosignature)
//! - [`expunged`] events whose payload is gone by order
//! - [`export`] the lines of an export folder
//! - [`verify`] rebuilds everything from raw rows and reports all that does not fit
//! - [`format`](mod@format) the whole format in words, for whoever writes a verifier of their own

pub mod canonical;
pub mod checkpoint;
pub mod cosignature;
pub mod event;
pub mod export;
pub mod expunged;
pub mod merkle;
pub mod note_key;
pub mod payload;
pub(crate) mod scan;
pub mod times;
pub mod verify;

#[doc = include_str!("FORMAT.md")]
pub mod format {}
