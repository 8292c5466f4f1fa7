//! How a mark was lifted and which way round its image reads.
//!
//! Reading order: [`caution`], [`surface`], [`method`], [`handedness`], [`medium`], [`contrast`],
//! [`thickness`], [`set_window`], [`set_time`], [`film`], [`volume`], [`advise`]. The types
//! here are what `seed/trade` fills in; what must be computed (parity, windows, contrast) is a function beside them.

pub mod advise;
pub mod caution;
pub mod contrast;
pub mod film;
pub mod handedness;
pub mod medium;
pub mod method;
pub mod set_time;
pub mod set_window;
pub mod surface;
pub mod thickness;
pub mod volume;

pub use caution::Caution;
pub use contrast::{Ground, card_for};
pub use handedness::{Lateral, MAX_STEPS, Reading, Relief, Step, Tone, read};
pub use medium::{Clarity, Form, Medium, SetWindow, Suits, View, chain, view_steps};
pub use method::{MarkTone, Method};
pub use set_time::{SetCheck, SetVerdict};
pub use set_window::{SetRow, Sheet, Window, window};
pub use surface::{Curvature, MarkDepth, MarkKind, Matrix, Substrate, SubstrateClass, Texture};
pub use thickness::Thickness;
