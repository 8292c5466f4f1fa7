//! A field of a form with a file in it, read within a bound.

use axum::extract::multipart::{Field, MultipartError};

use super::error::Failure;

/// A form that broke off, or that is none.
pub fn unreadable(e: &MultipartError) -> Failure {
    Failure::unreadable(&e.body_text())
}

/// The bytes of a field; none where there are more than `most`.
///
/// # Errors
/// What `broken` makes of a form that breaks off.
pub async fn bytes(
    mut field: Field<'_>,
    most: usize,
    broken: fn(&MultipartError) -> Failure,
) -> Result<Option<Vec<u8>>, Failure> {
    let mut bytes = Vec::new();
    while let Some(part) = field.chunk().await.map_err(|e| broken(&e))? {
        if bytes.len() + part.len() > most {
            return Ok(None);
        }
        bytes.extend_from_slice(&part);
    }
    Ok(Some(bytes))
}
