//! Queries that readers share with the write transaction, which reads its own writes.

use sqlx::PgConnection;

use crate::store::listing::{few, list_query};
use crate::store::{CommandRow, DocFilter, DocRow, Head, NodeRow, SealRow, StoreError, error::int};

/// PostgreSQL keeps no text with a NUL in it, so nothing has such a name; asked for one, it would end the transaction.
pub(super) fn cannot_be(text: &str) -> bool {
    text.contains('\0')
}

pub(super) async fn head(c: &mut PgConnection) -> Result<Head, StoreError> {
    let last: Option<(i64, Vec<u8>)> =
        sqlx::query_as("SELECT seq, header FROM events ORDER BY seq DESC LIMIT 1")
            .fetch_optional(c)
            .await?;
    let Some((seq, header)) = last else {
        return Ok(Head::default());
    };
    let size = u64::try_from(seq)
        .map_err(|_| StoreError::Corrupt(format!("the last event has number {seq}")))?;
    let header = serde_json::from_slice::<serde_json::Value>(&header).ok();
    let last_recorded_at = header.and_then(|h| {
        h.get("recorded_at")
            .and_then(|t| t.as_str())
            .map(str::to_owned)
    });
    Ok(Head {
        size,
        last_recorded_at,
    })
}

pub(super) async fn docs(
    c: &mut PgConnection,
    subjects: &[String],
) -> Result<Vec<DocRow>, StoreError> {
    few(subjects.len())?;
    Ok(sqlx::query_as("SELECT * FROM docs WHERE subject = ANY($1)")
        .bind(subjects)
        .fetch_all(c)
        .await?)
}

pub(super) async fn doc_by_name(
    c: &mut PgConnection,
    kind: &str,
    name: &str,
) -> Result<Option<DocRow>, StoreError> {
    if cannot_be(name) {
        return Ok(None);
    }
    let sql = "SELECT * FROM docs WHERE kind = $1 AND name = $2";
    Ok(sqlx::query_as(sql)
        .bind(kind)
        .bind(name)
        .fetch_optional(c)
        .await?)
}

pub(super) async fn doc_by_code(
    c: &mut PgConnection,
    code: &str,
) -> Result<Option<DocRow>, StoreError> {
    if cannot_be(code) {
        return Ok(None);
    }
    Ok(sqlx::query_as("SELECT * FROM docs WHERE code = $1")
        .bind(code)
        .fetch_optional(c)
        .await?)
}

pub(super) async fn seal(
    c: &mut PgConnection,
    number: &str,
) -> Result<Option<SealRow>, StoreError> {
    if cannot_be(number) {
        return Ok(None);
    }
    Ok(sqlx::query_as("SELECT * FROM seals WHERE number = $1")
        .bind(number)
        .fetch_optional(c)
        .await?)
}

pub(super) async fn seals(
    c: &mut PgConnection,
    numbers: &[String],
) -> Result<Vec<SealRow>, StoreError> {
    few(numbers.len())?;
    let sql = "SELECT * FROM seals WHERE number = ANY($1)";
    Ok(sqlx::query_as(sql).bind(numbers).fetch_all(c).await?)
}

pub(super) async fn command(
    c: &mut PgConnection,
    id: &str,
) -> Result<Option<CommandRow>, StoreError> {
    Ok(sqlx::query_as("SELECT * FROM commands WHERE id = $1")
        .bind(id)
        .fetch_optional(c)
        .await?)
}

pub(super) async fn commands(
    c: &mut PgConnection,
    ids: &[String],
) -> Result<Vec<CommandRow>, StoreError> {
    few(ids.len())?;
    let sql = "SELECT * FROM commands WHERE id = ANY($1)";
    Ok(sqlx::query_as(sql).bind(ids).fetch_all(c).await?)
}

pub(super) async fn subject_count(c: &mut PgConnection, subject: &str) -> Result<u64, StoreError> {
    let n: i64 = sqlx::query_scalar("SELECT coalesce(max(n), 0) FROM touches WHERE subject = $1")
        .bind(subject)
        .fetch_one(c)
        .await?;
    u64::try_from(n).map_err(|_| StoreError::Corrupt(format!("{subject} counts {n} events")))
}

pub(super) async fn max_number(
    c: &mut PgConnection,
    case_id: &str,
    kind: &str,
) -> Result<i64, StoreError> {
    let sql = "SELECT coalesce(max(number), 0) FROM docs WHERE case_id = $1 AND kind = $2";
    Ok(sqlx::query_scalar(sql)
        .bind(case_id)
        .bind(kind)
        .fetch_one(c)
        .await?)
}

pub(super) async fn nodes(
    c: &mut PgConnection,
    at: &[(u32, u64)],
) -> Result<Vec<NodeRow>, StoreError> {
    few(at.len())?;
    let levels: Vec<i64> = at.iter().map(|(level, _)| i64::from(*level)).collect();
    let indices = at.iter().map(|(_, idx)| int(*idx));
    let indices = indices.collect::<Result<Vec<i64>, StoreError>>()?;
    let sql = "SELECT n.level, n.idx, n.hash FROM unnest($1::bigint[], $2::bigint[]) AS asked (level, idx) \
               JOIN tree_nodes n ON n.level = asked.level AND n.idx = asked.idx";
    Ok(sqlx::query_as(sql)
        .bind(levels)
        .bind(indices)
        .fetch_all(c)
        .await?)
}

pub(super) async fn list_docs(
    c: &mut PgConnection,
    filter: &DocFilter,
) -> Result<Vec<DocRow>, StoreError> {
    let mut q = list_query(filter)?;
    Ok(q.build_query_as().fetch_all(c).await?)
}
