//! Forms of hand-overs: release, receive, refuse, withdraw.

use super::Sheet;
use super::choices::{About, beside, recipients, seen};
use crate::app::views::keeping::keeping;
use crate::app::views::times::times;
use crate::app::views::words;
use crate::app::{Reader, Thing, knowledge};
use crate::custody::state::Holder;
use crate::trade::TradeRules;
use crate::web::error::Failure;
use crate::web::form::{Input, Kind, Typed};

/// Release to a person with an account.
pub(super) async fn release(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Release");
    about.on_paper(&mut sheet);
    let leaves_storeroom = matches!(about.state.holder(about.piece), Some(Holder::Place { .. }));
    sheet.intro =
        "An offer moves nothing: it stays with its holder until the other person receives it."
            .into();
    sheet.inputs.push(Input::new(
        "to",
        "To whom",
        Kind::One(recipients(reader, &about.case).await?),
    ));
    sheet.inputs.push(Input::line("purpose", "Purpose"));
    sheet.inputs.push(authority());
    let due = Input::new("due_at", "Due back", Kind::Time);
    sheet.inputs.push(if leaves_storeroom {
        due.hint("It leaves the storeroom, so it needs a day to be back.")
    } else {
        due.optional()
    });
    if !about.is_sealed() {
        sheet.inputs.push(
            Input::line("unsealed_reason", "Why it goes without a seal")
                .hint("It is not in a sealed package; the reason goes on the record."),
        );
    }
    sheet.sentence = format!("I release {} as described here.", about.thing.name());
    sheet.beside = beside(reader, about.is_two_person()).await?;
    Ok(sheet)
}

/// Withdraw an offer.
pub(super) async fn withdraw(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Withdraw the offer of");
    about.on_paper(&mut sheet);
    sheet.submit = "Withdraw the offer".into();
    offer_facts(&about, &mut sheet);
    sheet.inputs.push(Input::line("reason", "Why"));
    Ok(sheet)
}

/// Receive what is offered.
pub(super) async fn receive(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Receive");
    about.on_paper(&mut sheet);
    offer_facts(&about, &mut sheet);
    if matches!(about.thing, Thing::Item(_)) {
        sheet.cautions.push(
            "It comes without a sealed package: wear gloves, touch no face that bears a mark, and follow your local rules \
             for blood and sharp edges."
                .into(),
        );
    }
    let rules = &reader.house().rules;
    sheet.cautions.extend(about.cautions(rules));
    asks_for(rules, &about, &mut sheet);
    sheet.inputs.extend(seen(about.is_sealed()));
    sheet.sentence = format!(
        "I received {} in the condition described here.",
        about.thing.name()
    );
    Ok(sheet)
}

/// What the thing asks for once it is received: its place, its times, its packing while it is loose.
fn asks_for(rules: &TradeRules, about: &About, sheet: &mut Sheet) {
    let now = chrono::Utc::now().fixed_offset();
    let Some(thing) = about.state.thing(about.piece) else {
        return;
    };
    let asks = keeping(rules, &knowledge::needs(rules, &thing).unwrap_or_default());
    if matches!(about.thing, Thing::Item(_)) {
        sheet.facts.push(("Its packing".into(), asks.sentence));
    }
    let place: Vec<String> = asks
        .place
        .iter()
        .map(|r| format!("{} ({}, rule {})", r.sentence, r.source, r.rule))
        .collect();
    if !place.is_empty() {
        sheet.facts.push(("Its place".into(), place.join(" ")));
    }
    for item in about.state.items_in(about.piece) {
        for time in times(rules, item, about.zone, now) {
            sheet
                .facts
                .push((format!("Item {}, time", item.number), time.sentence));
        }
    }
}

/// Refuse what is offered.
pub(super) async fn refuse(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Refuse");
    about.on_paper(&mut sheet);
    offer_facts(&about, &mut sheet);
    sheet.intro = "It stays with whoever released it.".into();
    sheet.inputs.push(Input::line("reason", "Why"));
    Ok(sheet)
}

fn offer_facts(about: &About, sheet: &mut Sheet) {
    let Some(offer) = &about.thing.custody().offer else {
        return;
    };
    let by = about.state.person_name(offer.by);
    let to = about.state.person_name(offer.to);
    let at = words::minute(&offer.at, about.zone);
    sheet.facts.push((
        "Offer".into(),
        format!("by {by} to {to}, {at}, for {}", offer.purpose),
    ));
    if !offer.authority.is_empty() {
        sheet
            .facts
            .push(("By authority of".into(), offer.authority.clone()));
    }
}

/// The field of whoever gives something away.
pub(super) fn authority() -> Input {
    Input::line("authority", "By whose authority")
        .hint("A court's order, a request with its number, a rule of your office. Which it needs, local law decides.")
        .optional()
}
