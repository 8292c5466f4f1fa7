//! What is handed to others, as models that become bytes. Pure: no files, no clock, no database.
//!
//! - [`itl`] a latent print image with its orientation and processing history, as other laboratories' systems take it

pub mod itl;
