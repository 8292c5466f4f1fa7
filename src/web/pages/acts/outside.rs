//! Forms for what goes to and comes from people without an account, and for what nobody released.

use super::Sheet;
use super::choices::{About, seen};
use crate::app::{Reader, Thing};
use crate::web::error::Failure;
use crate::web::form::{Input, Kind, Typed};

/// The fields about somebody without an account.
fn party() -> Vec<Input> {
    vec![
        Input::line("party.name", "Name"),
        Input::line("party.organisation", "Organisation"),
        Input::line("party.identification", "Identification that you saw")
            .hint("What kind and whose, such as a service card of the court; no copy of a number that you do not need."),
        Input::line("party.reference", "Reference number")
            .hint("Consignment, tracking, court file.")
            .optional(),
    ]
}

/// Hand to somebody without an account.
pub(super) async fn hand_out(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Hand out");
    sheet.intro = "They have no account and cannot receive it here: you vouch for the hand-over, and it is theirs at once. \
                   What the receipt must say, and who may have it, your local rules and counsel decide."
        .into();
    sheet.inputs.extend(party());
    sheet.inputs.push(Input::line("purpose", "Purpose"));
    sheet
        .inputs
        .push(Input::new("due_at", "Due back", Kind::Time).optional());
    if !about.is_sealed() {
        sheet.inputs.push(
            Input::line("unsealed_reason", "Why it goes without a seal")
                .hint("It is not in a sealed package; the reason goes on the record."),
        );
    }
    sheet.sentence = format!(
        "I handed {} to the person named here and saw their identification.",
        about.thing.name()
    );
    Ok(sheet)
}

/// Take back from somebody without an account.
pub(super) async fn take_back(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Take back");
    sheet.intro = "Name whoever brought it, which need not be the person it was handed to.".into();
    bare(&about, reader, &mut sheet);
    sheet.inputs.extend(party());
    sheet.inputs.extend(seen(about.is_sealed()));
    sheet.sentence = format!(
        "I took {} back from the person named here, in the condition described here.",
        about.thing.name()
    );
    Ok(sheet)
}

/// Take charge of something that nobody released.
pub(super) async fn take_charge(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Take charge of");
    sheet.intro = "Only where nobody released it to you: found, left behind, brought without a record. It leaves a gap on the \
                   thread that a report shows. Where somebody can still release it, have them do so."
        .into();
    bare(&about, reader, &mut sheet);
    sheet.inputs.push(
        Input::lines("reason", "Where it was, and why you take charge of it")
            .hint("Say what you know of the time in between, and who told you."),
    );
    sheet.inputs.extend(seen(about.is_sealed()));
    sheet.sentence = format!(
        "I took charge of {}, which nobody released to me, in the condition described here.",
        about.thing.name()
    );
    Ok(sheet)
}

/// Cautions for something that comes without a seal.
fn bare(about: &About, reader: &Reader<'_>, sheet: &mut Sheet) {
    let what = match &about.thing {
        Thing::Item(_) => "It comes without a package",
        Thing::Package(_) if !about.is_sealed() => "It comes without a seal",
        Thing::Package(_) => return,
    };
    sheet.cautions.push(format!(
        "{what}: wear gloves, touch no face that bears a mark, and follow your local rules for blood and sharp edges."
    ));
    sheet.cautions.extend(about.cautions(&reader.house().rules));
}
