//! An event: a header that goes into the tree, and a payload that the header commits to.

use std::{collections::HashSet, fmt, str::FromStr};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use uuid::Uuid;

use super::{
    merkle,
    payload::{self, Fields, PayloadError, Salt},
    scan::{INTEGER_BOUND, Scan},
    times,
};
use crate::ids::{CaseId, Digest, EventId, PersonId, Seq, Subject};

/// The version of the header's format.
pub const VERSION: u32 = 1;
/// Most subjects one event may touch: a package with all it contains.
pub const MAX_TOUCHES: usize = 4096;
/// Longest `kind`, in bytes.
pub const MAX_KIND: usize = 64;
/// Longest `rules`, in bytes.
pub const MAX_RULES: usize = 128;

/// Why an event cannot be sealed, or why stored bytes are not one.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EventError {
    /// A version this program does not know.
    #[error("this header has version {0}; version 1 is the one known here")]
    Version(u32),
    /// Outside 1 to 2^53 - 1.
    #[error("an event's number is a whole number from 1 to below 2^53")]
    Seq,
    /// A kind that does not fit `[a-z][a-z0-9._-]{0,63}`.
    #[error(
        "{0:?} is not a kind of event: a small letter, then small letters, digits, dots, hyphens or underscores"
    )]
    Kind(String),
    /// A rules version with anything but printable ASCII, or with a quote or a backslash, or too long.
    #[error(
        "the version of the rules has at most 128 printable characters without quotes and backslashes"
    )]
    Rules,
    /// More than [`MAX_TOUCHES`].
    #[error("an event touches at most 4096 subjects")]
    TooManyTouches,
    /// The same subject twice.
    #[error("the event touches {0} twice")]
    TouchedTwice(Subject),
    /// A subject's count outside 1 to 2^53 - 1.
    #[error("the count of {0} is not a whole number from 1 to below 2^53")]
    Count(Subject),
    /// A claimed time in another form.
    #[error("the claimed time is not in the form 2026-03-04T07:06:07.000000+02:00")]
    ClaimedAt,
    /// An observed time in another form.
    #[error("the recorded time is not in the form 2026-03-04T05:06:07.000000Z")]
    RecordedAt,
    /// Bytes that are not a header in its canonical form.
    #[error("these bytes are not the canonical form of an event's header")]
    NotCanonical,
    /// The payload breaks a rule of its own.
    #[error(transparent)]
    Payload(#[from] PayloadError),
    /// The payload is not the one the header commits to.
    #[error("the payload is not the one that event {0} commits to")]
    PayloadDiffers(Seq),
}

/// A subject that an event is about, and the how-manieth event of that subject this is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub struct Touch {
    /// What the event is about.
    pub subject: Subject,
    /// 1 for the subject's first event, then without a gap.
    pub n: u64,
}

macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $word:literal,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
        #[serde(rename_all = "kebab-case")]
        pub enum $name { $($(#[$vdoc])* $variant,)* }

        impl $name {
            /// Every value, in order.
            pub const ALL: &[Self] = &[$(Self::$variant,)*];

            /// The word as the header has it.
            #[must_use]
            pub fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $word,)* }
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(self.as_str())
            }
        }

        impl FromStr for $name {
            type Err = EventError;
            fn from_str(s: &str) -> Result<Self, EventError> {
                match s { $($word => Ok(Self::$variant),)* _ => Err(EventError::NotCanonical) }
            }
        }
    };
}

words! {
    /// How the actor signed.
    Attested {
        /// By being signed in, without signing again.
        Session = "session",
        /// With a password, given for this act.
        Password = "password",
        /// With a passkey, used for this act.
        Passkey = "passkey",
        /// With a one-time code, given for this act.
        OneTimeCode = "one-time-code",
        /// On paper; the payload says which.
        Paper = "paper",
        /// With an access token of a program.
        Token = "token",
        /// Not at all: the system itself acted.
        None = "none",
    }
}

