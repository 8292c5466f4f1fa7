//! Only this file knows which error is which HTTP status.
//!
//! Use [`Failure`] in handlers of pages: `?` turns what the application says into one. The page for it is drawn by
//! [`super::session::around`], which knows who is signed in. A refusal by a rule of custody normally never gets here: the
//! form it came from shows it and keeps what was typed.

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use schemars::JsonSchema;
use serde::Serialize;

use crate::app::copies::CopyError;
use crate::app::cosignatures::CosignatureError;
use crate::app::papers::PaperError;
use crate::app::papers::bundle::BundleError;
use crate::app::papers::export::ExportError;
use crate::app::photograph::LookError;
use crate::app::sign_in::SignInError;
use crate::app::views::images::ImageError;
use crate::app::{ReadError, RecordError};
use crate::custody::Refusal;
use crate::imaging::probe::ProbeError;
use crate::originals::OriginalsError;
use crate::store::StoreError;
use crate::uploads::UploadError;

/// Why a page cannot be shown, or an act was not done.
#[derive(Clone, Debug)]
pub struct Failure {
    /// Status.
    pub status: StatusCode,
    /// The rule, the thing, the next step.
    pub refusal: Box<Refusal>,
    /// Seconds after which to try again, where that helps.
    pub retry_after: Option<u64>,
    /// Where to sign in, when that is all that is missing.
    pub sign_in: Option<String>,
}

impl Failure {
    /// A failure by a code of this server's own.
    #[must_use]
    pub fn new(status: StatusCode, code: &str, sentence: &str, next: &str) -> Self {
        Self {
            status,
            refusal: Box::new(Refusal::coded(code, sentence, next)),
            retry_after: None,
            sign_in: None,
        }
    }

    /// Nobody is signed in; `back` is where to go afterwards.
    #[must_use]
    pub fn sign_in(back: &str) -> Self {
        let mut failure = Self::new(
            StatusCode::UNAUTHORIZED,
            "not-signed-in",
            "Nobody is signed in here, or the session is over.",
            "Sign in.",
        );
        failure.sign_in = Some(back.to_owned());
        failure
    }

    /// No such page.
    #[must_use]
    pub fn no_page() -> Self {
        Self::new(
            StatusCode::NOT_FOUND,
            "not-found",
            "There is no such page.",
            "Check the address, or scan the code.",
        )
    }

    /// The form lacks its token, or comes from another site.
    #[must_use]
    pub fn foreign_form() -> Self {
        Self::new(
            StatusCode::FORBIDDEN,
            "foreign-form",
            "This form was not made by this server for this session.",
            "Go back, load the page again and send it once more.",
        )
    }

    /// What was sent cannot be read.
    #[must_use]
    pub fn unreadable(why: &str) -> Self {
        Self::new(
            StatusCode::BAD_REQUEST,
            "cannot-be-read",
            &format!("What was sent cannot be read: {why}."),
            "Load the page again and send it once more.",
        )
    }

    /// Something broke that nobody can mend from a page; the log has more.
    #[must_use]
    pub fn internal() -> Self {
        Self::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "server-error",
            "The server could not do this.",
            "Try again; if it stays so, tell whoever runs the server the time at which it happened.",
        )
    }
}

/// The status for a refusal by a rule of custody.
#[must_use]
pub fn status_of(refusal: &Refusal) -> StatusCode {
    match refusal.code.as_str() {
        "account-off" | "role-may-not" | "case-restricted" => StatusCode::FORBIDDEN,
        "not-found" => StatusCode::NOT_FOUND,
        "not-signed" => StatusCode::UNAUTHORIZED,
        "bad-text" | "bad-value" | "password-refused" | "no-code-seen" | "several-codes"
        | "no-photograph" => StatusCode::UNPROCESSABLE_ENTITY,
        "not-a-picture" => StatusCode::UNSUPPORTED_MEDIA_TYPE,
        "too-large" => StatusCode::PAYLOAD_TOO_LARGE,
        "no-room" => StatusCode::INSUFFICIENT_STORAGE,
        _ => StatusCode::CONFLICT,
    }
}

impl From<Refusal> for Failure {
    fn from(refusal: Refusal) -> Self {
        Self {
            status: status_of(&refusal),
            refusal: Box::new(refusal),
            retry_after: None,
            sign_in: None,
        }
    }
}

