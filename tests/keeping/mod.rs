//! Keeping: packaging, places, and needs joined.

mod excursion;
mod fitting;
mod joining;
mod packaging;
mod retention;
mod sampling;
mod sourced;
mod storing;
mod times;

use liftledger::{
    keeping::{Facts, KeepNeeds},
    trade::TradeRules,
};

/// The rules compiled into the program.
pub fn rules() -> TradeRules {
    TradeRules::load_embedded().unwrap()
}

/// The needs of a medium with these facts.
pub fn needs(medium: &str, facts: Facts) -> KeepNeeds {
    let rules = rules();
    KeepNeeds::derive(rules.keeping(), rules.medium(medium).unwrap(), &facts)
}

/// Nothing special.
pub fn plain() -> Facts {
    Facts::default()
}

/// Every combination of the four facts.
pub fn all_facts() -> Vec<Facts> {
    (0..16_u8)
        .map(|n| Facts {
            wet: n & 1 != 0,
            biological: n & 2 != 0,
            fragile: n & 4 != 0,
            sharp: n & 8 != 0,
            ..Facts::default()
        })
        .collect()
}
