//! The form for what an examination used up.

use serde_json::{Map, Value};

use super::choices::{About, item};
use super::{Sheet, as_truth};
use crate::app::Reader;
use crate::ids::Piece;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};

fn arranged(fields: &mut Map<String, Value>) {
    as_truth(fields, "whole");
}

/// Record that an examination used an item up, or part of it.
pub(super) async fn consume(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let id = item(typed)?;
    let about = About::of(reader, Piece::Item(id)).await?;
    let mut sheet = about.sheet("Used up by an examination:");
    sheet.submit = "Record it".into();
    sheet.intro = "Part of it, or all of it. When all of it is used up its custody ends, and nothing more can be done with it. \
                   Whether an examination may use it up, and who must agree before, local law and counsel decide."
        .into();
    let how = vec![
        Choice::new("no", "part of it: what is left stays in custody"),
        Choice::new("yes", "all of it: its custody ends"),
    ];
    sheet.inputs = vec![
        Input::hidden("item", id.to_string()),
        Input::new("whole", "How much is used up", Kind::One(how)),
        Input::line("quantity", "The same in words")
            .hint("One of three swabs; a square of 5 mm cut from the corner."),
        Input::line("said_by", "Who says so").hint("The examiner or the laboratory."),
        Input::line("authority", "By whose authority")
            .hint("A consent, a court's order, a rule of the agency."),
        Input::line("report", "Report that shows it").hint("Its number and date."),
        Input::lines("note", "Note").optional(),
    ];
    sheet.arrange = Some(arranged);
    sheet.sentence = format!(
        "{} was used up by an examination as described here, by the report named here.",
        crate::app::views::words::capital(&about.thing.name())
    );
    Ok(sheet)
}
