//! Reading what is committed. The queries are shared with the write transaction, which reads its own writes.

use std::collections::{BTreeMap, HashMap};

use sqlx::{QueryBuilder, Sqlite, SqliteConnection};

use super::{EXPUNGED_SQL, LEDGER_SQL, SqliteStore, int};
use crate::store::listing::{
    conditions, end_of, few, few_events, list_limit, list_query, raw_limit, subjects_query,
    words_query,
};
use crate::store::{
    Answer, BrokenGuard, CheckpointRow, CommandRow, Counts, DocFilter, DocRow, Head, NodeRow,
    RawCheckpoint, RawEvent, RawNode, Reads, SealRow, StoreError, SubjectEvent, TouchedEvent,
    TouchesRow, WordRow, WordsAsked, WordsRow,
};

/// The guards: every trigger that the ledger's schema makes, its name and its text; a later step's takes an earlier one's
/// place.
fn guards() -> BTreeMap<&'static str, String> {
    const BEGIN: &str = "CREATE TRIGGER ";
    const END: &str = "\nEND;";
    let of = |sql: &'static str| {
        sql.match_indices(BEGIN).filter_map(move |(at, _)| {
            let rest = &sql[at..];
            let text = &rest[..rest.find(END)? + END.len()];
            let name = text[BEGIN.len()..].split_whitespace().next()?;
            Some((name, plain(text)))
        })
    };
    of(LEDGER_SQL).chain(of(EXPUNGED_SQL)).collect()
}

/// A statement without what does not change its meaning: the semicolon at its end, and how its words are spaced.
fn plain(sql: &str) -> String {
    let words: Vec<&str> = sql.trim_end_matches(';').split_whitespace().collect();
    words.join(" ")
}

// Columns are cast, so that a row with the wrong kind of value is still read and not an error in the middle of a list.
macro_rules! raw_event {
    ($tail:literal) => {
        raw_event!("", "events e ", $tail)
    };
    ($beside:literal, $from:literal, $tail:literal) => {
        concat!(
            "SELECT ",
            $beside,
            "e.seq AS seq, CAST(e.id AS BLOB) AS id, CAST(e.header AS BLOB) AS header, ",
            "CAST(p.salt AS BLOB) AS salt, CAST(p.fields AS BLOB) AS fields, x.by_seq AS by_seq, x.remains AS remains FROM ",
            $from,
            "LEFT JOIN event_payloads p ON p.seq = e.seq LEFT JOIN expunged x ON x.seq = e.seq ",
            $tail
        )
    };
}

pub(super) fn json<T: serde::Serialize + ?Sized>(keys: &T) -> Result<String, StoreError> {
    serde_json::to_string(keys).map_err(|e| StoreError::Database(e.to_string()))
}

pub(super) async fn head(c: &mut SqliteConnection) -> Result<Head, StoreError> {
    let last: Option<(i64, Option<String>)> = sqlx::query_as(
        "SELECT seq, CASE WHEN json_valid(CAST(header AS TEXT)) \
         THEN CAST(json_extract(CAST(header AS TEXT), '$.recorded_at') AS TEXT) END FROM events ORDER BY seq DESC LIMIT 1",
    )
    .fetch_optional(c)
    .await?;
    let Some((seq, last_recorded_at)) = last else {
        return Ok(Head::default());
    };
    let size = u64::try_from(seq)
        .map_err(|_| StoreError::Corrupt(format!("the last event has number {seq}")))?;
    Ok(Head {
        size,
        last_recorded_at,
    })
}

pub(super) async fn docs(
    c: &mut SqliteConnection,
    subjects: &[String],
) -> Result<Vec<DocRow>, StoreError> {
    few(subjects.len())?;
    let rows =
        sqlx::query_as("SELECT * FROM docs WHERE subject IN (SELECT value FROM json_each(?))")
            .bind(json(subjects)?)
            .fetch_all(c)
            .await?;
    Ok(rows)
}

pub(super) async fn doc_by_name(
    c: &mut SqliteConnection,
    kind: &str,
    name: &str,
) -> Result<Option<DocRow>, StoreError> {
    let sql = "SELECT * FROM docs WHERE kind = ? AND name = ?";
    Ok(sqlx::query_as(sql)
        .bind(kind)
        .bind(name)
        .fetch_optional(c)
        .await?)
}

