//! The form for something recovered wet that is dry now.

use super::Sheet;
use super::choices::{About, item};
use crate::app::Reader;
use crate::ids::Piece;
use crate::web::error::Failure;
use crate::web::form::{Input, Typed};

/// Record since when an item is dry.
pub(super) async fn note(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let id = item(typed)?;
    let about = About::of(reader, Piece::Item(id)).await?;
    let mut sheet = about.sheet("Record as dry:");
    sheet.intro = "From then on it asks for what a dry thing asks for. Since when it is dry, say under \"It happened earlier\".".into();
    sheet.cautions = vec![
        "Feel it with gloves on, beside the mark. Warm air can be used on what local rules allow, heat never; blood and body \
         fluids can infect, dried ones too. Your local rules come first."
            .into(),
    ];
    sheet.cautions.extend(about.cautions(&reader.house().rules));
    sheet.inputs = vec![
        Input::hidden("item", id.to_string()),
        Input::line("how", "How and where it was dried")
            .hint("In the drying cabinet, in its paper bag, 30 hours."),
    ];
    Ok(sheet)
}
