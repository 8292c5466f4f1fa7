//! `liftledger person`: accounts, from the server's own command line.

use std::io::Write;

use clap::{Args, Subcommand};

use super::site::Where;
use crate::app::house::House;

/// People.
#[derive(Debug, Args)]
pub(super) struct Person {
    #[command(subcommand)]
    act: Act,
}

#[derive(Debug, Subcommand)]
enum Act {
    Add(Add),
}

/// Add an administrator, and begin a ledger in the folder if there is none. The password is read from standard input.
///
/// An administrator adds all other people and has no access to evidence.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  printf '%s\\n' 'slipway lantern 42' | liftledger person add --data ledger \\
      --user-name ivo --name 'Ivo Tarn' --number A-001 --origin ledger.example/harrow-cove")]
struct Add {
    #[command(flatten)]
    at: Where,
    /// The name to sign in with.
    #[arg(long)]
    user_name: String,
    /// Full name.
    #[arg(long)]
    name: String,
    /// Staff number.
    #[arg(long)]
    number: String,
    /// The name on checkpoints, when a ledger is begun: a host of yours and a path.
    #[arg(long, default_value = "ledger.invalid/unnamed")]
    origin: String,
}

impl Person {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        let Act::Add(add) = &self.act;
        let secret = super::secret("password", 1024)?;
        super::runtime()?.block_on(async {
            let house = House::open_or_begin(add.at.site()?, &add.origin).await?;
            let added = house
                .add_administrator(&add.user_name, &add.name, &add.number, &secret)
                .await;
            let key = house.verifying.to_string();
            house.close().await;
            let (person, recorded) = added?;
            writeln!(
                out,
                "Added {} as event {} (person {person}). The ledger's key: {key}",
                add.user_name, recorded.seq
            )?;
            Ok(0)
        })
    }
}
