//! Reading what is committed.

use sqlx::{Postgres, QueryBuilder};

use super::{PostgresStore, guards, read};
use crate::store::listing::{
    conditions, end_of, few, few_events, list_limit, raw_limit, subjects_query, words_query,
};
use crate::store::{
    Answer, BrokenGuard, CheckpointRow, CommandRow, Counts, DocFilter, DocRow, Head, NodeRow,
    RawCheckpoint, RawEvent, RawNode, Reads, SealRow, SubjectEvent, TouchedEvent, TouchesRow,
    WordRow, WordsAsked, WordsRow, error::int,
};

/// An event with its payload, the columns as they are; the identifier as bytes, as the raw row has it.
macro_rules! raw_event {
    ($tail:literal) => {
        raw_event!("", "events e ", $tail)
    };
    ($beside:literal, $from:literal, $tail:literal) => {
        raw_event!($beside, $from, "", "", $tail)
    };
    ($beside:literal, $from:literal, $of_payloads:literal, $of_expunged:literal, $tail:literal) => {
        concat!(
            "SELECT ",
            $beside,
            "e.seq, convert_to(e.id, 'UTF8') AS id, e.header, p.salt, p.fields, x.by_seq, x.remains FROM ",
            $from,
            "LEFT JOIN event_payloads p ON p.seq = e.seq ",
            $of_payloads,
            "LEFT JOIN expunged x ON x.seq = e.seq ",
            $of_expunged,
            $tail
        )
    };
}

