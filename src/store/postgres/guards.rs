//! Whether the guards stand as the schema made them.

use std::collections::HashMap;

use sqlx::{FromRow, PgConnection, Row as _, postgres::PgRow};

use super::schema::{EXPUNGED_SQL, LEDGER_SQL, SCHEMA};
use crate::store::{BrokenGuard, StoreError};

/// UPDATE, DELETE or TRUNCATE, before the statement (`pg_trigger.tgtype`: before 2, delete 8, update 16, truncate 32).
const BEFORE_ANY_CHANGE: i16 = 2 + 8 + 16 + 32;
/// UPDATE or TRUNCATE, before the statement.
const BEFORE_OTHER_CHANGE: i16 = 2 + 16 + 32;
/// DELETE, before each row (row 1).
const BEFORE_DELETED_ROW: i16 = 1 + 2 + 8;
/// INSERT, before each row.
const BEFORE_INSERTED_ROW: i16 = 1 + 2 + 4;
/// INSERT, after the statement (insert 4).
const AFTER_INSERT: i16 = 4;

/// The guards: name, table, when it fires, function.
const GUARDS: [(&str, &str, i16, &str); 9] = [
    ("events_no_gap", "events", AFTER_INSERT, "next_in_line"),
    (
        "events_no_change",
        "events",
        BEFORE_ANY_CHANGE,
        "only_grows",
    ),
    (
        "event_payloads_no_change",
        "event_payloads",
        BEFORE_OTHER_CHANGE,
        "only_grows",
    ),
    (
        "event_payloads_by_order",
        "event_payloads",
        BEFORE_DELETED_ROW,
        "only_by_order",
    ),
    (
        "event_payloads_not_again",
        "event_payloads",
        AFTER_INSERT,
        "stays_expunged",
    ),
    (
        "expunged_by_order",
        "expunged",
        BEFORE_INSERTED_ROW,
        "named_by_order",
    ),
    (
        "expunged_no_change",
        "expunged",
        BEFORE_ANY_CHANGE,
        "only_grows",
    ),
    (
        "tree_nodes_no_change",
        "tree_nodes",
        BEFORE_ANY_CHANGE,
        "only_grows",
    ),
    (
        "checkpoints_no_change",
        "checkpoints",
        BEFORE_ANY_CHANGE,
        "only_grows",
    ),
];

/// The body of one of our functions, as the schema has it.
fn body(function: &str) -> Option<&'static str> {
    const QUOTE: &str = "$guard$";
    let begin = format!("CREATE FUNCTION {function}()");
    let mut steps = [LEDGER_SQL, EXPUNGED_SQL].into_iter();
    let (_, rest) = steps.find_map(|sql| sql.split_once(&begin))?;
    let (_, rest) = rest.split_once(QUOTE)?;
    rest.split_once(QUOTE).map(|(body, _)| body)
}

/// A trigger and its function as they lie in the catalogue.
struct Found {
    name: String,
    on_table: String,
    fires: i16,
    always: bool,
    unconditional: bool,
    function: String,
    body: String,
    settings: Vec<String>,
}

impl Found {
    fn is(&self, (_, table, fires, function): (&str, &str, i16, &str)) -> bool {
        self.on_table == table
            && self.fires == fires
            && self.always
            && self.unconditional
            && self.function == function
            && Some(self.body.as_str()) == body(function)
            && self.settings == ["search_path=pg_catalog, pg_temp"]
    }
}

impl FromRow<'_, PgRow> for Found {
    fn from_row(row: &PgRow) -> Result<Self, sqlx::Error> {
        Ok(Self {
            name: row.try_get("name")?,
            on_table: row.try_get("on_table")?,
            fires: row.try_get("fires")?,
            always: row.try_get("always")?,
            unconditional: row.try_get("unconditional")?,
            function: row.try_get("function")?,
            body: row.try_get("body")?,
            settings: row.try_get("settings")?,
        })
    }
}

pub(super) async fn broken(c: &mut PgConnection) -> Result<Vec<BrokenGuard>, StoreError> {
    let sql = "SELECT t.tgname::text AS name, c.relname::text AS on_table, t.tgtype AS fires, \
               t.tgenabled = 'A' AS always, t.tgqual IS NULL AND cardinality(t.tgattr::int2[]) = 0 AS unconditional, \
               CASE WHEN p.pronamespace = c.relnamespace AND l.lanname = 'plpgsql' THEN p.proname ELSE '' END::text \
               AS function, p.prosrc AS body, coalesce(p.proconfig, '{}') AS settings \
               FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid JOIN pg_proc p ON p.oid = t.tgfoid \
               JOIN pg_language l ON l.oid = p.prolang \
               WHERE c.relnamespace = to_regnamespace($1) AND NOT t.tgisinternal";
    let found: Vec<Found> = sqlx::query_as(sql).bind(SCHEMA).fetch_all(c).await?;
    let there: HashMap<&str, &Found> = found.iter().map(|f| (f.name.as_str(), f)).collect();
    Ok(GUARDS
        .into_iter()
        .filter_map(|guard| {
            let changed = match there.get(guard.0) {
                None => false,
                Some(found) if !found.is(guard) => true,
                Some(_) => return None,
            };
            let name = guard.0.to_owned();
            Some(BrokenGuard { name, changed })
        })
        .collect())
}