impl From<RecordError> for Failure {
    fn from(e: RecordError) -> Self {
        match e {
            RecordError::Refused(refusal) => refusal.into(),
            RecordError::Conflict => Self::new(
                StatusCode::CONFLICT,
                "sent-before",
                "This form was sent before with other content, and that was carried out.",
                "Look at what is on the record; to do it again, begin with a fresh form.",
            ),
            RecordError::Unavailable(why) => {
                tracing::error!(%why, "the ledger cannot be written");
                let mut failure = Self::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "not-writable-now",
                    "The ledger cannot be written at this moment.",
                    "Send the same form again in a minute: it is carried out once, even if it was received before.",
                );
                failure.retry_after = Some(30);
                failure
            }
            RecordError::Corrupt(why) => {
                tracing::error!(%why, "the ledger is damaged");
                Self::new(
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "ledger-damaged",
                    "The ledger contradicts itself here; nothing was written.",
                    "Tell whoever runs the server to run the verifier now.",
                )
            }
        }
    }
}

impl From<ReadError> for Failure {
    fn from(e: ReadError) -> Self {
        match e {
            ReadError::NotFound(what) => Self::new(
                StatusCode::NOT_FOUND,
                "not-found",
                &format!("There is no such {what}."),
                "Check the number or scan the code again.",
            ),
            ReadError::Forbidden(action) => Self::new(
                StatusCode::FORBIDDEN,
                "role-may-not",
                &format!("Your role may not {}.", action.words()),
                &format!(
                    "This is for: {}.",
                    action
                        .roles()
                        .iter()
                        .map(|r| r.title())
                        .collect::<Vec<_>>()
                        .join(", ")
                ),
            ),
            ReadError::Restricted => Self::new(
                StatusCode::FORBIDDEN,
                "case-restricted",
                "This case is restricted and you are not assigned to it.",
                "Ask a supervisor to assign you.",
            ),
            ReadError::BadCursor => Self::unreadable("the list cannot go on from there"),
            ReadError::Record(e) => e.into(),
            ReadError::Unavailable(why) => {
                tracing::error!(%why, "the ledger cannot be read");
                let mut failure = Self::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "not-readable-now",
                    "The ledger cannot be read at this moment.",
                    "Try again in a minute.",
                );
                failure.retry_after = Some(30);
                failure
            }
            ReadError::Corrupt(why) => RecordError::Corrupt(why).into(),
        }
    }
}

impl From<StoreError> for Failure {
    fn from(e: StoreError) -> Self {
        ReadError::from(e).into()
    }
}

impl From<BundleError> for Failure {
    fn from(e: BundleError) -> Self {
        match e {
            BundleError::Paper(e) => e.into(),
            BundleError::Export(ExportError::Read(e)) => e.into(),
            BundleError::Asked(sentence) => Self::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                "bundle-refused",
                &sentence,
                "Correct it and make the bundle again.",
            ),
            e @ (BundleError::Export(_)
            | BundleError::Bag(_)
            | BundleError::Io(_)
            | BundleError::Inner(_)) => {
                tracing::error!(error = %e, "a bundle cannot be made");
                Self::new(
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "bundle-failed",
                    "The bundle could not be made, and nothing was disclosed.",
                    "Have the ledger verified: a picture may be missing or altered, or the disk full.",
                )
            }
        }
    }
}

impl From<PaperError> for Failure {
    fn from(e: PaperError) -> Self {
        let said = e.to_string();
        match e {
            PaperError::Read(e) => e.into(),
            PaperError::Record(e) => e.into(),
            PaperError::Report(_) | PaperError::Kind { .. } | PaperError::Count(_) => Self::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                "paper-refused",
                &format!("The paper was not printed: {said}."),
                "Go back and choose another one.",
            ),
            PaperError::Itl(refused) => Self::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                refused.rule.code(),
                &refused.sentence,
                &refused.next,
            ),
            PaperError::Original(why) => {
                tracing::error!(%why, "a picture's bytes cannot be given");
                Self::new(
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "original-damaged",
                    "The bytes of this picture are missing or were altered on the server's disk.",
                    "Tell whoever runs the server to run the verifier now.",
                )
            }
            PaperError::Busy(_) => {
                let mut failure = Self::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "paper-busy",
                    &format!("The paper was not printed: {said}."),
                    "Print it again in a moment.",
                );
                failure.retry_after = Some(5);
                failure
            }
            PaperError::Inner(why) => {
                tracing::error!(%why, "a paper cannot be made");
                Self::internal()
            }
        }
    }
}

impl From<ImageError> for Failure {
    fn from(e: ImageError) -> Self {
        match e {
            ImageError::Read(e) => e.into(),
            ImageError::Original(e) => {
                tracing::error!(error = %e, "an original cannot be given");
                Self::new(
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "original-damaged",
                    "The original bytes of this picture are missing or altered.",
                    "Tell whoever runs the server to run the verifier now; the record of the picture still stands.",
                )
            }
        }
    }
}

