//! Where originals are kept: a folder, or a bucket of an object store.

use std::fmt;
use std::path::PathBuf;
use std::str::FromStr;

/// Where originals are kept. It has no secret in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Place {
    /// A folder.
    Folder(PathBuf),
    /// `s3://bucket/prefix`.
    Bucket {
        /// The bucket's name.
        name: String,
        /// What the names of objects begin with; may be empty.
        prefix: String,
    },
}

/// Why a text names no place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PlaceError {
    /// Nothing.
    #[error("it names neither a folder nor a bucket")]
    Empty,
    /// Another kind of store.
    #[error("it begins with something like s3://, and only s3:// is known")]
    Scheme,
    /// The bucket's name.
    #[error(
        "the bucket's name is not 3 to 63 small letters, digits, dots and hyphens; it is like s3://bucket/prefix, and says \
         nothing of keys"
    )]
    Bucket,
    /// The prefix.
    #[error(
        "the prefix has other signs than letters, digits, dots, hyphens and underlines between its slashes"
    )]
    Prefix,
}

impl FromStr for Place {
    type Err = PlaceError;

    fn from_str(text: &str) -> Result<Self, PlaceError> {
        let Some((scheme, rest)) = text.split_once("://") else {
            return match text {
                "" => Err(PlaceError::Empty),
                text => Ok(Self::Folder(text.into())),
            };
        };
        if scheme != "s3" {
            return Err(PlaceError::Scheme);
        }
        let (name, prefix) = rest.split_once('/').unwrap_or((rest, ""));
        let ends = |b: Option<&u8>| b.is_some_and(u8::is_ascii_alphanumeric);
        let plain = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'.' || b == b'-';
        let bytes = name.as_bytes();
        if !(3..=63).contains(&name.len())
            || !name.bytes().all(plain)
            || !ends(bytes.first())
            || !ends(bytes.last())
            || name.contains("..")
        {
            return Err(PlaceError::Bucket);
        }
        let prefix = prefix.trim_end_matches('/');
        let part = |p: &str| {
            !p.trim_matches('.').is_empty()
                && p.bytes()
                    .all(|b| b.is_ascii_alphanumeric() || matches!(b, b'.' | b'-' | b'_'))
        };
        if prefix.len() > 500 || !(prefix.is_empty() || prefix.split('/').all(part)) {
            return Err(PlaceError::Prefix);
        }
        Ok(Self::Bucket {
            name: name.to_owned(),
            prefix: prefix.to_owned(),
        })
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Folder(path) => write!(f, "{}", path.display()),
            Self::Bucket { name, prefix } if prefix.is_empty() => write!(f, "s3://{name}"),
            Self::Bucket { name, prefix } => write!(f, "s3://{name}/{prefix}"),
        }
    }
}