pub(super) async fn doc_by_code(
    c: &mut SqliteConnection,
    code: &str,
) -> Result<Option<DocRow>, StoreError> {
    Ok(sqlx::query_as("SELECT * FROM docs WHERE code = ?")
        .bind(code)
        .fetch_optional(c)
        .await?)
}

pub(super) async fn seal(
    c: &mut SqliteConnection,
    number: &str,
) -> Result<Option<SealRow>, StoreError> {
    Ok(sqlx::query_as("SELECT * FROM seals WHERE number = ?")
        .bind(number)
        .fetch_optional(c)
        .await?)
}

pub(super) async fn seals(
    c: &mut SqliteConnection,
    numbers: &[String],
) -> Result<Vec<SealRow>, StoreError> {
    few(numbers.len())?;
    let sql = "SELECT * FROM seals WHERE number IN (SELECT value FROM json_each(?))";
    Ok(sqlx::query_as(sql)
        .bind(json(numbers)?)
        .fetch_all(c)
        .await?)
}

pub(super) async fn command(
    c: &mut SqliteConnection,
    id: &str,
) -> Result<Option<CommandRow>, StoreError> {
    Ok(sqlx::query_as("SELECT * FROM commands WHERE id = ?")
        .bind(id)
        .fetch_optional(c)
        .await?)
}

pub(super) async fn commands(
    c: &mut SqliteConnection,
    ids: &[String],
) -> Result<Vec<CommandRow>, StoreError> {
    few(ids.len())?;
    let sql = "SELECT * FROM commands WHERE id IN (SELECT value FROM json_each(?))";
    Ok(sqlx::query_as(sql).bind(json(ids)?).fetch_all(c).await?)
}

pub(super) async fn subject_count(
    c: &mut SqliteConnection,
    subject: &str,
) -> Result<u64, StoreError> {
    let n: i64 = sqlx::query_scalar("SELECT coalesce(max(n), 0) FROM touches WHERE subject = ?")
        .bind(subject)
        .fetch_one(c)
        .await?;
    u64::try_from(n).map_err(|_| StoreError::Corrupt(format!("{subject} counts {n} events")))
}

pub(super) async fn max_number(
    c: &mut SqliteConnection,
    case_id: &str,
    kind: &str,
) -> Result<i64, StoreError> {
    let sql = "SELECT coalesce(max(number), 0) FROM docs WHERE case_id = ? AND kind = ?";
    Ok(sqlx::query_scalar(sql)
        .bind(case_id)
        .bind(kind)
        .fetch_one(c)
        .await?)
}

pub(super) async fn nodes(
    c: &mut SqliteConnection,
    at: &[(u32, u64)],
) -> Result<Vec<NodeRow>, StoreError> {
    few(at.len())?;
    // The join runs from the few coordinates to the many nodes.
    let sql = "SELECT n.level AS level, n.idx AS idx, n.hash AS hash FROM json_each(?) j CROSS JOIN tree_nodes n \
               ON n.level = json_extract(j.value, '$[0]') AND n.idx = json_extract(j.value, '$[1]')";
    Ok(sqlx::query_as(sql).bind(json(at)?).fetch_all(c).await?)
}

pub(super) async fn list_docs(
    c: &mut SqliteConnection,
    filter: &DocFilter,
) -> Result<Vec<DocRow>, StoreError> {
    let mut q = list_query(filter)?;
    Ok(q.build_query_as().fetch_all(c).await?)
}

