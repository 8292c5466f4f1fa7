//! What an act names. It must exist, and be of a case that the actor may see, before anything else is said about it: a
//! refusal must not tell what is in a restricted case.

use super::brought;
use super::command::Act;
use super::refusal::{Refusal, Rule};
use super::rules::{Context, capital, not_found};
use crate::ids::{
    CaseId, CountId, MarkId, PackageId, PersonId, Piece, PlaceId, SceneId, Seq, Subject,
};

/// Everything that the act names exists and may be seen.
///
/// # Errors
/// [`Rule::NotFound`], [`Rule::Restricted`].
pub(super) fn seen(ctx: &Context<'_>) -> Result<(), Refusal> {
    if let Some(id) = ctx.actor.beside {
        person(ctx, id).map_err(|r| r.on("beside"))?;
    }
    match &ctx.command.act {
        Act::AddPerson(_) | Act::OpenCase(_) | Act::KitAdd(_) | Act::KitRemove(_) => Ok(()),
        // Asked line by line.
        Act::Intake(_) | Act::Import(_) => Ok(()),
        Act::BringIn(x) => brought::seen(ctx, x),
        Act::StoreMany(x) => place(ctx, x.place).map_err(|r| r.on("place")),
        Act::SetRoles(x) => person(ctx, x.person),
        Act::SetActive(x) => person(ctx, x.person),
        Act::OpenScene(x) => ctx.case(x.case).map(drop),
        Act::Assign(x) => {
            // A supervisor assigns without being assigned: somebody must be able to let people in.
            if !ctx.state.cases.contains_key(&x.case) {
                return Err(not_found("case").on("case"));
            }
            person(ctx, x.person)
        }
        Act::Restrict(x) => ctx.case(x.case).map(drop),
        Act::NoteMark(x) => scene(ctx, x.case, x.scene),
        Act::DevelopMark(x) => mark(ctx, x.mark),
        Act::AddImage(x) => pictured(ctx, x.of),
        Act::SetView(x) => pictured(ctx, x.of),
        Act::SetScale(x) => pictured(ctx, x.of),
        Act::AddCopy(x) => pictured(ctx, x.of),
        Act::AssessValue(x) => pictured(ctx, x.of),
        Act::AfisExported(x) => {
            pictured(ctx, x.of)?;
            pictured(ctx, x.shown).map_err(|r| r.on("shown"))
        }
        Act::Recover(x) => {
            mark(ctx, x.mark)?;
            x.from_item.map_or(Ok(()), |id| {
                piece(ctx, Piece::Item(id)).map_err(|r| r.on("from_item"))
            })
        }
        Act::Pack(x) => {
            ctx.case(x.case)?;
            if let Some(from) = &x.stock {
                place(ctx, from.place).map_err(|r| r.on("stock"))?;
            }
            x.contents.iter().try_for_each(|p| piece(ctx, *p))
        }
        Act::PutIn(x) => {
            piece(ctx, Piece::Package(x.package))?;
            piece(ctx, x.piece)
        }
        Act::TakeOut(x) => contained(ctx, x.package, x.piece),
        Act::Seal(x) => piece(ctx, Piece::Package(x.package)),
        Act::Open(x) => piece(ctx, Piece::Package(x.package)),
        Act::Release(x) => {
            piece(ctx, x.piece)?;
            person(ctx, x.to).map_err(|r| r.on("to"))
        }
        Act::Withdraw(x) => piece(ctx, x.piece),
        Act::Receive(x) => piece(ctx, x.piece),
        Act::Refuse(x) => piece(ctx, x.piece),
        Act::HandOut(x) => piece(ctx, x.piece),
        Act::TakeBack(x) => {
            piece(ctx, x.piece)?;
            x.absent.iter().try_for_each(|a| match x.piece {
                Piece::Package(package) => contained(ctx, package, a.piece),
                Piece::Item(_) => piece(ctx, a.piece),
            })
        }
        Act::Repack(x) => {
            for source in &x.sources {
                piece(ctx, Piece::Package(source.package)).map_err(|r| r.on("sources"))?;
            }
            if let Some(from) = &x.stock {
                place(ctx, from.place).map_err(|r| r.on("stock"))?;
            }
            x.contents.iter().try_for_each(|inner| {
                piece(ctx, *inner)?;
                let inside = ctx.state.custody(*inner).and_then(|c| c.inside);
                if x.sources.iter().any(|s| Some(s.package) == inside) {
                    return Ok(());
                }
                Err(Refusal::new(
                    Rule::NotFound,
                    format!(
                        "{} is in none of the packages named.",
                        capital(&ctx.state.name(*inner))
                    ),
                    "Look up where it is.",
                )
                .on("contents"))
            })
        }
        Act::Consume(x) => piece(ctx, Piece::Item(x.item)),
        Act::TakeCharge(x) => piece(ctx, x.piece),
        Act::AddPlace(x) => x
            .parent
            .map_or(Ok(()), |p| place(ctx, p).map_err(|r| r.on("parent"))),
        Act::SetCapacity(x) => place(ctx, x.place).map_err(|r| r.on("place")),
        Act::MarkTwoPerson(x) => place(ctx, x.place).map_err(|r| r.on("place")),
        Act::Store(x) => {
            piece(ctx, x.piece)?;
            place(ctx, x.place).map_err(|r| r.on("place"))
        }
        Act::Fetch(x) => piece(ctx, x.piece),
        Act::NoteDry(x) => piece(ctx, Piece::Item(x.item)),
        Act::StockSet(x) => place(ctx, x.place).map_err(|r| r.on("place")),
        Act::StockTake(x) => place(ctx, x.place).map_err(|r| r.on("place")),
        Act::SealsDeliver(x) => place(ctx, x.place).map_err(|r| r.on("place")),
        Act::SealsIssue(x) => place(ctx, x.place).map_err(|r| r.on("place")),
        Act::SealsSpoil(x) => place(ctx, x.place).map_err(|r| r.on("place")),
        Act::LogClimate(x) => place(ctx, x.place).map_err(|r| r.on("place")),
        Act::BeginCount(x) => x
            .places
            .iter()
            .try_for_each(|p| place(ctx, *p).map_err(|r| r.on("places"))),
        Act::ScanCodes(x) => count(ctx, x.count),
        Act::EndCount(x) => count(ctx, x.count),
        Act::ResolveDifference(x) => {
            count(ctx, x.count)?;
            let of = ctx.state.counts.get(&x.count);
            match of.and_then(|c| c.piece(x.number)) {
                Some(found) => piece(ctx, found),
                None => Ok(()),
            }
        }
        Act::PlaceHold(x) => held(ctx, x.of),
        Act::LiftHold(x) => held(ctx, x.of),
        Act::SetExhibit(x) => piece(ctx, Piece::Item(x.item)),
        Act::SetRetention(x) => ctx.case(x.case).map(drop),
        Act::AuthoriseDisposition(x) => piece(ctx, x.piece),
        Act::RevokeDisposition(x) => piece(ctx, x.piece),
        Act::Dispose(x) => {
            piece(ctx, x.piece)?;
            person(ctx, x.witness).map_err(|r| r.on("witness"))
        }
        Act::WitnessDisposition(x) => piece(ctx, x.piece),
        Act::DeclineDisposition(x) => piece(ctx, x.piece),
        Act::Amend(x) => {
            let past = ctx.state.events.get(&x.event);
            match past.ok_or_else(|| not_found("event").on("event"))?.case {
                Some(case) => ctx.case(case).map(drop),
                None => Ok(()),
            }
        }
        Act::AnswerFinding(x) => {
            found(ctx, x.finding.of).map_err(|r| r.on("finding"))?;
            x.evidence.map_or(Ok(()), |seq| event(ctx, seq))
        }
        Act::LabelPrinted(x) => printable(ctx, x.of),
        Act::ReportPrinted(x) | Act::FormPrinted(x) => printable(ctx, x.of),
        Act::Disclose(x) => ctx.case(x.case).map(drop),
        Act::CaseRead(x) => ctx.case(x.case).map(drop),
        Act::OrderExpungement(x) => held(ctx, x.of),
        Act::WithdrawExpungement(x) => ctx.case(x.case).map(drop),
        Act::CarryOutExpungement(x) => ctx.case(x.case).map(drop),
    }
}

