//! Hand-overs: one release and one receipt. An offer moves nothing; only an acceptance does.

use chrono::{DateTime, FixedOffset, Utc};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::capacity;
use super::consumed::{self, ItemConsumed};
use super::fact::{Draft, Fact};
use super::package::{MAX_CONTENTS, PackageOpened, PieceTakenOut, seal_number};
use super::refusal::{Refusal, Rule, text};
use super::rules::{Context, Meta, Misfit, capital, not_found};
use super::state::{Custody, Holder, Loan, Offer, Out, State};
use super::two_person;
use super::weight::{Weighed, weighed};
use crate::ids::{CaseId, PersonId, Piece, PlaceId, Subject};
use crate::people::{Action, permission};

/// The condition in which something was seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Condition {
    /// Seal and package whole, seal number as on record.
    #[default]
    Intact,
    /// The package is damaged.
    Damaged,
    /// The package is open.
    Open,
    /// Wet.
    Wet,
    /// Leaking.
    Leaking,
    /// The seal seen is not the seal on record.
    Mismatch,
}

/// Release to a person: an offer until they receive it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Release {
    /// What.
    pub piece: Piece,
    /// To whom.
    pub to: PersonId,
    /// Why.
    pub purpose: String,
    /// By whose authority it goes: a request with its number, a court's order; empty where none is needed.
    #[serde(default)]
    pub authority: String,
    /// Due back; needed when it leaves the storeroom.
    #[serde(default)]
    pub due_at: Option<DateTime<FixedOffset>>,
    /// Why it goes unsealed, if it does.
    #[serde(default)]
    pub unsealed_reason: Option<String>,
}

/// Withdraw an offer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Withdraw {
    /// What.
    pub piece: Piece,
    /// Why.
    pub reason: String,
}

/// Receive what is offered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Receive {
    /// What.
    pub piece: Piece,
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

/// Refuse what is offered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Refuse {
    /// What.
    pub piece: Piece,
    /// Why.
    pub reason: String,
}

/// Somebody without an account.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Party {
    /// Name.
    pub name: String,
    /// Organisation.
    pub organisation: String,
    /// The identification that was seen.
    pub identification: String,
    /// Reference number: consignment, court file.
    #[serde(default)]
    pub reference: String,
}

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

/// Hand to somebody without an account. The person who records it witnesses it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct HandOut {
    /// What.
    pub piece: Piece,
    /// To whom.
    pub party: Party,
    /// Why.
    pub purpose: String,
    /// By whose authority it goes: a court's order, a request, a rule of the agency; empty where none is needed.
    #[serde(default)]
    pub authority: String,
    /// Due back, if it comes back.
    #[serde(default)]
    pub due_at: Option<DateTime<FixedOffset>>,
    /// Why it goes unsealed, if it does.
    #[serde(default)]
    pub unsealed_reason: Option<String>,
    /// The carrier's tracking number.
    #[serde(default)]
    pub tracking: String,
    /// What it weighs as it goes.
    #[serde(default)]
    pub weighed: Option<Weighed>,
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

/// Take charge of something that nobody released: found, left behind, brought without a record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct TakeCharge {
    /// What.
    pub piece: Piece,
    /// Where it was and why it was taken charge of.
    pub reason: String,
    /// The seal number seen.
    #[serde(default)]
    pub seal_seen: String,
    /// The condition seen.
    #[serde(default)]
    pub condition: Condition,
    /// Note.
    #[serde(default)]
    pub note: String,
}

/// Released.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Released {
    /// What.
    pub piece: Piece,
    /// To whom.
    pub to: PersonId,
    /// Their name at that moment.
    pub to_name: String,
    /// Why.
    pub purpose: String,
    /// By whose authority; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub authority: String,
    /// The seal on it; empty for none.
    pub seal: String,
    /// The place it leaves, if it was on a shelf.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_place: Option<PlaceId>,
    /// Due back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_at: Option<DateTime<FixedOffset>>,
    /// Why it goes unsealed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unsealed_reason: Option<String>,
    /// Who else was there and signed, where it is taken out of a place for two people.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second: Option<PersonId>,
    /// Their name at that moment.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second_name: Option<String>,
}

