//! Words that pages, the interface for programs and papers share, so that no two of them say it differently.

use std::fmt;

use chrono::{DateTime, TimeZone};

use crate::custody::disposition::Method;
use crate::custody::hand_over::Condition;
use crate::custody::mark::MarkKind;
use crate::custody::place::PlaceKind;
use crate::custody::state::{Holder, Person, State};
use crate::ids::{PersonId, Piece};
use crate::ledger::event::{Attested, Source};
use crate::zone::Zone;

pub use crate::custody::rules::capital;
pub use crate::custody::thread::duration_words;

/// The banner over whatever reads mirrored.
pub const MIRRORED: &str = "MIRRORED IMAGE: flip before comparison";
/// The banner over whatever nobody can vouch for.
pub const NOT_ESTABLISHED: &str = "Orientation not established: do not compare yet";

/// A time to the second in this zone, the zone shown: `2026-11-25 14:20:05 +01:00`.
#[must_use]
pub fn when<Z: TimeZone>(at: &DateTime<Z>, zone: Zone) -> String {
    at.with_timezone(&zone)
        .format("%Y-%m-%d %H:%M:%S %:z")
        .to_string()
}

/// A time to the minute in this zone, the zone shown: `2026-11-25 14:20 +01:00`.
#[must_use]
pub fn minute<Z: TimeZone>(at: &DateTime<Z>, zone: Zone) -> String {
    at.with_timezone(&zone)
        .format("%Y-%m-%d %H:%M %:z")
        .to_string()
}

/// A person: `N. Brandt, no. 4711`.
#[must_use]
pub fn person(person: &Person) -> String {
    named(&person.name, &person.number)
}

fn named(name: &str, number: &str) -> String {
    if number.is_empty() {
        name.to_owned()
    } else {
        format!("{name}, no. {number}")
    }
}

/// A person as an event has them: `N. Brandt (4711)` becomes `N. Brandt, no. 4711`.
#[must_use]
pub fn signed_by(by: &str) -> String {
    match by.strip_suffix(')').and_then(|b| b.rsplit_once(" (")) {
        Some((name, number)) => named(name, number),
        None => by.to_owned(),
    }
}

/// A person by identifier, as far as the state knows them.
#[must_use]
pub fn person_in(state: &State, id: PersonId) -> String {
    state
        .people
        .get(&id)
        .map_or_else(|| "somebody".to_owned(), person)
}

/// Who has a thing: `N. Brandt, no. 4711`, `place Shelf D-12`, `O. Reyes, Calder County Court`.
#[must_use]
pub fn holder(state: &State, holder: &Holder) -> String {
    match holder {
        Holder::Person { person } => person_in(state, *person),
        Holder::Place { place } => state
            .places
            .get(place)
            .map_or_else(|| "a place".to_owned(), |p| self::place(&p.added.name)),
        Holder::Outside { name, organisation } => outside(name, organisation),
        Holder::Disposed { method } => disposed(*method),
    }
}

/// Who has a piece, by name alone: `N. Brandt`, `Shelf D-12`, `O. Reyes, Calder County Court`; none where nobody is on
/// record.
#[must_use]
pub fn held_by(state: &State, piece: Piece) -> Option<String> {
    Some(match state.holder(piece)? {
        Holder::Person { person } => state.person_name(*person),
        Holder::Place { place } => state
            .places
            .get(place)
            .map_or_else(|| "a place".to_owned(), |p| p.added.name.clone()),
        Holder::Outside { name, organisation } => outside(name, organisation),
        Holder::Disposed { method } => disposed(*method),
    })
}

/// Nobody any more.
#[must_use]
pub fn disposed(method: Method) -> String {
    format!("nobody, {}", method.words())
}

/// A place as a holder.
#[must_use]
pub fn place(name: &str) -> String {
    format!("place {name}")
}

/// Somebody without an account.
#[must_use]
pub fn outside(name: &str, organisation: &str) -> String {
    match (name.is_empty(), organisation.is_empty()) {
        (false, false) => format!("{name}, {organisation}"),
        (false, true) => name.to_owned(),
        (true, false) => organisation.to_owned(),
        (true, true) => "somebody outside".to_owned(),
    }
}

/// An item or a package as a title: `Item 3`, `Package P2`.
#[must_use]
pub fn title(state: &State, piece: Piece) -> String {
    capital(&state.name(piece))
}

/// The condition in which something was seen.
#[must_use]
pub fn condition(condition: Condition) -> &'static str {
    match condition {
        Condition::Intact => "intact",
        Condition::Damaged => "damaged",
        Condition::Open => "open",
        Condition::Wet => "wet",
        Condition::Leaking => "leaking",
        Condition::Mismatch => "seal differs from the record",
    }
}

/// How somebody signed.
#[must_use]
pub fn attested(attested: Attested) -> &'static str {
    match attested {
        Attested::Session => "signed in",
        Attested::Password => "password",
        Attested::Passkey => "passkey",
        Attested::OneTimeCode => "one-time code",
        Attested::Paper => "on paper",
        Attested::Token => "access token",
        Attested::None => "the server itself",
    }
}

/// Where an event came from.
#[must_use]
pub fn source(source: Source) -> &'static str {
    match source {
        Source::Desk => "desk",
        Source::Field => "field device",
        Source::Import => "brought in from elsewhere",
        Source::Api => "a program",
        Source::CommandLine => "command line on the server",
        Source::System => "the server itself",
    }
}

/// What kind of mark.
#[must_use]
pub fn mark_kind(kind: MarkKind) -> &'static str {
    match kind {
        MarkKind::FrictionRidge => "friction ridge mark",
        MarkKind::Toolmark => "toolmark",
        MarkKind::Footwear => "footwear mark",
        MarkKind::Other => "mark",
    }
}

