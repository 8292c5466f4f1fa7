//! The write transaction.

use sqlx::{QueryBuilder, Sqlite, SqliteConnection, Transaction, query_builder::Separated};

use super::{int, read};
use crate::store::write_tx::write_tx;
use crate::store::{
    Answer, Batch, CommandRow, DocFilter, DocRow, ExpungedRow, Head, NodeRow, RemovalRow, SealRow,
    StoreError, WordsRow, WriteTx, rows::last_of_each,
};

/// SQLite takes 32,766 bound values in one statement (its documented default); this stays below.
const BOUND_MAX: usize = 30_000;

/// A transaction on the one connection that writes.
pub(super) struct SqliteWriteTx {
    tx: Transaction<'static, Sqlite>,
}

impl SqliteWriteTx {
    pub(super) fn new(tx: Transaction<'static, Sqlite>) -> Self {
        Self { tx }
    }
}

/// Inserts rows, many with one statement.
async fn insert<T>(
    c: &mut SqliteConnection,
    into: &str,
    columns: usize,
    end: &str,
    rows: &[T],
    bind: impl Fn(&mut Separated<'_, Sqlite, &'static str>, &T),
) -> Result<(), StoreError> {
    for chunk in rows.chunks((BOUND_MAX / columns).max(1)) {
        let mut q = QueryBuilder::<Sqlite>::new(into);
        q.push_values(chunk, |mut row, value| bind(&mut row, value));
        q.push(end);
        // Statements of many lengths would push the useful ones out of the connection's cache.
        q.build().persistent(false).execute(&mut *c).await?;
    }
    Ok(())
}

async fn append(c: &mut SqliteConnection, batch: Batch) -> Result<(), StoreError> {
    let size = read::head(c).await?.size;
    for (event, at) in batch.events.iter().zip(size + 1..) {
        if event.seq != at {
            return Err(StoreError::Moved);
        }
    }
    // Every number is at most this one, or refused before anything is written.
    for seq in batch
        .events
        .iter()
        .map(|e| e.seq)
        .chain(batch.touches.iter().flat_map(|t| [t.n, t.seq]))
    {
        int(seq)?;
    }
    let events = batch
        .events
        .into_iter()
        .map(|e| Ok((int(e.seq)?, e.id, e.header)));
    let events = events.collect::<Result<Vec<_>, StoreError>>()?;
    insert(
        c,
        "INSERT INTO events (seq, id, header) ",
        3,
        "",
        &events,
        |row, (seq, id, header)| {
            row.push_bind(*seq)
                .push_bind(id.clone())
                .push_bind(header.clone());
        },
    )
    .await?;

    let payloads = batch
        .payloads
        .into_iter()
        .map(|p| Ok((int(p.seq)?, p.salt, p.fields)));
    let payloads = payloads.collect::<Result<Vec<_>, StoreError>>()?;
    insert(
        c,
        "INSERT INTO event_payloads (seq, salt, fields) ",
        3,
        "",
        &payloads,
        |row, (seq, salt, fields)| {
            row.push_bind(*seq)
                .push_bind(salt.clone())
                .push_bind(fields.clone());
        },
    )
    .await?;

    let nodes = batch
        .nodes
        .into_iter()
        .map(|n| Ok((i64::from(n.level), int(n.idx)?, n.hash)));
    let nodes = nodes.collect::<Result<Vec<_>, StoreError>>()?;
    insert(
        c,
        "INSERT INTO tree_nodes (level, idx, hash) ",
        3,
        "",
        &nodes,
        |row, (level, idx, hash)| {
            row.push_bind(*level)
                .push_bind(*idx)
                .push_bind(hash.clone());
        },
    )
    .await?;

    if let Some(checkpoint) = batch.checkpoint {
        sqlx::query("INSERT INTO checkpoints (size, note) VALUES (?, ?)")
            .bind(int(checkpoint.size)?)
            .bind(checkpoint.note)
            .execute(&mut *c)
            .await?;
    }

    let touches = batch
        .touches
        .into_iter()
        .map(|t| Ok((t.subject, int(t.n)?, int(t.seq)?)));
    let touches = touches.collect::<Result<Vec<_>, StoreError>>()?;
    insert(
        c,
        "INSERT INTO touches (subject, n, seq) ",
        3,
        "",
        &touches,
        |row, (subject, n, seq)| {
            row.push_bind(subject.clone()).push_bind(*n).push_bind(*seq);
        },
    )
    .await?;

    put_docs(c, batch.docs).await?;

    let seals = batch
        .seals
        .into_iter()
        .map(|s| Ok((s.number, s.package, int(s.seq)?)));
    let seals = seals.collect::<Result<Vec<_>, StoreError>>()?;
    insert(
        c,
        "INSERT INTO seals (number, package, seq) ",
        3,
        "",
        &seals,
        |row, (number, package, seq)| {
            row.push_bind(number.clone())
                .push_bind(package.clone())
                .push_bind(*seq);
        },
    )
    .await?;

    put_words(c, &batch.words).await?;

    let commands = batch
        .commands
        .into_iter()
        .map(|k| Ok((int(k.first_seq)?, int(k.count)?, k)));
    let commands = commands.collect::<Result<Vec<_>, StoreError>>()?;
    let into = "INSERT INTO commands (first_seq, count, id, fingerprint, actor, answer) ";
    insert(c, into, 6, "", &commands, |row, (first, count, k)| {
        row.push_bind(*first)
            .push_bind(*count)
            .push_bind(k.id.clone())
            .push_bind(k.fingerprint.clone());
        row.push_bind(k.actor.clone()).push_bind(k.answer.clone());
    })
    .await?;
    expunge(c, batch.expunged, batch.removals).await
}

