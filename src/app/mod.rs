//! The application: one append path, and what pages and commands read.

pub mod agency;
pub mod audit;
pub mod backup;
pub mod copies;
pub mod cosignatures;
pub mod demo;
pub mod export;
pub mod growth;
pub mod house;
pub mod import;
pub mod knowledge;
pub mod label_photo;
pub mod papers;
pub mod past;
pub mod photograph;
pub mod proofs;
pub mod reader;
pub mod readiness;
mod rebuilt;
pub mod record;
mod refreshed;
pub mod removal;
pub mod replay;
pub mod rows;
pub mod sign_in;
pub mod site;
pub mod stage;
pub mod views;
pub mod word_index;

pub use agency::Agency;
pub use reader::{Page, Part, Past, ReadError, Reader, Thing, Viewer};
pub use record::{RecordError, Recorded, Recorder, Sent, Tools};
pub use replay::replay;
pub use stage::{Stage, StageError};
