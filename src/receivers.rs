//! Who takes hand-offs: agency data, in `receivers.toml` in the data folder.
//!
//! A receiver's identifiers, the type of transaction and the fields of Type-2 are given by the agency that receives; this
//! program knows none of them. The file is read strictly when the folder is opened: an unknown word, a number twice, a text
//! that could break a file are errors with their line.

use std::ops::Range;
use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use toml::Spanned;

use crate::disclosure::itl::text::Room;
use crate::disclosure::itl::type2;
use crate::disclosure::itl::{Coding, Domain, Edition};

/// The file in the data folder.
pub const FILE: &str = "receivers.toml";
/// The largest file, in bytes.
pub const MAX_FILE: u64 = 256 * 1024;
/// How many receivers a file may have.
pub const MOST: usize = 50;

/// Where a field's text is taken from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FieldSource {
    /// The agency's case number.
    CaseNumber,
    /// The case's title.
    CaseTitle,
    /// The offence.
    Offence,
    /// `HR-26-0417/3` for an item, `HR-26-0417/M2` for a mark.
    Number,
    /// The code on the item's label; of a mark, as [`FieldSource::Number`].
    Code,
    /// The object that bore the mark.
    Object,
    /// The exact place on it.
    ExactPlace,
    /// The scene.
    Scene,
    /// Whoever hands it off.
    Person,
    /// The agency's name.
    Agency,
}

/// What stands in a field.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Content {
    /// Always the same.
    Text(String),
    /// From the record.
    Record(FieldSource),
}

/// A Type-2 field of a receiver.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FieldRule {
    /// Its number: 3 for 2.003.
    pub number: u16,
    /// What stands in it.
    pub content: Content,
    /// The most characters that the receiver takes; a longer text is refused, not cut.
    pub most: usize,
}

/// A receiver.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Receiver {
    /// How commands and forms name it.
    pub id: String,
    /// How people call it.
    pub name: String,
    /// Its identifier; empty while it is not known, and then nothing can be handed off.
    pub destination: String,
    /// The identifier that it gave to this agency; empty while it is not known.
    pub originating: String,
    /// What it calls this type of transaction.
    pub transaction: String,
    /// The edition that it prefers.
    pub edition: Edition,
    /// Whether it needs a known density.
    pub density_required: bool,
    /// How it wants pixels.
    pub coding: Coding,
    /// Priority.
    pub priority: Option<u8>,
    /// The domain whose fields these are.
    pub domain: Option<Domain>,
    /// Its Type-2 fields.
    pub fields: Vec<FieldRule>,
}

/// All receivers, in the order of the file.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Receivers(Vec<Receiver>);

impl Receivers {
    /// All of them.
    #[must_use]
    pub fn all(&self) -> &[Receiver] {
        &self.0
    }

    /// One by its identifier.
    #[must_use]
    pub fn find(&self, id: &str) -> Option<&Receiver> {
        self.0.iter().find(|r| r.id == id)
    }

    /// Those of a data folder; none where it has no such file.
    ///
    /// # Errors
    /// [`ReceiversError`], with the line.
    pub fn of_folder(folder: &Path) -> Result<Self, ReceiversError> {
        let path = folder.join(FILE);
        let name = path.display().to_string();
        let whole = |problem: String| ReceiversError {
            file: name.clone(),
            line: 1,
            problem,
        };
        match std::fs::metadata(&path) {
            Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Self::default()),
            Ok(about) if about.len() > MAX_FILE => {
                return Err(whole(format!("the file is longer than {MAX_FILE} bytes")));
            }
            Ok(_) | Err(_) => {}
        }
        let text =
            std::fs::read_to_string(&path).map_err(|e| whole(format!("it cannot be read: {e}")))?;
        Self::read(&name, &text)
    }

    /// Reads a file's text.
    ///
    /// # Errors
    /// [`ReceiversError`], with the line.
    pub fn read(name: &str, text: &str) -> Result<Self, ReceiversError> {
        let fail = |span: Range<usize>, problem: String| ReceiversError {
            file: name.to_owned(),
            line: line_of(text, span.start),
            problem,
        };
        let file: RawFile = toml::from_str(text)
            .map_err(|e| fail(e.span().unwrap_or(0..0), e.message().to_owned()))?;
        if file.receiver.len() > MOST {
            return Err(fail(0..0, format!("there are more than {MOST} receivers")));
        }
        let mut out: Vec<Receiver> = Vec::new();
        for raw in file.receiver {
            let span = raw.span();
            let one = receiver(raw.into_inner(), &fail)?;
            if out.iter().any(|r| r.id == one.id) {
                return Err(fail(
                    span,
                    format!("there are two receivers \"{}\"", one.id),
                ));
            }
            out.push(one);
        }
        Ok(Self(out))
    }
}

