//! Signing in, tokens and settings: the same SQL for each database, stamped for both. Each write is a transaction of its
//! own, on a connection that the store gives as its `changer`.

use super::{
    Accounts, Answer, CredentialRow, LIST_MAX, PostgresStore, SessionRow, SignInFailureRow,
    SqliteStore, TokenRow,
};

macro_rules! accounts {
    ($store:ty) => {
        impl Accounts for $store {
            fn credential<'a>(&'a self, person: &'a str) -> Answer<'a, Option<CredentialRow>> {
                Box::pin(async move {
                    let sql = "SELECT * FROM credentials WHERE person = $1";
                    Ok(sqlx::query_as(sql)
                        .bind(person)
                        .fetch_optional(&mut *self.reader().await?)
                        .await?)
                })
            }

            fn credentials<'a>(&'a self, after: &'a str, limit: u32) -> Answer<'a, Vec<CredentialRow>> {
                Box::pin(async move {
                    let sql = "SELECT * FROM credentials WHERE person > $1 ORDER BY person LIMIT $2";
                    Ok(sqlx::query_as(sql)
                        .bind(after)
                        .bind(i64::from(limit.min(LIST_MAX)))
                        .fetch_all(&mut *self.reader().await?)
                        .await?)
                })
            }

            fn set_credential(&self, row: CredentialRow) -> Answer<'_, ()> {
                Box::pin(async move {
                    let sql = "INSERT INTO credentials (person, phc, changed_at) VALUES ($1, $2, $3) \
                               ON CONFLICT (person) DO UPDATE SET phc = excluded.phc, changed_at = excluded.changed_at";
                    let q = sqlx::query(sql)
                        .bind(row.person)
                        .bind(row.phc)
                        .bind(row.changed_at);
                    q.execute(&mut *self.changer().await?).await?;
                    Ok(())
                })
            }

            fn create_session(&self, row: SessionRow) -> Answer<'_, ()> {
                Box::pin(async move {
                    let sql = "INSERT INTO sessions (token_hash, person, created_at, seen_at, theme) VALUES ($1, $2, $3, $4, $5)";
                    let q = sqlx::query(sql)
                        .bind(row.token_hash)
                        .bind(row.person)
                        .bind(row.created_at)
                        .bind(row.seen_at);
                    q.bind(row.theme).execute(&mut *self.changer().await?).await?;
                    Ok(())
                })
            }

            fn session<'a>(&'a self, token_hash: &'a [u8]) -> Answer<'a, Option<SessionRow>> {
                Box::pin(async move {
                    let sql = "SELECT * FROM sessions WHERE token_hash = $1";
                    Ok(sqlx::query_as(sql)
                        .bind(token_hash.to_vec())
                        .fetch_optional(&mut *self.reader().await?)
                        .await?)
                })
            }

            fn touch_session<'a>(&'a self, token_hash: &'a [u8], seen_at: &'a str) -> Answer<'a, bool> {
                Box::pin(async move {
                    let sql = "UPDATE sessions SET seen_at = $1 WHERE token_hash = $2";
                    let q = sqlx::query(sql).bind(seen_at).bind(token_hash.to_vec());
                    Ok(q.execute(&mut *self.changer().await?).await?.rows_affected() > 0)
                })
            }

            fn set_session_theme<'a>(&'a self, token_hash: &'a [u8], theme: &'a str) -> Answer<'a, bool> {
                Box::pin(async move {
                    let sql = "UPDATE sessions SET theme = $1 WHERE token_hash = $2";
                    let q = sqlx::query(sql).bind(theme).bind(token_hash.to_vec());
                    Ok(q.execute(&mut *self.changer().await?).await?.rows_affected() > 0)
                })
            }

            fn delete_session<'a>(&'a self, token_hash: &'a [u8]) -> Answer<'a, bool> {
                Box::pin(async move {
                    let q =
                        sqlx::query("DELETE FROM sessions WHERE token_hash = $1").bind(token_hash.to_vec());
                    Ok(q.execute(&mut *self.changer().await?).await?.rows_affected() > 0)
                })
            }

            fn delete_sessions_of<'a>(&'a self, person: &'a str) -> Answer<'a, u64> {
                Box::pin(async move {
                    let q = sqlx::query("DELETE FROM sessions WHERE person = $1").bind(person);
                    Ok(q.execute(&mut *self.changer().await?).await?.rows_affected())
                })
            }

            fn delete_expired_sessions<'a>(
                &'a self,
                seen_before: &'a str,
                created_before: &'a str,
            ) -> Answer<'a, u64> {
                Box::pin(async move {
                    let sql = "DELETE FROM sessions WHERE seen_at < $1 OR created_at < $2";
                    let q = sqlx::query(sql).bind(seen_before).bind(created_before);
                    Ok(q.execute(&mut *self.changer().await?).await?.rows_affected())
                })
            }

            fn create_token(&self, row: TokenRow) -> Answer<'_, ()> {
                Box::pin(async move {
                    let sql = "INSERT INTO tokens (token_hash, person, name, created_at, last_used_at, expires_at) \
                               VALUES ($1, $2, $3, $4, $5, $6)";
                    let q = sqlx::query(sql)
                        .bind(row.token_hash)
                        .bind(row.person)
                        .bind(row.name)
                        .bind(row.created_at);
                    q.bind(row.last_used_at)
                        .bind(row.expires_at)
                        .execute(&mut *self.changer().await?)
                        .await?;
                    Ok(())
                })
            }

            fn token<'a>(&'a self, token_hash: &'a [u8]) -> Answer<'a, Option<TokenRow>> {
                Box::pin(async move {
                    let sql = "SELECT * FROM tokens WHERE token_hash = $1";
                    Ok(sqlx::query_as(sql)
                        .bind(token_hash.to_vec())
                        .fetch_optional(&mut *self.reader().await?)
                        .await?)
                })
            }

            fn tokens<'a>(&'a self, after: &'a [u8], limit: u32) -> Answer<'a, Vec<TokenRow>> {
                Box::pin(async move {
                    let sql = "SELECT * FROM tokens WHERE token_hash > $1 ORDER BY token_hash LIMIT $2";
                    Ok(sqlx::query_as(sql)
                        .bind(after.to_vec())
                        .bind(i64::from(limit.min(LIST_MAX)))
                        .fetch_all(&mut *self.reader().await?)
                        .await?)
                })
            }

            fn tokens_of<'a>(&'a self, person: &'a str) -> Answer<'a, Vec<TokenRow>> {
                Box::pin(async move {
                    let sql = "SELECT * FROM tokens WHERE person = $1 ORDER BY name LIMIT $2";
                    Ok(sqlx::query_as(sql)
                        .bind(person)
                        .bind(i64::from(LIST_MAX))
                        .fetch_all(&mut *self.reader().await?)
                        .await?)
                })
            }

            fn touch_token<'a>(&'a self, token_hash: &'a [u8], last_used_at: &'a str) -> Answer<'a, bool> {
                Box::pin(async move {
                    let sql = "UPDATE tokens SET last_used_at = $1 WHERE token_hash = $2";
                    let q = sqlx::query(sql)
                        .bind(last_used_at)
                        .bind(token_hash.to_vec());
                    Ok(q.execute(&mut *self.changer().await?).await?.rows_affected() > 0)
                })
            }

            fn delete_token<'a>(&'a self, person: &'a str, name: &'a str) -> Answer<'a, bool> {
                Box::pin(async move {
                    let q = sqlx::query("DELETE FROM tokens WHERE person = $1 AND name = $2")
                        .bind(person)
                        .bind(name);
                    Ok(q.execute(&mut *self.changer().await?).await?.rows_affected() > 0)
                })
            }

            fn sign_in_failures<'a>(&'a self, user_name: &'a str) -> Answer<'a, Option<SignInFailureRow>> {
                Box::pin(async move {
                    let sql = "SELECT * FROM sign_in_failures WHERE user_name = $1";
                    Ok(sqlx::query_as(sql)
                        .bind(user_name)
                        .fetch_optional(&mut *self.reader().await?)
                        .await?)
                })
            }

            fn add_sign_in_failure<'a>(&'a self, user_name: &'a str, at: &'a str) -> Answer<'a, u64> {
                Box::pin(async move {
                    let sql = "INSERT INTO sign_in_failures (user_name, count, last_at) VALUES ($1, 1, $2) \
                               ON CONFLICT (user_name) DO UPDATE SET count = sign_in_failures.count + 1, last_at = excluded.last_at \
                               RETURNING count";
                    let n: i64 = sqlx::query_scalar(sql)
                        .bind(user_name)
                        .bind(at)
                        .fetch_one(&mut *self.changer().await?)
                        .await?;
                    Ok(n.unsigned_abs())
                })
            }

            fn clear_sign_in_failures<'a>(&'a self, user_name: &'a str) -> Answer<'a, ()> {
                Box::pin(async move {
                    let q = sqlx::query("DELETE FROM sign_in_failures WHERE user_name = $1").bind(user_name);
                    q.execute(&mut *self.changer().await?).await?;
                    Ok(())
                })
            }

            fn delete_old_sign_in_failures<'a>(&'a self, before: &'a str) -> Answer<'a, u64> {
                Box::pin(async move {
                    let q = sqlx::query("DELETE FROM sign_in_failures WHERE last_at < $1").bind(before);
                    Ok(q.execute(&mut *self.changer().await?).await?.rows_affected())
                })
            }

            fn settings<'a>(&'a self, after: &'a str, limit: u32) -> Answer<'a, Vec<(String, String)>> {
                Box::pin(async move {
                    let sql = "SELECT name, value FROM settings WHERE name > $1 ORDER BY name LIMIT $2";
                    Ok(sqlx::query_as(sql)
                        .bind(after)
                        .bind(i64::from(limit.min(LIST_MAX)))
                        .fetch_all(&mut *self.reader().await?)
                        .await?)
                })
            }

            fn setting<'a>(&'a self, name: &'a str) -> Answer<'a, Option<String>> {
                Box::pin(async move {
                    let sql = "SELECT value FROM settings WHERE name = $1";
                    Ok(sqlx::query_scalar(sql)
                        .bind(name)
                        .fetch_optional(&mut *self.reader().await?)
                        .await?)
                })
            }

            fn set_setting<'a>(&'a self, name: &'a str, value: &'a str) -> Answer<'a, ()> {
                Box::pin(async move {
                    let sql = "INSERT INTO settings (name, value) VALUES ($1, $2) \
                               ON CONFLICT (name) DO UPDATE SET value = excluded.value";
                    sqlx::query(sql)
                        .bind(name)
                        .bind(value)
                        .execute(&mut *self.changer().await?)
                        .await?;
                    Ok(())
                })
            }
        }
    };
}

accounts!(SqliteStore);
accounts!(PostgresStore);
