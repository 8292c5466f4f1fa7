//! `liftledger demo`: an invented case to look around in.

use std::io::Write;
use std::path::PathBuf;

use anyhow::{Context, bail};
use clap::Args;

use crate::app::demo::{self, SIGN_INS, SignIn};
use crate::app::house::DATABASE;

/// Load an invented case into a new folder, and tell how to sign in.
///
/// Seven people, a boatyard break-in in a county that does not exist, three weeks of work up to today. The times are
/// invented like everything else in it.
#[derive(Debug, Args)]
#[command(after_help = "Example:
  liftledger demo --once && liftledger verify --data liftledger-demo")]
pub(super) struct Demo {
    /// The folder; one that has a demo already keeps it.
    #[arg(long, value_name = "DIR", default_value = "liftledger-demo")]
    data: PathBuf,
    /// Load it and leave.
    #[arg(long)]
    once: bool,
}

impl Demo {
    pub(super) fn run(&self, out: &mut impl Write) -> anyhow::Result<u8> {
        if !self.once {
            bail!("this version serves no pages yet; load the demo with --once");
        }
        super::runtime()?.block_on(async {
            let sign_ins = self.ready(out).await?;
            tell(out, &sign_ins)?;
            Ok(0)
        })
    }

    /// Loads the demo where there is none yet.
    async fn ready(&self, out: &mut impl Write) -> anyhow::Result<Vec<SignIn>> {
        let folder = &self.data;
        if folder.join(DATABASE).exists() {
            let kept = demo::kept_sign_ins(folder).with_context(|| {
                format!(
                    "{} has a ledger and no {SIGN_INS}: it is no demo, or one that was not loaded to its end; name another folder",
                    folder.display()
                )
            })?;
            writeln!(out, "The demo in {} is there already.", folder.display())?;
            return Ok(kept);
        }
        let begun = std::time::Instant::now();
        let (house, demo) = demo::begin(folder).await?;
        house.close().await;
        writeln!(
            out,
            "Loaded an invented case into {} in {:.1} s. People, cases and times are invented.",
            folder.display(),
            begun.elapsed().as_secs_f64()
        )?;
        Ok(demo.sign_ins())
    }
}

fn tell(out: &mut impl Write, sign_ins: &[SignIn]) -> std::io::Result<()> {
    let width = |of: fn(&SignIn) -> &str| {
        let longest = sign_ins.iter().map(|s| of(s).chars().count()).max();
        longest.unwrap_or(0).max(9)
    };
    let (users, names, roles) = (
        width(|s| &s.user_name),
        width(|s| &s.name),
        width(|s| &s.roles),
    );
    writeln!(out)?;
    writeln!(
        out,
        "{:users$}  {:names$}  {:roles$}  password",
        "user name", "name", "roles"
    )?;
    for s in sign_ins {
        writeln!(
            out,
            "{:users$}  {:names$}  {:roles$}  {}",
            s.user_name, s.name, s.roles, s.password
        )?;
    }
    Ok(())
}
