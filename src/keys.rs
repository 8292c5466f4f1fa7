//! The signing key on disk.
