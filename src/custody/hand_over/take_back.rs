//! Back from somebody without an account, whole or with something missing.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::hand_out::{Party, party};
use super::seal_seen::{seal_on, seal_seen, seen_texts};
use super::{Condition, custody_mut, may_hold};
use crate::custody::consumed::ItemConsumed;
use crate::custody::fact::{Draft, Fact};
use crate::custody::package::{MAX_CONTENTS, PackageOpened, PieceTakenOut, seal_number};
use crate::custody::refusal::{Refusal, Rule, text};
use crate::custody::rules::{Context, Meta, Misfit, capital};
use crate::custody::state::{Holder, State};
use crate::custody::weight::{Weighed, weighed};
use crate::custody::{capacity, consumed};
use crate::ids::{CaseId, Piece, Subject};
use crate::people::{Action, permission};

/// Why something did not come back with the package that it went out in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Stayed {
    /// Whoever had it keeps it for now: a court, a laboratory.
    Retained,
    /// An examination used it up.
    Consumed,
    /// It was not in the package, and nobody said why.
    Missing,
}

impl Stayed {
    /// Every reason.
    pub const ALL: [Self; 3] = [Self::Retained, Self::Consumed, Self::Missing];

    /// In words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Retained => "kept by whoever had it",
            Self::Consumed => "used up by an examination",
            Self::Missing => "not in the package: missing",
        }
    }

    /// The word in forms and commands.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Retained => "retained",
            Self::Consumed => "consumed",
            Self::Missing => "missing",
        }
    }
}

/// Something that a package came back without.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Absent {
    /// What: it was in the package when that went out.
    pub piece: Piece,
    /// Why.
    pub why: Stayed,
    /// Who said so, and what else is known.
    pub note: String,
    /// What was used up, in words; only where it was.
    #[serde(default)]
    pub quantity: String,
    /// By whose authority it was used up.
    #[serde(default)]
    pub authority: String,
    /// The report that shows that.
    #[serde(default)]
    pub report: String,
}

/// Take back from somebody without an account.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TakeBack {
    /// What.
    pub piece: Piece,
    /// Who brought it.
    pub party: Party,
    /// The seal number seen.
    #[serde(default)]
    pub seal_seen: String,
    /// The condition seen.
    #[serde(default)]
    pub condition: Condition,
    /// Note.
    #[serde(default)]
    pub note: String,
    /// What it weighs as it comes.
    #[serde(default)]
    pub weighed: Option<Weighed>,
    /// Of a package: what it came back without.
    #[serde(default)]
    pub absent: Vec<Absent>,
}

/// Taken back.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TakenBack {
    /// What.
    pub piece: Piece,
    /// Who brought it.
    pub name: String,
    /// Organisation.
    pub organisation: String,
    /// The identification that was seen.
    pub identification: String,
    /// Reference number.
    pub reference: String,
    /// The seal on record; empty for none.
    pub seal: String,
    /// The seal seen.
    pub seal_seen: String,
    /// The condition seen.
    pub condition: Condition,
    /// Note.
    pub note: String,
    /// With this it is no longer out: a custodian took it back, or nothing but the hand-out had lent it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub ends_loan: bool,
    /// Its weight in milligrams, where it was weighed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weight_mg: Option<u64>,
    /// The scale.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<String>,
}

/// The texts about what a package came back without.
fn absent_texts(x: &TakeBack) -> Result<(), Refusal> {
    let bad = |sentence: String, next: &str| {
        Err(Refusal::new(Rule::BadValue, sentence, next).on("absent"))
    };
    if x.absent.len() > MAX_CONTENTS {
        return bad(
            format!("A package holds at most {MAX_CONTENTS} pieces."),
            "Name what was in it.",
        );
    }
    for (i, absent) in x.absent.iter().enumerate() {
        text("note", &absent.note, 500, true).map_err(|r| r.on("absent_note"))?;
        if absent.why == Stayed::Consumed {
            consumed::texts(&absent.quantity, None, &absent.authority, &absent.report)?;
            if matches!(absent.piece, Piece::Package(_)) {
                return bad(
                    "An examination uses up items, not packages.".into(),
                    "Say that the package stayed, and record what was used up of each item.",
                );
            }
        } else if !(absent.quantity.is_empty()
            && absent.authority.is_empty()
            && absent.report.is_empty())
        {
            return bad(
                "Nothing of what stayed or is missing was used up.".into(),
                "Leave out quantity, authority and report.",
            );
        }
        if x.absent[..i].iter().any(|a| a.piece == absent.piece) {
            return Err(Refusal::new(
                Rule::NamedTwice,
                "A thing that did not come back is named twice.",
                "Name it once.",
            )
            .on("absent"));
        }
        if matches!(x.piece, Piece::Item(_)) {
            return bad(
                "Only a package comes back without something.".into(),
                "Leave out what did not come back.",
            );
        }
    }
    Ok(())
}