/// What is wrong with the file, and where.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{file}, line {line}: {problem}")]
pub struct ReceiversError {
    /// The file.
    pub file: String,
    /// The line, from 1.
    pub line: usize,
    /// What.
    pub problem: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawFile {
    #[serde(default)]
    receiver: Vec<Spanned<Raw>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    id: Spanned<String>,
    name: Spanned<String>,
    #[serde(default)]
    destination: Option<Spanned<String>>,
    #[serde(default)]
    originating: Option<Spanned<String>>,
    transaction: Spanned<String>,
    edition: Edition,
    density: NeedsDensity,
    images: RawCoding,
    #[serde(default)]
    priority: Option<Spanned<u8>>,
    #[serde(default)]
    domain: Option<RawDomain>,
    #[serde(default)]
    field: Vec<Spanned<RawField>>,
}

#[derive(Deserialize)]
#[serde(rename_all = "kebab-case")]
enum NeedsDensity {
    Required,
    Optional,
}

#[derive(Deserialize)]
#[serde(rename_all = "kebab-case")]
enum RawCoding {
    Png,
    Raw,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawDomain {
    name: Spanned<String>,
    version: Spanned<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawField {
    number: Spanned<u16>,
    #[serde(default)]
    text: Option<Spanned<String>>,
    #[serde(default)]
    from: Option<FieldSource>,
    #[serde(default)]
    most: Option<Spanned<usize>>,
}

fn line_of(text: &str, offset: usize) -> usize {
    text.bytes().take(offset).filter(|b| *b == b'\n').count() + 1
}

type Fail<'a> = dyn Fn(Range<usize>, String) -> ReceiversError + 'a;

fn checked(
    value: Spanned<String>,
    most: usize,
    ascii: bool,
    fail: &Fail<'_>,
) -> Result<String, ReceiversError> {
    let span = value.span();
    let room = Room::new("here", most);
    let text = value.into_inner();
    if ascii {
        room.ascii(&text)
    } else {
        room.text(&text)
    }
    .map_err(|e| fail(span, e.sentence.replace("Field here", "this text")))
}

fn receiver(raw: Raw, fail: &Fail<'_>) -> Result<Receiver, ReceiversError> {
    let id_span = raw.id.span();
    let id = raw.id.into_inner();
    let plain = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-';
    if id.is_empty() || id.len() > 40 || !id.chars().all(plain) {
        let why = "an id has 1 to 40 small letters, digits and hyphens";
        return Err(fail(id_span, why.into()));
    }
    let identifier = |value: Option<Spanned<String>>| match value {
        Some(v) if !v.get_ref().trim().is_empty() => checked(v, 100, true, fail),
        _ => Ok(String::new()),
    };
    let priority = match raw.priority {
        Some(p) if !(1..=9).contains(p.get_ref()) => {
            return Err(fail(p.span(), "a priority is 1 (most urgent) to 9".into()));
        }
        p => p.map(Spanned::into_inner),
    };
    let domain = match raw.domain {
        Some(d) => Some(Domain {
            name: checked(d.name, 100, true, fail)?,
            version: checked(d.version, 100, true, fail)?,
        }),
        None => None,
    };
    let mut fields: Vec<FieldRule> = Vec::new();
    if raw.field.len() > type2::MOST_FIELDS {
        return Err(fail(id_span, "a receiver has at most 100 fields".into()));
    }
    for one in raw.field {
        let span = one.span();
        let rule = field(one.into_inner(), span.clone(), fail)?;
        if fields.iter().any(|f| f.number == rule.number) {
            return Err(fail(span, format!("field {} is given twice", rule.number)));
        }
        fields.push(rule);
    }
    Ok(Receiver {
        id,
        name: checked(raw.name, 100, false, fail)?,
        destination: identifier(raw.destination)?,
        originating: identifier(raw.originating)?,
        transaction: checked(raw.transaction, 16, true, fail)?,
        edition: raw.edition,
        density_required: matches!(raw.density, NeedsDensity::Required),
        coding: match raw.images {
            RawCoding::Png => Coding::Png,
            RawCoding::Raw => Coding::Raw,
        },
        priority,
        domain,
        fields,
    })
}

fn field(raw: RawField, span: Range<usize>, fail: &Fail<'_>) -> Result<FieldRule, ReceiversError> {
    let number = *raw.number.get_ref();
    if !type2::NUMBERS.contains(&number) {
        let why = "a receiver's own fields are numbered 3 to 998";
        return Err(fail(raw.number.span(), why.into()));
    }
    let most = match raw.most {
        Some(m) if !(1..=type2::MOST_CHARACTERS).contains(m.get_ref()) => {
            return Err(fail(m.span(), "a field holds 1 to 1000 characters".into()));
        }
        m => m.map_or(type2::MOST_CHARACTERS, Spanned::into_inner),
    };
    let content = match (raw.text, raw.from) {
        (Some(text), None) => Content::Text(checked(text, most, false, fail)?),
        (None, Some(from)) => Content::Record(from),
        _ => {
            let why = "a field has either a text or a from, not both and not neither";
            return Err(fail(span, why.into()));
        }
    };
    Ok(FieldRule {
        number,
        content,
        most,
    })
}
