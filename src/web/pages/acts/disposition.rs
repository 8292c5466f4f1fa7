//! Forms of disposition: authorise, take back, carry out, confirm as the witness, decline.

use serde_json::{Map, Value};

use super::Sheet;
use super::choices::{About, active_people, person_choice, seen};
use crate::app::Reader;
use crate::app::views::words;
use crate::custody::disposition::Method;
use crate::custody::{hold, retention};
use crate::people::{Action, permission};
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};

const LAW: &str = "What may be disposed of, when, how and by whose authority, local law decides. Who authorises, who carries out and \
                   who witnesses are three people.";

fn done_so_far(about: &About, sheet: &mut Sheet) {
    let Some(d) = &about.thing.custody().disposition else {
        return;
    };
    sheet.facts.push((
        "Authorised".into(),
        format!(
            "to be {}, by {}, {}; authority: {}; {}",
            d.method.words(),
            about.state.person_name(d.by),
            words::minute(&d.at, about.zone),
            d.authority,
            d.reason
        ),
    ));
    if let Some(e) = &d.executed {
        let to = if e.to.is_empty() {
            String::new()
        } else {
            format!(", to {}", e.to)
        };
        sheet.facts.push((
            "Carried out".into(),
            format!(
                "by {}, {}{to}: {}",
                about.state.person_name(e.by),
                words::minute(&e.at, about.zone),
                e.how
            ),
        ));
        sheet
            .facts
            .push(("Witness".into(), about.state.person_name(e.witness)));
    }
}

/// Why it should stay, as far as the record says.
fn reasons(about: &About, sheet: &mut Sheet) {
    if let Some((hold, on)) = hold::on(&about.state, about.piece) {
        sheet.facts.push((
            "A hold stands".into(),
            format!("on {on}, ordered by {}: {}", hold.authority, hold.reason),
        ));
    }
    let today = chrono::Utc::now().date_naive();
    if let Some(kept) = retention::kept(&about.case, today) {
        sheet.facts.push(("It is to be kept".into(), kept));
    }
}

/// Authorise a disposition.
pub(super) async fn authorise(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Authorise the disposition of");
    sheet.submit = "Authorise".into();
    sheet.intro = LAW.into();
    reasons(&about, &mut sheet);
    let methods = Method::ALL
        .map(|m| Choice::new(m.word(), format!("It is {}", m.words())))
        .to_vec();
    sheet
        .inputs
        .push(Input::new("method", "How it ends", Kind::One(methods)));
    sheet.inputs.push(
        Input::line("authority", "By whose authority")
            .hint("A statute, a court's order, a prosecutor's release, with its number."),
    );
    sheet.inputs.push(Input::lines("reason", "Why"));
    sheet.inputs.push(
        Input::lines("early_reason", "Why before the schedule's time is over")
            .hint("Only where the schedule still keeps it: who ordered it, and why.")
            .optional(),
    );
    sheet.sentence = format!("I authorise the disposition of {}.", about.thing.name());
    Ok(sheet)
}

/// Take an authorisation back.
pub(super) async fn revoke(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Take back the authorisation for");
    sheet.submit = "Take it back".into();
    done_so_far(&about, &mut sheet);
    sheet.inputs.push(Input::lines("reason", "Why"));
    Ok(sheet)
}

fn cautions(about: &About, reader: &Reader<'_>, sheet: &mut Sheet) {
    sheet.cautions.push(
        "Destroying evidence can hurt. Blades and broken glass cut through bags; powders, resins and solvents may be hazardous \
         waste and must not be burned or poured away; blood and what was in contact with it is infectious waste. Wear what your \
         local rules ask for, read the safety data sheets, and have it done by those who are licensed for it where local rules \
         say so."
            .into(),
    );
    sheet.cautions.extend(about.cautions(&reader.house().rules));
}

fn no_party(fields: &mut Map<String, Value>) {
    let empty = fields.get("party").is_some_and(|p| {
        p.as_object()
            .is_some_and(|m| m.values().all(|v| v.as_str().is_none_or(str::is_empty)))
    });
    if empty {
        fields.remove("party");
    } else if let Some(Value::Object(party)) = fields.get_mut("party") {
        for name in ["name", "organisation", "identification"] {
            party
                .entry(name)
                .or_insert_with(|| Value::String(String::new()));
        }
    }
}

/// Carry a disposition out.
pub(super) async fn dispose(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Dispose of");
    sheet.submit = "Record that it was carried out".into();
    sheet.intro = format!(
        "Record it when it is done and the witness has seen it. It counts when the witness has confirmed it; until then nothing \
         else can be done with it. {LAW}"
    );
    done_so_far(&about, &mut sheet);
    reasons(&about, &mut sheet);
    let method = about.thing.custody().disposition.as_ref().map(|d| d.method);
    if method.is_none_or(|m| m == Method::Destroy) {
        cautions(&about, reader, &mut sheet);
    }
    let me = reader.viewer().id();
    let authorised = about.thing.custody().disposition.as_ref().map(|d| d.by);
    let witnesses = active_people(reader)
        .await?
        .into_iter()
        .filter(|p| {
            Some(p.id) != me
                && Some(p.id) != authorised
                && permission::allows(&p.roles, Action::Witness)
                && about.case.seen_by(Some(p.id))
        })
        .map(|p| person_choice(&p))
        .collect();
    sheet.inputs.push(Input::new(
        "witness",
        "Who witnessed it",
        Kind::One(witnesses),
    ));
    sheet.inputs.push(
        Input::lines("how", "How and where it was done")
            .hint("Such as the plant and the number of its receipt, or the counter and the receipt that was signed."),
    );
    if method.is_none_or(Method::to_somebody) {
        sheet.inputs.extend([
            Input::line("party.name", "Who received it").optional(),
            Input::line("party.organisation", "Organisation").optional(),
            Input::line("party.identification", "Identification that you saw")
                .hint("What kind and whose; no copy of a number that you do not need.")
                .optional(),
            Input::line("party.reference", "Reference number").optional(),
        ]);
        sheet.arrange = Some(no_party);
    }
    sheet.inputs.extend(seen(about.is_sealed()));
    sheet.sentence = format!(
        "I carried out the disposition of {} as described here, before the witness named.",
        about.thing.name()
    );
    Ok(sheet)
}

/// Confirm it as the witness.
pub(super) async fn witness(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Witness the disposition of");
    sheet.submit = "Confirm that I saw it".into();
    sheet.intro =
        "Confirm only what you saw yourself. With this its custody ends and nothing more is done with it.".into();
    done_so_far(&about, &mut sheet);
    sheet.sentence = format!(
        "I saw that the disposition of {} was carried out as described here.",
        about.thing.name()
    );
    Ok(sheet)
}

/// Say that it was not done as recorded.
pub(super) async fn decline(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Decline the disposition of");
    sheet.submit = "Say that it was not done".into();
    sheet.intro =
        "It stays with whoever has it by the record, and the authorisation stands.".into();
    done_so_far(&about, &mut sheet);
    sheet.inputs.push(Input::lines("reason", "Why"));
    Ok(sheet)
}
