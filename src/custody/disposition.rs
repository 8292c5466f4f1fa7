//! Disposition: the end of custody, in three steps by three different people.
//!
//! A supervisor authorises it, a custodian who holds the thing carries it out and names a witness, and the witness confirms
//! by signing that they saw it. Only then does custody end. Between the second and the third step the thing is frozen:
//! nothing else can be done with it, and by the record the custodian still has it. Afterwards nothing is done with it any
//! more; descriptive texts can still be corrected and papers printed.
//!
//! What may be disposed of, when, how and by whose authority, local law decides; the rules here only see to it that no one
//! person does it alone and that it says on the record what it was done by.

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::fact::{Draft, Fact};
use super::hand_over::{Condition, Party, seal_on, seal_seen, seen_texts};
use super::package::seal_number;
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, capital, not_found};
use super::state::{Custody, Holder, State};
use super::{hold, retention};
use crate::ids::{PersonId, Piece};
use crate::people::{Action, permission};

/// How it ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// Returned to its owner, whose identification was seen.
    ReturnToOwner,
    /// Destroyed.
    Destroy,
    /// Transferred to another body, which keeps it from then on.
    Transfer,
    /// Kept for good, outside the storeroom's custody: a collection, an archive, teaching.
    Keep,
    /// Used up by an examination. Nobody authorises that as a disposition: it is an act of its own.
    Consumed,
}

impl Method {
    /// Every method that can be authorised.
    pub const ALL: [Self; 4] = [
        Self::ReturnToOwner,
        Self::Destroy,
        Self::Transfer,
        Self::Keep,
    ];

    /// What was done, in words.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::ReturnToOwner => "returned to its owner",
            Self::Destroy => "destroyed",
            Self::Transfer => "transferred",
            Self::Keep => "kept for good",
            Self::Consumed => "used up by an examination",
        }
    }

    /// The word in forms and commands.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::ReturnToOwner => "return-to-owner",
            Self::Destroy => "destroy",
            Self::Transfer => "transfer",
            Self::Keep => "keep",
            Self::Consumed => "consumed",
        }
    }

    /// Whether somebody receives it.
    #[must_use]
    pub fn to_somebody(self) -> bool {
        matches!(self, Self::ReturnToOwner | Self::Transfer)
    }
}

/// Authorise a disposition.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct AuthoriseDisposition {
    /// What.
    pub piece: Piece,
    /// How it is to end.
    pub method: Method,
    /// By whose authority: a statute, a court's order, a prosecutor's release.
    pub authority: String,
    /// Why.
    pub reason: String,
    /// Why before the schedule's time is over, where it is; names who ordered it.
    #[serde(default)]
    pub early_reason: Option<String>,
}

/// Take an authorisation back, before it was carried out.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RevokeDisposition {
    /// What.
    pub piece: Piece,
    /// Why.
    pub reason: String,
}

/// Carry a disposition out. It counts when the witness has confirmed it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Dispose {
    /// What.
    pub piece: Piece,
    /// Who saw it and will confirm it.
    pub witness: PersonId,
    /// How and where it was done.
    pub how: String,
    /// Who received it; only where somebody did.
    #[serde(default)]
    pub party: Option<Party>,
    /// The seal number seen; needed where there is a seal.
    #[serde(default)]
    pub seal_seen: String,
    /// The condition seen.
    #[serde(default)]
    pub condition: Condition,
    /// Note; needed for any condition other than intact.
    #[serde(default)]
    pub note: String,
}

/// Confirm as the witness that it was done.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WitnessDisposition {
    /// What.
    pub piece: Piece,
}

/// Say that it was not done as recorded: the witness, or whoever recorded it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct DeclineDisposition {
    /// What.
    pub piece: Piece,
    /// Why.
    pub reason: String,
}

/// A disposition was authorised.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct DispositionAuthorised {
    /// What.
    pub piece: Piece,
    /// How it is to end.
    pub method: Method,
    /// By whose authority.
    pub authority: String,
    /// Why.
    pub reason: String,
    /// What the schedule said; empty where it no longer asked for it to be kept.
    pub kept: String,
    /// Why before the schedule's time was over.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub early_reason: Option<String>,
}

/// An authorisation was taken back.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct DispositionRevoked {
    /// What.
    pub piece: Piece,
    /// Why.
    pub reason: String,
}

