//! The ledger by itself: bytes, hashes, proofs, checkpoints, and the verifier against tampering.

mod canonical;
mod checkpoint;
mod cosignature;
mod event;
mod export;
mod format;
mod memory;
mod merkle;
mod payload;
mod tamper;
