//! Amendments: a correction is a new event that names the old. Nothing recorded is changed.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, TextRule, text, text_by};
use super::rules::{Context, Meta, Misfit, not_found};
use super::state::State;
use super::{item, mark};
use crate::ids::{Seq, Subject};
use crate::people::Role;

/// What may be amended: descriptive texts of marks, developments and recoveries. Who had what, and when, is never
/// amended: later acts were decided on it.
pub const AMENDABLE: &[(&str, &[&str])] = &[
    ("mark.noted", &["object", "exact_place", "up", "note"]),
    ("item.recovered", &["description", "lot"]),
];

/// Correct a record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Amend {
    /// The event, by its position in the ledger.
    pub event: Seq,
    /// The field.
    pub field: String,
    /// What it should say.
    pub value: String,
    /// Why.
    pub reason: String,
}

/// A record was amended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Amended {
    /// What it is about.
    pub of: Subject,
    /// The event.
    pub event: Seq,
    /// Its kind.
    pub event_kind: String,
    /// The field.
    pub field: String,
    /// What it said until now: as the event recorded it, or as amended since.
    pub was: String,
    /// What it should say.
    pub value: String,
    /// Why.
    pub reason: String,
}

/// The texts of the act that made such an event.
fn texts(kind: &str) -> &'static [TextRule] {
    match kind {
        "mark.noted" => mark::TEXTS,
        "item.recovered" => item::TEXTS,
        _ => &[],
    }
}

pub(super) fn amend(ctx: &Context<'_>, x: &Amend) -> Result<Vec<Draft>, Refusal> {
    let past = ctx
        .state
        .events
        .get(&x.event)
        .ok_or_else(|| not_found("event").on("event"))?;
    if let Some(case) = past.case {
        ctx.case(case)?;
    }
    text("reason", &x.reason, 500, true)?;
    let rules = texts(&past.kind);
    if rules.iter().any(|(name, ..)| *name == x.field) {
        text_by(rules, &x.field, &x.value).map_err(|r| r.on("value"))?;
    }
    let fields = AMENDABLE
        .iter()
        .find(|(kind, _)| *kind == past.kind)
        .map_or(&[][..], |(_, fields)| fields);
    // The last subject is the one that the event made; the first is its case.
    let of = *past.subjects.last().ok_or_else(|| not_found("event"))?;
    let was = current(ctx.state, of, &x.field).filter(|_| fields.contains(&x.field.as_str()));
    let Some(was) = was else {
        return Err(Refusal::new(
            Rule::NotAmendable,
            format!("The field {} of this event is not amended.", x.field),
            if fields.is_empty() {
                "Who had what and when stays as recorded; add a note by a new act.".to_owned()
            } else {
                format!("These are: {}.", fields.join(", "))
            },
        )
        .on("field"));
    };
    if ctx.actor.id != past.actor && !ctx.actor.roles.contains(&Role::Supervisor) {
        return Err(Refusal::new(
            Rule::NotAuthor,
            "Only the person who recorded it or a supervisor amends it.",
            "Ask one of them.",
        ));
    }
    let fact = Fact::Amended(Amended {
        of,
        event: x.event,
        event_kind: past.kind.clone(),
        field: x.field.clone(),
        was: was.to_owned(),
        value: x.value.clone(),
        reason: x.reason.clone(),
    });
    Ok(ctx.draft(past.case, vec![of], fact))
}

/// A field that can be amended, as it stands now.
fn current<'a>(state: &'a State, of: Subject, field: &str) -> Option<&'a str> {
    match of {
        Subject::Mark(id) => {
            let noted = &state.marks.get(&id)?.noted;
            match field {
                "object" => Some(&noted.object),
                "exact_place" => Some(&noted.exact_place),
                "up" => Some(&noted.up),
                "note" => Some(&noted.note),
                _ => None,
            }
        }
        Subject::Item(id) => {
            let recovered = &state.items.get(&id)?.recovered;
            match field {
                "description" => Some(&recovered.description),
                "lot" => Some(&recovered.lot),
                _ => None,
            }
        }
        _ => None,
    }
}

pub(super) fn amended(state: &mut State, x: &Amended, meta: &Meta) -> Result<(), Misfit> {
    let gone = || meta.misfit("no such record to amend");
    let slot = match x.of {
        Subject::Mark(id) => {
            let noted = &mut state.marks.get_mut(&id).ok_or_else(gone)?.noted;
            match x.field.as_str() {
                "object" => &mut noted.object,
                "exact_place" => &mut noted.exact_place,
                "up" => &mut noted.up,
                "note" => &mut noted.note,
                _ => return Err(meta.misfit("no such field of a mark")),
            }
        }
        Subject::Item(id) => {
            let recovered = &mut state.items.get_mut(&id).ok_or_else(gone)?.recovered;
            match x.field.as_str() {
                "description" => &mut recovered.description,
                "lot" => &mut recovered.lot,
                _ => return Err(meta.misfit("no such field of an item")),
            }
        }
        _ => return Err(gone()),
    };
    slot.clone_from(&x.value);
    Ok(())
}
