//! People: roles, what each role may do, passwords.

pub mod password;
pub mod permission;
pub mod role;

pub use permission::Action;
pub use role::Role;
