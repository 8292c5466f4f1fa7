//! Signing in: passwords, sessions, access tokens, and what slows a guesser down. Nothing of it is evidence.

use chrono::{DateTime, TimeDelta, Utc};
use sha2::{Digest as _, Sha256};
use tokio::sync::Semaphore;

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;

use super::house::House;
use super::reader::ReadError;
use crate::custody::state::Person;
use crate::ids::{PersonId, Subject};
use crate::ledger::times;
use crate::people::password::{self, PasswordError};
use crate::store::{CredentialRow, SessionRow, StoreError, TokenRow};

/// A session ends when it was not used for so long.
pub const IDLE: TimeDelta = TimeDelta::minutes(60);
/// A session ends so long after it was opened, whatever happens in it.
pub const ABSOLUTE: TimeDelta = TimeDelta::hours(12);
/// How many attempts fail before the next one has to wait.
pub const FREE_FAILURES: u64 = 5;
/// The longest wait.
pub const LONGEST_WAIT: TimeDelta = TimeDelta::minutes(15);
/// How many access tokens a person may have.
pub const MAX_TOKENS: usize = 20;
/// The longest life of an access token, in days.
pub const MAX_TOKEN_DAYS: u16 = 365;
/// What an access token begins with, so that one left lying about is known for what it is.
pub const TOKEN_PREFIX: &str = "llt_";

/// How many passwords are checked at a time: each takes 19 MiB and a core.
static CHECKS: Semaphore = Semaphore::const_new(2);
/// How many more may wait for that.
static WAITING: Semaphore = Semaphore::const_new(64);

/// Why signing in, or signing, does not work.
#[derive(Debug, thiserror::Error)]
pub enum SignInError {
    /// Name or password are wrong, or the account is switched off: which of them is not told.
    #[error("user name or password are wrong, or the account is switched off")]
    Wrong,
    /// Too many attempts failed.
    #[error("too many attempts failed")]
    Wait {
        /// Until when.
        until: DateTime<Utc>,
    },
    /// Too many people sign in at once.
    #[error("too many people sign in at this moment")]
    Busy,
    /// A new password is refused.
    #[error(transparent)]
    Password(#[from] PasswordError),
    /// A token of that name exists, or there are too many.
    #[error("{0}")]
    Token(String),
    /// The database.
    #[error(transparent)]
    Read(#[from] ReadError),
}

impl From<StoreError> for SignInError {
    fn from(e: StoreError) -> Self {
        Self::Read(e.into())
    }
}

/// A session that was just opened.
pub struct Opened {
    /// The secret of it; only its hash is stored.
    pub token: String,
    /// Who.
    pub person: Person,
}

/// A session in use.
#[derive(Clone, Debug)]
pub struct Session {
    /// Who, as the ledger has them now.
    pub person: Person,
    /// The theme chosen in it.
    pub theme: Option<String>,
    /// Identifies the session to the store.
    pub token_hash: Vec<u8>,
}

/// How long the next attempt has to wait after so many failures, counted from the last one.
#[must_use]
pub fn wait_after(failures: u64) -> TimeDelta {
    if failures < FREE_FAILURES {
        return TimeDelta::zero();
    }
    let doublings = (failures - FREE_FAILURES).min(12);
    TimeDelta::seconds(4_i64 << doublings).min(LONGEST_WAIT)
}

fn hash_of(token: &str) -> Vec<u8> {
    Sha256::digest(token.as_bytes()).to_vec()
}

fn new_secret() -> Result<String, SignInError> {
    let mut bytes = [0_u8; 32];
    getrandom::fill(&mut bytes)
        .map_err(|e| ReadError::Unavailable(format!("no random bytes: {e}")))?;
    Ok(URL_SAFE_NO_PAD.encode(bytes))
}

/// Runs the costly part beside the server's own threads, a few at a time.
async fn aside<T: Send + 'static>(
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, SignInError> {
    let _waits = WAITING.try_acquire().map_err(|_| SignInError::Busy)?;
    let _turn = CHECKS.acquire().await.map_err(|_| SignInError::Busy)?;
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|_| SignInError::Busy)
}

impl House {
    /// Opens a session.
    ///
    /// # Errors
    /// [`SignInError::Wrong`] for a wrong name, a wrong password and an account that is off, all alike;
    /// [`SignInError::Wait`].
    pub async fn sign_in(
        &self,
        user_name: &str,
        secret: &str,
        now: DateTime<Utc>,
    ) -> Result<Opened, SignInError> {
        let user_name = user_name.trim().to_lowercase();
        let person = self.check(&user_name, secret, now).await?;
        let token = new_secret()?;
        let time = times::recorded(now);
        self.store
            .delete_expired_sessions(
                &times::recorded(now - IDLE),
                &times::recorded(now - ABSOLUTE),
            )
            .await?;
        let row = SessionRow {
            token_hash: hash_of(&token),
            person: Subject::Person(person.id).to_string(),
            created_at: time.clone(),
            seen_at: time,
            theme: None,
        };
        self.store.create_session(row).await?;
        Ok(Opened { token, person })
    }

