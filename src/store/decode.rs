//! From a database's row to ours, stamped for each database.

use serde::de::DeserializeOwned;
use sqlx::{FromRow, Row};

use super::{
    CheckpointRow, CommandRow, CredentialRow, DocRow, NodeRow, RawCheckpoint, RawEvent, RawNode,
    SealRow, SessionRow, SignInFailureRow, SubjectEvent, TokenRow, TouchRow, TouchedEvent,
    TouchesRow, WordRow, WordsRow,
};

macro_rules! decode {
    ($database:ident, $row:ty) => {
        mod $database {
            use super::*;

            /// A column that counts something.
            fn count(row: &$row, column: &str) -> Result<u64, sqlx::Error> {
                let n: i64 = row.try_get(column)?;
                u64::try_from(n).map_err(|e| sqlx::Error::ColumnDecode {
                    index: column.into(),
                    source: Box::new(e),
                })
            }

            /// A column that is a JSON array: many rows in one, since each costs the readers a change of threads.
            fn listed<T: DeserializeOwned>(row: &$row, column: &str) -> Result<T, sqlx::Error> {
                let text: String = row.try_get(column)?;
                serde_json::from_str(&text).map_err(|e| sqlx::Error::ColumnDecode {
                    index: column.into(),
                    source: Box::new(e),
                })
            }

            impl FromRow<'_, $row> for DocRow {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    Ok(Self {
                        subject: row.try_get("subject")?,
                        kind: row.try_get("kind")?,
                        case_id: row.try_get("case_id")?,
                        number: row.try_get("number")?,
                        code: row.try_get("code")?,
                        name: row.try_get("name")?,
                        holder: row.try_get("holder")?,
                        inside: row.try_get("inside")?,
                        offer_to: row.try_get("offer_to")?,
                        due_at: row.try_get("due_at")?,
                        place: row.try_get("place")?,
                        lot: row.try_get("lot")?,
                        active: row.try_get("active")?,
                        doc: row.try_get("doc")?,
                    })
                }
            }

            impl FromRow<'_, $row> for RawEvent {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    let id: Option<Vec<u8>> = row.try_get("id")?;
                    Ok(Self {
                        seq: row.try_get("seq")?,
                        id: id.map(|b| String::from_utf8_lossy(&b).into_owned()),
                        header: row.try_get("header")?,
                        salt: row.try_get("salt")?,
                        fields: row.try_get("fields")?,
                        expunged_by: row.try_get("by_seq")?,
                        remains: row.try_get("remains")?,
                    })
                }
            }

            impl FromRow<'_, $row> for TouchedEvent {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    Ok(Self {
                        n: count(row, "n")?,
                        event: RawEvent::from_row(row)?,
                    })
                }
            }

            impl FromRow<'_, $row> for SubjectEvent {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    Ok(Self {
                        subject: row.try_get("subject")?,
                        touched: TouchedEvent::from_row(row)?,
                    })
                }
            }

            impl FromRow<'_, $row> for NodeRow {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    let level: i64 = row.try_get("level")?;
                    let level = u32::try_from(level).map_err(|e| sqlx::Error::ColumnDecode {
                        index: "level".into(),
                        source: Box::new(e),
                    })?;
                    Ok(Self {
                        level,
                        idx: count(row, "idx")?,
                        hash: row.try_get("hash")?,
                    })
                }
            }

            impl FromRow<'_, $row> for RawNode {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    Ok(Self {
                        level: row.try_get("level")?,
                        idx: row.try_get("idx")?,
                        hash: row.try_get("hash")?,
                    })
                }
            }

            impl FromRow<'_, $row> for CheckpointRow {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    Ok(Self {
                        size: count(row, "size")?,
                        note: row.try_get("note")?,
                    })
                }
            }

            impl FromRow<'_, $row> for RawCheckpoint {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    Ok(Self {
                        size: row.try_get("size")?,
                        note: row.try_get("note")?,
                    })
                }
            }

            impl FromRow<'_, $row> for TouchRow {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    Ok(Self {
                        subject: row.try_get("subject")?,
                        n: count(row, "n")?,
                        seq: count(row, "seq")?,
                    })
                }
            }

            impl FromRow<'_, $row> for TouchesRow {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    let mut at: Vec<(i64, i64)> = listed(row, "at")?;
                    at.sort_unstable();
                    Ok(Self {
                        subject: row.try_get("subject")?,
                        at,
                    })
                }
            }

            impl FromRow<'_, $row> for WordsRow {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    let mut words: Vec<String> = listed(row, "words")?;
                    // In the order of bytes, as the index is.
                    words.sort_unstable();
                    Ok(Self {
                        subject: row.try_get("subject")?,
                        kind: row.try_get("kind")?,
                        words,
                    })
                }
            }

            impl FromRow<'_, $row> for WordRow {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    Ok(Self {
                        subject: row.try_get("subject")?,
                        word: row.try_get("word")?,
                    })
                }
            }

            impl FromRow<'_, $row> for SealRow {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    Ok(Self {
                        number: row.try_get("number")?,
                        package: row.try_get("package")?,
                        seq: count(row, "seq")?,
                    })
                }
            }

            impl FromRow<'_, $row> for CommandRow {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    Ok(Self {
                        id: row.try_get("id")?,
                        fingerprint: row.try_get("fingerprint")?,
                        actor: row.try_get("actor")?,
                        answer: row.try_get("answer")?,
                        first_seq: count(row, "first_seq")?,
                        count: count(row, "count")?,
                    })
                }
            }

            impl FromRow<'_, $row> for CredentialRow {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    Ok(Self {
                        person: row.try_get("person")?,
                        phc: row.try_get("phc")?,
                        changed_at: row.try_get("changed_at")?,
                    })
                }
            }

            impl FromRow<'_, $row> for SessionRow {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    Ok(Self {
                        token_hash: row.try_get("token_hash")?,
                        person: row.try_get("person")?,
                        created_at: row.try_get("created_at")?,
                        seen_at: row.try_get("seen_at")?,
                        theme: row.try_get("theme")?,
                    })
                }
            }

            impl FromRow<'_, $row> for TokenRow {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    Ok(Self {
                        token_hash: row.try_get("token_hash")?,
                        person: row.try_get("person")?,
                        name: row.try_get("name")?,
                        created_at: row.try_get("created_at")?,
                        last_used_at: row.try_get("last_used_at")?,
                        expires_at: row.try_get("expires_at")?,
                    })
                }
            }

            impl FromRow<'_, $row> for SignInFailureRow {
                fn from_row(row: &$row) -> Result<Self, sqlx::Error> {
                    Ok(Self {
                        user_name: row.try_get("user_name")?,
                        count: count(row, "count")?,
                        last_at: row.try_get("last_at")?,
                    })
                }
            }
        }
    };
}

decode!(sqlite, sqlx::sqlite::SqliteRow);
decode!(postgres, sqlx::postgres::PgRow);
