//! The seal that somebody sees at a hand-over, against the one on the record.

use super::Condition;
use crate::custody::package::seal_number;
use crate::custody::refusal::{Refusal, Rule, text};
use crate::custody::rules::capital;
use crate::custody::state::State;
use crate::ids::Piece;

/// The number of the seal that is on a piece; empty for none.
#[must_use]
pub fn seal_on(state: &State, piece: Piece) -> &str {
    match piece {
        Piece::Item(_) => "",
        Piece::Package(id) => state
            .packages
            .get(&id)
            .and_then(|p| p.seal())
            .map_or("", |s| s.number.as_str()),
    }
}

/// The texts of what was seen.
///
/// # Errors
/// [`Rule::BadText`].
pub(in crate::custody) fn seen_texts(seal_seen: &str, note: &str) -> Result<(), Refusal> {
    text("seal_seen", seal_seen, 40, false)?;
    text("note", note, 1000, false)
}

/// Checks what was seen of a seal against the seal on record.
///
/// # Errors
/// [`Rule::SealNotStated`], [`Rule::SealDiffers`], [`Rule::ConditionWithoutNote`].
pub(in crate::custody) fn seal_seen(
    state: &State,
    piece: Piece,
    seen: &str,
    condition: Condition,
    note: &str,
) -> Result<(), Refusal> {
    let on = seal_on(state, piece);
    let broken = matches!(condition, Condition::Open | Condition::Mismatch);
    let seen = seal_number(seen);
    if !on.is_empty() && seen.is_empty() && !broken {
        return Err(Refusal::new(
            Rule::SealNotStated,
            format!(
                "{} is sealed and you did not say which seal you saw.",
                capital(&state.name(piece))
            ),
            "Read the number on the seal and give it.",
        )
        .on("seal_seen"));
    }
    if seen != on && !broken {
        // The number on record stays unsaid: whoever is told it could give it back without having read the seal.
        return Err(Refusal::new(
            Rule::SealDiffers,
            format!("You saw seal {seen}; that is not what is on record."),
            "Read the number again. If that is what is on it, say mismatch with a note, or refuse it.",
        )
        .on("seal_seen"));
    }
    if condition != Condition::Intact && note.trim().is_empty() {
        return Err(Refusal::new(
            Rule::ConditionWithoutNote,
            "A condition other than intact needs a note.",
            "Say what you saw.",
        )
        .on("note"));
    }
    Ok(())
}

/// The reason why something goes unsealed, as a text.
///
/// # Errors
/// [`Rule::BadText`].
pub(in crate::custody) fn unsealed_text(reason: Option<&str>) -> Result<(), Refusal> {
    reason.map_or(Ok(()), |r| text("unsealed_reason", r, 500, false))
}

/// Something goes out sealed, or says why not.
pub(in crate::custody) fn sealed_or_reason(
    state: &State,
    piece: Piece,
    reason: Option<&str>,
) -> Result<(), Refusal> {
    if seal_on(state, piece).is_empty() && reason.is_none_or(|r| r.trim().is_empty()) {
        return Err(Refusal::new(
            Rule::NotSealed,
            format!("{} is not sealed.", capital(&state.name(piece))),
            "Pack and seal it, or say why it goes unsealed; the reason goes on the record.",
        )
        .on("unsealed_reason"));
    }
    Ok(())
}
