//! The write transaction. Each table's rows go as arrays, one a column, in one statement whose text never changes, so
//! that it is prepared once however many rows a batch has.

use sqlx::PgConnection;

use super::line::Line;
use super::{listening, read};
use crate::store::write_tx::write_tx;
use crate::store::{
    Answer, Batch, CommandRow, DocFilter, DocRow, EventRow, ExpungedRow, Head, NodeRow, PayloadRow,
    RemovalRow, SealRow, StoreError, TouchRow, WordsRow, WriteTx, error::int, rows::last_of_each,
};

/// A transaction on the connection that appends; it has the lock.
pub(super) struct PostgresWriteTx {
    tx: Line,
}

impl PostgresWriteTx {
    pub(super) fn new(tx: Line) -> Self {
        Self { tx }
    }
}

fn ints<T>(rows: &[T], of: impl Fn(&T) -> u64) -> Result<Vec<i64>, StoreError> {
    rows.iter().map(|row| int(of(row))).collect()
}

fn each<'a, T, V>(rows: &'a [T], of: impl Fn(&'a T) -> V) -> Vec<V> {
    rows.iter().map(of).collect()
}

async fn events(c: &mut PgConnection, rows: &[EventRow]) -> Result<(), StoreError> {
    if rows.is_empty() {
        return Ok(());
    }
    let sql = "INSERT INTO events (seq, id, header) SELECT * FROM unnest($1::bigint[], $2::text[], $3::bytea[])";
    let q = sqlx::query(sql)
        .bind(ints(rows, |r| r.seq)?)
        .bind(each(rows, |r| r.id.as_str()))
        .bind(each(rows, |r| r.header.as_slice()));
    q.execute(c).await?;
    Ok(())
}

async fn payloads(c: &mut PgConnection, rows: &[PayloadRow]) -> Result<(), StoreError> {
    if rows.is_empty() {
        return Ok(());
    }
    let sql = "INSERT INTO event_payloads (seq, salt, fields) \
               SELECT * FROM unnest($1::bigint[], $2::bytea[], $3::bytea[])";
    let q = sqlx::query(sql)
        .bind(ints(rows, |r| r.seq)?)
        .bind(each(rows, |r| r.salt.as_slice()))
        .bind(each(rows, |r| r.fields.as_slice()));
    q.execute(c).await?;
    Ok(())
}

async fn nodes(c: &mut PgConnection, rows: &[NodeRow]) -> Result<(), StoreError> {
    if rows.is_empty() {
        return Ok(());
    }
    let sql = "INSERT INTO tree_nodes (level, idx, hash) \
               SELECT * FROM unnest($1::bigint[], $2::bigint[], $3::bytea[])";
    let q = sqlx::query(sql)
        .bind(each(rows, |r| i64::from(r.level)))
        .bind(ints(rows, |r| r.idx)?)
        .bind(each(rows, |r| r.hash.as_slice()));
    q.execute(c).await?;
    Ok(())
}

async fn touches(c: &mut PgConnection, rows: &[TouchRow]) -> Result<(), StoreError> {
    if rows.is_empty() {
        return Ok(());
    }
    let sql = "INSERT INTO touches (subject, n, seq) \
               SELECT * FROM unnest($1::text[], $2::bigint[], $3::bigint[])";
    let q = sqlx::query(sql)
        .bind(each(rows, |r| r.subject.as_str()))
        .bind(ints(rows, |r| r.n)?)
        .bind(ints(rows, |r| r.seq)?);
    q.execute(c).await?;
    Ok(())
}

async fn docs(c: &mut PgConnection, rows: Vec<DocRow>) -> Result<(), StoreError> {
    let rows = &last_of_each(rows)[..];
    if rows.is_empty() {
        return Ok(());
    }
    let sql = "INSERT INTO docs (subject, kind, case_id, number, code, name, holder, inside, offer_to, due_at, place, \
               lot, active, doc) SELECT * FROM unnest($1::text[], $2::text[], $3::text[], $4::bigint[], $5::text[], \
               $6::text[], $7::text[], $8::text[], $9::text[], $10::text[], $11::text[], $12::text[], $13::boolean[], $14::text[]) \
               ON CONFLICT (subject) DO UPDATE SET kind = excluded.kind, case_id = excluded.case_id, \
               number = excluded.number, code = excluded.code, name = excluded.name, holder = excluded.holder, \
               inside = excluded.inside, offer_to = excluded.offer_to, due_at = excluded.due_at, \
               place = excluded.place, lot = excluded.lot, active = excluded.active, doc = excluded.doc";
    let q = sqlx::query(sql)
        .bind(each(rows, |r| r.subject.as_str()))
        .bind(each(rows, |r| r.kind.as_str()))
        .bind(each(rows, |r| r.case_id.as_deref()))
        .bind(each(rows, |r| r.number))
        .bind(each(rows, |r| r.code.as_deref()))
        .bind(each(rows, |r| r.name.as_deref()))
        .bind(each(rows, |r| r.holder.as_deref()))
        .bind(each(rows, |r| r.inside.as_deref()))
        .bind(each(rows, |r| r.offer_to.as_deref()))
        .bind(each(rows, |r| r.due_at.as_deref()))
        .bind(each(rows, |r| r.place.as_deref()))
        .bind(each(rows, |r| r.lot.as_deref()))
        .bind(each(rows, |r| r.active))
        .bind(each(rows, |r| r.doc.as_str()));
    q.execute(c).await?;
    Ok(())
}

