//! Originals in a bucket of an object store that speaks the S3 protocol, each under its own digest:
//! `prefix/ab/cd/abcd…`.
//!
//! An object is put only where there is none (`If-None-Match: *`), with the digest that the store must find in its bytes,
//! and counts as kept when the store has said so and shows it. A store that says that it failed may have kept it all the
//! same, so it is asked again; where there is an object then, its bytes are read and held against the digest.
//!
//! Not trusted: whoever can write to the bucket can destroy originals, but can't pass others off for them. Requests are
//! signed in their address, so no address is ever logged or told.

use std::fmt;
use std::fs::File;
use std::io::{Read as _, Write};
use std::path::Path;
use std::time::Duration;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use rusty_s3::actions::ListObjectsV2;
use rusty_s3::{Credentials, S3Action, UrlStyle};
use sha2::{Digest as _, Sha256};
use ureq::Agent;
use ureq::http::StatusCode;

use super::{MAX_BYTES, OriginalsError, at};
use crate::ids::Digest;

/// How often the store is asked before it counts as away.
const ATTEMPTS: u32 = 4;
/// How long to wait before it is asked again; twice as long each time.
const WAIT: Duration = Duration::from_millis(200);
/// How long a connection may take.
const CONNECT: Duration = Duration::from_secs(10);
/// How long the store may think before it begins to answer.
const ANSWER: Duration = Duration::from_secs(60);
/// How long a request may take in all: 200 MB over a slow line. Our assumptions, no source.
const WHOLE: Duration = Duration::from_secs(15 * 60);
/// How long a signed address is good for.
const SIGNED: Duration = Duration::from_secs(20 * 60);
/// How long a list's answer may be, in bytes.
const MAX_LIST: u64 = 4 * 1024 * 1024;

/// Why a bucket cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BucketError {
    /// No keys.
    #[error(
        "originals are in a bucket, and the environment has no keys to it: set AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY"
    )]
    Keys,
    /// The address of the store.
    #[error(
        "the object store's address in AWS_ENDPOINT_URL is not like https://store.example:9000"
    )]
    Endpoint,
}

/// A bucket.
pub struct Bucket {
    agent: Agent,
    bucket: rusty_s3::Bucket,
    credentials: Credentials,
    prefix: String,
}

// It has the keys.
impl fmt::Debug for Bucket {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Bucket(s3://{}/{})", self.bucket.name(), self.prefix)
    }
}

/// How a request ended that was not answered well.
enum Tried {
    /// Nobody knows, or not now: again.
    Again(String),
    /// Asking again would not help.
    Over(OriginalsError),
}

fn away(why: impl Into<String>) -> OriginalsError {
    OriginalsError::Away(why.into())
}

/// What went wrong with a connection, without the address.
fn said(error: &ureq::Error) -> Tried {
    Tried::Again(match error {
        ureq::Error::Timeout(_) => "no answer in time".into(),
        ureq::Error::HostNotFound => "its host is not known".into(),
        ureq::Error::Io(e) => format!("no answer: {}", e.kind()),
        ureq::Error::ConnectionFailed => "no connection".into(),
        _ => "no answer that can be read".into(),
    })
}

fn status_of(status: StatusCode) -> Tried {
    match status.as_u16() {
        // Too early, a conflict with another request, too many, and whatever the store's own fault is.
        408 | 409 | 425 | 429 | 500.. => Tried::Again(format!("it answered {status}")),
        _ => Tried::Over(away(format!("it refused with {status}"))),
    }
}

impl Bucket {
    /// A bucket, with keys, region and address from the environment as other clients of such stores have them:
    /// `AWS_ACCESS_KEY_ID`, `AWS_SECRET_ACCESS_KEY`, `AWS_SESSION_TOKEN`, `AWS_REGION`, `AWS_ENDPOINT_URL` (or
    /// `AWS_ENDPOINT_URL_S3`).
    ///
    /// # Errors
    /// See [`BucketError`]. Nothing is asked of the store yet.
    pub fn open(
        name: &str,
        prefix: &str,
        environment: impl Fn(&str) -> Option<String>,
    ) -> Result<Self, BucketError> {
        let get = |n: &str| environment(n).filter(|v| !v.is_empty());
        let (Some(key), Some(secret)) = (get("AWS_ACCESS_KEY_ID"), get("AWS_SECRET_ACCESS_KEY"))
        else {
            return Err(BucketError::Keys);
        };
        let credentials = match get("AWS_SESSION_TOKEN") {
            Some(token) => Credentials::new_with_token(key, secret, token),
            None => Credentials::new(key, secret),
        };
        let region = get("AWS_REGION")
            .or_else(|| get("AWS_DEFAULT_REGION"))
            .unwrap_or_else(|| "us-east-1".into());
        let own = get("AWS_ENDPOINT_URL_S3").or_else(|| get("AWS_ENDPOINT_URL"));
        // A name with dots fits no certificate, and a store of one's own seldom has a host for each bucket.
        let style = if own.is_some() || name.contains('.') {
            UrlStyle::Path
        } else {
            UrlStyle::VirtualHost
        };
        let endpoint = own.unwrap_or_else(|| format!("https://s3.{region}.amazonaws.com"));
        let endpoint = endpoint.parse().map_err(|_| BucketError::Endpoint)?;
        let bucket = rusty_s3::Bucket::new(endpoint, style, name.to_owned(), region)
            .map_err(|_| BucketError::Endpoint)?;
        let agent = Agent::config_builder()
            .max_redirects(0)
            .http_status_as_error(false)
            .timeout_connect(Some(CONNECT))
            .timeout_recv_response(Some(ANSWER))
            .timeout_global(Some(WHOLE))
            .tls_config(crate::tls::client())
            .build();
        Ok(Self {
            agent: Agent::new_with_config(agent),
            bucket,
            credentials,
            prefix: match prefix {
                "" => String::new(),
                prefix => format!("{prefix}/"),
            },
        })
    }

