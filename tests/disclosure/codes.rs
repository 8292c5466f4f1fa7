//! The codes of the writer are those of the trade rules, which name their sources.

use liftledger::disclosure::itl::codes::{MATRICES, METHODS, SUBSTRATES};
use liftledger::trade::TradeRules;

#[test]
fn every_code_of_the_rules_can_be_written_and_no_other() {
    let rules = TradeRules::load_embedded().unwrap();
    let mut methods: Vec<&str> = rules.methods().iter().map(|m| m.id.as_str()).collect();
    methods.sort_unstable();
    assert_eq!(methods, METHODS);
    let mut substrates: Vec<&str> = rules.substrates().iter().map(|s| s.id.as_str()).collect();
    substrates.sort_unstable();
    assert_eq!(substrates, SUBSTRATES);
    for matrix in rules.matrices() {
        assert!(
            MATRICES.contains(&matrix.id.parse().unwrap()),
            "{}",
            matrix.id
        );
    }
    assert_eq!(rules.matrices().len(), MATRICES.count());
}