words! {
    /// Where the event came from.
    Source {
        /// A desk in the building.
        Desk = "desk",
        /// A field device, perhaps without a network at the time.
        Field = "field",
        /// Records brought in from elsewhere.
        Import = "import",
        /// A program that uses the interface for programs.
        Api = "api",
        /// The command line on the server.
        CommandLine = "command-line",
        /// The server itself.
        System = "system",
    }
}

/// The header of an event. Its canonical bytes are the leaf of the tree.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Header {
    /// Format version, [`VERSION`].
    pub v: u32,
    /// Position in the ledger, from 1.
    pub seq: Seq,
    /// The event's identifier.
    pub id: EventId,
    /// What happened, such as `item.received`.
    pub kind: String,
    /// The case it belongs to; none is written as an empty string.
    #[serde(with = "or_empty")]
    #[schemars(with = "String")]
    pub case: Option<CaseId>,
    /// What it is about.
    pub touches: Vec<Touch>,
    /// Who acted; none, for the system itself, is written as an empty string.
    #[serde(with = "or_empty")]
    #[schemars(with = "String")]
    pub actor: Option<PersonId>,
    /// How the actor signed.
    pub attested: Attested,
    /// Where it came from.
    pub source: Source,
    /// When it happened by the word of who recorded it; see [`times::claimed`].
    pub claimed_at: String,
    /// When the server recorded it; see [`times::recorded`].
    pub recorded_at: String,
    /// Version of the trade rules in force.
    pub rules: String,
    /// What the payload must amount to.
    pub payload_root: Digest,
}

/// A header before it is known what the payload amounts to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Draft {
    /// Position in the ledger, from 1.
    pub seq: Seq,
    /// The event's identifier.
    pub id: EventId,
    /// What happened.
    pub kind: String,
    /// The case it belongs to.
    pub case: Option<CaseId>,
    /// What it is about.
    pub touches: Vec<Touch>,
    /// Who acted; none for the system itself.
    pub actor: Option<PersonId>,
    /// How the actor signed.
    pub attested: Attested,
    /// Where it came from.
    pub source: Source,
    /// See [`times::claimed`].
    pub claimed_at: String,
    /// See [`times::recorded`].
    pub recorded_at: String,
    /// Version of the trade rules in force.
    pub rules: String,
}

impl Header {
    /// The canonical bytes.
    ///
    /// # Errors
    /// The first rule the header breaks; see [`EventError`].
    pub fn to_bytes(&self) -> Result<Vec<u8>, EventError> {
        self.check()?;
        let mut out = String::with_capacity(600 + self.touches.len() * 64);
        // Every string is printable ASCII without quotes and backslashes by now, so none needs an escape; and the
        // keys stand in their canonical order.
        let mut text = |key: &str, value: &dyn fmt::Display| {
            out.push_str(if out.is_empty() { "{\"" } else { ",\"" });
            out.push_str(key);
            out.push_str("\":\"");
            out.push_str(&value.to_string());
            out.push('"');
        };
        let none: &dyn fmt::Display = &"";
        text("actor", self.actor.as_ref().map_or(none, |x| x));
        text("attested", &self.attested);
        text("case", self.case.as_ref().map_or(none, |x| x));
        text("claimed_at", &self.claimed_at);
        text("id", &self.id);
        text("kind", &self.kind);
        text("payload_root", &self.payload_root);
        text("recorded_at", &self.recorded_at);
        text("rules", &self.rules);
        out.push_str(&format!(
            ",\"seq\":{},\"source\":\"{}\",\"touches\":[",
            self.seq, self.source
        ));
        for (i, touch) in self.touches.iter().enumerate() {
            let comma = if i > 0 { "," } else { "" };
            out.push_str(&format!(
                "{comma}{{\"n\":{},\"subject\":\"{}\"}}",
                touch.n, touch.subject
            ));
        }
        out.push_str(&format!("],\"v\":{}}}", self.v));
        Ok(out.into_bytes())
    }