async fn seals(c: &mut PgConnection, rows: &[SealRow]) -> Result<(), StoreError> {
    if rows.is_empty() {
        return Ok(());
    }
    let sql = "INSERT INTO seals (number, package, seq) \
               SELECT * FROM unnest($1::text[], $2::text[], $3::bigint[])";
    let q = sqlx::query(sql)
        .bind(each(rows, |r| r.number.as_str()))
        .bind(each(rows, |r| r.package.as_str()))
        .bind(ints(rows, |r| r.seq)?);
    q.execute(c).await?;
    Ok(())
}

async fn commands(c: &mut PgConnection, rows: &[CommandRow]) -> Result<(), StoreError> {
    if rows.is_empty() {
        return Ok(());
    }
    let sql = "INSERT INTO commands (id, fingerprint, actor, answer, first_seq, count) \
               SELECT * FROM unnest($1::text[], $2::bytea[], $3::text[], $4::text[], $5::bigint[], $6::bigint[])";
    let q = sqlx::query(sql)
        .bind(each(rows, |r| r.id.as_str()))
        .bind(each(rows, |r| r.fingerprint.as_slice()))
        .bind(each(rows, |r| r.actor.as_str()))
        .bind(each(rows, |r| r.answer.as_str()))
        .bind(ints(rows, |r| r.first_seq)?)
        .bind(ints(rows, |r| r.count)?);
    q.execute(c).await?;
    Ok(())
}

/// Puts all words of these subjects in place of those that the index had.
async fn words(c: &mut PgConnection, rows: &[WordsRow]) -> Result<(), StoreError> {
    if rows.is_empty() {
        return Ok(());
    }
    sqlx::query("DELETE FROM words WHERE subject = ANY($1)")
        .bind(each(rows, |r| r.subject.as_str()))
        .execute(&mut *c)
        .await?;
    let flat: Vec<(&WordsRow, &str)> = rows
        .iter()
        .flat_map(|r| r.words.iter().map(move |w| (r, w.as_str())))
        .collect();
    let sql = "INSERT INTO words (subject, word, kind) \
               SELECT * FROM unnest($1::text[], $2::text[], $3::text[])";
    let q = sqlx::query(sql)
        .bind(each(&flat, |(of, _)| of.subject.as_str()))
        .bind(each(&flat, |(_, word)| *word))
        .bind(each(&flat, |(of, _)| of.kind.as_str()));
    q.execute(c).await?;
    Ok(())
}

async fn append(c: &mut PgConnection, batch: Batch) -> Result<(), StoreError> {
    let size = read::head(c).await?.size;
    for (event, at) in batch.events.iter().zip(size + 1..) {
        if event.seq != at {
            return Err(StoreError::Moved);
        }
    }
    events(c, &batch.events).await?;
    payloads(c, &batch.payloads).await?;
    nodes(c, &batch.nodes).await?;
    if let Some(checkpoint) = batch.checkpoint {
        sqlx::query("INSERT INTO checkpoints (size, note) VALUES ($1, $2)")
            .bind(int(checkpoint.size)?)
            .bind(checkpoint.note)
            .execute(&mut *c)
            .await?;
    }
    touches(c, &batch.touches).await?;
    docs(c, batch.docs).await?;
    seals(c, &batch.seals).await?;
    words(c, &batch.words).await?;
    commands(c, &batch.commands).await?;
    expunge(c, &batch.expunged, &batch.removals).await?;
    if batch.events.is_empty() {
        return Ok(());
    }
    listening::tell(c, size + batch.events.len() as u64).await
}

/// Payloads go, and what their commands were known by.
async fn expunge(
    c: &mut PgConnection,
    rows: &[ExpungedRow],
    removals: &[RemovalRow],
) -> Result<(), StoreError> {
    if !rows.is_empty() {
        let seqs = ints(rows, |r| r.seq)?;
        let sql = "INSERT INTO expunged (seq, by_seq, remains) \
                   SELECT * FROM unnest($1::bigint[], $2::bigint[], $3::bytea[])";
        let q = sqlx::query(sql)
            .bind(&seqs)
            .bind(ints(rows, |r| r.by)?)
            .bind(each(rows, |r| r.remains.as_slice()));
        q.execute(&mut *c).await?;
        sqlx::query("DELETE FROM event_payloads WHERE seq = ANY($1)")
            .bind(&seqs)
            .execute(&mut *c)
            .await?;
        let commands: Vec<&str> = rows.iter().filter_map(|r| r.command.as_deref()).collect();
        sqlx::query("UPDATE commands SET fingerprint = ''::bytea WHERE id = ANY($1)")
            .bind(commands)
            .execute(&mut *c)
            .await?;
    }
    if !removals.is_empty() {
        let sql = "INSERT INTO removals (what, by_seq) SELECT * FROM unnest($1::text[], $2::bigint[]) \
                   ON CONFLICT (what) DO NOTHING";
        let q = sqlx::query(sql)
            .bind(each(removals, |r| r.what.as_str()))
            .bind(ints(removals, |r| r.by)?);
        q.execute(&mut *c).await?;
    }
    Ok(())
}

write_tx!(PostgresWriteTx);