/// An offer was withdrawn.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Withdrawn {
    /// What.
    pub piece: Piece,
    /// Why.
    pub reason: String,
}

/// Received.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Received {
    /// What.
    pub piece: Piece,
    /// Who released it.
    pub from: PersonId,
    /// Their name at that moment.
    pub from_name: String,
    /// The seal on record; empty for none.
    pub seal: String,
    /// The seal seen.
    pub seal_seen: String,
    /// The condition seen.
    pub condition: Condition,
    /// Note.
    pub note: String,
}

/// An offer was refused.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Refused {
    /// What.
    pub piece: Piece,
    /// Why.
    pub reason: String,
}

/// Handed to somebody without an account.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct HandedOut {
    /// What.
    pub piece: Piece,
    /// Name.
    pub name: String,
    /// Organisation.
    pub organisation: String,
    /// The identification that was seen.
    pub identification: String,
    /// Reference number.
    pub reference: String,
    /// Why.
    pub purpose: String,
    /// By whose authority; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub authority: String,
    /// The seal on it; empty for none.
    pub seal: String,
    /// Due back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_at: Option<DateTime<FixedOffset>>,
    /// Why it goes unsealed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unsealed_reason: Option<String>,
    /// The due date is that of this hand-out alone: nothing was on loan from the storeroom before it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub own_loan: bool,
    /// The carrier's tracking number; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub tracking: String,
    /// Its weight in milligrams, where it was weighed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weight_mg: Option<u64>,
    /// The scale.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<String>,
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

/// Somebody took charge of a piece that nobody released.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ChargeTaken {
    /// What.
    pub piece: Piece,
    /// The holder on record until then, in words.
    pub from: String,
    /// The place for two people in which it stood by the record: nobody else is named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub alone_from: Option<String>,
    /// Time from here on is not accounted for: the last custody event before.
    pub unaccounted_since: DateTime<FixedOffset>,
    /// Where it was and why.
    pub reason: String,
    /// The seal on record; empty for none.
    pub seal: String,
    /// The seal seen.
    pub seal_seen: String,
    /// The condition seen.
    pub condition: Condition,
    /// Note.
    pub note: String,
}

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
pub(super) fn seen_texts(seal_seen: &str, note: &str) -> Result<(), Refusal> {
    text("seal_seen", seal_seen, 40, false)?;
    text("note", note, 1000, false)
}

