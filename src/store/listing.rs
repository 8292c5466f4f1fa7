//! Lists of documents: conditions, order, cursor and bounds are the same on each database, so one piece writes them all.

use sqlx::{Database, Encode, QueryBuilder, Type};

use super::{DocFilter, DocOrder, KEYS_MAX, LIST_MAX, RAW_MAX, StoreError, WordsAsked};

/// What a list's conditions bind.
pub(super) trait Binds: Database {
    /// Adds a text.
    fn text(q: &mut QueryBuilder<Self>, text: &str);
    /// Adds a number.
    fn number(q: &mut QueryBuilder<Self>, number: i64);
    /// Adds a truth.
    fn truth(q: &mut QueryBuilder<Self>, truth: bool);
}

impl<DB: Database> Binds for DB
where
    String: for<'q> Encode<'q, DB> + Type<DB>,
    i64: for<'q> Encode<'q, DB> + Type<DB>,
    bool: for<'q> Encode<'q, DB> + Type<DB>,
{
    fn text(q: &mut QueryBuilder<Self>, text: &str) {
        q.push_bind(text.to_owned());
    }
    fn number(q: &mut QueryBuilder<Self>, number: i64) {
        q.push_bind(number);
    }
    fn truth(q: &mut QueryBuilder<Self>, truth: bool) {
        q.push_bind(truth);
    }
}

/// How many rows a list gives; 0 asks for as many as there may be.
pub(super) fn list_limit(limit: u32) -> i64 {
    bounded(limit, LIST_MAX)
}

/// The same for raw rows.
pub(super) fn raw_limit(limit: u32) -> i64 {
    bounded(limit, RAW_MAX)
}

fn bounded(limit: u32, most: u32) -> i64 {
    i64::from(if limit == 0 { most } else { limit.min(most) })
}

/// Behind every text that begins with this one, in the order of bytes.
pub(super) fn end_of(begin: &str) -> String {
    format!("{begin}{}", char::MAX)
}

/// Refuses more keys at once than a store takes.
pub(super) fn few(keys: usize) -> Result<(), StoreError> {
    if keys > KEYS_MAX {
        return Err(StoreError::Refused(format!(
            "{keys} keys at once; the most is {KEYS_MAX}"
        )));
    }
    Ok(())
}

/// Refuses to begin more histories at once than there are raw rows in a page.
pub(super) fn few_events(subjects: usize, each: u32) -> Result<(), StoreError> {
    let most = RAW_MAX as usize;
    if subjects.saturating_mul(each as usize) > most {
        return Err(StoreError::Refused(format!(
            "{each} events of each of {subjects} subjects at once; the most is {most} in all"
        )));
    }
    Ok(())
}

/// Adds a filter's conditions.
pub(super) fn conditions<DB: Binds>(q: &mut QueryBuilder<DB>, filter: &DocFilter) {
    q.push(" WHERE 1 = 1");
    let equal = [
        (" AND kind = ", &filter.kind),
        (" AND case_id = ", &filter.case_id),
        (" AND holder = ", &filter.holder),
        (" AND offer_to = ", &filter.offer_to),
        (" AND place = ", &filter.place),
        (" AND inside = ", &filter.inside),
        (" AND lot = ", &filter.lot),
        (" AND due_at < ", &filter.due_before),
    ];
    for (sql, value) in equal {
        if let Some(value) = value {
            q.push(sql);
            DB::text(q, value);
        }
    }
    if let Some(number) = filter.number {
        q.push(" AND number = ");
        DB::number(q, number);
    }
    if let Some(active) = filter.active {
        q.push(" AND active = ");
        DB::truth(q, active);
    }
}

/// The query for a part of a list: conditions, from where, in which order, how many.
pub(super) fn list_query<DB: Binds>(filter: &DocFilter) -> Result<QueryBuilder<DB>, StoreError> {
    list_columns("SELECT * FROM docs", filter)
}

/// The same for subjects alone.
pub(super) fn subjects_query<DB: Binds>(
    filter: &DocFilter,
) -> Result<QueryBuilder<DB>, StoreError> {
    list_columns("SELECT subject FROM docs", filter)
}

fn list_columns<DB: Binds>(
    columns: &str,
    filter: &DocFilter,
) -> Result<QueryBuilder<DB>, StoreError> {
    let mut q = QueryBuilder::<DB>::new(columns);
    conditions(&mut q, filter);
    let column = match filter.order {
        DocOrder::Subject | DocOrder::Newest => None,
        DocOrder::Number => Some("number"),
        DocOrder::Due => Some("due_at"),
        DocOrder::Name => Some("name"),
        DocOrder::Offer => Some("offer_to"),
    };
    if let Some(column) = column {
        q.push(" AND ").push(column).push(" IS NOT NULL");
    }
    if let Some(after) = &filter.after {
        match column {
            None if filter.order == DocOrder::Newest => {
                q.push(" AND subject < ");
                DB::text(&mut q, &after.subject);
            }
            None => {
                q.push(" AND subject > ");
                DB::text(&mut q, &after.subject);
            }
            Some(column) => {
                q.push(" AND (").push(column).push(", subject) > (");
                if filter.order == DocOrder::Number {
                    let key = after.key.parse();
                    let key = key.map_err(|_| {
                        StoreError::Refused("the list's cursor is not a number".into())
                    })?;
                    DB::number(&mut q, key);
                } else {
                    DB::text(&mut q, &after.key);
                }
                q.push(", ");
                DB::text(&mut q, &after.subject);
                q.push(")");
            }
        }
    }
    q.push(" ORDER BY ");
    match column {
        None if filter.order == DocOrder::Newest => q.push("subject DESC"),
        None => q.push("subject"),
        Some(column) => q.push(column).push(", subject"),
    };
    q.push(" LIMIT ");
    DB::number(&mut q, list_limit(filter.limit));
    Ok(q)
}

/// The query for words of subjects that have others, too. The rows it goes through are those of one range of the index, in its
/// order; it stops as soon as it has as many as it may give.
pub(super) fn words_query<DB: Binds>(asked: &WordsAsked<'_>) -> QueryBuilder<DB> {
    let between = |q: &mut QueryBuilder<DB>, begin: &str| {
        q.push(" AND word >= ");
        DB::text(q, begin);
        q.push(" AND word < ");
        DB::text(q, &end_of(begin));
    };
    let mut q = QueryBuilder::<DB>::new(
        "SELECT subject, word FROM (SELECT subject, word FROM words WHERE kind = ",
    );
    DB::text(&mut q, asked.kind);
    between(&mut q, asked.begin);
    q.push(" ORDER BY word, subject DESC LIMIT ");
    DB::number(&mut q, list_limit(asked.through));
    q.push(") AS led WHERE 1 = 1");
    for begin in asked.also {
        q.push(" AND EXISTS (SELECT 1 FROM words AS other WHERE other.subject = led.subject");
        for (sql, text) in [
            (" AND other.word >= ", begin.clone()),
            (" AND other.word < ", end_of(begin)),
        ] {
            q.push(sql);
            DB::text(&mut q, &text);
        }
        q.push(")");
    }
    q.push(" LIMIT ");
    DB::number(&mut q, list_limit(asked.limit));
    q
}
