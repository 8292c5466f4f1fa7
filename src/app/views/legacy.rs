//! The finding that something was taken over from another record, or brought to the counter without one.

use crate::custody::import::{ItemImported, NOT_WITNESSED};

/// What was taken over from another record: this ledger saw nothing of what was before.
pub(super) fn legacy(x: &ItemImported) -> String {
    let day = x.received_on.map_or_else(
        || "does not say when it was received".to_owned(),
        |day| format!("says that it was received on {day}"),
    );
    format!(
        "{NOT_WITNESSED}. It was taken over from {}, row {}, where its number was {}; that record {day}.",
        x.file, x.row, x.former
    )
}
