//! The form of an exhibit number.

use super::Sheet;
use super::choices::About;
use crate::app::{Reader, Thing};
use crate::ids::{ItemId, Piece};
use crate::people::Action;
use crate::web::error::Failure;
use crate::web::form::{Input, Typed};

/// Give an item its exhibit number, or another one.
pub(super) async fn set(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::SetExhibit)?;
    let id: ItemId = typed.read("item")?;
    let about = About::of(reader, Piece::Item(id)).await?;
    let Thing::Item(item) = &about.thing else {
        return Err(Failure::no_page());
    };
    let mut sheet = about.sheet("Give an exhibit number to");
    sheet.submit = "Give the exhibit number".into();
    sheet.intro = "A number stays with its item: no other item of the case gets it. Where a court changes it, give another one; \
                   both stay on the record."
        .into();
    for exhibit in &item.exhibits {
        sheet.facts.push((
            "Exhibit".into(),
            super::super::show::exhibit(exhibit, about.zone),
        ));
    }
    sheet.inputs = vec![
        Input::hidden("item", id.to_string()),
        Input::line("number", "Exhibit number").hint("As the court has it, at most 20 characters."),
        Input::line("court", "Court, with its file number").optional(),
    ];
    let reason = Input::line("reason", "Why it gets another number");
    if !item.exhibits.is_empty() {
        sheet.inputs.push(reason);
    }
    Ok(sheet)
}
