//! Roles, permissions, passwords.