impl Reads for PostgresStore {
    fn head(&self) -> Answer<'_, Head> {
        Box::pin(async move { read::head(&mut *self.reader().await?).await })
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
            let sql = "SELECT * FROM docs WHERE subject = $1";
            Ok(sqlx::query_as(sql)
                .bind(subject)
                .fetch_optional(&mut *self.reader().await?)
                .await?)
        })
    }

    fn docs<'a>(&'a self, subjects: &'a [String]) -> Answer<'a, Vec<DocRow>> {
        Box::pin(async move { read::docs(&mut *self.reader().await?, subjects).await })
    }

    fn doc_by_code<'a>(&'a self, code: &'a str) -> Answer<'a, Option<DocRow>> {
        Box::pin(async move { read::doc_by_code(&mut *self.reader().await?, code).await })
    }

    fn doc_by_name<'a>(&'a self, kind: &'a str, name: &'a str) -> Answer<'a, Option<DocRow>> {
        Box::pin(async move { read::doc_by_name(&mut *self.reader().await?, kind, name).await })
    }

    fn list_docs<'a>(&'a self, filter: &'a DocFilter) -> Answer<'a, Vec<DocRow>> {
        Box::pin(async move { read::list_docs(&mut *self.reader().await?, filter).await })
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
            let mut q = QueryBuilder::<Postgres>::new("SELECT count(*) FROM (SELECT 1 FROM docs");
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
            if read::cannot_be(begin) {
                return Ok(Vec::new());
            }
            let sql = "SELECT * FROM docs WHERE code >= $1 AND code < $2 ORDER BY code LIMIT $3";
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
            if read::cannot_be(begin) {
                return Ok(Vec::new());
            }
            let sql = "SELECT subject, word FROM words WHERE kind = $1 AND word >= $2 AND word < $3 \
                       ORDER BY word, subject DESC LIMIT $4";
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
            let mut texts = asked.also.iter().map(String::as_str).chain([asked.begin]);
            if texts.any(read::cannot_be) {
                return Ok(Vec::new());
            }
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
            if read::cannot_be(begin) {
                return Ok(Vec::new());
            }
            let sql = "SELECT asked FROM unnest($1::text[]) AS asked WHERE EXISTS \
                       (SELECT 1 FROM words WHERE subject = asked AND word >= $2 AND word < $3)";
            Ok(sqlx::query_scalar(sql)
                .bind(subjects)
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
            let sql = "SELECT subject, kind, json_agg(word)::text AS words FROM \
                       (SELECT subject, kind, word FROM words WHERE (subject, word) > ($1, $2) ORDER BY subject, word LIMIT $3) AS led \
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
        Box::pin(async move { read::seal(&mut *self.reader().await?, number).await })
    }

    fn seals<'a>(&'a self, numbers: &'a [String]) -> Answer<'a, Vec<SealRow>> {
        Box::pin(async move { read::seals(&mut *self.reader().await?, numbers).await })
    }

    fn command<'a>(&'a self, id: &'a str) -> Answer<'a, Option<CommandRow>> {
        Box::pin(async move { read::command(&mut *self.reader().await?, id).await })
    }

    fn commands<'a>(&'a self, ids: &'a [String]) -> Answer<'a, Vec<CommandRow>> {
        Box::pin(async move { read::commands(&mut *self.reader().await?, ids).await })
    }

    fn subject_count<'a>(&'a self, subject: &'a str) -> Answer<'a, u64> {
        Box::pin(async move { read::subject_count(&mut *self.reader().await?, subject).await })
    }

    fn events_of<'a>(
        &'a self,
        subject: &'a str,
        after_n: u64,
        limit: u32,
    ) -> Answer<'a, Vec<TouchedEvent>> {
        Box::pin(async move {
            let sql = raw_event!(
                "t.n, ",
                "touches t JOIN events e ON e.seq = t.seq ",
                "WHERE t.subject = $1 AND t.n > $2 ORDER BY t.n LIMIT $3"
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
            let sql = raw_event!(
                "t.subject, t.n, ",
                "unnest($1::text[]) AS s(subject) JOIN touches t ON t.subject = s.subject AND t.n <= $2 \
                 JOIN events e ON e.seq = t.seq ",
                "ORDER BY t.subject, t.n"
            );
            let q = sqlx::query_as(sql).bind(subjects).bind(i64::from(each));
            Ok(q.fetch_all(&mut *self.reader().await?).await?)
        })
    }

    fn event(&self, seq: u64) -> Answer<'_, Option<RawEvent>> {
        Box::pin(async move {
            let q = sqlx::query_as(raw_event!("WHERE e.seq = $1")).bind(int(seq)?);
            Ok(q.fetch_optional(&mut *self.reader().await?).await?)
        })
    }

    fn event_by_id<'a>(&'a self, id: &'a str) -> Answer<'a, Option<RawEvent>> {
        Box::pin(async move {
            Ok(sqlx::query_as(raw_event!("WHERE e.id = $1"))
                .bind(id)
                .fetch_optional(&mut *self.reader().await?)
                .await?)
        })
    }

    fn events(&self, from: i64, limit: u32) -> Answer<'_, Vec<RawEvent>> {
        Box::pin(async move {
            // The bound is said of each table: of a large one the database merges them by their keys, and would begin with the first
            // payload for each page.
            let q = sqlx::query_as(raw_event!(
                "",
                "events e ",
                "AND p.seq >= $1 ",
                "AND x.seq >= $1 ",
                "WHERE e.seq >= $1 ORDER BY e.seq LIMIT $2"
            ));
            Ok(q.bind(from)
                .bind(raw_limit(limit))
                .fetch_all(&mut *self.reader().await?)
                .await?)
        })
    }

    fn orphan_payloads(&self, limit: u32) -> Answer<'_, Vec<i64>> {
        Box::pin(async move {
            let sql = "SELECT seq FROM event_payloads p \
                       WHERE NOT EXISTS (SELECT 1 FROM events e WHERE e.seq = p.seq) ORDER BY seq LIMIT $1";
            Ok(sqlx::query_scalar(sql)
                .bind(raw_limit(limit))
                .fetch_all(&mut *self.reader().await?)
                .await?)
        })
    }

    fn touches<'a>(&'a self, after: (&'a str, i64), limit: u32) -> Answer<'a, Vec<TouchesRow>> {
        Box::pin(async move {
            let sql = "SELECT subject, json_agg(json_build_array(n, seq))::text AS at FROM \
                       (SELECT * FROM touches WHERE (subject, n) > ($1, $2) ORDER BY subject, n LIMIT $3) AS led \
                       GROUP BY subject ORDER BY subject";
            let q = sqlx::query_as(sql)
                .bind(after.0)
                .bind(after.1)
                .bind(raw_limit(limit));
            Ok(q.fetch_all(&mut *self.reader().await?).await?)
        })
    }

    fn nodes<'a>(&'a self, at: &'a [(u32, u64)]) -> Answer<'a, Vec<NodeRow>> {
        Box::pin(async move { read::nodes(&mut *self.reader().await?, at).await })
    }

    fn nodes_page(&self, after: Option<(i64, i64)>, limit: u32) -> Answer<'_, Vec<RawNode>> {
        Box::pin(async move {
            let (level, idx) = after.unwrap_or((i64::MIN, i64::MIN));
            let sql = "SELECT level, idx, hash FROM tree_nodes WHERE (level, idx) > ($1, $2) \
                       ORDER BY level, idx LIMIT $3";
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
            let sql = "SELECT size, note FROM checkpoints WHERE size >= $1 ORDER BY size LIMIT 1";
            Ok(sqlx::query_as(sql)
                .bind(int(size)?)
                .fetch_optional(&mut *self.reader().await?)
                .await?)
        })
    }

    fn checkpoints(&self, after: i64, limit: u32) -> Answer<'_, Vec<RawCheckpoint>> {
        Box::pin(async move {
            let sql = "SELECT size, convert_to(note, 'UTF8') AS note FROM checkpoints WHERE size > $1 \
                       ORDER BY size LIMIT $2";
            Ok(sqlx::query_as(sql)
                .bind(after)
                .bind(raw_limit(limit))
                .fetch_all(&mut *self.reader().await?)
                .await?)
        })
    }

    fn broken_guards(&self) -> Answer<'_, Vec<BrokenGuard>> {
        Box::pin(async move { guards::broken(&mut *self.reader().await?).await })
    }
}