/// What kind of place.
#[must_use]
pub fn place_kind(kind: PlaceKind) -> &'static str {
    match kind {
        PlaceKind::Building => "building",
        PlaceKind::Room => "room",
        PlaceKind::Unit => "unit",
        PlaceKind::Shelf => "shelf",
        PlaceKind::Bin => "bin",
    }
}

/// What a recovery yields, by the trade rules' word.
#[must_use]
pub fn form(form: &str) -> &str {
    match form {
        "card-lift" => "lift on a card",
        "gel" => "gelatin or rubber lift",
        "film" => "film lift",
        "cast" => "cast",
        "object" => "collected object",
        "image" => "image only",
        other => other,
    }
}

/// Which way round something reads, in words for people.
#[must_use]
pub fn reads(reads: &str) -> &'static str {
    match reads {
        "direct" => "reads direct",
        "reversed" => "reads reversed",
        _ => "orientation unknown",
    }
}

/// What an event of this kind did, in one or two words of the trade; the kind itself where this version does not know
/// it.
#[must_use]
pub fn act(kind: &str) -> &str {
    match kind {
        "person.added" => "Person added",
        "person.roles-set" => "Roles set",
        "person.active-set" => "Account switched",
        "case.opened" => "Case opened",
        "case.scene-opened" => "Scene opened",
        "case.assigned" => "Assignment changed",
        "case.restricted" => "Restriction changed",
        "case.disclosed" => "Disclosed",
        "case.read" => "Read",
        "expungement.ordered" => "Expungement ordered",
        "expungement.withdrawn" => "Order to expunge taken back",
        "expungement.carried-out" => "Expunged by order",
        "mark.noted" => "Mark noted",
        "mark.developed" => "Developed",
        "image.added" => "Photograph added",
        "image.view-set" => "View steps set",
        "image.scale-set" => "Scale set",
        "image.copy-made" => "Working copy made",
        "image.value-assessed" => "Value assessed",
        "item.recovered" => "Recovered",
        "item.sampled" => "Something taken from it",
        "item.imported" => "Imported",
        "item.brought-in" => "Brought in without a record",
        "kit.added" => "Put into the kit",
        "kit.removed" => "Taken out of the kit",
        "package.made" => "Packed",
        "package.put-in" => "Put in",
        "package.taken-out" => "Taken out",
        "package.sealed" => "Sealed",
        "package.opened" => "Opened",
        "package.repacked" => "Packed anew",
        "item.consumed" => "Used up by an examination",
        "item.dried" => "Dry",
        "custody.released" => "Released",
        "custody.withdrawn" => "Offer withdrawn",
        "custody.received" => "Received",
        "custody.refused" => "Offer refused",
        "custody.handed-out" => "Handed out",
        "custody.taken-back" => "Taken back",
        "custody.charge-taken" => "Charge taken",
        "custody.stored" => "Stored",
        "custody.fetched" => "Taken from the shelf",
        "place.added" => "Place added",
        "place.capacity-set" => "Capacity set",
        "place.two-person-marked" => "Marked for two people, or the mark taken off",
        "place.stock-counted" => "Stock counted",
        "place.stock-taken" => "Taken from stock",
        "place.seals-delivered" => "Seals delivered",
        "place.seals-issued" => "Seals issued",
        "place.seals-spoiled" => "Seals written off",
        "place.climate-logged" => "Climate logged",
        "count.begun" => "Count begun",
        "count.scanned" => "Scanned",
        "count.ended" => "Count ended",
        "count.differs" => "Count differs",
        "count.resolved" => "Difference resolved",
        "hold.placed" => "Hold placed",
        "hold.lifted" => "Hold lifted",
        "item.exhibit-set" => "Exhibit number given",
        "case.retention-set" => "Retention set",
        "disposition.authorised" => "Disposition authorised",
        "disposition.revoked" => "Authorisation taken back",
        "disposition.executed" => "Disposition carried out",
        "disposition.witnessed" => "Disposed of",
        "disposition.declined" => "Disposition declined",
        "record.amended" => "Corrected",
        "finding.answered" => "Finding answered",
        "paper.label-printed" => "Label printed",
        "paper.report-printed" => "Report printed",
        "paper.afis-exported" => "Handed off to an AFIS",
        other => other,
    }
}

/// A size in bytes for people: `812 bytes`, `4.2 MB`. Decimal units.
#[must_use]
pub fn bytes(n: u64) -> String {
    let tenths = |unit: u64| {
        let t = (u128::from(n) * 10 + u128::from(unit) / 2) / u128::from(unit);
        format!("{}.{}", t / 10, t % 10)
    };
    match n {
        0..1_000 => format!("{n} bytes"),
        1_000..1_000_000 => format!("{} kB", tenths(1_000)),
        _ => format!("{} MB", tenths(1_000_000)),
    }
}

/// Several things in one line: `a, b and c`.
#[must_use]
pub fn listed(parts: &[String]) -> String {
    match parts {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// A count with its noun: `1 item`, `3 items`.
#[must_use]
pub fn counted<N: fmt::Display + PartialEq + From<u8>>(n: N, one: &str) -> String {
    if n == N::from(1) {
        format!("1 {one}")
    } else {
        format!("{n} {one}s")
    }
}

/// What is in a case: `22 marks, 1 item, 20 packages`.
#[must_use]
pub fn holds(marks: u32, items: u32, packages: u32) -> String {
    [(marks, "mark"), (items, "item"), (packages, "package")]
        .map(|(n, one)| counted(n, one))
        .join(", ")
}
