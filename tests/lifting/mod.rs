//! Lifting: handedness, media, setting time, contrast, and the data behind them.

mod advise;
mod advise_data;
mod advise_random;
mod chains;
mod codes;
mod handedness;
mod loading;
mod measures;
mod media;
mod overlay;
mod set_time;
mod set_window;
pub mod surfaces;

use liftledger::trade::TradeRules;

/// The rules compiled into the program.
pub fn rules() -> TradeRules {
    TradeRules::load_embedded().unwrap()
}
