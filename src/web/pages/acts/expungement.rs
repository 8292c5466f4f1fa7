//! Forms of orders to expunge: put one on the record, take it back, carry it out.

use serde_json::{Map, Value};

use super::Sheet;
use crate::app::Reader;
use crate::app::views::expungements::{self, Instruction};
use crate::custody::state::Case;
use crate::ids::{CaseId, ItemId, Subject};
use crate::people::Action;
use crate::web::error::Failure;
use crate::web::form::{Input, Typed};
use crate::web::frame::Link;

const BEFORE: &str = "What an order names loses its texts and pictures for good; that something was recorded, when and by whom, stays and \
                      can still be proved. Whether the order must be obeyed now, an appeal and a hold included, local law and counsel say.";
const FOR_GOOD: &str = "This cannot be undone: no backup of this program brings it back that was brought up to date afterwards. Read the order \
                        itself before you sign.";

/// What an order is to name: the case, an item, or single events of the case.
pub(super) async fn order(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::OrderExpungement)?;
    let of: Subject = typed.read("of")?;
    let (case, what) = match of {
        Subject::Case(id) => {
            let case = reader.case(id).await?;
            let what = format!("case {}", case.number);
            (case, what)
        }
        Subject::Item(id) => item(reader, id).await?,
        _ => return Err(Failure::no_page()),
    };
    let mut inputs = vec![Input::hidden("of", of.to_string())];
    if matches!(of, Subject::Case(_)) {
        inputs.push(
            Input::line("events", "Single events, where the order names such")
                .hint("Their numbers, with spaces between them; leave it empty for the whole case.")
                .optional(),
        );
    }
    inputs.extend([
        Input::line("court", "Court"),
        Input::line("order", "Number of the order"),
        Input::line("dated", "Date of the order").hint("Year-month-day, such as 2026-03-14."),
    ]);
    Ok(Sheet {
        title: format!("Put an order to expunge {what} on the record"),
        thing: what,
        intro: BEFORE.into(),
        cautions: vec![
            "Nothing goes yet: a second person confirms the order and carries it out.".into(),
        ],
        facts: vec![("Case".into(), case.number.clone())],
        inputs,
        submit: "Put the order on the record".into(),
        sentence: "I have the order before me, and it names what I entered.".into(),
        crumbs: super::case::crumbs(&case),
        done: format!("/cases/{}", case.id),
        about: Some(case),
        arrange: Some(numbers),
        ..Sheet::default()
    })
}

async fn item(reader: &Reader<'_>, id: ItemId) -> Result<(Case, String), Failure> {
    let item = reader.item(id).await?;
    let case = reader.case(item.case).await?;
    let what = format!("item {} of case {}", item.number, case.number);
    Ok((case, what))
}

fn numbers(fields: &mut Map<String, Value>) {
    if let Some(Value::String(text)) = fields.get("events") {
        let words = text.split([' ', ',', ';', '\n']).filter(|w| !w.is_empty());
        let list: Vec<Value> = words
            .map(|w| {
                w.parse::<u64>()
                    .map_or_else(|_| Value::from(w), Value::from)
            })
            .collect();
        fields.insert("events".into(), Value::Array(list));
    }
    number(fields);
}

fn number(fields: &mut Map<String, Value>) {
    let said = fields.get("number").and_then(Value::as_str);
    if let Some(n) = said.and_then(|t| t.parse::<u32>().ok()) {
        fields.insert("number".into(), Value::from(n));
    }
}

/// An order of a case, with what it covers.
async fn of(reader: &Reader<'_>, typed: &Typed) -> Result<(Case, Instruction), Failure> {
    let id: CaseId = typed.read("case")?;
    let case = expungements::case(reader, id).await?;
    let found = expungements::instruction(reader, &case, typed.read("number")?).await?;
    Ok((case, found))
}

fn sheet(reader: &Reader<'_>, case: Case, found: &Instruction, verb: &str) -> Sheet {
    let (id, number) = (case.id, found.order.number);
    Sheet {
        title: format!("{verb} {} of case {}", found.order.order, case.number),
        thing: format!("order {number} of case {}", case.number),
        facts: vec![
            ("Case".into(), case.number.clone()),
            ("Court".into(), found.order.court.clone()),
            (
                "Order".into(),
                format!("{} of {}", found.order.order, found.order.dated),
            ),
            ("It names".into(), found.what.clone()),
            (
                "It covers now".into(),
                format!("{} events", found.events.len()),
            ),
            (
                "On the record".into(),
                format!("{}, by {}", found.ordered, found.ordered_by),
            ),
        ],
        inputs: vec![
            Input::hidden("case", id.to_string()),
            Input::hidden("number", number.to_string()),
        ],
        crumbs: vec![Link::new(
            format!("/cases/{id}/expungements/{number}"),
            "Order",
        )],
        done: format!("/cases/{id}/expungements/{number}"),
        // Whoever may read no evidence is shown none, so there is no reading to record.
        about: Some(case).filter(|_| reader.viewer().may(Action::ReadEvidence)),
        arrange: Some(number_only),
        ..Sheet::default()
    }
}

fn number_only(fields: &mut Map<String, Value>) {
    number(fields);
}

/// Take an order back.
pub(super) async fn withdraw(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::OrderExpungement)?;
    let (case, found) = of(reader, typed).await?;
    let mut sheet = sheet(reader, case, &found, "Take back order");
    sheet.submit = "Take the order back".into();
    sheet.inputs.push(Input::lines("reason", "Why"));
    Ok(sheet)
}

/// Carry an order out.
pub(super) async fn carry_out(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::CarryOutExpungement)?;
    let (case, found) = of(reader, typed).await?;
    let mut sheet = sheet(reader, case, &found, "Carry out order");
    sheet.intro = BEFORE.into();
    sheet.cautions = vec![FOR_GOOD.into()];
    sheet.submit = "Expunge what the order names".into();
    sheet.sentence = "I read the order, and it names what is listed here. Its texts and pictures are to go for good.".into();
    Ok(sheet)
}
