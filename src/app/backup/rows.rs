//! Rows as lines. Bytes are in hex.

use serde::{Deserialize, Serialize};

use crate::store::{CommandRow, CredentialRow, TokenRow};

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct CommandLine {
    pub id: String,
    pub fingerprint: String,
    pub actor: String,
    pub answer: String,
    pub first_seq: u64,
    pub count: u64,
}

impl From<CommandRow> for CommandLine {
    fn from(row: CommandRow) -> Self {
        Self {
            id: row.id,
            fingerprint: hex::encode(row.fingerprint),
            actor: row.actor,
            answer: row.answer,
            first_seq: row.first_seq,
            count: row.count,
        }
    }
}

impl CommandLine {
    pub fn row(self) -> Option<CommandRow> {
        Some(CommandRow {
            id: self.id,
            fingerprint: hex::decode(self.fingerprint).ok()?,
            actor: self.actor,
            answer: self.answer,
            first_seq: self.first_seq,
            count: self.count,
        })
    }
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct CheckpointLine {
    pub size: u64,
    pub note: String,
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct CredentialLine {
    pub person: String,
    pub phc: String,
    pub changed_at: String,
}

impl From<CredentialRow> for CredentialLine {
    fn from(row: CredentialRow) -> Self {
        Self {
            person: row.person,
            phc: row.phc,
            changed_at: row.changed_at,
        }
    }
}

impl CredentialLine {
    pub fn row(self) -> CredentialRow {
        CredentialRow {
            person: self.person,
            phc: self.phc,
            changed_at: self.changed_at,
        }
    }
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TokenLine {
    pub token_hash: String,
    pub person: String,
    pub name: String,
    pub created_at: String,
    pub last_used_at: Option<String>,
    pub expires_at: Option<String>,
}

impl From<TokenRow> for TokenLine {
    fn from(row: TokenRow) -> Self {
        Self {
            token_hash: hex::encode(row.token_hash),
            person: row.person,
            name: row.name,
            created_at: row.created_at,
            last_used_at: row.last_used_at,
            expires_at: row.expires_at,
        }
    }
}

impl TokenLine {
    pub fn row(self) -> Option<TokenRow> {
        Some(TokenRow {
            token_hash: hex::decode(self.token_hash).ok()?,
            person: self.person,
            name: self.name,
            created_at: self.created_at,
            last_used_at: self.last_used_at,
            expires_at: self.expires_at,
        })
    }
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SettingLine {
    pub name: String,
    pub value: String,
}

/// A small file of the data folder.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FileLine {
    pub name: String,
    pub text: String,
}