impl From<CosignatureError> for Failure {
    fn from(e: CosignatureError) -> Self {
        let e = match e {
            CosignatureError::Read(e) => return e.into(),
            other => other,
        };
        let code = match &e {
            CosignatureError::NotOurs(_) | CosignatureError::Read(_) => {
                "cosignature-not-of-this-ledger"
            }
            CosignatureError::Unknown => "cosignature-unknown-witness",
            CosignatureError::OtherHistory { .. } => "cosignature-of-another-history",
        };
        let next = match &e {
            CosignatureError::Unknown => {
                "Put the witness's key into witnesses.toml in the ledger's folder, and start the server again."
            }
            CosignatureError::OtherHistory { .. } => {
                "Keep both checkpoints and look into it before anything else is recorded."
            }
            _ => "Send the checkpoint as this ledger gave it, with the witness's line at its end.",
        };
        Self::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            code,
            &format!("The cosignature was not taken: {e}."),
            next,
        )
    }
}

impl From<CopyError> for Failure {
    fn from(e: CopyError) -> Self {
        let said = e.to_string();
        match e {
            CopyError::Read(e) => e.into(),
            CopyError::Original(e) => e.into(),
            CopyError::Record(e) => e.into(),
            CopyError::Derive(_) | CopyError::NothingSuggested => Self::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                "copy-refused",
                &format!("No working copy was made: {said}."),
                "Choose other steps, or set the view steps or the scale first; the original stays as it is.",
            ),
            CopyError::Busy => {
                let mut failure = Self::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "copy-busy",
                    &format!("No working copy was made: {said}."),
                    "Make it again in a moment.",
                );
                failure.retry_after = Some(5);
                failure
            }
            CopyError::Inner(why) => {
                tracing::error!(%why, "a working copy cannot be made");
                Self::internal()
            }
        }
    }
}

impl From<SignInError> for Failure {
    fn from(e: SignInError) -> Self {
        match e {
            SignInError::Wrong => Self::new(
                StatusCode::UNAUTHORIZED,
                "sign-in-wrong",
                "User name or password are wrong, or the account is switched off.",
                "Try again, or ask an administrator.",
            ),
            SignInError::Wait { until } => Self::new(
                StatusCode::TOO_MANY_REQUESTS,
                "sign-in-wait",
                "Too many attempts failed.",
                &format!("Try again after {} UTC.", until.format("%H:%M:%S")),
            ),
            SignInError::Busy => {
                let mut failure = Self::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "sign-in-busy",
                    "Too many people sign in at this moment.",
                    "Try again in a few seconds.",
                );
                failure.retry_after = Some(5);
                failure
            }
            SignInError::Password(e) => Self::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                "password-refused",
                &format!("The password is refused: {e}."),
                "Choose another one.",
            ),
            SignInError::Token(why) => Self::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                "token-refused",
                &format!("The token is refused: {why}."),
                "Change it and send it again.",
            ),
            SignInError::Read(e) => e.into(),
        }
    }
}

impl From<OriginalsError> for Failure {
    fn from(e: OriginalsError) -> Self {
        match e {
            OriginalsError::Missing(_) | OriginalsError::Altered { .. } => {
                tracing::error!(error = %e, "an original is missing or altered");
                Self::new(
                    StatusCode::INTERNAL_SERVER_ERROR,
                    "original-damaged",
                    "The original of this photograph is missing or was altered on the server's disk.",
                    "Tell whoever runs the server to run the verifier now.",
                )
            }
            OriginalsError::NoRoom { .. } => {
                tracing::error!(error = %e, "no room for an original");
                let mut failure = Self::new(
                    StatusCode::INSUFFICIENT_STORAGE,
                    "no-room",
                    "There is no room for this file on the server's disk; nothing was recorded, and what was there before is \
                     as it was.",
                    "Keep the file where it is and tell whoever runs the server to make room; then send it again. An upload \
                     in parts goes on where it stopped.",
                );
                failure.retry_after = Some(600);
                failure
            }
            OriginalsError::Away(_) | OriginalsError::Bucket(_) => {
                tracing::error!(error = %e, "the store of originals");
                let mut failure = Self::new(
                    StatusCode::SERVICE_UNAVAILABLE,
                    "originals-away",
                    "The store of originals does not answer; nothing was recorded.",
                    "Keep the file where it is and send it again in a minute; an upload in parts goes on where it stopped.",
                );
                failure.retry_after = Some(60);
                failure
            }
            OriginalsError::TooLong => Self::new(
                StatusCode::PAYLOAD_TOO_LARGE,
                "too-large",
                "The file is longer than 200 MB, the most this server keeps.",
                "Send a smaller file; the original stays where it is.",
            ),
            OriginalsError::Empty => Self::new(
                StatusCode::BAD_REQUEST,
                "no-file",
                "No file was sent, or an empty one.",
                "Choose a photograph.",
            ),
            OriginalsError::BrokeOff(why) => Self::new(
                StatusCode::BAD_REQUEST,
                "cannot-be-read",
                &format!("What was sent cannot be read: the upload broke off: {why}."),
                "Send it again; an upload in parts goes on where it stopped.",
            ),
            e => {
                tracing::error!(error = %e, "an original cannot be kept or read");
                Self::internal()
            }
        }
    }
}

