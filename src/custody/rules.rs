//! The decision function: the rules that hold for every act, then the noun's own.

mod apply;
mod context;
mod trade;

use chrono::{DateTime, Duration, FixedOffset, SubsecRound as _, Utc};

use super::command::{Act, Actor, Command, Signed};
use super::fact::Draft;
use super::refusal::{Refusal, Rule, text};
use super::state::State;
use super::{
    afis, amendment, brought, capacity, case, climate_log, consumed, copy, count, disclosure,
    disposition, drying, exhibit, expungement, finding, hand_over, hold, image, import, intake,
    item, kit, mark, named, package, paper, person, place, repack, retention, seal_stock, sheet,
    shelving, stock, two_person, value,
};
use crate::ids::{Piece, Subject};
use crate::people::{Role, permission};

pub use self::apply::{Meta, Misfit, apply};
pub use self::context::Context;
pub use self::trade::{MediumWords, Recovery, Trade, TradeReason};

/// How far a claimed time may lie ahead of the server's clock: clocks differ.
pub const SKEW: Duration = Duration::minutes(2);

/// A custody act entered later than this needs a reason (our assumption, no source).
pub const LATE_CUSTODY: Duration = Duration::hours(1);

/// A scene record entered later than this needs a reason: a shift at the scene comes first (our assumption, no source).
pub const LATE_SCENE: Duration = Duration::hours(24);

/// Nothing there, or nothing that may be seen.
#[must_use]
pub fn not_found(what: &str) -> Refusal {
    Refusal::new(
        Rule::NotFound,
        format!("There is no such {what}."),
        "Check the number or scan the code again.",
    )
}

/// A sentence begins with a capital.
#[must_use]
pub fn capital(s: &str) -> String {
    let mut chars = s.chars();
    chars
        .next()
        .map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}

fn late_after(act: &Act) -> Duration {
    match act {
        Act::NoteMark(_) | Act::DevelopMark(_) | Act::AddImage(_) | Act::Recover(_) => LATE_SCENE,
        Act::OpenCase(_)
        | Act::OpenScene(_)
        | Act::NoteDry(_)
        | Act::KitAdd(_)
        | Act::KitRemove(_) => LATE_SCENE,
        _ => LATE_CUSTODY,
    }
}

/// Decides a command: the events that follow, or the first rule that forbids it.
///
/// # Errors
/// A [`Refusal`]; rules are tried in the order of [`Rule`]: account, role, what the act names, signature, times, texts,
/// then the noun's.
pub fn decide(
    state: &State,
    trade: &dyn Trade,
    actor: &Actor,
    command: &Command,
    now: DateTime<Utc>,
) -> Result<Vec<Draft>, Refusal> {
    let now = now.trunc_subsecs(6);
    let claimed = command.claimed_at.map(|t| t.trunc_subsecs(6));
    let ctx = Context {
        state,
        trade,
        actor,
        command,
        at: claimed.unwrap_or_else(|| now.fixed_offset()),
        now,
    };
    may(&ctx)?;
    named::seen(&ctx)?;
    sheet::named(&ctx)?;
    signed(&ctx)?;
    times(&ctx, claimed)?;
    not_ended(&ctx)?;
    expungement::not_expunged(&ctx)?;
    form(&ctx)?;
    two_person::fits(&ctx)?;
    sheet::used(&ctx)?;
    let drafts = noun(&ctx)?;
    if let Some(new) = command.creates()
        && exists(state, new)
    {
        return Err(Refusal::new(
            Rule::Taken,
            "Something already bears this command's identifier.",
            "Send it with a new random identifier.",
        )
        .on("id"));
    }
    Ok(drafts)
}

/// Decides one line of a command that holds several, as the act that it would be by itself. Who acts, their signature and
/// what comes with every command were asked of the whole.
pub(super) fn part(ctx: &Context<'_>, act: Act) -> Result<Vec<Draft>, Refusal> {
    let command = Command {
        act,
        id: ctx.command.id,
        claimed_at: ctx.command.claimed_at,
        late_reason: ctx.command.late_reason.clone(),
        paper_sheet: ctx.command.paper_sheet,
    };
    let ctx = Context {
        command: &command,
        state: ctx.state,
        trade: ctx.trade,
        actor: ctx.actor,
        at: ctx.at,
        now: ctx.now,
    };
    named::seen(&ctx)?;
    sheet::named(&ctx)?;
    for piece in command.act.pieces() {
        ctx.after_last(piece)?;
    }
    not_ended(&ctx)?;
    expungement::not_expunged(&ctx)?;
    sheet::used(&ctx)?;
    noun(&ctx)
}

