//! Custody: commands, state, decisions, refusals.
//!
//! One file a noun. Each holds the noun's commands (what somebody asks for), its facts (what an event says happened),
//! and two kinds of functions: those that decide (may it happen, and what follows) and those that apply a fact (what the
//! state is afterwards). [`decide()`] tries the rules that hold for every act and hands on; [`apply()`] only hands on. All of it is pure: the same state, actor, command and time give the
//! same answer.

pub mod advice;
pub mod afis;
pub mod amendment;
pub mod brought;
pub mod capacity;
pub mod case;
pub mod climate_log;
pub mod command;
pub mod consumed;
pub mod continuity;
pub mod copy;
pub mod count;
pub mod disclosure;
pub mod disposition;
pub mod drying;
pub mod exhibit;
pub mod expungement;
pub mod fact;
pub mod finding;
pub mod hand_over;
pub mod hold;
pub mod image;
pub mod import;
pub mod intake;
pub mod item;
pub mod kit;
pub mod mark;
mod named;
pub mod package;
pub mod paper;
pub mod person;
pub mod place;
pub mod refusal;
pub mod repack;
pub mod retention;
pub mod rules;
pub mod seal_stock;
pub mod sheet;
pub mod shelving;
pub mod state;
pub mod stock;
pub mod thread;
pub mod two_person;
pub mod value;
pub mod weight;

pub use command::{Act, Actor, Command, Signed};
pub use fact::{Draft, Fact};
pub use refusal::{Refusal, Rule};
pub use rules::{apply, decide};
pub use state::State;
