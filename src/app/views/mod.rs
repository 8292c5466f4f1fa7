//! What pages, the interface for programs, the command line and the papers show, as plain structs: machine values with
//! the words beside them, so that no two of them say it differently.
//!
//! Reading order: [`words`]; [`trail`] (the events of a piece, also those of the packages around it), [`custody_rows`],
//! [`findings`] and [`thread`], which [`told`] makes from one reading; then the files ([`item_file`]…), which join
//! these with the small parts beside them. Everything here is read for somebody: [`crate::app::Reader`] asks whether
//! they may, and what only computes takes no reader.

pub mod advice;
pub mod amendments;
pub mod attention;
pub mod boxes;
pub mod case_file;
pub mod case_findings;
pub mod case_ref;
pub mod case_row;
pub mod climate_log_file;
pub mod count_file;
pub mod counts;
pub mod custody_rows;
pub mod desk;
mod desk_examiner;
pub mod eligible;
pub mod exposure;
pub mod expungements;
pub mod find;
mod find_words;
pub mod findings;
pub mod images;
pub mod intake;
pub mod item_file;
pub mod keeping;
mod legacy;
pub mod line;
pub mod lot_file;
pub mod mark_file;
pub mod mark_words;
pub mod next_acts;
pub mod orientation;
pub mod package_file;
pub mod place_file;
pub mod ready;
pub mod room;
pub mod seal_stock;
pub mod seals;
pub mod sighting;
pub mod standing;
pub mod thread;
pub mod times;
pub mod told;
pub mod trail;
pub mod words;
