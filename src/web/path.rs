//! What an address names. An address that cannot be read gets the house's own page, like every other failure.

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use serde::de::DeserializeOwned;

use super::error::Failure;

/// The named parts of an address: an identifier, a digest, the word of an act.
#[derive(Clone, Copy, Debug)]
pub struct Path<T>(pub T);

impl<T, S> FromRequestParts<S> for Path<T>
where
    T: DeserializeOwned + Send,
    S: Send + Sync,
{
    type Rejection = Failure;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Failure> {
        axum::extract::Path::<T>::from_request_parts(parts, state)
            .await
            .map(|found| Self(found.0))
            // A mistyped identifier names nothing, and says no more than one that nothing bears.
            .map_err(|_| Failure::no_page())
    }
}