    /// Whether this is the person's password, for signing an act. Failures count as failures to sign in do.
    ///
    /// # Errors
    /// As [`House::sign_in`].
    pub async fn prove(
        &self,
        person: &Person,
        secret: &str,
        now: DateTime<Utc>,
    ) -> Result<(), SignInError> {
        self.check(&person.user_name, secret, now).await.map(|_| ())
    }

    async fn check(
        &self,
        user_name: &str,
        secret: &str,
        now: DateTime<Utc>,
    ) -> Result<Person, SignInError> {
        // Names are bounded before they become rows, and hold nothing that a database may not keep: no user name has
        // control characters.
        let bounded = user_name.chars().take(64);
        let name: String = bounded
            .map(|c| {
                if c.is_control() {
                    char::REPLACEMENT_CHARACTER
                } else {
                    c
                }
            })
            .collect();
        if let Some(failed) = self.store.sign_in_failures(&name).await?
            && let Ok(last) = times::parse_recorded(&failed.last_at)
        {
            let until = last + wait_after(failed.count);
            if until > now && failed.count >= FREE_FAILURES {
                return Err(SignInError::Wait { until });
            }
        }
        let person = self.person_by_user_name(&name).await?;
        let credential = match &person {
            Some(p) => {
                let key = Subject::Person(p.id).to_string();
                self.store.credential(&key).await?
            }
            None => None,
        };
        let phc = credential.map(|c| c.phc);
        let typed = secret.to_owned();
        let held = phc.clone();
        let fits = aside(move || password::verify(&typed, held.as_deref())).await?;
        let good = person.filter(|p| fits && p.active);
        let Some(person) = good else {
            self.store
                .delete_old_sign_in_failures(&times::recorded(now - TimeDelta::hours(24)))
                .await?;
            let count = self
                .store
                .add_sign_in_failure(&name, &times::recorded(now))
                .await?;
            tracing::warn!(failures = count, "an attempt to sign in failed");
            return Err(SignInError::Wrong);
        };
        self.store.clear_sign_in_failures(&name).await?;
        if phc.as_deref().is_some_and(password::is_outdated) {
            let (typed, name) = (secret.to_owned(), person.user_name.clone());
            // An old password may break a rule of today; it stays good until it is changed.
            if let Ok(phc) = aside(move || password::hash(&typed, &name)).await? {
                self.keep_credential(person.id, phc, now).await?;
            }
        }
        Ok(person)
    }

    async fn keep_credential(
        &self,
        person: PersonId,
        phc: String,
        now: DateTime<Utc>,
    ) -> Result<(), SignInError> {
        let row = CredentialRow {
            person: Subject::Person(person).to_string(),
            phc,
            changed_at: times::recorded(now),
        };
        Ok(self.store.set_credential(row).await?)
    }

    /// Whether the person has a password yet.
    ///
    /// # Errors
    /// The database.
    pub async fn has_password(&self, person: PersonId) -> Result<bool, SignInError> {
        let key = Subject::Person(person).to_string();
        Ok(self.store.credential(&key).await?.is_some())
    }

    /// Sets a person's password and ends their sessions. Whether the caller may, the caller has asked.
    ///
    /// # Errors
    /// [`SignInError::Password`].
    pub async fn set_password(
        &self,
        person: &Person,
        secret: &str,
        now: DateTime<Utc>,
    ) -> Result<(), SignInError> {
        password::check(secret, &person.user_name)?;
        let (typed, name) = (secret.to_owned(), person.user_name.clone());
        let phc = aside(move || password::hash(&typed, &name)).await??;
        self.keep_credential(person.id, phc, now).await?;
        self.store
            .delete_sessions_of(&Subject::Person(person.id).to_string())
            .await?;
        self.store.clear_sign_in_failures(&person.user_name).await?;
        Ok(())
    }

    /// The session of a token; none when it is over, or the account is switched off. Marks it as used.
    ///
    /// # Errors
    /// The database.
    pub async fn session(
        &self,
        token: &str,
        now: DateTime<Utc>,
    ) -> Result<Option<Session>, SignInError> {
        self.session_of(hash_of(token), now, true).await
    }

    /// As [`House::session`], for what a page asks for by itself: it keeps nobody signed in.
    ///
    /// # Errors
    /// The database.
    pub async fn session_at_rest(
        &self,
        token: &str,
        now: DateTime<Utc>,
    ) -> Result<Option<Session>, SignInError> {
        self.session_of(hash_of(token), now, false).await
    }

    /// The session once more, with the person as they are now; none where it has ended. It keeps nobody signed in.
    ///
    /// # Errors
    /// The database.
    pub async fn session_again(
        &self,
        session: &Session,
        now: DateTime<Utc>,
    ) -> Result<Option<Session>, SignInError> {
        self.session_of(session.token_hash.clone(), now, false)
            .await
    }