/// The account is on and the role allows the act.
fn may(ctx: &Context<'_>) -> Result<(), Refusal> {
    let act = &ctx.command.act;
    let action = act.action();
    let Some(id) = ctx.actor.id else {
        // The ledger itself only adds the first administrator, and puts on the record what is printed by whoever runs
        // commands on its folder: they have every file of it anyway, and a print without a record is the worse.
        return match act {
            Act::LabelPrinted(_)
            | Act::ReportPrinted(_)
            | Act::FormPrinted(_)
            | Act::Disclose(_)
            | Act::AfisExported(_) => Ok(()),
            Act::AddPerson(x) if x.roles.contains(&Role::Administrator) => Ok(()),
            Act::AddPerson(_) => Err(Refusal::new(
                Rule::Forbidden,
                "The ledger itself adds administrators only.",
                "Sign in as an administrator and add the person.",
            )),
            _ => Err(Refusal::new(
                Rule::Forbidden,
                "Only a person can do this.",
                "Sign in first.",
            )),
        };
    };
    if !ctx.state.people.get(&id).is_some_and(|p| p.active) {
        return Err(Refusal::new(
            Rule::Inactive,
            "Your account is switched off.",
            "Ask an administrator.",
        ));
    }
    if permission::allows(&ctx.actor.roles, action) {
        return Ok(());
    }
    let roles: Vec<&str> = action.roles().iter().map(|r| r.title()).collect();
    Err(Refusal::new(
        Rule::Forbidden,
        format!("Your role may not {}.", action.words()),
        format!("This is for: {}.", roles.join(", ")),
    ))
}

fn signed(ctx: &Context<'_>) -> Result<(), Refusal> {
    if ctx.command.act.must_be_signed() && ctx.actor.signed != Signed::Password {
        return Err(Refusal::new(
            Rule::NotSigned,
            "This act must be signed.",
            "Give your password once more for it.",
        ));
    }
    Ok(())
}

/// Not in the future, not before the last custody event, not late without a reason.
fn times(ctx: &Context<'_>, claimed: Option<DateTime<FixedOffset>>) -> Result<(), Refusal> {
    if let Some(claimed) = claimed
        && claimed.with_timezone(&Utc) > ctx.now + SKEW
    {
        return Err(Refusal::new(
            Rule::InFuture,
            format!(
                "The time you gave, {}, is more than 2 minutes ahead of the server's clock, {}.",
                claimed.format("%Y-%m-%d %H:%M:%S %:z"),
                ctx.now.format("%Y-%m-%d %H:%M:%S UTC")
            ),
            "Give the time at which it happened.",
        )
        .on("claimed_at"));
    }
    // Since when a thing is dry may lie before its last hand-over: it is no custody event.
    if !matches!(ctx.command.act, Act::NoteDry(_)) {
        for piece in ctx.command.act.pieces() {
            ctx.after_last(piece)?;
        }
    }
    let reason = ctx.command.late_reason.as_deref();
    if let Some(claimed) = claimed
        && ctx.now - claimed.with_timezone(&Utc) > late_after(&ctx.command.act)
        && reason.is_none_or(|r| r.trim().is_empty())
    {
        return Err(Refusal::new(
            Rule::LateWithoutReason,
            format!(
                "This happened at {} and is entered late.",
                claimed.format("%Y-%m-%d %H:%M %:z")
            ),
            "Say why it is entered late; the reason goes on the record.",
        )
        .on("late_reason"));
    }
    Ok(())
}

/// Nothing is done any more with what was disposed of.
fn not_ended(ctx: &Context<'_>) -> Result<(), Refusal> {
    let act = &ctx.command.act;
    let by_witness = matches!(
        act,
        Act::WitnessDisposition(_)
            | Act::DeclineDisposition(_)
            | Act::PlaceHold(_)
            | Act::LiftHold(_)
    );
    let of = match act {
        Act::AddImage(x) => Some(x.of),
        Act::PlaceHold(x) => Some(x.of),
        Act::LiftHold(x) => Some(x.of),
        Act::SetExhibit(x) => Some(Subject::Item(x.item)),
        _ => None,
    };
    let item = match of {
        Some(Subject::Item(id)) => Some(Piece::Item(id)),
        _ => None,
    };
    act.pieces()
        .into_iter()
        .chain(item)
        .try_for_each(|piece| disposition::not_ended(ctx, piece, by_witness))
}

/// What comes with every command is well formed.
fn form(ctx: &Context<'_>) -> Result<(), Refusal> {
    if !matches!(ctx.command.id.0.get_version_num(), 4 | 7) {
        return Err(Refusal::new(
            Rule::BadText,
            "The command's identifier is not a version 4 or version 7 UUID.",
            "Send it with a new random identifier.",
        )
        .on("id"));
    }
    match &ctx.command.late_reason {
        Some(reason) => text("late_reason", reason, 500, false),
        None => Ok(()),
    }
}

