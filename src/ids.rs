//! Typed identifiers, digests, sequence numbers, and the codes a scanner reads.
//!
//! Identifiers are UUID version 7 (RFC 9562), so they sort by the time they were made. They never appear on paper by
//! themselves: paper carries a [`Code`], twelve characters with a check character, made from the identifier.

use std::{
    borrow::Cow,
    fmt,
    io::{self, Read, Write},
    str::FromStr,
};

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

/// Position of an event in the ledger: 1 for the first, without a gap.
pub type Seq = u64;

macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub Uuid);

        impl $name {
            /// A new identifier; the time inside it is the machine's, and nothing relies on it.
            #[must_use]
            #[allow(clippy::new_without_default)]
            pub fn new() -> Self {
                Self(Uuid::now_v7())
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, f)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, f)
            }
        }

        impl FromStr for $name {
            type Err = IdError;
            fn from_str(s: &str) -> Result<Self, IdError> {
                Uuid::try_parse(s).map(Self).map_err(|_| IdError::NotAnId)
            }
        }

        impl JsonSchema for $name {
            fn schema_name() -> Cow<'static, str> {
                stringify!($name).into()
            }
            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                json_schema!({"type": "string", "format": "uuid"})
            }
        }
    };
}

id!(/** An event in the ledger. */ EventId);
id!(/** A person with an account. */ PersonId);
id!(/** A case. */ CaseId);
id!(/** A scene of a case. */ SceneId);
id!(/** A mark on a surface: a latent print, a toolmark, a footwear impression. */ MarkId);
id!(/** An item of evidence: a lift, a cast, a collected object, an exhibit. */ ItemId);
id!(/** A package: an envelope, a box, a bag, with items or packages in it. */ PackageId);
id!(/** A place in the storeroom. */ PlaceId);
id!(/** An upload in parts, until it is an original. */ UploadId);
id!(/** A count of places in the storeroom. */ CountId);
id!(/** A command, made by the client: the same command sent twice is carried out once. */ CommandId);

/// Why a text is not an identifier, a digest or a code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum IdError {
    /// Not a UUID.
    #[error("this is not an identifier")]
    NotAnId,
    /// Not 64 lower-case hex digits.
    #[error("this is not a SHA-256 digest")]
    NotADigest,
    /// Not `kind:uuid`.
    #[error("this does not name a subject")]
    NotASubject,
    /// Not twelve characters of the alphabet.
    #[error(
        "this is not a code of this ledger: a code has a letter I, P or S and eleven more characters"
    )]
    NotACode,
    /// The check character does not fit: mistyped or misread.
    #[error("the code was mistyped or misread: its check character does not fit")]
    CheckCharacter,
}

/// A SHA-256 digest.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Digest(pub [u8; 32]);

/// How much is read at once when a digest is taken of what a reader brings.
const AT_ONCE: usize = 256 * 1024;

impl Digest {
    /// The digest of these bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// The digest of everything that a reader brings, and how many bytes that was, without holding it in memory.
    ///
    /// # Errors
    /// The reader's.
    pub fn of_reader(from: &mut impl Read) -> io::Result<(Self, u64)> {
        Self::copied(from, &mut io::sink())
    }

    /// The same while the bytes go on to a writer.
    ///
    /// # Errors
    /// The reader's and the writer's.
    pub fn copied(from: &mut impl Read, to: &mut impl Write) -> io::Result<(Self, u64)> {
        let mut hash = Sha256::new();
        let mut buffer = vec![0; AT_ONCE];
        let mut bytes = 0;
        loop {
            let n = from.read(&mut buffer)?;
            let Some(part) = buffer.get(..n).filter(|p| !p.is_empty()) else {
                break;
            };
            hash.update(part);
            to.write_all(part)?;
            bytes += n as u64;
        }
        Ok((Self(hash.finalize().into()), bytes))
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&hex::encode(self.0))
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Digest {
    type Err = IdError;
    fn from_str(s: &str) -> Result<Self, IdError> {
        let mut out = [0; 32];
        if s.bytes().any(|b| b.is_ascii_uppercase()) {
            return Err(IdError::NotADigest);
        }
        hex::decode_to_slice(s, &mut out).map_err(|_| IdError::NotADigest)?;
        Ok(Self(out))
    }
}

impl Serialize for Digest {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Digest {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let s = Cow::<'de, str>::deserialize(d)?;
        s.parse().map_err(D::Error::custom)
    }
}

impl JsonSchema for Digest {
    fn schema_name() -> Cow<'static, str> {
        "Digest".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": "string", "pattern": "^[0-9a-f]{64}$", "description": "SHA-256, lower-case hex"})
    }
}

