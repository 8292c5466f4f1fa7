//! How many events each subject has: whoever holds a print can tell later whether one is missing.

use schemars::JsonSchema;
use serde::Serialize;

use crate::app::reader::{ReadError, Reader};
use crate::ids::Subject;

/// A subject's count.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Count {
    /// Whose.
    pub subject: Subject,
    /// In words: `item 3`.
    pub name: String,
    /// How many events.
    pub events: u64,
}

/// Counts the events of subjects that the caller may see.
///
/// # Errors
/// See [`ReadError`].
pub async fn counts(
    reader: &Reader<'_>,
    of: impl IntoIterator<Item = (Subject, String)>,
) -> Result<Vec<Count>, ReadError> {
    let mut out = Vec::new();
    for (subject, name) in of {
        let events = reader
            .house()
            .store
            .subject_count(&subject.to_string())
            .await?;
        out.push(Count {
            subject,
            name,
            events,
        });
    }
    Ok(out)
}
