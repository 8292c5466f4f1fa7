//! Forms of the stock of seals: record a delivery, issue to a person, write off.

use super::choices::{active_people, person_choice};
use super::{Sheet, place::of_place};
use crate::app::Reader;
use crate::app::views::seal_stock::ranges;
use crate::people::Action;
use crate::web::error::Failure;
use crate::web::form::{Input, Kind, Typed};

/// A form about the seals of a place, with what it has of them and the two numbers.
async fn about(
    reader: &Reader<'_>,
    typed: &Typed,
    (what, intro): (&str, &str),
    suggest: bool,
) -> Result<Sheet, Failure> {
    reader.must(Action::Keep)?;
    let place = reader.place(typed.read("place")?).await?;
    let mut sheet = of_place(&place, format!("{what} at {}", place.added.name), intro);
    sheet.thing = format!("the seals at {}", place.added.name);
    let mut first = Input::line("first", "First number").hint("As printed on the seal: SB-004401.");
    let mut next = String::new();
    for range in ranges(reader, &place).await? {
        if next.is_empty() {
            next.clone_from(&range.next);
        }
        let free = format!("{} of {} not issued", range.not_issued, range.count);
        sheet.facts.push((range.range, free));
    }
    if suggest && !next.is_empty() {
        first = first.value(next);
    }
    sheet.inputs.push(first);
    sheet
        .inputs
        .push(Input::line("last", "Last number").hint("The same as the first for one seal."));
    sheet.submit = "Put it on the record".into();
    sheet.done.push_str("#seals");
    Ok(sheet)
}

/// Put delivered seals on the record.
pub(super) async fn deliver(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let words = (
        "Record delivered seals",
        "Read the first and the last seal of the delivery, not the carton. At most 1,000 numbers that follow one another.",
    );
    about(reader, typed, words, false).await
}

/// Issue seals to a person.
pub(super) async fn issue(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let words = (
        "Issue seals",
        "Whoever is issued them answers for each of the numbers: used, left, or written off.",
    );
    let mut sheet = about(reader, typed, words, true).await?;
    let people = active_people(reader).await?;
    let people = people.iter().map(person_choice).collect();
    sheet
        .inputs
        .push(Input::new("to", "To whom", Kind::One(people)));
    sheet.submit = "Issue them".into();
    Ok(sheet)
}

/// Write off seals that will not be used.
pub(super) async fn spoil(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let words = (
        "Write off seals",
        "Torn, misprinted, lost: they were not used and will not be. What was used on a package is not written off. At most 100 numbers at once.",
    );
    let mut sheet = about(reader, typed, words, false).await?;
    sheet
        .inputs
        .push(Input::line("reason", "Why").hint("Goes on the record."));
    sheet.submit = "Write them off".into();
    Ok(sheet)
}