    /// Reads bytes that are exactly what [`Header::to_bytes`] writes.
    ///
    /// # Errors
    /// [`EventError::NotCanonical`], or [`EventError::TouchedTwice`].
    pub fn parse(bytes: &[u8]) -> Result<Self, EventError> {
        let raw = RawHeader::parse(bytes)?;
        Ok(Self {
            v: VERSION,
            seq: raw.seq,
            id: raw.id,
            kind: raw.kind.to_owned(),
            case: raw.case,
            touches: raw.touches,
            actor: raw.actor,
            attested: raw.attested,
            source: raw.source,
            claimed_at: raw.claimed_at.to_owned(),
            recorded_at: raw.recorded_at.to_owned(),
            rules: raw.rules.to_owned(),
            payload_root: raw.payload_root,
        })
    }

    fn check(&self) -> Result<(), EventError> {
        if self.v != VERSION {
            return Err(EventError::Version(self.v));
        }
        if !is_count(self.seq) {
            return Err(EventError::Seq);
        }
        if !is_kind(&self.kind) {
            return Err(EventError::Kind(self.kind.clone()));
        }
        if !is_rules(&self.rules) {
            return Err(EventError::Rules);
        }
        if !times::is_claimed(&self.claimed_at) {
            return Err(EventError::ClaimedAt);
        }
        if !times::is_recorded(&self.recorded_at) {
            return Err(EventError::RecordedAt);
        }
        if self.touches.len() > MAX_TOUCHES {
            return Err(EventError::TooManyTouches);
        }
        if let Some(touch) = self.touches.iter().find(|t| !is_count(t.n)) {
            return Err(EventError::Count(touch.subject));
        }
        match repeated(&self.touches) {
            Some(subject) => Err(EventError::TouchedTwice(subject)),
            None => Ok(()),
        }
    }
}

/// A header that still borrows its texts from the bytes it was read from.
pub(crate) struct RawHeader<'a> {
    pub(crate) seq: Seq,
    pub(crate) id: EventId,
    pub(crate) kind: &'a str,
    pub(crate) case: Option<CaseId>,
    pub(crate) touches: Vec<Touch>,
    pub(crate) actor: Option<PersonId>,
    pub(crate) attested: Attested,
    pub(crate) source: Source,
    pub(crate) claimed_at: &'a str,
    pub(crate) recorded_at: &'a str,
    pub(crate) rules: &'a str,
    pub(crate) payload_root: Digest,
}

impl<'a> RawHeader<'a> {
    pub(crate) fn parse(bytes: &'a [u8]) -> Result<Self, EventError> {
        let text = std::str::from_utf8(bytes).map_err(|_| EventError::NotCanonical)?;
        let header = Self::read(&mut Scan::new(text)).ok_or(EventError::NotCanonical)?;
        match repeated(&header.touches) {
            Some(subject) => Err(EventError::TouchedTwice(subject)),
            None => Ok(header),
        }
    }

    /// The header has one layout: fixed keys in their order, strings without escapes. So whatever follows that layout to
    /// the end is canonical, and nothing else is a header.
    fn read(scan: &mut Scan<'a>) -> Option<Self> {
        scan.literal(b"{\"actor\":")?;
        let actor = optional_uuid(scan.plain(36)?)?;
        scan.literal(b",\"attested\":")?;
        let attested = scan.plain(32)?.parse().ok()?;
        scan.literal(b",\"case\":")?;
        let case = optional_uuid(scan.plain(36)?)?;
        scan.literal(b",\"claimed_at\":")?;
        let claimed_at = scan.plain(32).filter(|t| times::is_claimed(t))?;
        scan.literal(b",\"id\":")?;
        let id = EventId(uuid(scan.plain(36)?)?);
        scan.literal(b",\"kind\":")?;
        let kind = scan.plain(MAX_KIND).filter(|t| is_kind(t))?;
        scan.literal(b",\"payload_root\":")?;
        let payload_root = scan.plain(64)?.parse().ok()?;
        scan.literal(b",\"recorded_at\":")?;
        let recorded_at = scan.plain(27).filter(|t| times::is_recorded(t))?;
        scan.literal(b",\"rules\":")?;
        let rules = scan.plain(MAX_RULES)?;
        scan.literal(b",\"seq\":")?;
        let seq = scan.unsigned().filter(|&n| is_count(n))?;
        scan.literal(b",\"source\":")?;
        let source = scan.plain(32)?.parse().ok()?;
        scan.literal(b",\"touches\":[")?;
        let mut touches = Vec::new();
        if !scan.eat(b']') {
            loop {
                scan.literal(b"{\"n\":")?;
                let n = scan.unsigned().filter(|&n| is_count(n))?;
                scan.literal(b",\"subject\":")?;
                touches.push(Touch {
                    subject: subject(scan.plain(64)?)?,
                    n,
                });
                scan.literal(b"}")?;
                if touches.len() > MAX_TOUCHES {
                    return None;
                }
                if !scan.eat(b',') {
                    scan.literal(b"]")?;
                    break;
                }
            }
        }
        scan.literal(b",\"v\":1}")?;
        scan.end()?;
        Some(Self {
            seq,
            id,
            kind,
            case: case.map(CaseId),
            touches,
            actor: actor.map(PersonId),
            attested,
            source,
            claimed_at,
            recorded_at,
            rules,
            payload_root,
        })
    }
}

