//! Keeping is physical: packaging, shelves, climate.
