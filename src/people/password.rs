//! Passwords: what one must be, how it is kept, how it is checked.
//!
//! Kept as Argon2id in PHC string form, with the least configuration that the OWASP Password Storage Cheat Sheet names:
//! 19 MiB of memory, two passes, one lane. The only thing here that is not a function of its arguments is the salt, which
//! comes from the system.

use std::sync::OnceLock;

use argon2::{
    Algorithm, Argon2, Params, Version,
    password_hash::{PasswordHasher as _, PasswordVerifier as _, phc::PasswordHash},
};

/// Memory, in KiB.
pub const MEMORY_KIB: u32 = 19_456;
/// Passes over the memory.
pub const PASSES: u32 = 2;
/// Lanes.
pub const LANES: u32 = 1;

/// The least and the greatest number of characters. The least is ours; NIST SP 800-63B asks for at least 8, and for
/// room for at least 64 (from memory).
pub const LENGTH: std::ops::RangeInclusive<usize> = 12..=128;

/// The most that a stored hash may ask for. A hash comes from the database, and whoever can write there must not be
/// able to make sign-in eat the machine.
const MOST_MEMORY_KIB: u32 = 262_144;
const MOST_PASSES: u32 = 16;
const MOST_LANES: u32 = 8;

/// Why a password is refused, in order of precedence.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PasswordError {
    /// Fewer than twelve characters.
    #[error(
        "a password has at least {} characters: a few words in a row are easy to keep in mind",
        LENGTH.start()
    )]
    TooShort,
    /// More than 128 characters.
    #[error("a password has at most {} characters", LENGTH.end())]
    TooLong,
    /// The user name, in whatever case, or the user name several times over.
    #[error("a password is not the user name")]
    UserName,
    /// One character over and over.
    #[error("a password is more than one character over and over")]
    OneCharacter,
    /// It could not be hashed: the system gave no random bytes or no memory.
    #[error("the password could not be kept just now; try again")]
    NotKept,
}

/// Whether a password may be used by the person who signs in as `user_name`.
///
/// # Errors
/// The first rule it breaks.
pub fn check(password: &str, user_name: &str) -> Result<(), PasswordError> {
    let length = password.chars().count();
    if length < *LENGTH.start() {
        return Err(PasswordError::TooShort);
    }
    if length > *LENGTH.end() {
        return Err(PasswordError::TooLong);
    }
    let (small, name) = (
        password.trim().to_lowercase(),
        user_name.trim().to_lowercase(),
    );
    if !name.is_empty() && small.replace(&name, "").trim().is_empty() {
        return Err(PasswordError::UserName);
    }
    let mut characters = password.chars();
    let first = characters.next();
    if characters.all(|c| Some(c) == first) {
        return Err(PasswordError::OneCharacter);
    }
    Ok(())
}

/// Checks the rules and hashes with a fresh salt.
///
/// # Errors
/// The first rule it breaks, or [`PasswordError::NotKept`].
pub fn hash(password: &str, user_name: &str) -> Result<String, PasswordError> {
    check(password, user_name)?;
    let hash = hasher()
        .hash_password(password.as_bytes())
        .map_err(|_| PasswordError::NotKept)?;
    Ok(hash.to_string())
}

/// Whether `password` is the one that was hashed.
///
/// With no hash (nobody of that name, or somebody without a password) it does the same work against a hash that no
/// password fits, so that the time taken doesn't tell who has an account. A hash that can't be read counts as none.
#[must_use]
pub fn verify(password: &str, hash: Option<&str>) -> bool {
    // Nobody has a longer one, and four bytes a character is the most UTF-8 takes.
    let too_long = password.len() > LENGTH.end() * 4;
    let password = if too_long { "" } else { password };
    let parsed = hash.and_then(usable);
    let known = parsed.is_some();
    let Some(hash) = parsed.or_else(|| usable(nobody())) else {
        return false;
    };
    let fits = hasher().verify_password(password.as_bytes(), &hash).is_ok();
    fits & known & !too_long
}

/// Whether a hash was made with less than today's configuration and should be made anew at the next sign-in.
#[must_use]
pub fn is_outdated(hash: &str) -> bool {
    let Ok(hash) = PasswordHash::new(hash) else {
        return true;
    };
    let Ok(params) = Params::try_from(&hash) else {
        return true;
    };
    hash.algorithm != Algorithm::Argon2id.ident()
        || params.m_cost() < MEMORY_KIB
        || params.t_cost() < PASSES
}

/// The hash, if it can be read and asks for no more than this server gives.
fn usable(hash: &str) -> Option<PasswordHash> {
    let hash = PasswordHash::new(hash).ok()?;
    let params = Params::try_from(&hash).ok()?;
    (params.m_cost() <= MOST_MEMORY_KIB
        && params.t_cost() <= MOST_PASSES
        && params.p_cost() <= MOST_LANES)
        .then_some(hash)
}

/// A hash of the same cost as every other, for those who have none.
fn nobody() -> &'static str {
    static NOBODY: OnceLock<String> = OnceLock::new();
    NOBODY.get_or_init(|| {
        hasher()
            .hash_password_with_salt(b"nobody signs in with this", b"no account's salt")
            .map(|hash| hash.to_string())
            .unwrap_or_default()
    })
}

fn hasher() -> Argon2<'static> {
    // The configuration is fixed and valid; the library's default is the same one, should that ever change.
    let params = Params::new(MEMORY_KIB, PASSES, LANES, None).unwrap_or_default();
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
}
