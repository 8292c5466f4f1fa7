//! `liftledger import`: an existing room, from a CSV file.

use std::io::{Read as _, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context as _, bail};
use chrono::Utc;
use clap::Args;

use super::site::Where;
use crate::app::house::House;
use crate::app::import::{Asked, Mapping, Problem, Summary, Table, run};
use crate::ids::PersonId;

/// The largest mapping file.
const MOST_MAPPING: u64 = 256 * 1024;

/// Take a CSV file of an existing room over, row by row. What was before is marked as not witnessed by this ledger.
///
/// A dry run says everything that is wrong with every row and records nothing. With --batch, rows are recorded so many at a
/// time, all of a batch or none; a batch with a wrong row is left out whole. A file that is run again does nothing for rows
/// that are on the record. The password of whoever takes the rows over, a custodian, is read from standard input.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger import --mapping room.toml room.csv --dry-run --data ledger
  printf '%s\\n' 'slipway lantern 42' | liftledger import --mapping room.toml room.csv --batch 200 --by cal --data ledger

A mapping says which column is which field:
  date = \"%m/%d/%Y\"          # how days are written; without it 2019-05-02
  separator = \",\"
  [columns]                  # case, item and description must be there
  case = \"Case No\"
  item = \"Item No\"
  description = \"What\"
  kind = \"Type\"              # card-lift, gel, film, cast, object or image
  place = \"Shelf\"            # also: case-title medium method object holder container seal received note
  [values.kind]              # what stands in the file, and what it is here
  \"LIFT CARD\" = \"card-lift\"
  [constant]                 # for fields without a column
  container = \"envelope\"

Exit codes: 0 nothing wrong, 1 some rows wrong, or it could not run.")]
pub(super) struct Import {
    /// The CSV file, in UTF-8, with a heading.
    #[arg(value_name = "FILE.csv")]
    file: PathBuf,
    /// The mapping from its columns to fields, in TOML.
    #[arg(long, value_name = "FILE.toml")]
    mapping: PathBuf,
    /// Say what is wrong, and record nothing.
    #[arg(long, conflicts_with = "batch", required_unless_present = "batch")]
    dry_run: bool,
    /// Record, so many rows at a time: 1 to 200.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=200), requires = "by")]
    batch: Option<u16>,
    /// Who takes the rows over, by user name.
    #[arg(long, value_name = "USER")]
    by: Option<String>,
    #[command(flatten)]
    at: Where,
}

impl Import {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        super::logging();
        let mapping = mapping(&self.mapping)?;
        let secret = match self.batch {
            Some(_) => Some(super::secret("password", 1024)?),
            None => None,
        };
        super::with_house(&self.at, async |house| {
            let by = self.person(house, secret.as_deref()).await?;
            let asked = Asked {
                file: Table::File(&self.file),
                mapping: &mapping,
                by,
                batch: self.batch.map(usize::from),
            };
            let mut broken = None;
            let mut tell = |problem: &Problem| {
                if broken.is_none() {
                    broken = writeln!(out, "{problem}").err();
                }
            };
            let mut told = 0;
            let progress = |summary: &Summary| {
                if summary.rows - told >= 10_000 {
                    told = summary.rows;
                    // Whoever does not read it goes without.
                    let _ = writeln!(std::io::stderr(), "{} rows done", summary.rows);
                }
            };
            let done = run(house, asked, &mut tell, progress).await;
            if let Some(e) = broken {
                return Err(e.into());
            }
            let summary = done?;
            writeln!(out, "{}", told_of(&summary, self.dry_run))?;
            Ok(u8::from(summary.wrong > 0))
        })
    }

    async fn person(
        &self,
        house: &House,
        secret: Option<&str>,
    ) -> anyhow::Result<Option<PersonId>> {
        let Some(name) = &self.by else {
            return Ok(None);
        };
        let Some(person) = house.person_by_user_name(name).await? else {
            bail!("nobody has the user name {name}");
        };
        if let Some(secret) = secret {
            house.prove(&person, secret, Utc::now()).await?;
        }
        Ok(Some(person.id))
    }
}

fn mapping(path: &Path) -> anyhow::Result<Mapping> {
    let said = || format!("the mapping {}", path.display());
    let mut text = String::new();
    let file = std::fs::File::open(path).with_context(said)?;
    file.take(MOST_MAPPING)
        .read_to_string(&mut text)
        .with_context(said)?;
    Mapping::parse(&text).with_context(said)
}

fn told_of(s: &Summary, dry: bool) -> String {
    let mut out = format!("{} rows: ", s.rows);
    if dry {
        out.push_str(&format!("{} can be taken over", s.good));
    } else {
        out.push_str(&format!("{} taken over", s.good));
    }
    if s.before > 0 {
        out.push_str(&format!(", {} were on the record before", s.before));
    }
    if s.wrong > 0 {
        out.push_str(&format!(", {} wrong", s.wrong));
    }
    if s.batches_refused > 0 {
        out.push_str(&format!(
            ", {} held back in {} batches with a wrong row",
            s.held_back, s.batches_refused
        ));
    }
    out.push('.');
    if !dry && s.good == 0 && s.wrong == 0 {
        out.push_str(" Nothing was to be done.");
    }
    out
}
