//! The server that is witnessed, through its interface for programs. Answers are bounded in length and time.

use std::time::Duration;

use serde::{Deserialize, Serialize};
use ureq::Agent;

use crate::ids::Digest;
use crate::ledger::checkpoint::MAX_NOTE;
use crate::ledger::merkle::MAX_PROOF;

/// How long an answer may take.
const PATIENCE: Duration = Duration::from_secs(30);
/// How long a proof's answer may be, in bytes.
const MAX_ANSWER: u64 = 64 * 1024;

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub enum RemoteError {
    /// The server answered with this status.
    #[error("the server answered {0}")]
    Refused(u16),
    /// No connection, no answer in time, or one that is none.
    #[error("no answer: {0}")]
    None(String),
}

/// The server.
pub struct Remote {
    agent: Agent,
    url: String,
    token: String,
}

#[derive(Deserialize)]
struct Consistency {
    proof: Vec<Digest>,
}

#[derive(Serialize)]
struct Told<'a> {
    note: &'a str,
}

impl Remote {
    /// The server at an address, spoken to with an access token.
    #[must_use]
    pub fn new(url: &str, token: &str) -> Self {
        let agent = Agent::config_builder()
            .max_redirects(0)
            .http_status_as_error(false)
            .timeout_global(Some(PATIENCE))
            .tls_config(crate::tls::client())
            .build();
        Self {
            agent: Agent::new_with_config(agent),
            url: url.trim_end_matches('/').to_owned(),
            token: format!("Bearer {token}"),
        }
    }

    fn get(&self, path: &str, most: u64) -> Result<String, RemoteError> {
        let none = |e: ureq::Error| RemoteError::None(e.to_string());
        let mut answer = self
            .agent
            .get(format!("{}{path}", self.url))
            .header("authorization", &self.token)
            .call()
            .map_err(none)?;
        let status = answer.status().as_u16();
        if status != 200 {
            return Err(RemoteError::Refused(status));
        }
        answer
            .body_mut()
            .with_config()
            .limit(most)
            .read_to_string()
            .map_err(none)
    }

    /// The latest checkpoint, as it is given.
    ///
    /// # Errors
    /// See [`RemoteError`].
    pub fn checkpoint(&self) -> Result<String, RemoteError> {
        self.get("/api/checkpoint", MAX_NOTE as u64)
    }

    /// The proof that one size goes on from another.
    ///
    /// # Errors
    /// See [`RemoteError`].
    pub fn consistency(&self, from: u64, to: u64) -> Result<Vec<Digest>, RemoteError> {
        let path = format!("/api/proofs/consistency?from={from}&to={to}");
        let text = self.get(&path, MAX_ANSWER)?;
        let told: Consistency =
            serde_json::from_str(&text).map_err(|e| RemoteError::None(e.to_string()))?;
        if told.proof.len() > MAX_PROOF {
            return Err(RemoteError::None("the proof is longer than any is".into()));
        }
        Ok(told.proof)
    }

    /// Gives the server the cosigned checkpoint.
    ///
    /// # Errors
    /// See [`RemoteError`].
    pub fn tell(&self, note: &str) -> Result<(), RemoteError> {
        let text =
            serde_json::to_string(&Told { note }).map_err(|e| RemoteError::None(e.to_string()))?;
        let answer = self
            .agent
            .post(format!("{}/api/cosignatures", self.url))
            .header("authorization", &self.token)
            .header("content-type", "application/json")
            .send(text)
            .map_err(|e| RemoteError::None(e.to_string()))?;
        match answer.status().as_u16() {
            200 => Ok(()),
            status => Err(RemoteError::Refused(status)),
        }
    }
}
