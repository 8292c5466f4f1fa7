//! Custody: commands, state, decisions, refusals.