/// Checks what was seen of a seal against the seal on record.
///
/// # Errors
/// [`Rule::SealNotStated`], [`Rule::SealDiffers`], [`Rule::ConditionWithoutNote`].
pub(super) fn seal_seen(
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
pub(super) fn unsealed_text(reason: Option<&str>) -> Result<(), Refusal> {
    reason.map_or(Ok(()), |r| text("unsealed_reason", r, 500, false))
}

/// Something goes out sealed, or says why not.
pub(super) fn sealed_or_reason(
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

fn due(
    ctx: &Context<'_>,
    due_at: Option<DateTime<FixedOffset>>,
    needed: bool,
) -> Result<(), Refusal> {
    match due_at {
        None if needed => Err(Refusal::new(
            Rule::NoDueDate,
            "What leaves the storeroom has a date on which it is due back.",
            "Give the date and time.",
        )
        .on("due_at")),
        Some(due) if due.with_timezone(&Utc) <= ctx.at.with_timezone(&Utc) => Err(Refusal::new(
            Rule::NoDueDate,
            "The due date lies before the release.",
            "Give a later date.",
        )
        .on("due_at")),
        _ => Ok(()),
    }
}

/// Held by the actor, or on a shelf while the actor keeps the storeroom.
fn mine_or_shelved<'a>(
    ctx: &'a Context<'_>,
    piece: Piece,
) -> Result<(&'a Custody, Option<PlaceId>), Refusal> {
    let (custody, _) = ctx.piece(piece)?;
    ctx.loose(piece, custody)?;
    ctx.no_offer(piece, custody)?;
    match &custody.holder {
        Holder::Place { place } if permission::allows(&ctx.actor.roles, Action::Keep) => {
            Ok((custody, Some(*place)))
        }
        _ => ctx.held(piece).map(|()| (custody, None)),
    }
}

fn subjects(piece: Piece, place: Option<PlaceId>) -> Vec<Subject> {
    let mut out = vec![piece.into()];
    out.extend(place.map(Subject::Place));
    out
}

pub(super) fn release(ctx: &Context<'_>, x: &Release) -> Result<Vec<Draft>, Refusal> {
    text("purpose", &x.purpose, 300, true)?;
    text("authority", &x.authority, 200, false)?;
    unsealed_text(x.unsealed_reason.as_deref())?;
    let me = ctx.me()?;
    let (_, from_place) = mine_or_shelved(ctx, x.piece)?;
    if x.to == me {
        return Err(Refusal::new(
            Rule::ToOneself,
            "You released it to yourself.",
            "Choose who is to receive it; to take it from a shelf yourself, fetch it.",
        )
        .on("to"));
    }
    let to = ctx
        .state
        .people
        .get(&x.to)
        .ok_or_else(|| not_found("person").on("to"))?;
    let case = ctx
        .state
        .case_of(x.piece.into())
        .ok_or_else(|| not_found("case"))?;
    let sees = ctx
        .state
        .cases
        .get(&case)
        .is_some_and(|c| c.seen_by(Some(x.to)));
    if !to.active || !to.roles.iter().any(|r| r.may_hold()) || !sees {
        let why = if !to.active {
            "has an account that is switched off"
        } else if !sees {
            "is not assigned to this restricted case"
        } else {
            "has no role that may hold evidence"
        };
        return Err(Refusal::new(
            Rule::RecipientMayNot,
            format!("{} {why}.", to.name),
            "Choose somebody else, or ask a supervisor.",
        )
        .on("to"));
    }
    due(ctx, x.due_at, from_place.is_some())?;
    sealed_or_reason(ctx.state, x.piece, x.unsealed_reason.as_deref())?;
    let second = two_person::second(ctx, &[from_place], case)?;
    let fact = Fact::Released(Released {
        piece: x.piece,
        to: x.to,
        to_name: to.name.clone(),
        purpose: x.purpose.clone(),
        authority: x.authority.trim().to_owned(),
        seal: seal_on(ctx.state, x.piece).to_owned(),
        from_place,
        due_at: x.due_at,
        unsealed_reason: x.unsealed_reason.clone().filter(|r| !r.trim().is_empty()),
        second: second.as_ref().map(|s| s.person),
        second_name: second.map(|s| s.name),
    });
    Ok(ctx.draft(Some(case), subjects(x.piece, from_place), fact))
}

fn offer<'a>(ctx: &'a Context<'_>, piece: Piece) -> Result<&'a Offer, Refusal> {
    let (custody, _) = ctx.piece(piece)?;
    custody.offer.as_ref().ok_or_else(|| {
        let mine = ctx.actor.id.map(|person| Holder::Person { person });
        if mine.is_some() && ctx.state.holder(piece) == mine.as_ref() {
            return Refusal::new(
                Rule::NoOffer,
                format!(
                    "{} is not on offer: you have it already.",
                    capital(&ctx.state.name(piece))
                ),
                "Nothing is left to receive, refuse or withdraw.",
            );
        }
        let who = ctx
            .state
            .holder(piece)
            .map_or_else(|| "nobody".into(), |h| ctx.holder_name(h));
        Refusal::new(
            Rule::NoOffer,
            format!(
                "{} is not on offer: {who} has it.",
                capital(&ctx.state.name(piece))
            ),
            "Ask for its release first.",
        )
    })
}

fn addressed<'a>(ctx: &'a Context<'_>, piece: Piece) -> Result<&'a Offer, Refusal> {
    let offer = offer(ctx, piece)?;
    if ctx.actor.id == Some(offer.to) {
        Ok(offer)
    } else {
        Err(Refusal::new(
            Rule::NotAddressee,
            format!(
                "{} is on offer to {}.",
                capital(&ctx.state.name(piece)),
                ctx.state.person_name(offer.to)
            ),
            "Only they can receive or refuse it; the releaser can withdraw it and release it to you.",
        ))
    }
}

pub(super) fn withdraw(ctx: &Context<'_>, x: &Withdraw) -> Result<Vec<Draft>, Refusal> {
    text("reason", &x.reason, 500, true)?;
    let offer = offer(ctx, x.piece)?;
    if ctx.actor.id != Some(offer.by) {
        return Err(Refusal::new(
            Rule::NotReleaser,
            format!("{} released it.", ctx.state.person_name(offer.by)),
            "Only they can withdraw it; the addressee can refuse it.",
        ));
    }
    let fact = Fact::Withdrawn(Withdrawn {
        piece: x.piece,
        reason: x.reason.clone(),
    });
    Ok(ctx.draft(
        ctx.state.case_of(x.piece.into()),
        vec![x.piece.into()],
        fact,
    ))
}

pub(super) fn receive(ctx: &Context<'_>, x: &Receive) -> Result<Vec<Draft>, Refusal> {
    seen_texts(&x.seal_seen, &x.note)?;
    let offer = addressed(ctx, x.piece)?;
    seal_seen(ctx.state, x.piece, &x.seal_seen, x.condition, &x.note)?;
    let fact = Fact::Received(Received {
        piece: x.piece,
        from: offer.by,
        from_name: ctx.state.person_name(offer.by),
        seal: seal_on(ctx.state, x.piece).to_owned(),
        seal_seen: seal_number(&x.seal_seen),
        condition: x.condition,
        note: x.note.clone(),
    });
    Ok(ctx.draft(
        ctx.state.case_of(x.piece.into()),
        vec![x.piece.into()],
        fact,
    ))
}

pub(super) fn refuse(ctx: &Context<'_>, x: &Refuse) -> Result<Vec<Draft>, Refusal> {
    text("reason", &x.reason, 500, true)?;
    addressed(ctx, x.piece)?;
    let fact = Fact::Refused(Refused {
        piece: x.piece,
        reason: x.reason.clone(),
    });
    Ok(ctx.draft(
        ctx.state.case_of(x.piece.into()),
        vec![x.piece.into()],
        fact,
    ))
}

fn party(x: &Party) -> Result<(), Refusal> {
    text("name", &x.name, 100, true)?;
    text("organisation", &x.organisation, 200, true)?;
    text("identification", &x.identification, 200, true)?;
    text("reference", &x.reference, 100, false)
}

pub(super) fn hand_out(ctx: &Context<'_>, x: &HandOut) -> Result<Vec<Draft>, Refusal> {
    text("purpose", &x.purpose, 300, true)?;
    text("authority", &x.authority, 200, false)?;
    party(&x.party)?;
    unsealed_text(x.unsealed_reason.as_deref())?;
    text("tracking", &x.tracking, 100, false)?;
    let (weight_mg, scale) = weighed(x.weighed.as_ref())?.unzip();
    let (custody, case) = ctx.in_hand(x.piece)?;
    super::hold::free(ctx, x.piece)?;
    let own_loan = x.due_at.is_some() && custody.loan.is_none();
    due(ctx, x.due_at, false)?;
    sealed_or_reason(ctx.state, x.piece, x.unsealed_reason.as_deref())?;
    let fact = Fact::HandedOut(HandedOut {
        piece: x.piece,
        name: x.party.name.clone(),
        organisation: x.party.organisation.clone(),
        identification: x.party.identification.clone(),
        reference: x.party.reference.clone(),
        purpose: x.purpose.clone(),
        authority: x.authority.trim().to_owned(),
        seal: seal_on(ctx.state, x.piece).to_owned(),
        due_at: x.due_at,
        unsealed_reason: x.unsealed_reason.clone().filter(|r| !r.trim().is_empty()),
        own_loan,
        tracking: x.tracking.trim().to_owned(),
        weight_mg,
        scale,
    });
    Ok(ctx.draft(Some(case), vec![x.piece.into()], fact))
}

fn may_hold(ctx: &Context<'_>) -> Result<(), Refusal> {
    if ctx.actor.roles.iter().any(|r| r.may_hold()) {
        return Ok(());
    }
    Err(Refusal::new(
        Rule::RecipientMayNot,
        "Your role may not hold evidence.",
        "Have a custodian do it.",
    ))
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

pub(super) fn take_back(ctx: &Context<'_>, x: &TakeBack) -> Result<Vec<Draft>, Refusal> {
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

pub(super) fn take_charge(ctx: &Context<'_>, x: &TakeCharge) -> Result<Vec<Draft>, Refusal> {
    text("reason", &x.reason, 500, true)?;
    seen_texts(&x.seal_seen, &x.note)?;
    let me = ctx.me()?;
    let (custody, case) = ctx.piece(x.piece)?;
    ctx.loose(x.piece, custody)?;
    if custody.holder == (Holder::Person { person: me }) {
        return Err(Refusal::new(
            Rule::ToOneself,
            "You hold it already.",
            "Nothing is left to do.",
        ));
    }
    seal_seen(ctx.state, x.piece, &x.seal_seen, x.condition, &x.note)?;
    let fact = Fact::ChargeTaken(ChargeTaken {
        piece: x.piece,
        from: ctx.holder_name(&custody.holder),
        alone_from: custody
            .holder
            .place()
            .and_then(|p| ctx.state.two_person(p))
            .map(|p| p.added.name.clone()),
        unaccounted_since: custody.last_at,
        reason: x.reason.clone(),
        seal: seal_on(ctx.state, x.piece).to_owned(),
        seal_seen: seal_number(&x.seal_seen),
        condition: x.condition,
        note: x.note.clone(),
    });
    Ok(ctx.draft(Some(case), vec![x.piece.into()], fact))
}

fn custody_mut<'a>(
    state: &'a mut State,
    piece: Piece,
    meta: &Meta,
) -> Result<&'a mut Custody, Misfit> {
    let custody = state
        .custody_mut(piece)
        .ok_or_else(|| meta.misfit("no such piece"))?;
    custody.last_at = meta.at;
    Ok(custody)
}

pub(super) fn released(state: &mut State, x: &Released, meta: &Meta) -> Result<(), Misfit> {
    let by = meta
        .actor
        .ok_or_else(|| meta.misfit("a release has an actor"))?;
    let custody = custody_mut(state, x.piece, meta)?;
    custody.offer = Some(Offer {
        by,
        to: x.to,
        at: meta.at,
        purpose: x.purpose.clone(),
        authority: x.authority.clone(),
        due_at: x.due_at,
        from_place: x.from_place.is_some(),
    });
    Ok(())
}

pub(super) fn offer_ended(state: &mut State, piece: Piece, meta: &Meta) -> Result<(), Misfit> {
    custody_mut(state, piece, meta)?.offer = None;
    Ok(())
}

pub(super) fn received(state: &mut State, x: &Received, meta: &Meta) -> Result<(), Misfit> {
    let person = meta
        .actor
        .ok_or_else(|| meta.misfit("a receipt has an actor"))?;
    let custody = custody_mut(state, x.piece, meta)?;
    let offer = custody
        .offer
        .take()
        .ok_or_else(|| meta.misfit("received without an offer"))?;
    if offer.from_place || offer.due_at.is_some() {
        custody.loan = Some(Loan {
            purpose: offer.purpose,
            authority: offer.authority,
            due_at: offer.due_at,
            since: meta.at,
            outside: false,
        });
    }
    let from = custody.holder.place();
    custody.holder = Holder::Person { person };
    capacity::moved(state, from, None, meta)
}

pub(super) fn handed_out(state: &mut State, x: &HandedOut, meta: &Meta) -> Result<(), Misfit> {
    let custody = custody_mut(state, x.piece, meta)?;
    custody.holder = Holder::Outside {
        name: x.name.clone(),
        organisation: x.organisation.clone(),
    };
    custody.out = Some(Out {
        at: meta.at,
        authority: x.authority.clone(),
        tracking: x.tracking.clone(),
        weight_mg: x.weight_mg,
        scale: x.scale.clone(),
    });
    if x.due_at.is_some() {
        custody.loan = Some(Loan {
            purpose: x.purpose.clone(),
            // It stands with how it went out.
            authority: String::new(),
            due_at: x.due_at,
            since: meta.at,
            outside: x.own_loan,
        });
    }
    Ok(())
}

pub(super) fn taken_back(
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
