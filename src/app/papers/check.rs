//! Whether a paper that turns up is one that was printed: its digest, and the print identifier it bears, held against
//! the record.

use schemars::JsonSchema;
use serde::Serialize;

use super::check_signature::SignatureSaid;
use crate::app::reader::{ReadError, Reader, opened};
use crate::app::views::words;
use crate::custody::Fact;
use crate::custody::state::Case;
use crate::disclosure::paper::prints_in;
use crate::disclosure::signature::found::{Found, beginnings, signatures_in};
use crate::ids::{CommandId, Digest, Piece, Subject};
use crate::ledger::event::Event;
use crate::ledger::times;
use crate::people::Action;
use crate::store::RAW_MAX;

/// How many events of one print are told: a sheet of labels is recorded for each thing on it.
const MOST_TOLD: usize = 20;

/// What a signature that holds leaves open.
pub const TRUST: &str = "A signature that holds says that the key of that certificate made it. Whether the certificate is to be trusted, \
this program does not say.";

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
    /// SHA-256 of the certificate that it was signed with; none where it was printed unsigned.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub certificate: Option<Digest>,
    /// The time in its timestamp.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub timestamp: Option<String>,
    /// What it lacked when it was printed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub warning: Option<String>,
}

/// What an event says of a print.
struct OnRecord {
    of: Subject,
    digest: Digest,
    certificate: Option<Digest>,
    timestamp: Option<String>,
    warning: Option<String>,
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
    /// It begins with a paper that was printed, byte for byte; something was added behind it.
    Appended {
        /// The prints of what it begins with, at most twenty.
        prints: Vec<Print>,
        /// How many bytes were added.
        added: u64,
    },
    /// It bears the identifier of a print, but is not what was printed.
    Altered {
        /// The identifier.
        print_id: CommandId,
        /// The print whose identifier it bears.
        print: Box<Print>,
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
    /// The signatures that it bears, at most eight.
    pub signatures: Vec<SignatureSaid>,
    /// The cases of the prints named, for whoever notes that they were read.
    #[serde(skip)]
    pub cases: Vec<Case>,
}

/// What an event says of a print; none for any other event.
fn printed(event: &Event) -> Option<OnRecord> {
    Some(
        match Fact::from_fields(&event.header.kind, &event.fields).ok()? {
            Fact::ReportPrinted(x) => OnRecord {
                of: x.of,
                digest: x.digest,
                certificate: x.certificate,
                timestamp: x.timestamp,
                warning: x.warning,
            },
            Fact::LabelPrinted(x) => OnRecord {
                of: x.of,
                digest: x.digest,
                certificate: x.certificate,
                timestamp: x.timestamp,
                warning: x.warning,
            },
            _ => return None,
        },
    )
}

/// A file as far as it can be judged without the record.
struct Looked {
    digest: Digest,
    length: usize,
    bears: Vec<CommandId>,
    beginnings: Vec<(Digest, usize)>,
    signatures: Vec<Found>,
}

impl Looked {
    fn at(bytes: &[u8]) -> Self {
        Self {
            digest: Digest::of(bytes),
            length: bytes.len(),
            bears: prints_in(bytes),
            beginnings: beginnings(bytes),
            signatures: signatures_in(bytes),
        }
    }

