//! The decision function: the rules that hold for every act, then the noun's own.

use chrono::{DateTime, Duration, FixedOffset, SubsecRound, Utc};

use super::command::{Act, Actor, Command, Signed};
use super::fact::{Draft, Fact};
use super::refusal::{Refusal, Rule, text};
use super::state::{Case, Custody, Holder, Place, State, Thing};
use super::{
    afis, amendment, brought, case, climate_log, consumed, copy, disclosure, drying, exhibit,
    finding, hand_over, image, import, intake, item, kit, mark, named, package, paper, person,
    place, repack, seal_stock, sheet, shelving, stock, two_person, value,
};
use super::{capacity, count, disposition, expungement, hold, retention};
use crate::ids::{CaseId, PersonId, Piece, PlaceId, Seq, Subject};
use crate::keeping::fitting::Sides;
use crate::keeping::{Climate, KeepNeeds};
use crate::lifting::advise::{Advice, Question};
use crate::people::{Role, permission};

/// How far a claimed time may lie ahead of the server's clock: clocks differ.
pub const SKEW: Duration = Duration::minutes(2);
/// A custody act entered later than this needs a reason (our assumption, no source).
pub const LATE_CUSTODY: Duration = Duration::hours(1);
/// A scene record entered later than this needs a reason: a shift at the scene comes first (our assumption, no source).
pub const LATE_SCENE: Duration = Duration::hours(24);

/// A reason given by the trade rules.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TradeReason {
    /// The rule's identifier in the data.
    pub rule: String,
    /// The reason in a sentence.
    pub sentence: String,
    /// The next step; empty where the rule names none.
    pub next: String,
    /// Where it comes from.
    pub source: String,
}

/// What the trade rules say of a recovery.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recovery {
    /// The medium's name.
    pub medium_name: String,
    /// What it yields: lift, cast, object, photograph …
    pub form: String,
    /// View steps of its picture, by name.
    pub view: Vec<String>,
    /// `direct`, `reversed` or `unknown`.
    pub reads: String,
    /// Why.
    pub because: String,
    /// What it must be packed in, and why: one sentence a rule.
    pub packing: Vec<String>,
    /// What it asks of its container and its place; goes on the record, and later decisions keep to it.
    pub needs: KeepNeeds,
    /// How long the medium sets, in words; empty where it does not set.
    pub set_window: String,
    /// Warnings that go on the record: card against powder, set time.
    pub warnings: Vec<String>,
}

/// A medium, as a kit asks for it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MediumWords {
    /// Its name.
    pub name: String,
    /// Whether something of it is carried; a photograph and the thing itself need nothing.
    pub carried: bool,
}