/// What has findings.
fn found(ctx: &Context<'_>, of: Subject) -> Result<(), Refusal> {
    match of {
        Subject::Mark(id) => mark(ctx, id),
        Subject::Item(id) => piece(ctx, Piece::Item(id)),
        Subject::Package(id) => piece(ctx, Piece::Package(id)),
        _ => Err(not_found("item, package or mark")),
    }
}

/// The event that is to show something.
fn event(ctx: &Context<'_>, seq: Seq) -> Result<(), Refusal> {
    let past = ctx.state.events.get(&seq);
    match past.ok_or_else(|| not_found("event").on("evidence"))?.case {
        Some(case) => ctx.case(case).map(drop),
        None => Ok(()),
    }
}

fn person(ctx: &Context<'_>, id: PersonId) -> Result<(), Refusal> {
    match ctx.state.people.get(&id) {
        Some(_) => Ok(()),
        None => Err(not_found("person").on("person")),
    }
}

fn place(ctx: &Context<'_>, id: PlaceId) -> Result<(), Refusal> {
    match ctx.state.places.get(&id) {
        Some(_) => Ok(()),
        None => Err(not_found("place")),
    }
}

fn count(ctx: &Context<'_>, id: CountId) -> Result<(), Refusal> {
    match ctx.state.counts.get(&id) {
        Some(_) => Ok(()),
        None => Err(not_found("count").on("count")),
    }
}