/// What an event is about. Each subject counts its events 1, 2, 3 … without a gap.
///
/// A mark is a subject of its own, since its development and its photographs belong to every item lifted from it.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Subject {
    /// A person with an account.
    Person(PersonId),
    /// A place in the storeroom.
    Place(PlaceId),
    /// A case, with its scenes and its people.
    Case(CaseId),
    /// A mark on a surface.
    Mark(MarkId),
    /// An item of evidence.
    Item(ItemId),
    /// A package.
    Package(PackageId),
    /// A count of places in the storeroom.
    Count(CountId),
}

impl Subject {
    /// The subject of this name, written just as it is written here: another way to write it is no name of it.
    #[must_use]
    pub fn named(name: &str) -> Option<Self> {
        let subject: Self = name.parse().ok()?;
        (subject.to_string() == name).then_some(subject)
    }

    /// `person`, `place`, `case`, `mark`, `item`, `package` or `count`.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::Person(_) => "person",
            Self::Place(_) => "place",
            Self::Case(_) => "case",
            Self::Mark(_) => "mark",
            Self::Item(_) => "item",
            Self::Package(_) => "package",
            Self::Count(_) => "count",
        }
    }

    /// The identifier without its kind.
    #[must_use]
    pub fn uuid(&self) -> Uuid {
        match self {
            Self::Person(x) => x.0,
            Self::Place(x) => x.0,
            Self::Case(x) => x.0,
            Self::Mark(x) => x.0,
            Self::Item(x) => x.0,
            Self::Package(x) => x.0,
            Self::Count(x) => x.0,
        }
    }
}

impl fmt::Display for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}", self.kind(), self.uuid())
    }
}

impl fmt::Debug for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Subject {
    type Err = IdError;
    fn from_str(s: &str) -> Result<Self, IdError> {
        let (kind, id) = s.split_once(':').ok_or(IdError::NotASubject)?;
        let id = Uuid::try_parse(id).map_err(|_| IdError::NotASubject)?;
        Ok(match kind {
            "person" => Self::Person(PersonId(id)),
            "place" => Self::Place(PlaceId(id)),
            "case" => Self::Case(CaseId(id)),
            "mark" => Self::Mark(MarkId(id)),
            "item" => Self::Item(ItemId(id)),
            "package" => Self::Package(PackageId(id)),
            "count" => Self::Count(CountId(id)),
            _ => return Err(IdError::NotASubject),
        })
    }
}

impl Serialize for Subject {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Subject {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let s = Cow::<'de, str>::deserialize(d)?;
        s.parse().map_err(D::Error::custom)
    }
}

impl JsonSchema for Subject {
    fn schema_name() -> Cow<'static, str> {
        "Subject".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": "string", "pattern": "^(person|place|case|mark|item|package|count):[0-9a-f-]{36}$"})
    }
}

/// What is handed over, packed or stored: an item or a package.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Piece {
    /// A loose item.
    Item(ItemId),
    /// A package with all that is in it.
    Package(PackageId),
}

impl From<Piece> for Subject {
    fn from(piece: Piece) -> Self {
        match piece {
            Piece::Item(x) => Self::Item(x),
            Piece::Package(x) => Self::Package(x),
        }
    }
}

impl fmt::Display for Piece {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        Subject::from(*self).fmt(f)
    }
}

impl fmt::Debug for Piece {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Piece {
    type Err = IdError;
    fn from_str(s: &str) -> Result<Self, IdError> {
        match s.parse()? {
            Subject::Item(x) => Ok(Self::Item(x)),
            Subject::Package(x) => Ok(Self::Package(x)),
            _ => Err(IdError::NotASubject),
        }
    }
}

impl Serialize for Piece {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Piece {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let s = Cow::<'de, str>::deserialize(d)?;
        s.parse().map_err(D::Error::custom)
    }
}

impl JsonSchema for Piece {
    fn schema_name() -> Cow<'static, str> {
        "Piece".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": "string", "pattern": "^(item|package):[0-9a-f-]{36}$"})
    }
}