/// What custody asks the knowledge of the trade. Core knows the questions; the data answers.
pub trait Trade {
    /// Whether the processing code is one of the open standard.
    fn knows_method(&self, code: &str) -> bool;
    /// Whether the substrate code is one of the open standard.
    fn knows_substrate(&self, code: &str) -> bool;
    /// Whether a medium is looked at in this way, by the identifier of the view; false for an unknown medium.
    fn knows_view(&self, medium: &str, view: &str) -> bool;
    /// Whether there is such a container.
    fn knows_container(&self, id: &str) -> bool;
    /// Whether there is such a climate class.
    fn knows_climate(&self, id: &str) -> bool;
    /// A climate class with its figures; none for an unknown one.
    fn climate(&self, _id: &str) -> Option<Climate> {
        None
    }
    /// What follows from a recovery of this mark after these developments; none for an unknown medium.
    fn recovery(
        &self,
        asked: &item::Recover,
        noted: &mark::MarkNoted,
        methods: &[String],
    ) -> Option<Recovery>;
    /// What an item that was recovered wet asks for now that it is dry; none for a medium that the rules do not have.
    fn dried(&self, recovered: &item::ItemRecovered, noted: &mark::MarkNoted) -> Option<KeepNeeds>;
    /// A medium; none for an unknown one.
    fn medium_words(&self, id: &str) -> Option<MediumWords>;
    /// Advice. What the question names and there is not is passed over.
    fn advise(&self, question: &Question) -> Advice;
    /// The version of the rules in force.
    fn rules_version(&self) -> &str;
    /// How an image reads that was taken by these view steps; none for an unknown step.
    fn reading(&self, view: &[String]) -> Option<(String, String)>;
    /// Whether these things may go together into this container, of this inside where it is known.
    ///
    /// # Errors
    /// The rule that forbids it; [`crate::keeping::fitting::TOO_SMALL`] where it is too small.
    fn container(
        &self,
        things: &[Thing<'_>],
        container: &str,
        inner_mm: Option<Sides>,
    ) -> Result<(), TradeReason>;
    /// Whether these things are dry enough at this moment to be closed up in this container.
    ///
    /// # Errors
    /// The rule whose time is still running.
    fn dry_enough(
        &self,
        things: &[Thing<'_>],
        container: &str,
        at: DateTime<FixedOffset>,
    ) -> Result<(), TradeReason>;
    /// Whether this thing may be kept at a place of these facts.
    ///
    /// # Errors
    /// Every rule that forbids it.
    fn place(&self, thing: &Thing<'_>, place: &place::PlaceAdded) -> Result<(), Vec<TradeReason>>;
    /// A class of the agency's retention schedule; none for an unknown one, and none where it has given no schedule.
    fn retention(&self, _class: &str) -> Option<retention::RetentionClass> {
        None
    }
}

/// What every decision has at hand.
pub struct Context<'a> {
    /// What was loaded.
    pub state: &'a State,
    /// The knowledge of the trade.
    pub trade: &'a dyn Trade,
    /// Who acts.
    pub actor: &'a Actor,
    /// What they ask.
    pub command: &'a Command,
    /// When it happened, as the actor says.
    pub at: DateTime<FixedOffset>,
    /// The server's clock.
    pub now: DateTime<Utc>,
}

impl Context<'_> {
    /// The person who acts.
    ///
    /// # Errors
    /// [`Rule::Forbidden`] when the ledger itself acts.
    pub fn me(&self) -> Result<PersonId, Refusal> {
        self.actor.id.ok_or_else(|| {
            Refusal::new(
                Rule::Forbidden,
                "Only a person can do this.",
                "Sign in and do it in your own name.",
            )
        })
    }

    /// The case, if it exists and may be seen.
    ///
    /// # Errors
    /// [`Rule::NotFound`], [`Rule::Restricted`].
    pub fn case(&self, id: CaseId) -> Result<&Case, Refusal> {
        let case = self.state.cases.get(&id).ok_or_else(|| not_found("case"))?;
        if case.seen_by(self.actor.id) {
            Ok(case)
        } else {
            Err(Refusal::new(
                Rule::Restricted,
                "This case is restricted and you are not assigned to it.",
                "Ask a supervisor to assign you.",
            ))
        }
    }

    /// The place that the field `place` names.
    ///
    /// # Errors
    /// [`Rule::NotFound`].
    pub fn place(&self, id: PlaceId) -> Result<&Place, Refusal> {
        let place = self.state.places.get(&id);
        place.ok_or_else(|| not_found("place").on("place"))
    }

    /// Custody of a piece, and its case.
    ///
    /// # Errors
    /// [`Rule::NotFound`], [`Rule::Restricted`].
    pub fn piece(&self, piece: Piece) -> Result<(&Custody, CaseId), Refusal> {
        let custody = self
            .state
            .custody(piece)
            .ok_or_else(|| not_found("item or package"))?;
        let case = self
            .state
            .case_of(piece.into())
            .ok_or_else(|| not_found("case"))?;
        self.case(case)?;
        Ok((custody, case))
    }

    /// The time must not lie before the last custody event of the piece or of the package around it.
    ///
    /// # Errors
    /// [`Rule::BeforeLast`].
    fn after_last(&self, piece: Piece) -> Result<(), Refusal> {
        let Some(custody) = self.state.custody(piece) else {
            return Ok(());
        };
        let outer = self
            .state
            .custody(self.state.outermost(piece))
            .unwrap_or(custody);
        let last = custody.last_at.max(outer.last_at);
        if self.at < last {
            return Err(Refusal::new(
                Rule::BeforeLast,
                format!(
                    "The time you gave lies before the last custody event of {}, {}.",
                    self.state.name(piece),
                    last.format("%Y-%m-%d %H:%M:%S %:z")
                ),
                "Give the time at which this happened, after that event.",
            )
            .on("claimed_at"));
        }
        Ok(())
    }

    /// The piece must be outermost and held by the actor, with no open offer.
    ///
    /// # Errors
    /// [`Rule::InsidePackage`], [`Rule::OfferOpen`], [`Rule::NotHolder`] and those of [`Self::piece`].
    pub fn in_hand(&self, piece: Piece) -> Result<(&Custody, CaseId), Refusal> {
        let (custody, case) = self.piece(piece)?;
        self.loose(piece, custody)?;
        self.no_offer(piece, custody)?;
        self.held(piece)?;
        Ok((custody, case))
    }

    /// The piece must not be in a package.
    ///
    /// # Errors
    /// [`Rule::InsidePackage`].
    pub fn loose(&self, piece: Piece, custody: &Custody) -> Result<(), Refusal> {
        match custody.inside {
            None => Ok(()),
            Some(package) => Err(Refusal::new(
                Rule::InsidePackage,
                format!(
                    "{} is in {}.",
                    capital(&self.state.name(piece)),
                    self.state.name(Piece::Package(package))
                ),
                "Do it with the package, or take it out first.",
            )),
        }
    }

    /// There must be no open offer.
    ///
    /// # Errors
    /// [`Rule::OfferOpen`].
    pub fn no_offer(&self, piece: Piece, custody: &Custody) -> Result<(), Refusal> {
        match &custody.offer {
            None => Ok(()),
            Some(offer) => Err(Refusal::new(
                Rule::OfferOpen,
                format!(
                    "{} is on offer to {} since {}.",
                    capital(&self.state.name(piece)),
                    self.state.person_name(offer.to),
                    offer.at.format("%Y-%m-%d %H:%M %:z")
                ),
                "It must be received, refused or withdrawn first.",
            )),
        }
    }

    /// The actor must hold the piece (or the package around it).
    ///
    /// # Errors
    /// [`Rule::NotHolder`].
    pub fn held(&self, piece: Piece) -> Result<(), Refusal> {
        let me = self.me()?;
        let holder = self.state.holder(piece);
        if holder == Some(&Holder::Person { person: me }) {
            return Ok(());
        }
        let who = holder.map_or_else(|| "nobody".into(), |h| self.holder_name(h));
        Err(Refusal::new(
            Rule::NotHolder,
            format!("You do not hold {}: {who} has it.", self.state.name(piece)),
            "Have it released to you and receive it, or take it from its shelf, first.",
        ))
    }

    /// A holder in words.
    #[must_use]
    pub fn holder_name(&self, holder: &Holder) -> String {
        match holder {
            Holder::Person { person } => self.state.person_name(*person),
            Holder::Place { place } => self
                .state
                .places
                .get(place)
                .map_or_else(|| "a place".into(), |p| format!("place {}", p.added.name)),
            Holder::Outside { name, organisation } => format!("{name}, {organisation}"),
            Holder::Disposed { method } => format!("nobody ({})", method.words()),
        }
    }

    /// One event.
    #[must_use]
    pub fn draft(&self, case: Option<CaseId>, subjects: Vec<Subject>, fact: Fact) -> Vec<Draft> {
        vec![Draft {
            case,
            subjects,
            fact,
            claimed_at: self.at,
            late_reason: self
                .command
                .late_reason
                .clone()
                .filter(|r| !r.trim().is_empty()),
            paper_sheet: self.command.paper_sheet,
        }]
    }
}

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

/// What an event says beside its payload.
#[derive(Clone, Debug)]
pub struct Meta {
    /// Position in the ledger.
    pub seq: Seq,
    /// Who acted.
    pub actor: Option<PersonId>,
    /// When, as the actor says.
    pub at: DateTime<FixedOffset>,
}

/// An event does not fit the state before it: the ledger and the state do not belong together.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("event {seq} does not fit what was before it: {why}")]
pub struct Misfit {
    /// Position in the ledger.
    pub seq: Seq,
    /// Why.
    pub why: String,
}

impl Meta {
    /// A misfit at this event.
    pub fn misfit(&self, why: impl Into<String>) -> Misfit {
        Misfit {
            seq: self.seq,
            why: why.into(),
        }
    }
}

/// Brings the state to where it is after the event. Recording and the verifier use the same function.
///
/// # Errors
/// [`Misfit`] where the event names something that the state does not hold.
pub fn apply(state: &mut State, fact: &Fact, meta: &Meta) -> Result<(), Misfit> {
    match fact {
        Fact::PersonAdded(x) => person::added(state, x),
        Fact::RolesSet(x) => person::roles_set(state, x, meta),
        Fact::ActiveSet(x) => person::active_set(state, x, meta),
        Fact::CaseOpened(x) => case::opened(state, x, meta),
        Fact::SceneOpened(x) => case::scene_opened(state, x, meta),
        Fact::Assigned(x) => case::assigned(state, x, meta),
        Fact::Restricted(x) => case::restricted(state, x, meta),
        Fact::MarkNoted(x) => mark::noted(state, x, meta),
        Fact::MarkDeveloped(x) => mark::developed(state, x, meta),
        Fact::ImageAdded(x) => image::added(state, x, meta),
        Fact::ViewSet(x) => image::view_set(state, x, meta),
        Fact::ScaleSet(x) => image::scale_set(state, x, meta),
        Fact::CopyMade(x) => copy::made(state, x, meta),
        Fact::ItemRecovered(x) => item::recovered(state, x, meta),
        Fact::ItemSampled(x) => item::sampled(state, x, meta),
        Fact::ItemImported(x) => import::imported(state, x, meta),
        Fact::BroughtIn(x) => brought::brought_in(state, x, meta),
        Fact::KitAdded(x) => kit::added(state, x, meta),
        Fact::KitRemoved(x) => kit::removed(state, x, meta),
        Fact::PackageMade(x) => package::made(state, x, meta),
        Fact::PiecePutIn(x) => package::was_put_in(state, x, meta),
        Fact::PieceTakenOut(x) => package::was_taken_out(state, x, meta),
        Fact::PackageSealed(x) => package::sealed(state, x, meta),
        Fact::PackageOpened(x) => package::opened(state, x, meta),
        Fact::PackageRepacked(x) => repack::repacked(state, x, meta),
        Fact::ItemConsumed(x) => consumed::was_consumed(state, x, meta),
        Fact::Released(x) => hand_over::released(state, x, meta),
        Fact::Withdrawn(x) => hand_over::offer_ended(state, x.piece, meta),
        Fact::Refused(x) => hand_over::offer_ended(state, x.piece, meta),
        Fact::Received(x) => hand_over::received(state, x, meta),
        Fact::HandedOut(x) => hand_over::handed_out(state, x, meta),
        Fact::TakenBack(x) => hand_over::taken_back(state, x.piece, x.ends_loan, meta),
        Fact::ChargeTaken(x) => hand_over::taken_back(state, x.piece, false, meta),
        Fact::PlaceAdded(x) => place::added(state, x),
        Fact::CapacitySet(x) => capacity::was_set(state, x, meta),
        Fact::TwoPersonMarked(x) => two_person::marked(state, x, meta),
        Fact::Stored(x) => place::stored(state, x, meta),
        Fact::Fetched(x) => place::fetched(state, x, meta),
        Fact::ItemDried(x) => drying::dried(state, x, meta),
        Fact::StockCounted(x) => stock::counted(state, x, meta),
        Fact::ClimateLogged(x) => climate_log::logged(state, x, meta),
        Fact::SealsDelivered(x) => seal_stock::delivered(state, x, meta),
        Fact::SealsIssued(x) => seal_stock::was_issued(state, x, meta),
        Fact::SealsSpoiled(x) => seal_stock::was_spoiled(state, x, meta),
        Fact::StockTaken(x) => stock::taken(state, (x.place, &x.kind, x.count), meta),
        Fact::CountBegun(x) => count::begun(state, x, meta),
        Fact::CodesScanned(x) => count::scanned(state, x, meta),
        Fact::CountEnded(x) => count::ended(state, x, meta),
        Fact::CountDiffers(x) => count::differs(state, x, meta),
        Fact::DifferenceResolved(x) => count::resolved(state, x, meta),
        Fact::HoldPlaced(x) => hold::placed(state, x, meta),
        Fact::HoldLifted(x) => hold::lifted(state, x, meta),
        Fact::ExhibitSet(x) => exhibit::was_set(state, x, meta),
        Fact::ReportPrinted(x) => sheet::printed(state, x, meta),
        Fact::RetentionSet(x) => retention::was_set(state, x, meta),
        Fact::DispositionAuthorised(x) => disposition::authorised(state, x, meta),
        Fact::DispositionRevoked(x) => disposition::revoked(state, x.piece, meta),
        Fact::DispositionExecuted(x) => disposition::was_executed(state, x, meta),
        Fact::DispositionWitnessed(x) => disposition::witnessed(state, x, meta),
        Fact::DispositionDeclined(x) => disposition::declined(state, x.piece, meta),
        Fact::Amended(x) => amendment::amended(state, x, meta),
        Fact::ValueAssessed(x) => value::assessed(state, x, meta),
        Fact::FindingAnswered(x) => finding::answered(state, x, meta),
        Fact::ExpungementOrdered(x) => expungement::ordered(state, x, meta),
        Fact::ExpungementWithdrawn(x) => expungement::withdrawn(state, x, meta),
        Fact::ExpungementCarriedOut(x) => expungement::carried_out(state, x, meta),
        Fact::LabelPrinted(_)
        | Fact::AfisExported(_)
        | Fact::CaseDisclosed(_)
        | Fact::CaseRead(_) => Ok(()),
    }
}
