//! A timestamp server, asked by http (RFC 3161, 3.4). Answers are bounded in length and time.
//!
//! Trusted to say the time and nothing else: it sees the digest of a signature, never the paper. Whoever stands in between
//! can keep an answer back, and then the paper is printed without one and says so on the record.

use std::fmt;
use std::str::FromStr;
use std::time::Duration;

use ureq::Agent;
use ureq::http::Uri;

use crate::disclosure::signature::SignatureError;
use crate::disclosure::signature::timestamp::{self, MAX_ANSWER, TimestampError, Token};
use crate::ids::Digest;

/// How long an answer may take where nobody says otherwise. Our assumption, no source: somebody waits for the paper.
pub const PATIENCE: Duration = Duration::from_secs(10);

/// Why there is no timestamp.
#[derive(Debug, thiserror::Error)]
pub enum NoTimestamp {
    /// No connection, no answer in time, or one that is too long.
    #[error("the timestamp server did not answer ({0})")]
    Silent(String),
    /// Another status than 200.
    #[error("the timestamp server answered with status {0}")]
    Status(u16),
    /// An answer that is none.
    #[error(transparent)]
    Answer(#[from] TimestampError),
    /// The question could not be written, or the system gave no random bytes.
    #[error("no question could be made: {0}")]
    Question(String),
}

/// The address of a timestamp server: http, a host, no name or password in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ServerUrl(String);

impl FromStr for ServerUrl {
    type Err = &'static str;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let uri: Uri = text.parse().map_err(|_| "it is not an address")?;
        let authority = uri.authority().ok_or("it names no server")?;
        if uri.scheme_str() != Some("http") {
            return Err(
                "it does not begin with http://; a timestamp is signed by itself, and this program speaks no https to others",
            );
        }
        if authority.host().is_empty() || authority.as_str().contains('@') {
            return Err("it names no server, or a name and password with it");
        }
        Ok(Self(text.to_owned()))
    }
}

impl fmt::Display for ServerUrl {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The server.
pub struct TimestampServer {
    agent: Agent,
    url: ServerUrl,
}

impl TimestampServer {
    /// The server at an address, with so much time for each answer.
    #[must_use]
    pub fn new(url: ServerUrl, patience: Duration) -> Self {
        let agent = Agent::config_builder()
            .max_redirects(0)
            .http_status_as_error(false)
            .timeout_global(Some(patience))
            .build();
        Self {
            agent: Agent::new_with_config(agent),
            url,
        }
    }

    /// Asks for a timestamp over a SHA-256. Waits: not for the threads that serve others.
    ///
    /// # Errors
    /// See [`NoTimestamp`].
    pub fn stamp(&self, imprint: &Digest) -> Result<Token, NoTimestamp> {
        let mut nonce = [0; 8];
        getrandom::fill(&mut nonce).map_err(|e| NoTimestamp::Question(e.to_string()))?;
        // Positive, and of the same length in each question.
        nonce[0] = nonce[0] & 0x3f | 0x40;
        let nonce = u64::from_be_bytes(nonce);
        let question = timestamp::question(imprint, nonce)
            .map_err(|e: SignatureError| NoTimestamp::Question(e.to_string()))?;
        let silent = |e: ureq::Error| NoTimestamp::Silent(e.to_string());
        let mut answer = self
            .agent
            .post(&self.url.0)
            .header("content-type", "application/timestamp-query")
            .header("accept", "application/timestamp-reply")
            .send(question.as_slice())
            .map_err(silent)?;
        let status = answer.status().as_u16();
        if status != 200 {
            return Err(NoTimestamp::Status(status));
        }
        let body = answer.body_mut().with_config().limit(MAX_ANSWER as u64);
        let body = body.read_to_vec().map_err(silent)?;
        Ok(timestamp::answer(&body, imprint, nonce)?)
    }
}
