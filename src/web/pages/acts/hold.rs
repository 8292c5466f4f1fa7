//! Forms of holds and of retention: place a hold, lift it, say how long the evidence of a case is kept.

use serde_json::{Map, Value};

use super::choices::About;
use super::{Sheet, case};
use crate::app::Reader;
use crate::custody::hold::{Hold, standing};
use crate::custody::state::Case;
use crate::ids::{ItemId, Piece, Subject};
use crate::people::Action;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};
use crate::web::pages::show;
use crate::zone::Zone;

const BLOCKS: &str = "While a hold stands, nothing under it is handed to anybody outside or disposed of. Hand-overs between people \
                      with an account, shelves and examinations go on. What a hold must cover, and who may lift it, local law \
                      and counsel decide.";

/// What a hold is to stand on: an item, or a whole case.
async fn of(
    reader: &Reader<'_>,
    typed: &Typed,
    zone: Zone,
    verb: &str,
) -> Result<(Sheet, Vec<Hold>), Failure> {
    reader.must(Action::Hold)?;
    let of: Subject = typed.read("of")?;
    let (mut sheet, holds) = match of {
        Subject::Case(id) => {
            let found = reader.case(id).await?;
            (of_case(&found, verb), found.holds)
        }
        _ => {
            let id: ItemId = match of {
                Subject::Item(id) => id,
                _ => return Err(Failure::no_page()),
            };
            let about = About::of(reader, Piece::Item(id)).await?;
            let holds = match &about.thing {
                crate::app::Thing::Item(item) => item.holds.clone(),
                crate::app::Thing::Package(_) => Vec::new(),
            };
            let mut sheet = about.sheet(verb);
            sheet.inputs.clear();
            (sheet, holds)
        }
    };
    sheet.intro = BLOCKS.into();
    sheet.inputs.push(Input::hidden("of", of.to_string()));
    sheet.facts.extend(show::held(&holds, zone));
    Ok((sheet, holds))
}

fn of_case(found: &Case, verb: &str) -> Sheet {
    Sheet {
        title: format!("{verb} case {}", found.number),
        thing: format!("case {}", found.number),
        facts: vec![("Case".into(), format!("{}, {}", found.number, found.title))],
        submit: verb.to_owned(),
        crumbs: case::crumbs(found),
        done: format!("/cases/{}", found.id),
        about: Some(found.clone()),
        ..Sheet::default()
    }
}

fn why(sheet: &mut Sheet) {
    sheet.inputs.push(
        Input::line("authority", "Who ordered it")
            .hint("A court, a prosecutor, a statute, with its number."),
    );
    sheet.inputs.push(Input::lines("reason", "Why"));
}

/// Place a hold on an item or a case.
pub(super) async fn place(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let zone = reader.house().zone().await?;
    let (mut sheet, _) = of(reader, typed, zone, "Place a hold on").await?;
    sheet.submit = "Place the hold".into();
    why(&mut sheet);
    Ok(sheet)
}

fn number(fields: &mut Map<String, Value>) {
    if let Some(n) = fields
        .get("number")
        .and_then(Value::as_str)
        .and_then(|t| t.parse::<u32>().ok())
    {
        fields.insert("number".into(), Value::from(n));
    }
}

/// Lift a hold.
pub(super) async fn lift(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let zone = reader.house().zone().await?;
    let (mut sheet, holds) = of(reader, typed, zone, "Lift a hold on").await?;
    sheet.submit = "Lift the hold".into();
    let choices = standing(&holds)
        .map(|h| {
            Choice::new(
                h.number.to_string(),
                format!("Hold {}, {}", h.number, show::hold(h, zone)),
            )
        })
        .collect();
    sheet
        .inputs
        .push(Input::new("number", "Which hold", Kind::One(choices)));
    why(&mut sheet);
    sheet.arrange = Some(number);
    Ok(sheet)
}

/// Say how long the evidence of a case is kept.
pub(super) async fn retention(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::AuthoriseDisposition)?;
    let found = reader.case(typed.read("case")?).await?;
    let schedule = reader.house().rules.schedule();
    let mut sheet = of_case(&found, "Say how long evidence is kept of");
    sheet.submit = "Put it on the record".into();
    sheet.intro = if schedule.classes.is_empty() {
        "The agency has given no retention schedule: a file retention.toml in the data folder. Without one nothing can be chosen \
         here. How long evidence must be kept, local law decides."
            .into()
    } else {
        format!(
            "By schedule {} ({}). How long evidence must be kept, local law decides.",
            schedule.version, schedule.source
        )
    };
    if !found.offence.is_empty() {
        sheet.facts.push(("Offence".into(), found.offence.clone()));
    }
    if let Some(r) = &found.retention {
        let until = r
            .until
            .map_or_else(|| "for good".to_owned(), |d| format!("until {d}"));
        sheet.facts.push((
            "Until now".into(),
            format!("{}, {until}, by schedule {}", r.class_name, r.schedule),
        ));
    }
    let classes = schedule
        .classes
        .iter()
        .map(|c| {
            let time = c
                .months
                .map_or_else(|| "for good".to_owned(), |n| format!("{n} months"));
            Choice::new(
                &c.id,
                format!("{}: {time}, from {}", c.name, c.counted_from),
            )
        })
        .collect();
    sheet.inputs = vec![
        Input::hidden("case", found.id.to_string()),
        Input::new("class", "Class of offence", Kind::One(classes)),
        Input::line("from", "The day from which the time is counted")
            .hint("Year-month-day, such as 2026-03-14."),
        Input::lines("reason", "What happened on that day, and how that is known"),
    ];
    Ok(sheet)
}
