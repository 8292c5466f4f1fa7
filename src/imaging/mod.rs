//! Pixels.