/// A disposition was carried out; it waits for its witness.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct DispositionExecuted {
    /// What.
    pub piece: Piece,
    /// How it ended.
    pub method: Method,
    /// Who authorised it.
    pub authorised_by: PersonId,
    /// Their name at that moment.
    pub authorised_by_name: String,
    /// Who is to confirm it.
    pub witness: PersonId,
    /// Their name at that moment.
    pub witness_name: String,
    /// How and where it was done.
    pub how: String,
    /// Who received it; empty where nobody did.
    pub name: String,
    /// Their organisation.
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
}

/// The witness confirmed it: custody has ended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct DispositionWitnessed {
    /// What.
    pub piece: Piece,
    /// How it ended.
    pub method: Method,
    /// Who carried it out.
    pub executed_by: PersonId,
    /// Their name at that moment.
    pub executed_by_name: String,
    /// Who received it; empty where nobody did.
    pub to: String,
}

/// It was said not to have been done as recorded.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct DispositionDeclined {
    /// What.
    pub piece: Piece,
    /// Why.
    pub reason: String,
}

/// What was carried out and waits for its witness.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Executed {
    /// By whom.
    pub by: PersonId,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// Who is to confirm it.
    pub witness: PersonId,
    /// How and where it was done.
    pub how: String,
    /// Who received it; empty where nobody did.
    pub to: String,
}

/// How far a disposition is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Disposition {
    /// How it is to end.
    pub method: Method,
    /// Who authorised it.
    pub by: PersonId,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// By whose authority.
    pub authority: String,
    /// Why.
    pub reason: String,
    /// What was carried out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub executed: Option<Executed>,
}

/// Nothing is done with what was disposed of, nor, but by the witness, with what waits for its witness.
///
/// # Errors
/// [`Rule::Disposed`], [`Rule::DispositionOpen`].
pub(super) fn not_ended(ctx: &Context<'_>, piece: Piece, by_witness: bool) -> Result<(), Refusal> {
    let outermost = ctx.state.outermost(piece);
    let Some(custody) = ctx.state.custody(outermost) else {
        return Ok(());
    };
    if let Holder::Disposed { method } = &custody.holder {
        return Err(Refusal::new(
            Rule::Disposed,
            format!(
                "{} was {}: its custody has ended.",
                capital(&ctx.state.name(piece)),
                method.words()
            ),
            "Its record can be read, and its descriptive texts corrected.",
        ));
    }
    match custody
        .disposition
        .as_ref()
        .and_then(|d| d.executed.as_ref())
    {
        Some(done) if !by_witness => Err(Refusal::new(
            Rule::DispositionOpen,
            format!(
                "The disposition of {} was carried out and waits for {} to confirm it.",
                ctx.state.name(outermost),
                ctx.state.person_name(done.witness)
            ),
            "The witness confirms it, or says that it was not done.",
        )),
        _ => Ok(()),
    }
}

fn disposition<'a>(
    ctx: &'a Context<'_>,
    piece: Piece,
) -> Result<(&'a Custody, &'a Disposition), Refusal> {
    let (custody, _) = ctx.piece(piece)?;
    let disposition = custody.disposition.as_ref().ok_or_else(|| {
        Refusal::new(
            Rule::NotAuthorised,
            format!(
                "Nobody has authorised the disposition of {}.",
                ctx.state.name(piece)
            ),
            "Ask a supervisor to authorise it.",
        )
    })?;
    Ok((custody, disposition))
}

fn executed<'a>(
    ctx: &'a Context<'_>,
    piece: Piece,
) -> Result<(&'a Disposition, &'a Executed), Refusal> {
    let (_, disposition) = disposition(ctx, piece)?;
    let done = disposition.executed.as_ref().ok_or_else(|| {
        Refusal::new(
            Rule::NotAuthorised,
            format!(
                "The disposition of {} was not carried out yet.",
                ctx.state.name(piece)
            ),
            "The custodian who holds it carries it out first.",
        )
    })?;
    Ok((disposition, done))
}