/// What a hold can stand on, and what an order can name.
fn held(ctx: &Context<'_>, of: Subject) -> Result<(), Refusal> {
    match of {
        Subject::Case(id) => ctx.case(id).map(drop),
        Subject::Item(id) => piece(ctx, Piece::Item(id)),
        _ => Err(not_found("item or case").on("of")),
    }
}

fn scene(ctx: &Context<'_>, case: CaseId, scene: SceneId) -> Result<(), Refusal> {
    if ctx.case(case)?.scenes.iter().any(|s| s.id == scene) {
        return Ok(());
    }
    Err(Refusal::new(
        Rule::NotFound,
        "The case has no such scene.",
        "Open the scene first.",
    )
    .on("scene"))
}

fn mark(ctx: &Context<'_>, id: MarkId) -> Result<(), Refusal> {
    let mark = ctx.state.marks.get(&id).ok_or_else(|| not_found("mark"))?;
    ctx.case(mark.case).map(drop)
}

/// What has pictures.
fn pictured(ctx: &Context<'_>, of: Subject) -> Result<(), Refusal> {
    match of {
        Subject::Mark(id) => mark(ctx, id),
        Subject::Item(id) => piece(ctx, Piece::Item(id)),
        _ => Err(not_found("mark or item").on("of")),
    }
}

fn piece(ctx: &Context<'_>, piece: Piece) -> Result<(), Refusal> {
    let case = ctx
        .state
        .case_of(piece.into())
        .ok_or_else(|| not_found("item or package"))?;
    ctx.case(case).map(drop)
}

fn contained(ctx: &Context<'_>, package: PackageId, inner: Piece) -> Result<(), Refusal> {
    piece(ctx, inner)?;
    piece(ctx, Piece::Package(package))?;
    match ctx.state.packages.get(&package) {
        Some(p) if p.contents.contains(&inner) => Ok(()),
        _ => Err(Refusal::new(
            Rule::NotFound,
            format!(
                "{} is not in {}.",
                capital(&ctx.state.name(inner)),
                ctx.state.name(Piece::Package(package))
            ),
            "Look up where it is.",
        )
        .on("piece")),
    }
}

fn printable(ctx: &Context<'_>, of: Subject) -> Result<(), Refusal> {
    match of {
        Subject::Place(id) => place(ctx, id).map_err(|r| r.on("of")),
        Subject::Case(id) => ctx.case(id).map(drop),
        Subject::Item(id) => piece(ctx, Piece::Item(id)),
        Subject::Package(id) => piece(ctx, Piece::Package(id)),
        Subject::Mark(_) | Subject::Person(_) | Subject::Count(_) => {
            Err(not_found("item, package or case").on("of"))
        }
    }
}
