//! Time, as the server observes it.