/// A sealed event: a header, the bytes it is committed by, and its payload.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    /// What happened, to whom, when.
    pub header: Header,
    /// The header's canonical bytes.
    pub bytes: Vec<u8>,
    /// The salt of this event's fields; zeros where they were expunged.
    pub salt: Salt,
    /// The fields by name; where they were expunged, what is left of them.
    pub fields: Fields,
    /// The event that expunged this one's payload. The header's root is then of a payload that is gone.
    pub expunged: Option<Seq>,
}

impl Event {
    /// Commits a draft to its payload.
    ///
    /// # Errors
    /// The first rule that the payload or the header breaks; see [`EventError`].
    pub fn seal(draft: Draft, salt: Salt, fields: Fields) -> Result<Self, EventError> {
        payload::check(&fields)?;
        let header = Header {
            v: VERSION,
            seq: draft.seq,
            id: draft.id,
            kind: draft.kind,
            case: draft.case,
            touches: draft.touches,
            actor: draft.actor,
            attested: draft.attested,
            source: draft.source,
            claimed_at: draft.claimed_at,
            recorded_at: draft.recorded_at,
            rules: draft.rules,
            payload_root: payload::payload_root(&salt, &fields),
        };
        let bytes = header.to_bytes()?;
        Ok(Self {
            header,
            bytes,
            salt,
            fields,
            expunged: None,
        })
    }

    /// Reads a stored event and holds its payload against its header.
    ///
    /// # Errors
    /// [`EventError::NotCanonical`], [`EventError::Payload`] or [`EventError::PayloadDiffers`].
    pub fn open(header: Vec<u8>, salt: Salt, fields: &[u8]) -> Result<Self, EventError> {
        let bytes = header;
        let header = Header::parse(&bytes)?;
        if payload::root_of_bytes(&salt, fields)? != header.payload_root {
            return Err(EventError::PayloadDiffers(header.seq));
        }
        let fields = payload::parse(fields)?;
        Ok(Self {
            header,
            bytes,
            salt,
            fields,
            expunged: None,
        })
    }

    /// An event whose payload was expunged by event `by`, which says what is left of it.
    ///
    /// # Errors
    /// [`EventError`] where the header is none.
    pub fn expunged(header: Vec<u8>, by: Seq, left: Fields) -> Result<Self, EventError> {
        let bytes = header;
        Ok(Self {
            header: Header::parse(&bytes)?,
            bytes,
            salt: Salt([0; 16]),
            fields: left,
            expunged: Some(by),
        })
    }

    /// The canonical bytes of the fields, for the payload's row.
    #[must_use]
    pub fn fields_bytes(&self) -> Vec<u8> {
        payload::to_bytes(&self.fields)
    }

    /// The leaf of the tree.
    #[must_use]
    pub fn leaf(&self) -> Digest {
        merkle::leaf_hash(&self.bytes)
    }

