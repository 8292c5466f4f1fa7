//! The style sheet and the script, part of the program.

/// The style sheet, served as `/style.css`.
pub const STYLE: &str = include_str!("assets/style.css");

/// The script, served as `/script.js`.
pub const SCRIPT: &str = include_str!("assets/script.js");

/// The script of the field on top, served as `/find.js`.
pub const FIND: &str = include_str!("assets/find.js");

/// The script of pages that send files, served as `/upload.js`.
pub const UPLOAD: &str = include_str!("assets/upload.js");

/// The script of pages that hear a scanner wherever the focus is, served as `/scanner.js`.
pub const SCANNER: &str = include_str!("assets/scanner.js");

/// The script of the intake counter, served as `/intake.js`.
pub const INTAKE: &str = include_str!("assets/intake.js");

/// The script of counts, served as `/count.js`.
pub const COUNT: &str = include_str!("assets/count.js");

/// The script of pages that are kept up to date, served as `/live.js`.
pub const LIVE: &str = include_str!("assets/live.js");

/// The script of the viewer of pictures, served as `/viewer.js`.
pub const VIEWER: &str = include_str!("assets/viewer.js");

/// The icon, served as `/icon.svg`.
pub const ICON: &str = include_str!("assets/icon.svg");

/// The content security policy of every page: nothing from elsewhere, nothing inline.
pub const POLICY: &str = "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";