/// The noun's own rules.
fn noun(ctx: &Context<'_>) -> Result<Vec<Draft>, Refusal> {
    match &ctx.command.act {
        Act::AddPerson(x) => person::add(ctx, x),
        Act::SetRoles(x) => person::set_roles(ctx, x),
        Act::SetActive(x) => person::set_active(ctx, x),
        Act::OpenCase(x) => case::open(ctx, x),
        Act::OpenScene(x) => case::open_scene(ctx, x),
        Act::Assign(x) => case::assign(ctx, x),
        Act::Restrict(x) => case::restrict(ctx, x),
        Act::NoteMark(x) => mark::note(ctx, x),
        Act::DevelopMark(x) => mark::develop(ctx, x),
        Act::AddImage(x) => image::add(ctx, x),
        Act::SetView(x) => image::set_view(ctx, x),
        Act::SetScale(x) => image::set_scale(ctx, x),
        Act::AddCopy(x) => copy::add(ctx, x),
        Act::Recover(x) => item::recover(ctx, x),
        Act::Import(x) => import::import(ctx, x),
        Act::BringIn(x) => brought::bring_in(ctx, x),
        Act::KitAdd(x) => kit::add(ctx, x),
        Act::KitRemove(x) => kit::remove(ctx, x),
        Act::Pack(x) => package::pack(ctx, x),
        Act::PutIn(x) => package::put_in(ctx, x),
        Act::TakeOut(x) => package::take_out(ctx, x),
        Act::Seal(x) => package::seal(ctx, x),
        Act::Open(x) => package::open(ctx, x),
        Act::Repack(x) => repack::repack(ctx, x),
        Act::Consume(x) => consumed::consume(ctx, x),
        Act::NoteDry(x) => drying::note(ctx, x),
        Act::Release(x) => hand_over::release(ctx, x),
        Act::Withdraw(x) => hand_over::withdraw(ctx, x),
        Act::Receive(x) => hand_over::receive(ctx, x),
        Act::Refuse(x) => hand_over::refuse(ctx, x),
        Act::Intake(x) => intake::take_in(ctx, x),
        Act::HandOut(x) => hand_over::hand_out(ctx, x),
        Act::TakeBack(x) => hand_over::take_back(ctx, x),
        Act::TakeCharge(x) => hand_over::take_charge(ctx, x),
        Act::AddPlace(x) => place::add(ctx, x),
        Act::SetCapacity(x) => capacity::set(ctx, x),
        Act::MarkTwoPerson(x) => two_person::mark(ctx, x),
        Act::Store(x) => place::store(ctx, x),
        Act::StoreMany(x) => shelving::store(ctx, x),
        Act::Fetch(x) => place::fetch(ctx, x),
        Act::StockSet(x) => stock::set(ctx, x),
        Act::StockTake(x) => stock::take(ctx, x),
        Act::SealsDeliver(x) => seal_stock::deliver(ctx, x),
        Act::SealsIssue(x) => seal_stock::issue(ctx, x),
        Act::SealsSpoil(x) => seal_stock::spoil(ctx, x),
        Act::LogClimate(x) => climate_log::log(ctx, x),
        Act::BeginCount(x) => count::begin(ctx, x),
        Act::ScanCodes(x) => count::scan(ctx, x),
        Act::EndCount(x) => count::end(ctx, x),
        Act::ResolveDifference(x) => count::resolve(ctx, x),
        Act::PlaceHold(x) => hold::place(ctx, x),
        Act::LiftHold(x) => hold::lift(ctx, x),
        Act::SetExhibit(x) => exhibit::set(ctx, x),
        Act::SetRetention(x) => retention::set(ctx, x),
        Act::AuthoriseDisposition(x) => disposition::authorise(ctx, x),
        Act::RevokeDisposition(x) => disposition::revoke(ctx, x),
        Act::Dispose(x) => disposition::dispose(ctx, x),
        Act::WitnessDisposition(x) => disposition::witness(ctx, x),
        Act::DeclineDisposition(x) => disposition::decline(ctx, x),
        Act::Amend(x) => amendment::amend(ctx, x),
        Act::AnswerFinding(x) => finding::answer(ctx, x),
        Act::LabelPrinted(x) => paper::label(ctx, x),
        Act::ReportPrinted(x) => paper::report(ctx, x),
        Act::FormPrinted(x) => paper::form(ctx, x),
        Act::Disclose(x) => disclosure::disclose(ctx, x),
        Act::AssessValue(x) => value::assess(ctx, x),
        Act::AfisExported(x) => afis::exported(ctx, x),
        Act::CaseRead(x) => paper::read(ctx, x),
        Act::OrderExpungement(x) => expungement::order(ctx, x),
        Act::WithdrawExpungement(x) => expungement::withdraw(ctx, x),
        Act::CarryOutExpungement(x) => expungement::carry_out(ctx, x),
    }
}

fn exists(state: &State, subject: Subject) -> bool {
    match subject {
        Subject::Person(id) => state.people.contains_key(&id),
        Subject::Place(id) => state.places.contains_key(&id),
        Subject::Case(id) => state.cases.contains_key(&id),
        Subject::Mark(id) => state.marks.contains_key(&id),
        Subject::Item(id) => state.items.contains_key(&id),
        Subject::Package(id) => state.packages.contains_key(&id),
        Subject::Count(id) => state.counts.contains_key(&id),
    }
}
