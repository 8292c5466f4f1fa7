//! Image originals on disk, by digest.
