//! The schema, step by step, inside the program.

use sqlx::{
    PgConnection, SqlSafeStr,
    migrate::{Migration, MigrationType, Migrator},
};

use crate::store::{StoreError, error};

/// The schema of the database that everything lies in.
pub const SCHEMA: &str = "liftledger";
/// The advisory lock that the making of the schema stands at.
const SCHEMA_LOCK: i64 = 0x6c69_6675;
/// The ledger's four tables and their guards.
pub(super) const LEDGER_SQL: &str = include_str!("../../../migrations/postgres/0001_ledger.sql");
/// What lets payloads go by order, with its guards.
pub(super) const EXPUNGED_SQL: &str =
    include_str!("../../../migrations/postgres/0005_expunged.sql");
const GRANTS_SQL: &str = include_str!("../../../migrations/postgres/grants.sql");

fn migrator() -> Migrator {
    let step = |version, name: &'static str, sql: &'static str| {
        Migration::new(
            version,
            name.into(),
            MigrationType::Simple,
            sql.into_sql_str(),
            false,
        )
    };
    Migrator::with_migrations(vec![
        step(1, "ledger", LEDGER_SQL),
        step(
            2,
            "read models",
            include_str!("../../../migrations/postgres/0002_read_models.sql"),
        ),
        step(
            3,
            "accounts",
            include_str!("../../../migrations/postgres/0003_accounts.sql"),
        ),
        step(
            4,
            "lots",
            include_str!("../../../migrations/postgres/0004_lots.sql"),
        ),
        step(5, "expunged", EXPUNGED_SQL),
        step(
            6,
            "words",
            include_str!("../../../migrations/postgres/0006_words.sql"),
        ),
    ])
}

/// The SQL that gives a role what the servers need, and no more.
///
/// # Errors
/// [`StoreError::Refused`] where the name is not letters, digits and underscores.
pub fn grants(role: &str) -> Result<String, StoreError> {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '_';
    if role.is_empty() || role.len() > 63 || !role.chars().all(plain) {
        return Err(StoreError::Refused(
            "the role's name is 1 to 63 letters, digits and underscores".into(),
        ));
    }
    Ok(GRANTS_SQL.replace("ROLE", role))
}

/// How the schema in the database stands to this program's.
enum Standing {
    Absent,
    Behind,
    Same,
}

/// Looks at the schema and brings it up to this program's, or makes it where `make` says so. Whether it is there now.
pub(super) async fn prepare(c: &mut PgConnection, make: bool) -> Result<bool, StoreError> {
    match standing(c).await? {
        Standing::Same => return Ok(true),
        Standing::Absent if !make => return Ok(false),
        Standing::Absent | Standing::Behind => {}
    }
    // Two that come at once: the second finds it done.
    sqlx::query("SELECT pg_advisory_lock($1)")
        .bind(SCHEMA_LOCK)
        .execute(&mut *c)
        .await?;
    let done = upgrade(c).await;
    sqlx::query("SELECT pg_advisory_unlock($1)")
        .bind(SCHEMA_LOCK)
        .execute(&mut *c)
        .await?;
    done.map(|()| true).map_err(|e| match e {
        StoreError::Refused(why) if why.starts_with("permission denied") => StoreError::Refused(
            format!(
                "its schema is not there or is older than this program, and this role may not change it ({why}); \
                 let the schema's owner run: liftledger database prepare"
            ),
        ),
        other => other,
    })
}

async fn standing(c: &mut PgConnection) -> Result<Standing, StoreError> {
    let there: bool = sqlx::query_scalar("SELECT to_regclass($1) IS NOT NULL")
        .bind(format!("{SCHEMA}._sqlx_migrations"))
        .fetch_one(&mut *c)
        .await
        .map_err(|e| match StoreError::from(e) {
            StoreError::Refused(why) => no_usage(&why),
            other => other,
        })?;
    if !there {
        return Ok(Standing::Absent);
    }
    let done: Vec<(i64, Vec<u8>)> = sqlx::query_as(
        "SELECT version, checksum FROM _sqlx_migrations WHERE success ORDER BY version",
    )
    .fetch_all(c)
    .await
    .map_err(|e| match StoreError::from(e) {
        StoreError::Refused(why) => no_usage(&why),
        other => other,
    })?;
    let ours = migrator();
    for (version, checksum) in &done {
        match ours.iter().find(|m| m.version == *version) {
            None => return Err(error::unknown_step(*version)),
            Some(m) if m.checksum != checksum.as_slice() => {
                return Err(error::other_step(*version));
            }
            Some(_) => {}
        }
    }
    Ok(if done.len() == ours.iter().count() {
        Standing::Same
    } else {
        Standing::Behind
    })
}

fn no_usage(why: &str) -> StoreError {
    StoreError::Refused(format!(
        "this role may not use the ledger's schema ({why}); let its owner run the SQL that this prints: \
         liftledger database grants ROLE"
    ))
}

async fn upgrade(c: &mut PgConnection) -> Result<(), StoreError> {
    let there: bool = sqlx::query_scalar("SELECT to_regnamespace($1) IS NOT NULL")
        .bind(SCHEMA)
        .fetch_one(&mut *c)
        .await?;
    if !there {
        // The name is a constant.
        sqlx::query("CREATE SCHEMA liftledger")
            .execute(&mut *c)
            .await?;
    }
    // Directly: what `run` takes cannot be proven to be sent between threads.
    migrator()
        .run_direct(None, c, false)
        .await
        .map_err(error::schema)
}

/// Says in the log when the role could drop the guards it is held by.
pub(super) async fn warn_of_owner(c: &mut PgConnection) -> Result<(), StoreError> {
    let sql = "SELECT current_user::text FROM pg_class WHERE oid = to_regclass('events') \
               AND pg_has_role(current_user, relowner, 'MEMBER')";
    if let Some(role) = sqlx::query_scalar::<_, String>(sql)
        .fetch_optional(c)
        .await?
    {
        tracing::info!(
            role,
            "the database role owns the ledger's tables and could drop their guards; serve with a role of its own: \
             liftledger database grants ROLE"
        );
    }
    Ok(())
}