impl From<UploadError> for Failure {
    fn from(e: UploadError) -> Self {
        let said = crate::custody::rules::capital(&format!("{e}."));
        let (status, code, next) = match e {
            UploadError::Original(e) => return e.into(),
            UploadError::NotFound => (
                StatusCode::NOT_FOUND,
                "no-such-upload",
                "Send the file again.",
            ),
            UploadError::TooMany => (
                StatusCode::TOO_MANY_REQUESTS,
                "too-many-uploads",
                "Finish or end one of yours, or wait: what nobody goes on with ends after a day.",
            ),
            UploadError::Length => (
                StatusCode::UNPROCESSABLE_ENTITY,
                "upload-length",
                "Send the length of the file in bytes.",
            ),
            UploadError::Offset { .. } => (
                StatusCode::CONFLICT,
                "upload-offset",
                "Ask how far the upload is, and go on from there.",
            ),
            UploadError::Busy => (
                StatusCode::CONFLICT,
                "upload-busy",
                "Wait for the other part to end, then ask how far the upload is.",
            ),
            UploadError::Beyond { .. } => (
                StatusCode::UNPROCESSABLE_ENTITY,
                "upload-beyond",
                "Begin again with the right length.",
            ),
            UploadError::NotWhole { .. } => (
                StatusCode::CONFLICT,
                "upload-not-whole",
                "Send the rest, from the byte that the upload has come to.",
            ),
            UploadError::Differs { .. } => (
                StatusCode::UNPROCESSABLE_ENTITY,
                "upload-differs",
                "Send the bytes again from the first one, or end this upload.",
            ),
        };
        Self::new(status, code, &said, next)
    }
}

impl From<LookError> for Failure {
    fn from(e: LookError) -> Self {
        match e {
            LookError::Original(e) => e.into(),
            LookError::Probe(e) => e.into(),
        }
    }
}

impl From<ProbeError> for Failure {
    fn from(e: ProbeError) -> Self {
        if e == ProbeError::Unreadable {
            return Self::internal();
        }
        Self::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "not-a-picture",
            &format!("The file is not taken: {e}."),
            "Take it from the camera or card once more and send it again. If this is all there is of it, keep it as it is \
             (as_it_is): its bytes are kept, and it is not shown.",
        )
    }
}

/// A problem detail (RFC 9457): how the interface for programs says what a page says in words.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Problem {
    /// `/problems/CODE`: a name, not an address.
    #[serde(rename = "type")]
    pub kind: String,
    /// The code in words.
    pub title: String,
    /// The status of the answer.
    pub status: u16,
    /// What was refused and why, one sentence.
    pub detail: String,
    /// The stable code: a rule of custody, or one of this server's own.
    pub code: String,
    /// What to do next, one sentence.
    pub next: String,
    /// The field of the command that is meant, if one is.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
    /// Of a command of several lines: each line that was refused, and why.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lines: Vec<crate::custody::refusal::LineRefusal>,
}

/// The problem detail of a failure.
#[must_use]
pub fn problem(failure: &Failure) -> Response {
    let refusal = &failure.refusal;
    let body = Problem {
        kind: format!("/problems/{}", refusal.code),
        title: crate::custody::rules::capital(&refusal.code.replace('-', " ")),
        status: failure.status.as_u16(),
        detail: refusal.sentence.clone(),
        code: refusal.code.clone(),
        next: refusal.next.clone(),
        field: refusal.field.clone(),
        lines: refusal.lines.to_vec(),
    };
    let mut response = (failure.status, axum::Json(body)).into_response();
    let headers = response.headers_mut();
    headers.insert(
        header::CONTENT_TYPE,
        HeaderValue::from_static("application/problem+json"),
    );
    if let Some(seconds) = failure.retry_after {
        headers.insert(header::RETRY_AFTER, seconds.into());
    }
    response
}

impl IntoResponse for Failure {
    fn into_response(self) -> Response {
        if let Some(back) = &self.sign_in {
            let next: String =
                percent_encoding::utf8_percent_encode(back, percent_encoding::NON_ALPHANUMERIC)
                    .collect();
            let mut response = Redirect::to(&format!("/sign-in?next={next}")).into_response();
            response.extensions_mut().insert(self);
            return response;
        }
        // Plain words, for whoever reads this without the page drawn around it.
        let text = format!("{} {}\n", self.refusal.sentence, self.refusal.next);
        let mut response = (self.status, text).into_response();
        if let Some(seconds) = self.retry_after {
            response
                .headers_mut()
                .insert(header::RETRY_AFTER, seconds.into());
        }
        response.extensions_mut().insert(self);
        response
    }
}