    /// How much was added to what has this digest; none where the file does not begin with it.
    fn added(&self, digest: Digest) -> Option<u64> {
        let (_, until) = self.beginnings.iter().find(|(d, _)| *d == digest)?;
        Some((self.length - until) as u64)
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
    let looked = tokio::task::spawn_blocking(move || Looked::at(&bytes));
    let looked = looked
        .await
        .map_err(|e| ReadError::Unavailable(e.to_string()))?;
    let (verdict, cases) = judged(reader, &looked, most).await?;
    let mut checked = Checked {
        digest: looked.digest,
        verdict,
        signatures: Vec::new(),
        cases,
    };
    let on_record = checked.prints().first().and_then(|p| p.certificate);
    checked.signatures = looked
        .signatures
        .iter()
        .map(|found| SignatureSaid::of(found, looked.length, on_record))
        .collect();
    Ok(checked)
}

async fn judged(
    reader: &Reader<'_>,
    looked: &Looked,
    most: Option<u64>,
) -> Result<(Verdict, Vec<Case>), ReadError> {
    let store = &reader.house().store;
    let (mut appended, mut altered) = (None, None);
    for id in &looked.bears {
        let Some(row) = store.command(&id.to_string()).await? else {
            continue;
        };
        let Some(raw) = store.event(row.first_seq).await? else {
            continue;
        };
        let event = opened(raw)?;
        let Some(print) = printed(&event) else {
            continue;
        };
        if print.digest == looked.digest {
            let all = printed_together(reader, event, print.digest).await?;
            let (prints, cases) = told(reader, &all).await?;
            return Ok((Verdict::Printed { prints }, cases));
        }
        if let Some(added) = looked.added(print.digest) {
            appended = appended.or(Some((event, added)));
        } else {
            altered = altered.or(Some((*id, event, print)));
        }
    }
    if let Some((event, added)) = appended {
        let digest = printed(&event).map(|p| p.digest);
        let all = match digest {
            Some(digest) => printed_together(reader, event, digest).await?,
            None => vec![event],
        };
        let (prints, cases) = told(reader, &all).await?;
        return Ok((Verdict::Appended { prints, added }, cases));
    }
    if let Some((print_id, event, on_record)) = altered {
        let (print, case) = tell(reader, &event, on_record).await?;
        let print = Box::new(print);
        let verdict = Verdict::Altered { print_id, print };
        return Ok((verdict, case.into_iter().collect()));
    }
    let size = store.head().await?.size;
    let looked_from = most.map_or(1, |most| size.saturating_sub(most) + 1);
    // The file itself first, then what it begins with, the longest first.
    let mut wanted = vec![looked.digest];
    wanted.extend(looked.beginnings.iter().rev().map(|(d, _)| *d));
    let found = by_digest(reader, &wanted, looked_from).await?;
    for digest in wanted {
        let is_it = |e: &&Event| printed(e).is_some_and(|p| p.digest == digest);
        let same: Vec<Event> = found.iter().filter(is_it).cloned().collect();
        if same.is_empty() {
            continue;
        }
        let (prints, cases) = told(reader, &same).await?;
        return Ok(match looked.added(digest) {
            Some(added) if digest != looked.digest => (Verdict::Appended { prints, added }, cases),
            _ => (Verdict::Printed { prints }, cases),
        });
    }
    let bears = looked.bears.clone();
    Ok((Verdict::Unknown { bears, looked_from }, Vec::new()))
}

/// A print, and where it is a label those of the other things on the same sheet: they were recorded at the same moment.
async fn printed_together(
    reader: &Reader<'_>,
    event: Event,
    digest: Digest,
) -> Result<Vec<Event>, ReadError> {
    if event.header.kind != "paper.label-printed" {
        return Ok(vec![event]);
    }
    let from = event.header.seq.saturating_sub(MOST_TOLD as u64).max(1);
    let from = i64::try_from(from).unwrap_or(i64::MAX);
    let mut out = Vec::new();
    for raw in reader.house().store.events(from, RAW_MAX.min(100)).await? {
        let event = opened(raw)?;
        if out.len() < MOST_TOLD && printed(&event).is_some_and(|p| p.digest == digest) {
            out.push(event);
        }
    }
    Ok(out)
}

/// The prints of any of these digests, from an event on.
async fn by_digest(
    reader: &Reader<'_>,
    wanted: &[Digest],
    from: u64,
) -> Result<Vec<Event>, ReadError> {
    let texts: Vec<String> = wanted.iter().map(ToString::to_string).collect();
    let finders: Vec<_> = texts.iter().map(memchr::memmem::Finder::new).collect();
    let mut found = Vec::new();
    let mut from = i64::try_from(from).unwrap_or(i64::MAX);
    loop {
        let page = reader.house().store.events(from, RAW_MAX).await?;
        let Some(last) = page.last() else {
            return Ok(found);
        };
        from = last.seq.saturating_add(1);
        for raw in page {
            // Looked at as bytes first: only what has a digest in it is read.
            let fields = raw.fields.as_deref().unwrap_or_default();
            if finders.iter().all(|f| f.find(fields).is_none()) {
                continue;
            }
            let event = opened(raw)?;
            if printed(&event).is_some_and(|p| wanted.contains(&p.digest)) {
                found.push(event);
                if found.len() >= MOST_TOLD {
                    return Ok(found);
                }
            }
        }
    }
}

async fn told(reader: &Reader<'_>, events: &[Event]) -> Result<(Vec<Print>, Vec<Case>), ReadError> {
    let mut prints = Vec::with_capacity(events.len());
    let mut cases: Vec<Case> = Vec::new();
    for event in events {
        let Some(on_record) = printed(event) else {
            continue;
        };
        let (print, case) = tell(reader, event, on_record).await?;
        prints.push(print);
        if let Some(case) = case
            && !cases.iter().any(|c| c.id == case.id)
        {
            cases.push(case);
        }
    }
    Ok((prints, cases))
}

/// A print in words, and its case.
async fn tell(
    reader: &Reader<'_>,
    event: &Event,
    on_record: OnRecord,
) -> Result<(Print, Option<Case>), ReadError> {
    let (header, of) = (&event.header, on_record.of);
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
    let zone = reader.house().zone().await.map_err(ReadError::from)?;
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
        digest: on_record.digest,
        certificate: on_record.certificate,
        timestamp: on_record.timestamp,
        warning: on_record.warning,
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
            Verdict::Appended { .. } => "Printed by this ledger, and then appended to",
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
            Verdict::Appended { added, .. } => format!(
                "The file begins with the paper as it was printed, byte for byte; then somebody added {added} bytes. A reader of PDF \
                 shows the file with what was added, which may look otherwise. Ask for the file as it was handed out."
            ),
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
                        "It bears no identifier of a print either. A paper that was printed before identifiers stood in the \
                         properties has none: one of these that was altered cannot be told from a strange file. ",
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
            Verdict::Printed { prints } | Verdict::Appended { prints, .. } => prints,
            Verdict::Altered { print, .. } => std::slice::from_ref(&**print),
            Verdict::Unknown { .. } => &[],
        }
    }
}