/// Payloads go, and what their commands were known by.
async fn expunge(
    c: &mut SqliteConnection,
    rows: Vec<ExpungedRow>,
    removals: Vec<RemovalRow>,
) -> Result<(), StoreError> {
    let rows = rows
        .into_iter()
        .map(|r| Ok((int(r.seq)?, int(r.by)?, r.remains, r.command)));
    let rows = rows.collect::<Result<Vec<_>, StoreError>>()?;
    let into = "INSERT INTO expunged (seq, by_seq, remains) ";
    insert(c, into, 3, "", &rows, |row, (seq, by, remains, _)| {
        row.push_bind(*seq)
            .push_bind(*by)
            .push_bind(remains.clone());
    })
    .await?;
    for (seq, _, _, command) in &rows {
        sqlx::query("DELETE FROM event_payloads WHERE seq = ?")
            .bind(seq)
            .execute(&mut *c)
            .await?;
        sqlx::query("UPDATE commands SET fingerprint = x'' WHERE id = ?")
            .bind(command)
            .execute(&mut *c)
            .await?;
    }
    let removals = removals.into_iter().map(|r| Ok((r.what, int(r.by)?)));
    let removals = removals.collect::<Result<Vec<_>, StoreError>>()?;
    let into = "INSERT INTO removals (what, by_seq) ";
    let end = " ON CONFLICT (what) DO NOTHING";
    insert(c, into, 2, end, &removals, |row, (what, by)| {
        row.push_bind(what.clone()).push_bind(*by);
    })
    .await
}

async fn put_docs(c: &mut SqliteConnection, docs: Vec<DocRow>) -> Result<(), StoreError> {
    let last = last_of_each(docs);
    let into = "INSERT INTO docs (subject, kind, case_id, number, code, name, holder, inside, offer_to, due_at, place, \
                lot, active, doc) ";
    let end = " ON CONFLICT (subject) DO UPDATE SET kind = excluded.kind, case_id = excluded.case_id, \
               number = excluded.number, code = excluded.code, name = excluded.name, holder = excluded.holder, \
               inside = excluded.inside, offer_to = excluded.offer_to, due_at = excluded.due_at, \
               place = excluded.place, lot = excluded.lot, active = excluded.active, doc = excluded.doc";
    insert(c, into, 14, end, &last, |row, d| {
        row.push_bind(d.subject.clone())
            .push_bind(d.kind.clone())
            .push_bind(d.case_id.clone())
            .push_bind(d.number);
        row.push_bind(d.code.clone())
            .push_bind(d.name.clone())
            .push_bind(d.holder.clone());
        row.push_bind(d.inside.clone())
            .push_bind(d.offer_to.clone())
            .push_bind(d.due_at.clone());
        row.push_bind(d.place.clone())
            .push_bind(d.lot.clone())
            .push_bind(i64::from(d.active))
            .push_bind(d.doc.clone());
    })
    .await
}

/// Puts all words of these subjects in place of those that the index had.
async fn put_words(c: &mut SqliteConnection, rows: &[WordsRow]) -> Result<(), StoreError> {
    if rows.is_empty() {
        return Ok(());
    }
    let subjects: Vec<&str> = rows.iter().map(|r| r.subject.as_str()).collect();
    sqlx::query("DELETE FROM words WHERE subject IN (SELECT value FROM json_each(?))")
        .bind(read::json(&subjects)?)
        .execute(&mut *c)
        .await?;
    let each: Vec<(&WordsRow, &str)> = rows
        .iter()
        .flat_map(|r| r.words.iter().map(move |w| (r, w.as_str())))
        .collect();
    let into = "INSERT INTO words (subject, word, kind) ";
    insert(c, into, 3, "", &each, |row, (of, word)| {
        row.push_bind(of.subject.clone())
            .push_bind((*word).to_owned())
            .push_bind(of.kind.clone());
    })
    .await
}

write_tx!(SqliteWriteTx);
