//! The application: from a command to events, and back to the state.

mod stage;