    /// A field's value.
    #[must_use]
    pub fn field(&self, name: &str) -> Option<&Value> {
        self.fields.get(name)
    }

    /// A field that holds text.
    #[must_use]
    pub fn field_str(&self, name: &str) -> Option<&str> {
        self.field(name)?.as_str()
    }

    /// A field that holds a whole number.
    #[must_use]
    pub fn field_i64(&self, name: &str) -> Option<i64> {
        self.field(name)?.as_i64()
    }

    /// A field that holds yes or no.
    #[must_use]
    pub fn field_bool(&self, name: &str) -> Option<bool> {
        self.field(name)?.as_bool()
    }

    /// A field that holds a list.
    #[must_use]
    pub fn field_list(&self, name: &str) -> Option<&[Value]> {
        self.field(name)?.as_array().map(Vec::as_slice)
    }

    /// The count this event has for `subject`, if it touches it.
    #[must_use]
    pub fn count_of(&self, subject: Subject) -> Option<u64> {
        self.header
            .touches
            .iter()
            .find(|t| t.subject == subject)
            .map(|t| t.n)
    }
}

/// An identifier that may be missing, written as an empty string then.
mod or_empty {
    use std::{borrow::Cow, fmt::Display, str::FromStr};

    use serde::{Deserialize, Deserializer, Serializer, de::Error as _};

    pub(super) fn serialize<T: Display, S: Serializer>(
        value: &Option<T>,
        s: S,
    ) -> Result<S::Ok, S::Error> {
        match value {
            Some(x) => s.collect_str(x),
            None => s.serialize_str(""),
        }
    }

    pub(super) fn deserialize<'de, T, D>(d: D) -> Result<Option<T>, D::Error>
    where
        T: FromStr,
        T::Err: std::fmt::Display,
        D: Deserializer<'de>,
    {
        let text = Cow::<'de, str>::deserialize(d)?;
        if text.is_empty() {
            return Ok(None);
        }
        text.parse().map(Some).map_err(D::Error::custom)
    }
}

fn is_count(n: u64) -> bool {
    (1..INTEGER_BOUND).contains(&n)
}

fn is_kind(kind: &str) -> bool {
    kind.len() <= MAX_KIND
        && kind.starts_with(|c: char| c.is_ascii_lowercase())
        && kind
            .bytes()
            .all(|b| matches!(b, b'a'..=b'z' | b'0'..=b'9' | b'.' | b'_' | b'-'))
}

fn is_rules(rules: &str) -> bool {
    rules.len() <= MAX_RULES
        && rules
            .bytes()
            .all(|b| matches!(b, 0x20..=0x7e) && b != b'"' && b != b'\\')
}

/// The first subject that occurs twice. A short list, the usual one, is compared pairwise without allocating.
fn repeated(touches: &[Touch]) -> Option<Subject> {
    if touches.len() <= 16 {
        let twice = |i: &usize| {
            touches[..*i]
                .iter()
                .any(|t| t.subject == touches[*i].subject)
        };
        return (1..touches.len()).find(twice).map(|i| touches[i].subject);
    }
    let mut seen = HashSet::with_capacity(touches.len());
    touches
        .iter()
        .find(|t| !seen.insert(t.subject))
        .map(|t| t.subject)
}

/// The one spelling that is written here: 36 characters, small letters.
pub(crate) fn uuid(text: &str) -> Option<Uuid> {
    if text.len() != 36 || text.bytes().any(|b| b.is_ascii_uppercase()) {
        return None;
    }
    Uuid::try_parse_ascii(text.as_bytes()).ok()
}

fn optional_uuid(text: &str) -> Option<Option<Uuid>> {
    if text.is_empty() {
        Some(None)
    } else {
        uuid(text).map(Some)
    }
}

/// A subject in its one spelling.
pub(crate) fn subject(text: &str) -> Option<Subject> {
    let (_, id) = text.split_once(':')?;
    uuid(id)?;
    text.parse().ok()
}
