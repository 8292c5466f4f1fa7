//! A transaction on a line of its own. Only what ended in order lets the line go back.

use std::ops::{Deref, DerefMut};

use sqlx::postgres::PgPool;
use sqlx::{Executor as _, PgConnection};

use super::line::Line;

/// A transaction that appends.
pub(super) struct Tx {
    line: Line,
    ended: bool,
}

impl Tx {
    /// Begins one.
    ///
    /// # Errors
    /// Where there is no line in time, or the database does not begin.
    pub(super) async fn begin(pool: &PgPool) -> Result<Self, sqlx::Error> {
        let line = Line::of(pool).await?;
        // Whoever gives up in the middle of the next line does not know whether it has begun.
        let mut tx = Self { line, ended: false };
        tx.execute("BEGIN ISOLATION LEVEL READ COMMITTED READ WRITE")
            .await?;
        Ok(tx)
    }

    /// Commits. Where this fails, nobody knows whether it is committed.
    ///
    /// # Errors
    /// Of the database or the line.
    pub(super) async fn commit(self) -> Result<(), sqlx::Error> {
        self.end("COMMIT").await
    }

    /// Gives it up.
    ///
    /// # Errors
    /// Of the database or the line; it is given up all the same.
    pub(super) async fn rollback(self) -> Result<(), sqlx::Error> {
        self.end("ROLLBACK").await
    }

    async fn end(mut self, how: &'static str) -> Result<(), sqlx::Error> {
        self.execute(how).await?;
        self.ended = true;
        Ok(())
    }
}

impl Deref for Tx {
    type Target = PgConnection;

    fn deref(&self) -> &PgConnection {
        &self.line
    }
}

impl DerefMut for Tx {
    fn deref_mut(&mut self) -> &mut PgConnection {
        &mut self.line
    }
}

impl Drop for Tx {
    fn drop(&mut self) {
        if !self.ended {
            self.line.spend();
        }
    }
}
