//! The form for what is brought to the counter without any record.

use super::{Sheet, wrong};
use crate::app::views::words;
use crate::app::{ReadError, Reader};
use crate::custody::brought::{NOT_WITNESSED, Origin};
use crate::custody::import::FORMS;
use crate::ids::CaseId;
use crate::people::Action;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};
use crate::web::frame::Link;

fn origins() -> Vec<Choice> {
    [
        (Origin::Public, "public"),
        (Origin::Agency, "agency"),
        (Origin::Found, "found"),
    ]
    .map(|(origin, value)| Choice::new(value, words::capital(origin.words())))
    .to_vec()
}

fn forms() -> Vec<Choice> {
    // An object first: that is what it is nearly always.
    let mut all: Vec<&str> = FORMS.to_vec();
    all.sort_by_key(|f| *f != "object");
    all.into_iter()
        .map(|f| Choice::new(f, words::capital(words::form(f))))
        .collect()
}

/// Take in what has no record; `case` may name a case that is there.
pub(super) async fn bring_in(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::Keep)?;
    let number = match typed.get("of") {
        "" => String::new(),
        _ => reader.case(typed.read::<CaseId>("of")?).await?.number,
    };
    let mut sheet = Sheet {
        title: "Take in what has no record".into(),
        thing: "what was brought to the counter".into(),
        intro: format!(
            "For what a member of the public or another agency brings, and for found property. It gets a number and a code in \
             its case, and it is in your hands until you put it on a shelf. {NOT_WITNESSED}, and every page and report says so."
        ),
        cautions: vec![
            "Do not open it, and do not reach into it: ask whoever brought it what is inside. A weapon, ammunition, anything \
             that smells, leaks, ticks or burns, a needle: leave it where it is, keep people away, and call those who are \
             trained for it. Gloves on for everything else. Your local rules come before this page."
                .into(),
        ],
        inputs: vec![
            Input::line("case", "Case number")
                .value(number)
                .hint("An existing case, or a new one such as the agency's next for found property."),
            Input::line("case_title", "Title, for a case that is new")
                .hint("Found property, Weir Street. Leave it empty for an existing case.")
                .optional(),
            Input::new("origin", "From whom it comes", Kind::One(origins())),
            Input::line("brought_by", "Who brought it").hint("Their name, or: unknown."),
            Input::line("agency", "Their agency or organisation").optional(),
            Input::line("identification", "Identification that you saw")
                .hint("Which kind and who issued it; not its number, unless your local rules ask for it. Empty: none was seen.")
                .optional(),
            Input::line("contact", "How they can be reached").optional(),
            Input::line("description", "What it is")
                .hint("What you see, not what it is thought to be: yellow metal ring, clear stone."),
            Input::new("form", "Kind of thing", Kind::One(forms())).value("object"),
            Input::line("found_where", "Where it was found or kept, as they say")
                .hint("Leave empty what nobody knows.")
                .optional(),
            Input::line("found_when", "When, as they say").optional(),
            Input::lines("condition", "Condition"),
            Input::lines("packaging", "Packaging as it came")
                .hint("With every seal of somebody else's and its number; leave it on. Empty: it was not packed.")
                .optional(),
            Input::new("wet", "It is wet", Kind::Yes),
            Input::new(
                "biological",
                "It bears or may bear blood or other biological material",
                Kind::Yes,
            ),
            Input::new("fragile", "It is fragile", Kind::Yes),
            Input::new("sharp", "It is sharp", Kind::Yes),
            Input::lines("note", "Anything else that was said").optional(),
        ],
        submit: "Take it in".into(),
        sentence: "I took this in at the counter as described here. What was before is as it was told to me.".into(),
        crumbs: vec![Link::new("/intake", "Intake counter")],
        done: "/intake".into(),
        ..Sheet::default()
    };
    // The same is asked when it is recorded; here it is said before somebody signs.
    let typed_case = typed.get("case").trim();
    if typed.has("sent") && !typed_case.is_empty() && typed.get("case_title").trim().is_empty() {
        match reader.case_by_number(typed_case).await {
            Err(ReadError::NotFound(_)) => {
                sheet.wrong = Some(wrong(
                    "bad-text",
                    format!("There is no case {typed_case}, and no title to open one with."),
                    "Correct the case number, or give a title for a new case.",
                    "case_title",
                ));
            }
            Ok(_) | Err(ReadError::Restricted) => {}
            Err(e) => return Err(e.into()),
        }
    }
    Ok(sheet)
}
