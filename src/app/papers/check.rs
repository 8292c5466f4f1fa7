//! Whether a paper that turns up is one that was printed: its digest, and the print identifier it bears, held against
//! the record.

use schemars::JsonSchema;
use serde::Serialize;

use crate::app::reader::{ReadError, Reader, opened};
use crate::app::views::words;
use crate::custody::Fact;
use crate::custody::state::Case;
use crate::disclosure::paper::prints_in;
use crate::ids::{CommandId, Digest, Piece, Subject};
use crate::ledger::event::Event;
use crate::ledger::times;
use crate::people::Action;
use crate::store::RAW_MAX;

/// How many events of one print are told: a sheet of labels is recorded for each thing on it.
const MOST_TOLD: usize = 20;

/// A print on the record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Print {
    /// The event that records it.
    pub seq: u64,
    /// `Report printed`, `Label printed`.
    pub act: String,
    /// Of what: `item 3 of case HC-26-0117`.
    pub of: String,
    /// When, in the agency's zone.
    pub when: String,
    /// By whom.
    pub by: String,
    /// SHA-256 of the PDF that was printed.
    pub digest: Digest,
}

/// What the record says of a file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(tag = "answer", rename_all = "kebab-case")]
pub enum Verdict {
    /// It is the paper that was printed, byte for byte.
    Printed {
        /// Its prints, at most twenty.
        prints: Vec<Print>,
    },
    /// It bears the identifier of a print, but is not what was printed.
    Altered {
        /// The identifier.
        print_id: CommandId,
        /// The print whose identifier it bears.
        print: Print,
    },
    /// No print on the record has this digest, nor any identifier that the file bears.
    Unknown {
        /// Identifiers that it bears all the same.
        bears: Vec<CommandId>,
        /// The first event that was looked at: 1 where all were.
        looked_from: u64,
    },
}

/// A file, held against the record.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Checked {
    /// SHA-256 of the file.
    pub digest: Digest,
    /// What the record says.
    #[serde(flatten)]
    pub verdict: Verdict,
    /// The cases of the prints named, for whoever notes that they were read.
    #[serde(skip)]
    pub cases: Vec<Case>,
}

/// A print's subject and digest; none for any other event.
fn printed(event: &Event) -> Option<(Subject, Digest)> {
    match Fact::from_fields(&event.header.kind, &event.fields).ok()? {
        Fact::ReportPrinted(x) => Some((x.of, x.digest)),
        Fact::LabelPrinted(x) => Some((x.of, x.digest)),
        _ => None,
    }
}

/// Holds a PDF against the record. A file that bears no known identifier is looked for by its digest among the last
/// `most` events, or among all.
///
/// # Errors
/// [`ReadError::Restricted`] for a paper of a case that the viewer may not see; see [`ReadError`].
pub async fn check(
    reader: &Reader<'_>,
    bytes: Vec<u8>,
    most: Option<u64>,
) -> Result<Checked, ReadError> {
    reader.must(Action::ReadEvidence)?;
    let looked = tokio::task::spawn_blocking(move || (Digest::of(&bytes), prints_in(&bytes)));
    let (digest, bears) = looked
        .await
        .map_err(|e| ReadError::Unavailable(e.to_string()))?;
    let store = &reader.house().store;
    let mut altered = None;
    for id in &bears {
        let Some(row) = store.command(&id.to_string()).await? else {
            continue;
        };
        let Some(raw) = store.event(row.first_seq).await? else {
            continue;
        };
        let event = opened(raw)?;
        let Some((of, on_record)) = printed(&event) else {
            continue;
        };
        if on_record == digest {
            return told(reader, digest, &[event]).await;
        }
        altered = altered.or(Some((*id, event, of, on_record)));
    }
    if let Some((print_id, event, of, on_record)) = altered {
        let (print, case) = tell(reader, &event, of, on_record).await?;
        return Ok(Checked {
            digest,
            verdict: Verdict::Altered { print_id, print },
            cases: case.into_iter().collect(),
        });
    }
    let size = store.head().await?.size;
    let looked_from = most.map_or(1, |most| size.saturating_sub(most) + 1);
    let found = by_digest(reader, digest, looked_from).await?;
    if found.is_empty() {
        return Ok(Checked {
            digest,
            verdict: Verdict::Unknown { bears, looked_from },
            cases: Vec::new(),
        });
    }
    told(reader, digest, &found).await
}