pub(super) fn authorise(
    ctx: &Context<'_>,
    x: &AuthoriseDisposition,
) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    text("authority", &x.authority, 200, true)?;
    text("reason", &x.reason, 500, true)?;
    let early = x.early_reason.as_deref().unwrap_or_default().trim();
    text("early_reason", early, 500, false)?;
    if x.method == Method::Consumed {
        return Err(Refusal::new(
            Rule::BadValue,
            "What an examination uses up is not disposed of.",
            "Record what was used up, with the report that says so.",
        )
        .on("method"));
    }
    let (custody, case) = ctx.piece(x.piece)?;
    if custody.disposition.is_some() {
        return Err(Refusal::new(
            Rule::BadValue,
            format!(
                "The disposition of {} is authorised already.",
                ctx.state.name(x.piece)
            ),
            "Take that authorisation back first, if it is to be another one.",
        ));
    }
    hold::free(ctx, x.piece)?;
    let kept = ctx
        .state
        .cases
        .get(&case)
        .and_then(|c| retention::kept(c, ctx.at.date_naive()))
        .filter(|_| x.method != Method::Keep)
        .unwrap_or_default();
    if !kept.is_empty() && early.is_empty() {
        return Err(Refusal::new(
            Rule::Retained,
            format!("{} stays: {kept}.", capital(&ctx.state.name(x.piece))),
            "Wait until then, or say who ordered it earlier and why; local law decides whether that is enough.",
        )
        .on("early_reason"));
    }
    let fact = Fact::DispositionAuthorised(DispositionAuthorised {
        piece: x.piece,
        method: x.method,
        authority: x.authority.clone(),
        reason: x.reason.clone(),
        early_reason: (!kept.is_empty()).then(|| early.to_owned()),
        kept,
    });
    Ok(ctx.draft(Some(case), vec![x.piece.into()], fact))
}

pub(super) fn revoke(ctx: &Context<'_>, x: &RevokeDisposition) -> Result<Vec<Draft>, Refusal> {
    ctx.me()?;
    text("reason", &x.reason, 500, true)?;
    disposition(ctx, x.piece)?;
    let fact = Fact::DispositionRevoked(DispositionRevoked {
        piece: x.piece,
        reason: x.reason.clone(),
    });
    Ok(ctx.draft_of(x.piece, fact))
}

/// The three of them are three people.
fn three(ctx: &Context<'_>, me: PersonId, by: PersonId, witness: PersonId) -> Result<(), Refusal> {
    if by == me || witness == me || witness == by {
        return Err(Refusal::new(
            Rule::SamePerson,
            format!(
                "{} authorised it: who authorises, who carries out and who witnesses are three people.",
                ctx.state.person_name(by)
            ),
            "Have somebody else do it, or name another witness.",
        )
        .on("witness"));
    }
    Ok(())
}

fn may_witness(ctx: &Context<'_>, piece: Piece, witness: PersonId) -> Result<String, Refusal> {
    let person = ctx
        .state
        .people
        .get(&witness)
        .ok_or_else(|| not_found("person").on("witness"))?;
    let sees = ctx
        .state
        .case_of(piece.into())
        .and_then(|c| ctx.state.cases.get(&c))
        .is_some_and(|c| c.seen_by(Some(witness)));
    if !person.active || !sees || !permission::allows(&person.roles, Action::Witness) {
        return Err(Refusal::new(
            Rule::NotWitness,
            format!(
                "{} cannot witness it: the account is off, the role may not, or the case may not be seen.",
                person.name
            ),
            "Name another member of staff who was there.",
        )
        .on("witness"));
    }
    Ok(person.name.clone())
}

pub(super) fn dispose(ctx: &Context<'_>, x: &Dispose) -> Result<Vec<Draft>, Refusal> {
    let me = ctx.me()?;
    text("how", &x.how, 500, true)?;
    seen_texts(&x.seal_seen, &x.note)?;
    if let Some(party) = &x.party {
        text("name", &party.name, 100, true)?;
        text("organisation", &party.organisation, 200, false)?;
        text("identification", &party.identification, 200, true)?;
        text("reference", &party.reference, 100, false)?;
    }
    let (_, case) = ctx.in_hand(x.piece)?;
    let (_, disposition) = disposition(ctx, x.piece)?;
    hold::free(ctx, x.piece)?;
    three(ctx, me, disposition.by, x.witness)?;
    let witness_name = may_witness(ctx, x.piece, x.witness)?;
    if disposition.method.to_somebody() != x.party.is_some() {
        let (sentence, next) = if x.party.is_some() {
            (
                "Nobody receives what is destroyed or kept.",
                "Leave out who received it.",
            )
        } else {
            (
                "It goes to somebody, and nothing says to whom.",
                "Say who received it and which identification you saw.",
            )
        };
        return Err(Refusal::new(Rule::BadValue, sentence, next).on("party"));
    }
    seal_seen(ctx.state, x.piece, &x.seal_seen, x.condition, &x.note)?;
    let party = x.party.clone().unwrap_or(Party {
        name: String::new(),
        organisation: String::new(),
        identification: String::new(),
        reference: String::new(),
    });
    let fact = Fact::DispositionExecuted(DispositionExecuted {
        piece: x.piece,
        method: disposition.method,
        authorised_by: disposition.by,
        authorised_by_name: ctx.state.person_name(disposition.by),
        witness: x.witness,
        witness_name,
        how: x.how.clone(),
        name: party.name,
        organisation: party.organisation,
        identification: party.identification,
        reference: party.reference,
        seal: seal_on(ctx.state, x.piece).to_owned(),
        seal_seen: seal_number(&x.seal_seen),
        condition: x.condition,
        note: x.note.clone(),
    });
    Ok(ctx.draft(Some(case), vec![x.piece.into()], fact))
}