/// The code on a label: a letter for the kind (I item, P package, S shelf), ten characters of Crockford's base 32 from
/// the identifier's random bits (50 bits), and a check character by ISO/IEC 7064 MOD 37-36 (it finds every single
/// wrong character and every swap of two neighbours).
///
/// Reading is forgiving: spaces and hyphens go, letters may be small, and `O` reads as `0`, `L` as `1` behind the
/// first letter. `I` behind the first letter reads as `1` too.
#[derive(Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Code(String);

const CROCKFORD: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
const ALNUM: &[u8; 36] = b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ";

/// The check character of ISO/IEC 7064 MOD 37-36 (the hybrid system for 0-9 and A-Z) over `text`; `None` where a
/// character is outside that alphabet.
#[must_use]
pub fn mod_37_36(text: &str) -> Option<char> {
    let mut p = 36_usize;
    for b in text.bytes() {
        let a = ALNUM.iter().position(|&c| c == b)?;
        let s = (p + a) % 36;
        p = (if s == 0 { 36 } else { s }) * 2 % 37;
    }
    let check = (37 - p) % 36;
    Some(char::from(ALNUM[check]))
}

impl Code {
    /// The code of an item, a package or a place; `None` for a subject that carries no label.
    #[must_use]
    pub fn of(subject: Subject) -> Option<Self> {
        let letter = match subject {
            Subject::Item(_) => 'I',
            Subject::Package(_) => 'P',
            Subject::Place(_) => 'S',
            Subject::Person(_) | Subject::Case(_) | Subject::Mark(_) | Subject::Count(_) => {
                return None;
            }
        };
        // The last 62 bits of a version 7 identifier are random; the code takes the last 50.
        let mut bits = subject.uuid().as_u128() & ((1 << 50) - 1);
        let mut tail = [0_u8; 10];
        for slot in tail.iter_mut().rev() {
            *slot = CROCKFORD[(bits & 31) as usize];
            bits >>= 5;
        }
        let mut text = String::from(letter);
        text.extend(tail.iter().map(|&b| char::from(b)));
        let check = mod_37_36(&text)?;
        text.push(check);
        Some(Self(text))
    }

    /// The twelve characters, as they go into a barcode.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// In groups of four, for people: `I4K7 9Q2M XW3A`.
    #[must_use]
    pub fn grouped(&self) -> String {
        let mut out = String::with_capacity(14);
        for (i, c) in self.0.chars().enumerate() {
            if i > 0 && i % 4 == 0 {
                out.push(' ');
            }
            out.push(c);
        }
        out
    }
}

impl FromStr for Code {
    type Err = IdError;
    fn from_str(s: &str) -> Result<Self, IdError> {
        let mut text = String::with_capacity(12);
        for c in s.trim().chars().filter(|c| !matches!(c, ' ' | '-')) {
            let c = c.to_ascii_uppercase();
            let at = text.len();
            // The first letter and the check character use the whole alphabet.
            let c = match c {
                'O' if (1..11).contains(&at) => '0',
                'I' | 'L' if (1..11).contains(&at) => '1',
                _ => c,
            };
            if !c.is_ascii_alphanumeric() || text.len() >= 12 {
                return Err(IdError::NotACode);
            }
            text.push(c);
        }
        let body_ok = text.len() == 12 && text[1..11].bytes().all(|b| CROCKFORD.contains(&b));
        if !body_ok || !matches!(text.as_bytes()[0], b'I' | b'P' | b'S') {
            return Err(IdError::NotACode);
        }
        if mod_37_36(&text[..11]) != text.chars().nth(11) {
            return Err(IdError::CheckCharacter);
        }
        Ok(Self(text))
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl fmt::Debug for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl Serialize for Code {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(&self.0)
    }
}

impl<'de> Deserialize<'de> for Code {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let s = Cow::<'de, str>::deserialize(d)?;
        s.parse().map_err(D::Error::custom)
    }
}

impl JsonSchema for Code {
    fn schema_name() -> Cow<'static, str> {
        "Code".into()
    }
    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({"type": "string", "pattern": "^[IPS][0-9A-HJKMNP-TV-Z]{10}[0-9A-Z]$"})
    }
}
