//! What expungements still have to remove: the same SQL for each database, stamped for both.

use sqlx::Row as _;

use super::{Answer, LIST_MAX, PostgresStore, RemovalRow, Removals, SqliteStore, StoreError};

macro_rules! removals {
    ($store:ty) => {
        impl Removals for $store {
            fn removals(&self, limit: u32) -> Answer<'_, Vec<RemovalRow>> {
                Box::pin(async move {
                    let sql = "SELECT what, by_seq FROM removals ORDER BY what LIMIT $1";
                    let q = sqlx::query(sql).bind(i64::from(limit.min(LIST_MAX)));
                    let rows = q.fetch_all(&mut *self.reader().await?).await?;
                    rows.into_iter()
                        .map(|row| {
                            let by: i64 = row.try_get("by_seq")?;
                            Ok(RemovalRow {
                                what: row.try_get("what")?,
                                by: by.unsigned_abs(),
                            })
                        })
                        .collect::<Result<_, StoreError>>()
                })
            }

            fn removal_done<'a>(&'a self, what: &'a str) -> Answer<'a, ()> {
                Box::pin(async move {
                    let q = sqlx::query("DELETE FROM removals WHERE what = $1").bind(what);
                    q.execute(&mut *self.changer().await?).await?;
                    Ok(())
                })
            }

            fn is_named<'a>(&'a self, digest: &'a str) -> Answer<'a, bool> {
                Box::pin(async move {
                    let sql = "SELECT count(*) FROM docs WHERE kind IN ('mark', 'item') AND doc LIKE '%' || $1 || '%'";
                    let n: i64 = sqlx::query_scalar(sql)
                        .bind(digest)
                        .fetch_one(&mut *self.reader().await?)
                        .await?;
                    Ok(n > 0)
                })
            }
        }
    };
}

removals!(SqliteStore);
removals!(PostgresStore);
