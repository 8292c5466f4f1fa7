//! A form with a photograph of a label in it: its fields, the token among them first, and the bytes of the picture. They
//! are held in memory until they are read, by few at once, and then gone.

use axum::extract::Multipart;
use axum::extract::multipart::MultipartError;
use axum::http::StatusCode;

use super::error::Failure;
use super::form::{MAX_FIELDS, MAX_VALUE, Typed};
use super::sent_field::{bytes, unreadable};
use super::session::{Visitor, check_csrf};
use crate::app::label_photo::{FIELD, MAX_BYTES, one, refused, texts, too_large, turn};
use crate::custody::Refusal;

/// The longest texts of such a form together, in bytes: what the forms without a photograph take.
const MAX_TEXTS: usize = 256 * 1024;

/// What such a form brought.
pub struct LabelForm {
    /// What was typed.
    pub typed: Typed,
    /// What is written in the codes of the photograph, or why there is nothing.
    pub texts: Result<Vec<String>, Refusal>,
}

impl LabelForm {
    /// The one text, where one label is wanted.
    ///
    /// # Errors
    /// [`Refusal`]: no picture, no code, several.
    pub fn one(self) -> Result<String, Refusal> {
        self.texts.and_then(one)
    }
}

fn broken(e: &MultipartError) -> Failure {
    if e.status() == StatusCode::PAYLOAD_TOO_LARGE {
        too_large().into()
    } else {
        unreadable(e)
    }
}

/// Reads the form and the photograph.
///
/// # Errors
/// [`Failure`] where the form is none of this session's, or cannot be read.
pub async fn received(visitor: &Visitor, mut parts: Multipart) -> Result<LabelForm, Failure> {
    let turn = turn().await.map_err(Failure::from)?;
    let mut is_ours = false;
    let mut typed = Typed::default();
    let mut room = MAX_TEXTS;
    let mut photo = Ok(Vec::new());
    while let Some(field) = parts.next_field().await.map_err(|e| broken(&e))? {
        let name = field.name().unwrap_or_default().to_owned();
        if name == FIELD {
            if !is_ours {
                return Err(Failure::foreign_form());
            }
            match bytes(field, MAX_BYTES, broken).await? {
                Some(all) => photo = Ok(all),
                // What was typed stands behind it in the form, and is kept.
                None => photo = Err(too_large()),
            }
            continue;
        }
        let text = bytes(field, MAX_VALUE.min(room), broken).await?;
        let text = text.and_then(|t| String::from_utf8(t).ok());
        let (Some(text), true) = (text, typed.0.len() < MAX_FIELDS && name.len() <= 100) else {
            return Err(Failure::unreadable("it has too many or too long fields"));
        };
        room -= text.len();
        if name == "csrf" {
            check_csrf(visitor, &text)?;
            is_ours = true;
        } else {
            typed.0.push((name, text));
        }
    }
    if !is_ours {
        return Err(Failure::foreign_form());
    }
    let texts = match photo {
        Ok(bytes) if bytes.is_empty() => Err(refused(
            "no-photograph",
            "No photograph was sent, or an empty one.",
            "Take or choose a photograph of the label first.",
        )),
        Ok(bytes) => texts(bytes, &turn).await,
        Err(refusal) => Err(refusal),
    };
    Ok(LabelForm { typed, texts })
}
