mod password;
mod permission;
