//! What a code is that was read off a photograph of a label.

use schemars::JsonSchema;
use serde::Serialize;

use crate::app::reader::{ReadError, Reader};
use crate::ids::{Code, IdError, Subject};

/// What kind of code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Sighted {
    /// The label of something in this ledger that the reader may see.
    Ours,
    /// A code of our kind that nothing here bears, or nothing that the reader may see.
    Unknown,
    /// Like a code of ours, with a check character that does not fit.
    Misread,
    /// Another agency's, a shop's, any other text.
    Foreign,
}

/// A code on a photograph.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Sighting {
    /// What is written in it.
    pub text: String,
    /// What kind of code it is.
    pub kind: Sighted,
    /// The code of ours; none where it is none.
    pub code: Option<Code>,
    /// What bears it; none where it is not [`Sighted::Ours`].
    pub subject: Option<Subject>,
    /// What kind of code it is, one sentence.
    pub sentence: String,
    /// What to do, one sentence.
    pub next: String,
}

fn of(text: &str, kind: Sighted, code: Option<Code>, subject: Option<Subject>) -> Sighting {
    let (sentence, next) = match kind {
        Sighted::Ours => (
            format!("{text} is the code of a label of this ledger."),
            "Go on with what bears it.",
        ),
        Sighted::Unknown => (
            format!(
                "{text} is a code of this kind, and nothing in this ledger that you may see bears it."
            ),
            "It belongs to another ledger, or to a case that you may not see: ask whoever brought it.",
        ),
        Sighted::Misread => (
            format!(
                "The check character of {text} does not fit, so the label was written or changed by other means."
            ),
            "Compare it with the code in letters on the label, and type that; where they differ, tell a supervisor.",
        ),
        Sighted::Foreign => (
            format!("“{text}” is no code of this kind: another agency or a shop made this label."),
            "Look for a label of this ledger on it.",
        ),
    };
    Sighting {
        text: text.to_owned(),
        kind,
        code,
        subject,
        sentence,
        next: next.to_owned(),
    }
}

/// What a text is that was read off a label.
///
/// # Errors
/// See [`ReadError`].
pub async fn sighted(reader: &Reader<'_>, text: &str) -> Result<Sighting, ReadError> {
    let code = match text.parse::<Code>() {
        Ok(code) => code,
        Err(IdError::CheckCharacter) => return Ok(of(text, Sighted::Misread, None, None)),
        Err(_) => return Ok(of(text, Sighted::Foreign, None, None)),
    };
    let seen = match reader.subject_of_code(&code).await {
        Ok(subject) => match subject {
            Subject::Item(id) => reader.item(id).await.map(drop),
            Subject::Package(id) => reader.package(id).await.map(drop),
            Subject::Place(id) => reader.place(id).await.map(drop),
            _ => Err(ReadError::NotFound("item, package or place")),
        }
        .map(|()| subject),
        Err(e) => Err(e),
    };
    let grouped = code.grouped();
    match seen {
        Ok(subject) => Ok(of(&grouped, Sighted::Ours, Some(code), Some(subject))),
        Err(ReadError::NotFound(_) | ReadError::Restricted) => {
            Ok(of(&grouped, Sighted::Unknown, Some(code), None))
        }
        Err(e) => Err(e),
    }
}