    async fn session_of(
        &self,
        token_hash: Vec<u8>,
        now: DateTime<Utc>,
        is_use: bool,
    ) -> Result<Option<Session>, SignInError> {
        let Some(row) = self.store.session(&token_hash).await? else {
            return Ok(None);
        };
        let (Ok(created), Ok(seen)) = (
            times::parse_recorded(&row.created_at),
            times::parse_recorded(&row.seen_at),
        ) else {
            return Ok(None);
        };
        if now - seen > IDLE || now - created > ABSOLUTE {
            self.store.delete_session(&token_hash).await?;
            return Ok(None);
        }
        let Some(person) = self.person_of(&row.person).await? else {
            return Ok(None);
        };
        // Once a minute is enough for a limit of an hour.
        if is_use && now - seen > TimeDelta::minutes(1) {
            self.store
                .touch_session(&token_hash, &times::recorded(now))
                .await?;
        }
        Ok(Some(Session {
            person,
            theme: row.theme,
            token_hash,
        }))
    }

    async fn person_of(&self, subject: &str) -> Result<Option<Person>, SignInError> {
        let Ok(Subject::Person(id)) = subject.parse() else {
            return Ok(None);
        };
        Ok(self.person(id).await?.filter(|p| p.active))
    }

    /// Ends a session.
    ///
    /// # Errors
    /// The database.
    pub async fn sign_out(&self, session: &Session) -> Result<(), SignInError> {
        self.store.delete_session(&session.token_hash).await?;
        Ok(())
    }

    /// Keeps the theme chosen in a session: `day` or `dark`.
    ///
    /// # Errors
    /// The database.
    pub async fn set_theme(&self, session: &Session, theme: &str) -> Result<(), SignInError> {
        self.store
            .set_session_theme(&session.token_hash, theme)
            .await?;
        Ok(())
    }

    /// Makes an access token for programs that act in the person's name; it is shown once.
    ///
    /// # Errors
    /// [`SignInError::Token`] for a name that is taken, a bad name, a bad life, or too many.
    pub async fn issue_token(
        &self,
        person: PersonId,
        name: &str,
        days: u16,
        now: DateTime<Utc>,
    ) -> Result<String, SignInError> {
        let name = name.trim();
        if name.is_empty() || name.chars().count() > 60 || name.chars().any(char::is_control) {
            return Err(SignInError::Token(
                "a token's name has 1 to 60 characters".into(),
            ));
        }
        if !(1..=MAX_TOKEN_DAYS).contains(&days) {
            return Err(SignInError::Token(format!(
                "a token lives 1 to {MAX_TOKEN_DAYS} days"
            )));
        }
        if self.tokens(person).await?.len() >= MAX_TOKENS {
            return Err(SignInError::Token(format!(
                "there are {MAX_TOKENS} tokens already; remove one first"
            )));
        }
        let token = format!("{TOKEN_PREFIX}{}", new_secret()?);
        let row = TokenRow {
            token_hash: hash_of(&token),
            person: Subject::Person(person).to_string(),
            name: name.into(),
            created_at: times::recorded(now),
            last_used_at: None,
            expires_at: Some(times::recorded(now + TimeDelta::days(days.into()))),
        };
        match self.store.create_token(row).await {
            Ok(()) => Ok(token),
            Err(StoreError::Refused(_)) => Err(SignInError::Token(
                "there is a token of this name already".into(),
            )),
            Err(e) => Err(e.into()),
        }
    }

    /// Whose token this is; none when it has ended, or the account is switched off.
    ///
    /// # Errors
    /// The database.
    pub async fn token_holder(
        &self,
        token: &str,
        now: DateTime<Utc>,
    ) -> Result<Option<Person>, SignInError> {
        let token_hash = hash_of(token);
        let Some(row) = self.store.token(&token_hash).await? else {
            return Ok(None);
        };
        let over = row
            .expires_at
            .as_deref()
            .is_some_and(|t| times::parse_recorded(t).is_ok_and(|t| t <= now));
        if over {
            return Ok(None);
        }
        let stale = row
            .last_used_at
            .as_deref()
            .and_then(|t| times::parse_recorded(t).ok())
            .is_none_or(|t| now - t > TimeDelta::minutes(1));
        if stale {
            self.store
                .touch_token(&token_hash, &times::recorded(now))
                .await?;
        }
        self.person_of(&row.person).await
    }

    /// A person's tokens, by name; the tokens themselves are not stored.
    ///
    /// # Errors
    /// The database.
    pub async fn tokens(&self, person: PersonId) -> Result<Vec<TokenRow>, SignInError> {
        let key = Subject::Person(person).to_string();
        Ok(self.store.tokens_of(&key).await?)
    }

    /// Ends a token; whether there was one.
    ///
    /// # Errors
    /// The database.
    pub async fn end_token(&self, person: PersonId, name: &str) -> Result<bool, SignInError> {
        let key = Subject::Person(person).to_string();
        Ok(self.store.delete_token(&key, name).await?)
    }
}
