//! A write transaction of each database, stamped from one text: it hands every question on to the database's own `read` and
//! `append`, which must be in scope where it is stamped, as must the types of the contract.

macro_rules! write_tx {
    ($tx:ty) => {
        impl WriteTx for $tx {
            fn head(&mut self) -> Answer<'_, Head> {
                Box::pin(read::head(&mut self.tx))
            }

            fn load_docs<'a>(&'a mut self, subjects: &'a [String]) -> Answer<'a, Vec<DocRow>> {
                Box::pin(read::docs(&mut self.tx, subjects))
            }

            fn list_docs<'a>(&'a mut self, filter: &'a DocFilter) -> Answer<'a, Vec<DocRow>> {
                Box::pin(read::list_docs(&mut self.tx, filter))
            }

            fn lookup<'a>(
                &'a mut self,
                kind: &'a str,
                name: &'a str,
            ) -> Answer<'a, Option<DocRow>> {
                Box::pin(read::doc_by_name(&mut self.tx, kind, name))
            }

            fn lookup_code<'a>(&'a mut self, code: &'a str) -> Answer<'a, Option<DocRow>> {
                Box::pin(read::doc_by_code(&mut self.tx, code))
            }

            fn lookup_seal<'a>(&'a mut self, number: &'a str) -> Answer<'a, Option<SealRow>> {
                Box::pin(read::seal(&mut self.tx, number))
            }

            fn subject_count<'a>(&'a mut self, subject: &'a str) -> Answer<'a, u64> {
                Box::pin(read::subject_count(&mut self.tx, subject))
            }

            fn max_number<'a>(&'a mut self, case_id: &'a str, kind: &'a str) -> Answer<'a, i64> {
                Box::pin(read::max_number(&mut self.tx, case_id, kind))
            }

            fn command<'a>(&'a mut self, id: &'a str) -> Answer<'a, Option<CommandRow>> {
                Box::pin(read::command(&mut self.tx, id))
            }

            fn commands<'a>(&'a mut self, ids: &'a [String]) -> Answer<'a, Vec<CommandRow>> {
                Box::pin(read::commands(&mut self.tx, ids))
            }

            fn nodes<'a>(&'a mut self, at: &'a [(u32, u64)]) -> Answer<'a, Vec<NodeRow>> {
                Box::pin(read::nodes(&mut self.tx, at))
            }

            fn append(&mut self, batch: Batch) -> Answer<'_, ()> {
                Box::pin(append(&mut self.tx, batch))
            }

            fn clear_read_models(&mut self) -> Answer<'_, ()> {
                Box::pin(async move {
                    for sql in [
                        "DELETE FROM touches",
                        "DELETE FROM docs",
                        "DELETE FROM seals",
                        "DELETE FROM words",
                    ] {
                        sqlx::query(sql).execute(&mut *self.tx).await?;
                    }
                    Ok(())
                })
            }

            fn clear_words(&mut self) -> Answer<'_, ()> {
                Box::pin(async move {
                    sqlx::query("DELETE FROM words")
                        .execute(&mut *self.tx)
                        .await?;
                    Ok(())
                })
            }

            fn commit(self: Box<Self>) -> Answer<'static, ()> {
                Box::pin(async move { Ok(self.tx.commit().await?) })
            }

            fn rollback(self: Box<Self>) -> Answer<'static, ()> {
                Box::pin(async move { Ok(self.tx.rollback().await?) })
            }
        }
    };
}

pub(super) use write_tx;
