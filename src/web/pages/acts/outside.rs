//! Forms for what goes to and comes from people without an account, and for what nobody released.

use serde_json::{Map, Value, json};

use super::Sheet;
use super::choices::{About, seen};
use super::hand_over::authority;
use crate::app::views::words::capital;
use crate::app::{Reader, Thing};
use crate::custody::hand_over::Stayed;
use crate::custody::weight;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};

/// The fields about somebody without an account.
fn party() -> Vec<Input> {
    vec![
        Input::line("party.name", "Name"),
        Input::line("party.organisation", "Organisation"),
        Input::line("party.identification", "Identification that you saw")
            .hint("What kind and whose, such as a service card of the court; no copy of a number that you do not need."),
        Input::line("party.reference", "Reference number")
            .hint("Consignment, court file.")
            .optional(),
    ]
}

/// The fields about a weighing.
fn weighed() -> Vec<Input> {
    vec![
        Input::line("weighed.grams", "Weight in grams")
            .hint("As the scale shows it, with its packaging, such as 412.5. Weighed going out and coming back, the two are compared.")
            .optional(),
        Input::line("weighed.scale", "Scale")
            .hint("Its number or name; needed with a weight.")
            .optional(),
    ]
}

/// What of the weights is to be asked before it is signed: both are known once one was typed.
fn question(about: &About, typed: &Typed) -> Option<String> {
    let out = about.thing.custody().out.as_ref()?;
    let went = out.weight_mg?;
    let back = weight::milligrams(typed.get("weighed.grams"))?;
    let differs = weight::difference(went, back)?;
    Some(format!(
        "It comes back with {}, {differs} with which it went out ({}). More than {} counts as a difference here. Is that what the \
         scale shows, with the same packaging? Signed like this, both weights are on the record and the difference is a finding.",
        weight::grams(back),
        out.scale.as_deref().unwrap_or("a scale that is not named"),
        weight::grams(weight::tolerance(went))
    ))
}

/// What came back and what did not: one choice for each thing in the package, and the words for those that did not.
fn absent_fields(about: &About) -> Vec<Input> {
    let Thing::Package(package) = &about.thing else {
        return Vec::new();
    };
    let mut out = Vec::new();
    for piece in &package.contents {
        let mut choices = vec![Choice::new(IN_IT, "in it, as far as can be seen")];
        choices.extend(Stayed::ALL.map(|s| Choice::new(s.word(), s.words())));
        out.push(
            Input::new(
                &format!("{ABSENT}.{piece}"),
                &capital(&about.state.name(*piece)),
                Kind::One(choices),
            )
            .value(IN_IT),
        );
    }
    if out.is_empty() {
        return out;
    }
    out.extend([
        Input::lines("absent_note", "Of what did not come back: who said so, and what is known")
            .hint("Needed where something did not. A sealed package then comes back open, damaged or with another seal.")
            .optional(),
        Input::line("absent_quantity", "Of what was used up: how much").optional(),
        Input::line("absent_authority", "By whose authority it was used up").optional(),
        Input::line("absent_report", "Report that shows it").optional(),
    ]);
    out
}

const ABSENT: &str = "absent";
const IN_IT: &str = "in-it";

/// What did not come back, a line each.
fn absent(fields: &mut Map<String, Value>) {
    let mut said = |name: &str| fields.remove(name).unwrap_or_else(|| Value::from(""));
    let note = said("absent_note");
    let used = ["quantity", "authority", "report"].map(|n| (n, said(&format!("absent_{n}"))));
    let Some(Value::Object(pieces)) = fields.remove(ABSENT) else {
        return;
    };
    let lines = pieces.into_iter().filter(|(_, why)| why != IN_IT);
    let lines = lines.map(|(piece, why)| {
        let mut line = json!({"piece": piece, "why": why, "note": note});
        if let (true, Value::Object(line)) = (why == Stayed::Consumed.word(), &mut line) {
            line.extend(used.iter().map(|(n, v)| ((*n).to_owned(), v.clone())));
        }
        line
    });
    fields.insert(ABSENT.into(), Value::Array(lines.collect()));
}

/// Hand to somebody without an account.
pub(super) async fn hand_out(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Hand out");
    about.on_paper(&mut sheet);
    sheet.intro = "They have no account and cannot receive it here: you vouch for the hand-over, and it is theirs at once. \
                   What the receipt must say, and who may have it, your local rules and counsel decide."
        .into();
    sheet.inputs.extend(party());
    sheet.inputs.push(
        Input::line("tracking", "Tracking number")
            .hint("The carrier's own; it stands in the list of what is out.")
            .optional(),
    );
    sheet.inputs.push(
        Input::line("purpose", "Purpose")
            .hint("Such as an examination, a hearing, or that the owner looks at it."),
    );
    sheet.inputs.push(authority());
    sheet
        .inputs
        .push(Input::new("due_at", "Due back", Kind::Time).optional());
    if !about.is_sealed() {
        sheet.inputs.push(
            Input::line("unsealed_reason", "Why it goes without a seal")
                .hint("It is not in a sealed package; the reason goes on the record."),
        );
    }
    sheet.inputs.extend(weighed());
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
    about.on_paper(&mut sheet);
    sheet.intro = "Name whoever brought it, which need not be the person it was handed to.".into();
    bare(&about, reader, &mut sheet);
    sheet.inputs.extend(party());
    sheet.inputs.extend(seen(about.is_sealed()));
    sheet.inputs.extend(weighed());
    sheet.inputs.extend(absent_fields(&about));
    sheet.arrange = Some(absent);
    if let Some(question) = question(&about, typed) {
        sheet.facts.push(("Question".into(), question));
    }
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