pub(super) fn witness(ctx: &Context<'_>, x: &WitnessDisposition) -> Result<Vec<Draft>, Refusal> {
    let me = ctx.me()?;
    let (disposition, done) = executed(ctx, x.piece)?;
    if done.witness != me {
        return Err(Refusal::new(
            Rule::NotWitness,
            format!(
                "{} was named as the witness.",
                ctx.state.person_name(done.witness)
            ),
            "Only they can confirm it.",
        ));
    }
    hold::free(ctx, x.piece)?;
    // Held once more, though the execution saw to it: nothing ends by fewer than three people.
    three(ctx, done.by, disposition.by, me)?;
    let fact = Fact::DispositionWitnessed(DispositionWitnessed {
        piece: x.piece,
        method: disposition.method,
        executed_by: done.by,
        executed_by_name: ctx.state.person_name(done.by),
        to: done.to.clone(),
    });
    Ok(ctx.draft_of(x.piece, fact))
}

pub(super) fn decline(ctx: &Context<'_>, x: &DeclineDisposition) -> Result<Vec<Draft>, Refusal> {
    let me = ctx.me()?;
    text("reason", &x.reason, 500, true)?;
    let (_, done) = executed(ctx, x.piece)?;
    if done.witness != me && done.by != me {
        return Err(Refusal::new(
            Rule::NotWitness,
            format!(
                "{} recorded it and {} was named as the witness.",
                ctx.state.person_name(done.by),
                ctx.state.person_name(done.witness)
            ),
            "Only they can say that it was not done.",
        ));
    }
    let fact = Fact::DispositionDeclined(DispositionDeclined {
        piece: x.piece,
        reason: x.reason.clone(),
    });
    Ok(ctx.draft_of(x.piece, fact))
}

fn custody_mut<'a>(
    state: &'a mut State,
    piece: Piece,
    meta: &Meta,
) -> Result<&'a mut Custody, Misfit> {
    let custody = state
        .custody_mut(piece)
        .ok_or_else(|| meta.misfit("no such piece"))?;
    custody.last_at = custody.last_at.max(meta.at);
    Ok(custody)
}

fn actor(meta: &Meta) -> Result<PersonId, Misfit> {
    meta.actor
        .ok_or_else(|| meta.misfit("a disposition has an actor"))
}

pub(super) fn authorised(
    state: &mut State,
    x: &DispositionAuthorised,
    meta: &Meta,
) -> Result<(), Misfit> {
    let by = actor(meta)?;
    custody_mut(state, x.piece, meta)?.disposition = Some(Box::new(Disposition {
        method: x.method,
        by,
        at: meta.at,
        authority: x.authority.clone(),
        reason: x.reason.clone(),
        executed: None,
    }));
    Ok(())
}

pub(super) fn revoked(state: &mut State, piece: Piece, meta: &Meta) -> Result<(), Misfit> {
    custody_mut(state, piece, meta)?.disposition = None;
    Ok(())
}

pub(super) fn was_executed(
    state: &mut State,
    x: &DispositionExecuted,
    meta: &Meta,
) -> Result<(), Misfit> {
    let by = actor(meta)?;
    let to = [x.name.as_str(), x.organisation.as_str()]
        .into_iter()
        .filter(|t| !t.is_empty())
        .collect::<Vec<_>>()
        .join(", ");
    let disposition = custody_mut(state, x.piece, meta)?
        .disposition
        .as_mut()
        .ok_or_else(|| meta.misfit("carried out without an authorisation"))?;
    disposition.executed = Some(Executed {
        by,
        at: meta.at,
        witness: x.witness,
        how: x.how.clone(),
        to,
    });
    Ok(())
}

pub(super) fn witnessed(
    state: &mut State,
    x: &DispositionWitnessed,
    meta: &Meta,
) -> Result<(), Misfit> {
    let custody = custody_mut(state, x.piece, meta)?;
    custody.holder = Holder::Disposed { method: x.method };
    custody.loan = None;
    custody.out = None;
    Ok(())
}

pub(super) fn declined(state: &mut State, piece: Piece, meta: &Meta) -> Result<(), Misfit> {
    custody_mut(state, piece, meta)?
        .disposition
        .as_mut()
        .ok_or_else(|| meta.misfit("declined without an authorisation"))?
        .executed = None;
    Ok(())
}