/// What a package came back without: it was opened outside where it was sealed, and each thing left it while somebody outside
/// had both. So the thing stays with them, and on loan as the package was.
fn absent(ctx: &Context<'_>, x: &TakeBack, case: CaseId) -> Result<Vec<Draft>, Refusal> {
    let mut drafts = Vec::new();
    let Piece::Package(id) = x.piece else {
        return Ok(drafts);
    };
    let Some(package) = ctx.state.packages.get(&id).filter(|_| !x.absent.is_empty()) else {
        return Ok(drafts);
    };
    if let Some(seal) = package.seal() {
        let whole = matches!(
            x.condition,
            Condition::Intact | Condition::Wet | Condition::Leaking
        );
        if whole {
            return Err(Refusal::new(
                Rule::Sealed,
                format!(
                    "Package P{} came back sealed as it went: nobody can have taken anything out.",
                    package.number
                ),
                "Say open, damaged or mismatch where that is so; else take it back as it is and open it on the record.",
            )
            .on("condition"));
        }
        let fact = Fact::PackageOpened(PackageOpened {
            package: id,
            seal: seal.number.clone(),
            seal_seen: seal_number(&x.seal_seen),
            condition: x.condition,
            reason: "It came back from outside opened.".into(),
            note: String::new(),
            outside: true,
        });
        drafts.extend(ctx.draft(Some(case), vec![x.piece.into()], fact));
    }
    let who = ctx
        .state
        .holder(x.piece)
        .map_or_else(String::new, |h| ctx.holder_name(h));
    for absent in &x.absent {
        let fact = Fact::PieceTakenOut(PieceTakenOut {
            package: id,
            piece: absent.piece,
            reason: absent.note.clone(),
            stayed: Some(absent.why),
        });
        drafts.extend(ctx.draft(Some(case), vec![x.piece.into(), absent.piece.into()], fact));
        if let (Stayed::Consumed, Piece::Item(item)) = (absent.why, absent.piece) {
            consumed::can_be(ctx, item)?;
            let fact = Fact::ItemConsumed(ItemConsumed {
                item,
                whole: true,
                quantity: absent.quantity.clone(),
                said_by: who.clone(),
                authority: absent.authority.clone(),
                report: absent.report.clone(),
                note: absent.note.clone(),
            });
            drafts.extend(ctx.draft(Some(case), vec![Subject::Item(item)], fact));
        }
    }
    Ok(drafts)
}

pub(in crate::custody) fn take_back(
    ctx: &Context<'_>,
    x: &TakeBack,
) -> Result<Vec<Draft>, Refusal> {
    seen_texts(&x.seal_seen, &x.note)?;
    party(&x.party)?;
    let (weight_mg, scale) = weighed(x.weighed.as_ref())?.unzip();
    absent_texts(x)?;
    let (custody, case) = ctx.piece(x.piece)?;
    ctx.loose(x.piece, custody)?;
    if !matches!(custody.holder, Holder::Outside { .. }) {
        return Err(Refusal::new(
            Rule::NotOutside,
            format!(
                "{} is not outside: {} has it.",
                capital(&ctx.state.name(x.piece)),
                ctx.holder_name(&custody.holder)
            ),
            "Have it released to you and receive it.",
        ));
    }
    may_hold(ctx)?;
    seal_seen(ctx.state, x.piece, &x.seal_seen, x.condition, &x.note)?;
    let mut drafts = absent(ctx, x, case)?;
    // Back with whoever keeps the storeroom it is no longer out. Anybody else brings to an end what the hand-out lent, and
    // still owes the storeroom what it lent before.
    let keeps = permission::allows(&ctx.actor.roles, Action::Keep);
    let fact = Fact::TakenBack(TakenBack {
        piece: x.piece,
        name: x.party.name.clone(),
        organisation: x.party.organisation.clone(),
        identification: x.party.identification.clone(),
        reference: x.party.reference.clone(),
        seal: seal_on(ctx.state, x.piece).to_owned(),
        seal_seen: seal_number(&x.seal_seen),
        condition: x.condition,
        note: x.note.clone(),
        ends_loan: keeps || custody.loan.as_ref().is_some_and(|l| l.outside),
        weight_mg,
        scale,
    });
    drafts.extend(ctx.draft(Some(case), vec![x.piece.into()], fact));
    Ok(drafts)
}

pub(in crate::custody) fn taken_back(
    state: &mut State,
    piece: Piece,
    ends_loan: bool,
    meta: &Meta,
) -> Result<(), Misfit> {
    let person = meta
        .actor
        .ok_or_else(|| meta.misfit("taking back has an actor"))?;
    let custody = custody_mut(state, piece, meta)?;
    custody.offer = None;
    custody.out = None;
    let from = custody.holder.place();
    custody.holder = Holder::Person { person };
    if ends_loan {
        custody.loan = None;
    }
    capacity::moved(state, from, None, meta)
}