    fn key(&self, digest: Digest) -> String {
        let name = digest.to_string();
        format!("{}{}/{}/{name}", self.prefix, &name[..2], &name[2..4])
    }

    /// Asks until there is an answer.
    fn ask<T>(&self, mut one: impl FnMut() -> Result<T, Tried>) -> Result<T, OriginalsError> {
        let mut last = String::new();
        for attempt in 0..ATTEMPTS {
            if attempt > 0 {
                std::thread::sleep(WAIT * 2_u32.pow(attempt - 1));
            }
            match one() {
                Ok(answer) => return Ok(answer),
                Err(Tried::Over(error)) => return Err(error),
                Err(Tried::Again(why)) => last = why,
            }
        }
        tracing::warn!(bucket = self.bucket.name(), why = %last, "the object store is away");
        Err(away(last))
    }

    /// How long the object is; none where there is none.
    ///
    /// # Errors
    /// [`OriginalsError::Away`].
    pub fn length(&self, digest: Digest) -> Result<Option<u64>, OriginalsError> {
        self.ask(|| self.length_once(digest))
    }

    fn length_once(&self, digest: Digest) -> Result<Option<u64>, Tried> {
        let key = self.key(digest);
        let action = self.bucket.head_object(Some(&self.credentials), &key);
        let url = action.sign(SIGNED);
        let answer = self.agent.head(url.as_str()).call().map_err(|e| said(&e))?;
        match answer.status().as_u16() {
            200 => {
                let length = answer.headers().get("content-length");
                let length = length.and_then(|v| v.to_str().ok()?.parse().ok());
                length
                    .map(Some)
                    .ok_or_else(|| Tried::Again("it says no length".into()))
            }
            404 => Ok(None),
            _ => Err(status_of(answer.status())),
        }
    }

    /// Keeps a file of so many bytes, whose digest is known.
    ///
    /// # Errors
    /// [`OriginalsError::Altered`] when an object of this name was there before and no longer fits (it is left as it is);
    /// [`OriginalsError::Away`], after which it may be there or not; or the file system's.
    pub fn keep(&self, digest: Digest, file: &Path, bytes: u64) -> Result<(), OriginalsError> {
        self.ask(|| {
            if self.put(digest, file, bytes)? {
                // It said that it kept it: it must show it.
                return match self.length_once(digest)? {
                    Some(length) if length == bytes => Ok(()),
                    _ => Err(Tried::Again("it does not show what it kept".into())),
                };
            }
            // There was one, perhaps by an attempt before this one that was told to have failed.
            let (found, _) = self.fetch_once(digest, &mut std::io::sink())?;
            if found == digest {
                Ok(())
            } else {
                Err(Tried::Over(OriginalsError::Altered {
                    expected: digest,
                    found,
                }))
            }
        })
    }

    /// Whether it was put there now; otherwise there was one.
    fn put(&self, digest: Digest, file: &Path, bytes: u64) -> Result<bool, Tried> {
        let key = self.key(digest);
        let sum = STANDARD.encode(digest.0);
        let headers = [
            ("if-none-match", "*"),
            ("x-amz-checksum-sha256", sum.as_str()),
        ];
        let mut action = self.bucket.put_object(Some(&self.credentials), &key);
        for (name, value) in headers {
            action.headers_mut().insert(name, value);
        }
        let url = action.sign(SIGNED);
        let mut request = self.agent.put(url.as_str());
        for (name, value) in headers {
            request = request.header(name, value);
        }
        let body = File::open(file).map_err(|e| Tried::Over(at(file)(e)))?;
        let answer = request
            .header("content-length", bytes)
            .send(body)
            .map_err(|e| said(&e))?;
        match answer.status().as_u16() {
            200 | 201 | 204 => Ok(true),
            412 => Ok(false),
            _ => Err(status_of(answer.status())),
        }
    }