/// The prints of this digest, from an event on.
async fn by_digest(
    reader: &Reader<'_>,
    digest: Digest,
    from: u64,
) -> Result<Vec<Event>, ReadError> {
    let text = digest.to_string();
    let finder = memchr::memmem::Finder::new(&text);
    let mut found = Vec::new();
    let mut from = i64::try_from(from).unwrap_or(i64::MAX);
    loop {
        let page = reader.house().store.events(from, RAW_MAX).await?;
        let Some(last) = page.last() else {
            return Ok(found);
        };
        from = last.seq.saturating_add(1);
        for raw in page {
            // Looked at as bytes first: only what has the digest in it is read.
            let fields = raw.fields.as_deref().unwrap_or_default();
            if finder.find(fields).is_none() {
                continue;
            }
            let event = opened(raw)?;
            if printed(&event).is_some_and(|(_, of)| of == digest) {
                found.push(event);
                if found.len() >= MOST_TOLD {
                    return Ok(found);
                }
            }
        }
    }
}

async fn told(reader: &Reader<'_>, digest: Digest, events: &[Event]) -> Result<Checked, ReadError> {
    let mut prints = Vec::with_capacity(events.len());
    let mut cases: Vec<Case> = Vec::new();
    for event in events {
        let Some((of, on_record)) = printed(event) else {
            continue;
        };
        let (print, case) = tell(reader, event, of, on_record).await?;
        prints.push(print);
        if let Some(case) = case
            && !cases.iter().any(|c| c.id == case.id)
        {
            cases.push(case);
        }
    }
    Ok(Checked {
        digest,
        verdict: Verdict::Printed { prints },
        cases,
    })
}

/// A print in words, and its case.
async fn tell(
    reader: &Reader<'_>,
    event: &Event,
    of: Subject,
    digest: Digest,
) -> Result<(Print, Option<Case>), ReadError> {
    let header = &event.header;
    let case = match header.case {
        Some(id) => Some(reader.case(id).await?),
        None => None,
    };
    let state = reader.around(&[of]).await?;
    let what = match of {
        Subject::Item(id) => words::title(&state, Piece::Item(id)),
        Subject::Package(id) => words::title(&state, Piece::Package(id)),
        Subject::Place(id) => state
            .places
            .get(&id)
            .map_or_else(|| of.to_string(), |p| words::place(&p.added.name)),
        Subject::Case(_) => String::new(),
        other => other.to_string(),
    };
    let of = match (&case, what.is_empty()) {
        (Some(case), true) => format!("case {}", case.number),
        (Some(case), false) => format!("{what}, case {}", case.number),
        (None, _) => what,
    };
    let zone = reader.house().agency().await.map_err(ReadError::from)?.zone;
    let recorded = times::parse_recorded(&header.recorded_at);
    let print = Print {
        seq: header.seq,
        act: words::act(&header.kind).to_owned(),
        of,
        when: recorded.map_or_else(|_| header.recorded_at.clone(), |t| words::when(&t, zone)),
        by: event
            .field_str("by")
            .filter(|by| !by.is_empty())
            .map_or_else(|| "the server's operator".to_owned(), words::signed_by),
        digest,
    };
    Ok((print, case))
}

impl Checked {
    /// Whether it is the paper that was printed.
    #[must_use]
    pub fn is_printed(&self) -> bool {
        matches!(self.verdict, Verdict::Printed { .. })
    }

    /// The answer in a few words, for a heading.
    #[must_use]
    pub fn heading(&self) -> &'static str {
        match self.verdict {
            Verdict::Printed { .. } => "This is the paper that was printed",
            Verdict::Altered { .. } => "This is not what was printed: it was altered",
            Verdict::Unknown { .. } => "This paper is not known",
        }
    }

    /// What the answer means, in one or two sentences.
    #[must_use]
    pub fn sentence(&self) -> String {
        match &self.verdict {
            Verdict::Printed { .. } => {
                "Every byte of the file is as it was when the print went on the record.".into()
            }
            Verdict::Altered { print_id, .. } => format!(
                "It bears the identifier of print {print_id}, but its digest is another one than on the record. \
                 Something in it was changed, or it was saved again by another program. Ask for the file as it was handed out."
            ),
            Verdict::Unknown { bears, looked_from } => {
                let mut said = String::from("No print on the record has its digest. ");
                if let Some(id) = bears.first() {
                    said.push_str(&format!(
                        "It bears the identifier {id}, which this ledger does not know: it may be another ledger's. "
                    ));
                } else {
                    said.push_str(
                        "It bears no identifier of a print either. A label has none, and a report printed before \
                         identifiers stood in the properties has none: one of these that was altered cannot be told from a \
                         strange file. ",
                    );
                }
                if *looked_from > 1 {
                    said.push_str(&format!(
                        "Only events from {looked_from} on were looked at; the command line looks at all."
                    ));
                }
                said.trim_end().to_owned()
            }
        }
    }

    /// The prints that the answer names.
    #[must_use]
    pub fn prints(&self) -> &[Print] {
        match &self.verdict {
            Verdict::Printed { prints } => prints,
            Verdict::Altered { print, .. } => std::slice::from_ref(print),
            Verdict::Unknown { .. } => &[],
        }
    }
}
