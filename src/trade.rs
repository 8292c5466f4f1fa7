//! Loads the trade rules from the data in seed/trade.