    /// Removes an object, and asks for it until the store shows none.
    ///
    /// # Errors
    /// [`OriginalsError::Away`], after which it may be there or not.
    pub fn remove(&self, digest: Digest) -> Result<(), OriginalsError> {
        let key = self.key(digest);
        self.ask(|| {
            let action = self.bucket.delete_object(Some(&self.credentials), &key);
            let url = action.sign(SIGNED);
            let answer = self.agent.delete(url.as_str()).call();
            let answer = answer.map_err(|e| said(&e))?;
            match answer.status().as_u16() {
                200 | 202 | 204 | 404 => {}
                _ => return Err(status_of(answer.status())),
            }
            match self.length_once(digest)? {
                None => Ok(()),
                Some(_) => Err(Tried::Again("it shows what it removed".into())),
            }
        })
    }

    /// Reads an object; its digest and length. `begin` gives what it is written to, anew for each attempt.
    ///
    /// # Errors
    /// [`OriginalsError::Missing`], [`OriginalsError::Away`], or what the writer says.
    pub fn fetch<W: Write>(
        &self,
        digest: Digest,
        mut begin: impl FnMut() -> Result<W, OriginalsError>,
    ) -> Result<(W, Digest, u64), OriginalsError> {
        self.ask(|| {
            let mut out = begin().map_err(Tried::Over)?;
            let (found, bytes) = self.fetch_once(digest, &mut out)?;
            Ok((out, found, bytes))
        })
    }

    fn fetch_once(&self, digest: Digest, out: &mut impl Write) -> Result<(Digest, u64), Tried> {
        let key = self.key(digest);
        let action = self.bucket.get_object(Some(&self.credentials), &key);
        let url = action.sign(SIGNED);
        let mut answer = self.agent.get(url.as_str()).call().map_err(|e| said(&e))?;
        match answer.status().as_u16() {
            200 => {}
            404 => return Err(Tried::Over(OriginalsError::Missing(digest))),
            _ => return Err(status_of(answer.status())),
        }
        let announced: Option<u64> = answer
            .headers()
            .get("content-length")
            .and_then(|v| v.to_str().ok()?.parse().ok());
        let mut body = answer.body_mut().as_reader().take(MAX_BYTES + 1);
        let (mut hash, mut bytes) = (Sha256::new(), 0);
        let mut buffer = vec![0; 256 * 1024];
        loop {
            let n = match body.read(&mut buffer) {
                Ok(0) => break,
                Ok(n) => n,
                Err(e) => return Err(Tried::Again(format!("the answer broke off: {}", e.kind()))),
            };
            hash.update(&buffer[..n]);
            bytes += n as u64;
            out.write_all(&buffer[..n])
                .map_err(|e| Tried::Over(at(Path::new(&key))(e)))?;
        }
        if announced.is_some_and(|a| a != bytes && a <= MAX_BYTES) {
            return Err(Tried::Again("the answer broke off".into()));
        }
        Ok((Digest(hash.finalize().into()), bytes))
    }

    /// Every original in the bucket, in the order of digests, a page of names in memory at a time. Other objects are passed
    /// over.
    pub fn list(&self) -> impl Iterator<Item = Result<Digest, OriginalsError>> + '_ {
        let mut next = Some(None);
        std::iter::from_fn(move || {
            let from: Option<String> = next.take()?;
            Some(match self.page(from) {
                Ok((digests, more)) => {
                    next = more.map(Some);
                    digests.into_iter().map(Ok).collect::<Vec<_>>()
                }
                Err(e) => vec![Err(e)],
            })
        })
        .flatten()
    }

    fn page(&self, from: Option<String>) -> Result<(Vec<Digest>, Option<String>), OriginalsError> {
        let text = self.ask(|| {
            let mut action = ListObjectsV2::new(&self.bucket, Some(&self.credentials));
            action.with_prefix(self.prefix.as_str());
            if let Some(from) = &from {
                action.with_continuation_token(from.as_str());
            }
            let url = action.sign(SIGNED);
            let mut answer = self.agent.get(url.as_str()).call().map_err(|e| said(&e))?;
            if answer.status() != StatusCode::OK {
                return Err(status_of(answer.status()));
            }
            answer
                .body_mut()
                .with_config()
                .limit(MAX_LIST)
                .read_to_string()
                .map_err(|e| said(&e))
        })?;
        let listed = ListObjectsV2::parse_response(&text)
            .map_err(|_| away("its list of objects cannot be read"))?;
        let own = |key: &str| {
            let digest: Digest = key.rsplit('/').next()?.parse().ok()?;
            (self.key(digest) == key).then_some(digest)
        };
        let digests = listed.contents.iter().filter_map(|o| own(&o.key)).collect();
        Ok((digests, listed.next_continuation_token))
    }
}
