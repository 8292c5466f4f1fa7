//! A long list is read part by part.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::error::ReadError;
use crate::store::{Cursor, LIST_MAX};

/// A part of a list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Page<T> {
    /// The rows.
    pub rows: Vec<T>,
    /// Give this back to go on; absent at the end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
}

/// Where a list begins and how long it may be.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Part {
    /// What [`Page::next`] said.
    pub after: Option<String>,
    /// At most so many; 0 means [`LIST_MAX`], as does everything above it.
    pub limit: u32,
}

impl Part {
    /// The first `limit` rows.
    #[must_use]
    pub fn first(limit: u32) -> Self {
        Self { after: None, limit }
    }

    pub(super) fn cursor(&self) -> Result<Option<Cursor>, ReadError> {
        let Some(text) = &self.after else {
            return Ok(None);
        };
        let bytes = URL_SAFE_NO_PAD
            .decode(text)
            .map_err(|_| ReadError::BadCursor)?;
        let (key, subject) = serde_json::from_slice(&bytes).map_err(|_| ReadError::BadCursor)?;
        Ok(Some(Cursor { key, subject }))
    }

    pub(super) fn limit(&self) -> u32 {
        if self.limit == 0 {
            LIST_MAX
        } else {
            self.limit.min(LIST_MAX)
        }
    }
}
