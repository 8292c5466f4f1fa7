//! `liftledger database`: the schema of a PostgreSQL database, and who may do what in it.

use std::io::Write;

use clap::{Args, Subcommand};

use super::site;
use crate::store::{PostgresStore, Reads as _, Store as _, postgres};

/// A PostgreSQL database's schema and grants.
#[derive(Debug, Args)]
pub(super) struct Database {
    #[command(subcommand)]
    act: Act,
}

#[derive(Debug, Subcommand)]
enum Act {
    Prepare(Prepare),
    Grants(Grants),
}

/// Make the ledger's schema in a database, or bring it up to this program's. Run it as the schema's owner.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  LIFTLEDGER_DATABASE=postgres://ledger_owner@db.example/ledger liftledger database prepare

A schema that a newer program made is refused and stays as it is.")]
struct Prepare {
    #[command(flatten)]
    database: site::Database,
}

/// Print the SQL that gives a role what servers need, and no more: it owns neither the tables nor their guards.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  liftledger database grants ledger_server | psql postgres://ledger_owner@db.example/ledger

The role itself is made by: CREATE ROLE ledger_server LOGIN PASSWORD '…'. Grant again after each upgrade.")]
struct Grants {
    /// The servers' role: letters, digits, underscores.
    role: String,
}

impl Database {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        match &self.act {
            Act::Grants(grants) => {
                write!(out, "{}", postgres::grants(&grants.role)?)?;
                Ok(0)
            }
            Act::Prepare(prepare) => {
                super::logging();
                let Some(address) = prepare.database.address()? else {
                    anyhow::bail!("name the database with --database or LIFTLEDGER_DATABASE");
                };
                super::runtime()?.block_on(async {
                    let store = PostgresStore::open(&address).await?;
                    let events = store.head().await?.size;
                    store.close().await;
                    writeln!(
                        out,
                        "The schema in {address} is this program's. The ledger in it has {events} events."
                    )?;
                    Ok(0)
                })
            }
        }
    }
}
