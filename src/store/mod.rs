//! The database.