impl Reads for SqliteStore {
    fn head(&self) -> Answer<'_, Head> {
        Box::pin(async move { head(&mut *self.reader().await?).await })
    }

    fn counts(&self) -> Answer<'_, Counts> {
        Box::pin(async move {
            let row: (i64, i64, i64, i64, i64, i64) = sqlx::query_as(
                "SELECT (SELECT count(*) FROM events), (SELECT count(*) FROM event_payloads), \
                 (SELECT count(*) FROM tree_nodes), (SELECT count(*) FROM checkpoints), \
                 (SELECT count(*) FROM touches), (SELECT count(*) FROM docs)",
            )
            .fetch_one(&mut *self.reader().await?)
            .await?;
            let n = i64::unsigned_abs;
            Ok(Counts {
                events: n(row.0),
                payloads: n(row.1),
                nodes: n(row.2),
                checkpoints: n(row.3),
                touches: n(row.4),
                docs: n(row.5),
            })
        })
    }

    fn doc<'a>(&'a self, subject: &'a str) -> Answer<'a, Option<DocRow>> {
        Box::pin(async move {
            let sql = "SELECT * FROM docs WHERE subject = ?";
            Ok(sqlx::query_as(sql)
                .bind(subject)
                .fetch_optional(&mut *self.reader().await?)
                .await?)
        })
    }

    fn docs<'a>(&'a self, subjects: &'a [String]) -> Answer<'a, Vec<DocRow>> {
        Box::pin(async move { docs(&mut *self.reader().await?, subjects).await })
    }

    fn doc_by_code<'a>(&'a self, code: &'a str) -> Answer<'a, Option<DocRow>> {
        Box::pin(async move { doc_by_code(&mut *self.reader().await?, code).await })
    }

    fn doc_by_name<'a>(&'a self, kind: &'a str, name: &'a str) -> Answer<'a, Option<DocRow>> {
        Box::pin(async move { doc_by_name(&mut *self.reader().await?, kind, name).await })
    }

    fn list_docs<'a>(&'a self, filter: &'a DocFilter) -> Answer<'a, Vec<DocRow>> {
        Box::pin(async move { list_docs(&mut *self.reader().await?, filter).await })
    }

    fn list_subjects<'a>(&'a self, filter: &'a DocFilter) -> Answer<'a, Vec<String>> {
        Box::pin(async move {
            let mut q = subjects_query(filter)?;
            Ok(q.build_query_scalar()
                .fetch_all(&mut *self.reader().await?)
                .await?)
        })
    }

    fn count_docs<'a>(&'a self, filter: &'a DocFilter, most: u32) -> Answer<'a, u64> {
        Box::pin(async move {
            let mut q = QueryBuilder::<Sqlite>::new("SELECT count(*) FROM (SELECT 1 FROM docs");
            conditions(&mut q, filter);
            q.push(" LIMIT ")
                .push_bind(i64::from(most))
                .push(") AS counted");
            let n: i64 = q
                .build_query_scalar()
                .fetch_one(&mut *self.reader().await?)
                .await?;
            Ok(n.unsigned_abs())
        })
    }

    fn docs_by_code_from<'a>(&'a self, begin: &'a str, limit: u32) -> Answer<'a, Vec<DocRow>> {
        Box::pin(async move {
            let sql = "SELECT * FROM docs WHERE code >= ? AND code < ? ORDER BY code LIMIT ?";
            Ok(sqlx::query_as(sql)
                .bind(begin)
                .bind(end_of(begin))
                .bind(list_limit(limit))
                .fetch_all(&mut *self.reader().await?)
                .await?)
        })
    }

    fn words_from<'a>(
        &'a self,
        kind: &'a str,
        begin: &'a str,
        limit: u32,
    ) -> Answer<'a, Vec<WordRow>> {
        Box::pin(async move {
            let sql = "SELECT subject, word FROM words WHERE kind = ? AND word >= ? AND word < ? \
                       ORDER BY word, subject DESC LIMIT ?";
            Ok(sqlx::query_as(sql)
                .bind(kind)
                .bind(begin)
                .bind(end_of(begin))
                .bind(list_limit(limit))
                .fetch_all(&mut *self.reader().await?)
                .await?)
        })
    }

    fn words_with<'a>(&'a self, asked: &'a WordsAsked<'a>) -> Answer<'a, Vec<WordRow>> {
        Box::pin(async move {
            few(asked.also.len())?;
            Ok(words_query(asked)
                .build_query_as()
                .fetch_all(&mut *self.reader().await?)
                .await?)
        })
    }

    fn having_word<'a>(
        &'a self,
        subjects: &'a [String],
        begin: &'a str,
    ) -> Answer<'a, Vec<String>> {
        Box::pin(async move {
            few(subjects.len())?;
            let sql = "SELECT asked.value FROM json_each(?) AS asked WHERE EXISTS \
                       (SELECT 1 FROM words WHERE subject = asked.value AND word >= ? AND word < ?)";
            Ok(sqlx::query_scalar(sql)
                .bind(json(subjects)?)
                .bind(begin)
                .bind(end_of(begin))
                .fetch_all(&mut *self.reader().await?)
                .await?)
        })
    }

    fn words_page<'a>(
        &'a self,
        after: (&'a str, &'a str),
        limit: u32,
    ) -> Answer<'a, Vec<WordsRow>> {
        Box::pin(async move {
            let sql = "SELECT subject, kind, json_group_array(word) AS words FROM \
                       (SELECT subject, kind, word FROM words WHERE (subject, word) > (?, ?) ORDER BY subject, word LIMIT ?) \
                       GROUP BY subject, kind ORDER BY subject, kind";
            Ok(sqlx::query_as(sql)
                .bind(after.0)
                .bind(after.1)
                .bind(raw_limit(limit))
                .fetch_all(&mut *self.reader().await?)
                .await?)
        })
    }

    fn seal<'a>(&'a self, number: &'a str) -> Answer<'a, Option<SealRow>> {
        Box::pin(async move { seal(&mut *self.reader().await?, number).await })
    }

    fn seals<'a>(&'a self, numbers: &'a [String]) -> Answer<'a, Vec<SealRow>> {
        Box::pin(async move { seals(&mut *self.reader().await?, numbers).await })
    }

    fn command<'a>(&'a self, id: &'a str) -> Answer<'a, Option<CommandRow>> {
        Box::pin(async move { command(&mut *self.reader().await?, id).await })
    }

    fn commands<'a>(&'a self, ids: &'a [String]) -> Answer<'a, Vec<CommandRow>> {
        Box::pin(async move { commands(&mut *self.reader().await?, ids).await })
    }

    fn subject_count<'a>(&'a self, subject: &'a str) -> Answer<'a, u64> {
        Box::pin(async move { subject_count(&mut *self.reader().await?, subject).await })
    }

    fn events_of<'a>(
        &'a self,
        subject: &'a str,
        after_n: u64,
        limit: u32,
    ) -> Answer<'a, Vec<TouchedEvent>> {
        Box::pin(async move {
            let sql = raw_event!(
                "t.n AS n, ",
                "touches t JOIN events e ON e.seq = t.seq ",
                "WHERE t.subject = ? AND t.n > ? ORDER BY t.n LIMIT ?"
            );
            let q = sqlx::query_as(sql)
                .bind(subject)
                .bind(int(after_n)?)
                .bind(list_limit(limit));
            Ok(q.fetch_all(&mut *self.reader().await?).await?)
        })
    }

    fn first_events<'a>(
        &'a self,
        subjects: &'a [String],
        each: u32,
    ) -> Answer<'a, Vec<SubjectEvent>> {
        Box::pin(async move {
            few_events(subjects.len(), each)?;
            // From the few subjects to the many touches.
            let sql = raw_event!(
                "t.subject AS subject, t.n AS n, ",
                "json_each(?) j CROSS JOIN touches t ON t.subject = j.value AND t.n <= ? JOIN events e ON e.seq = t.seq ",
                "ORDER BY t.subject, t.n"
            );
            let q = sqlx::query_as(sql).bind(json(subjects)?).bind(each);
            Ok(q.fetch_all(&mut *self.reader().await?).await?)
        })
    }

    fn event(&self, seq: u64) -> Answer<'_, Option<RawEvent>> {
        Box::pin(async move {
            let q = sqlx::query_as(raw_event!("WHERE e.seq = ?")).bind(int(seq)?);
            Ok(q.fetch_optional(&mut *self.reader().await?).await?)
        })
    }

    fn event_by_id<'a>(&'a self, id: &'a str) -> Answer<'a, Option<RawEvent>> {
        Box::pin(async move {
            Ok(sqlx::query_as(raw_event!("WHERE e.id = ?"))
                .bind(id)
                .fetch_optional(&mut *self.reader().await?)
                .await?)
        })
    }

    fn events(&self, from: i64, limit: u32) -> Answer<'_, Vec<RawEvent>> {
        Box::pin(async move {
            let q = sqlx::query_as(raw_event!("WHERE e.seq >= ? ORDER BY e.seq LIMIT ?"));
            Ok(q.bind(from)
                .bind(raw_limit(limit))
                .fetch_all(&mut *self.reader().await?)
                .await?)
        })
    }

    fn orphan_payloads(&self, limit: u32) -> Answer<'_, Vec<i64>> {
        Box::pin(async move {
            let sql = "SELECT seq FROM event_payloads p \
                       WHERE NOT EXISTS (SELECT 1 FROM events e WHERE e.seq = p.seq) ORDER BY seq LIMIT ?";
            Ok(sqlx::query_scalar(sql)
                .bind(raw_limit(limit))
                .fetch_all(&mut *self.reader().await?)
                .await?)
        })
    }

    fn touches<'a>(&'a self, after: (&'a str, i64), limit: u32) -> Answer<'a, Vec<TouchesRow>> {
        Box::pin(async move {
            let sql = "SELECT subject, json_group_array(json_array(n, seq)) AS at FROM \
                       (SELECT * FROM touches WHERE (subject, n) > (?, ?) ORDER BY subject, n LIMIT ?) \
                       GROUP BY subject ORDER BY subject";
            let q = sqlx::query_as(sql)
                .bind(after.0)
                .bind(after.1)
                .bind(raw_limit(limit));
            Ok(q.fetch_all(&mut *self.reader().await?).await?)
        })
    }

    fn nodes<'a>(&'a self, at: &'a [(u32, u64)]) -> Answer<'a, Vec<NodeRow>> {
        Box::pin(async move { nodes(&mut *self.reader().await?, at).await })
    }

    fn nodes_page(&self, after: Option<(i64, i64)>, limit: u32) -> Answer<'_, Vec<RawNode>> {
        Box::pin(async move {
            let (level, idx) = after.unwrap_or((i64::MIN, i64::MIN));
            let sql = "SELECT level, idx, CAST(hash AS BLOB) AS hash FROM tree_nodes \
                       WHERE (level, idx) > (?, ?) ORDER BY level, idx LIMIT ?";
            Ok(sqlx::query_as(sql)
                .bind(level)
                .bind(idx)
                .bind(raw_limit(limit))
                .fetch_all(&mut *self.reader().await?)
                .await?)
        })
    }

    fn latest_checkpoint(&self) -> Answer<'_, Option<CheckpointRow>> {
        Box::pin(async move {
            let sql = "SELECT size, note FROM checkpoints ORDER BY size DESC LIMIT 1";
            Ok(sqlx::query_as(sql)
                .fetch_optional(&mut *self.reader().await?)
                .await?)
        })
    }

    fn checkpoint_at_least(&self, size: u64) -> Answer<'_, Option<CheckpointRow>> {
        Box::pin(async move {
            let sql = "SELECT size, note FROM checkpoints WHERE size >= ? ORDER BY size LIMIT 1";
            Ok(sqlx::query_as(sql)
                .bind(int(size)?)
                .fetch_optional(&mut *self.reader().await?)
                .await?)
        })
    }

    fn checkpoints(&self, after: i64, limit: u32) -> Answer<'_, Vec<RawCheckpoint>> {
        Box::pin(async move {
            let sql = "SELECT size, CAST(note AS BLOB) AS note FROM checkpoints WHERE size > ? ORDER BY size LIMIT ?";
            Ok(sqlx::query_as(sql)
                .bind(after)
                .bind(raw_limit(limit))
                .fetch_all(&mut *self.reader().await?)
                .await?)
        })
    }

    fn broken_guards(&self) -> Answer<'_, Vec<BrokenGuard>> {
        Box::pin(async move {
            let sql = "SELECT name, coalesce(sql, '') FROM sqlite_master WHERE type = 'trigger'";
            let there: HashMap<String, String> = sqlx::query_as::<_, (String, String)>(sql)
                .fetch_all(&mut *self.reader().await?)
                .await?
                .into_iter()
                .collect();
            Ok(guards()
                .into_iter()
                .filter_map(|(name, text)| {
                    let changed = match there.get(name) {
                        None => false,
                        Some(found) if plain(found) != text => true,
                        Some(_) => return None,
                    };
                    let name = name.to_owned();
                    Some(BrokenGuard { name, changed })
                })
                .collect())
        })
    }
}
