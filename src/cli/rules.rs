//! `liftledger rules`: the trade rules in force, and whether an agency's own file is sound.

use std::io::Write;
use std::path::PathBuf;

use clap::{Args, Subcommand};

use super::table;
use crate::trade::catalogue::{Row, Shelf};
use crate::trade::{Kind, OVERLAY, SourceFiles, TradeRules};

/// The trade rules.
#[derive(Debug, Args)]
pub(super) struct Rules {
    #[command(subcommand)]
    act: Act,
}

#[derive(Debug, Subcommand)]
enum Act {
    Check(Check),
    Show(Show),
}

/// Check an agency's own file of rules, or the rules in force.
///
/// Tells everything that is wrong, each with file and line.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger rules check                     # the rules that came with the program
  liftledger rules check my-rules.toml       # a file before it is put in place
  liftledger rules check --data ledger       # the rules.toml in a data folder

A file looks like this; entries go under add, replace and disable, each with its own source:
  format = 1
  agency = \"who stands behind this file\"

  [[disable.medium]]
  id = \"rubber-black\"
  source = \"our directive 12: no longer bought\"

Exit codes: 0 sound, 1 not.")]
struct Check {
    /// The file; by default that of the data folder, or none.
    #[arg(value_name = "FILE", conflicts_with = "data")]
    file: Option<PathBuf>,
    /// A data folder, whose rules.toml is checked.
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
}

/// Show the rules in force: all kinds, or the entries of one.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger rules show
  liftledger rules show medium
  liftledger rules show packing --data ledger --json")]
struct Show {
    /// A kind, as the list of all kinds names it.
    #[arg(value_name = "KIND", value_parser = kind)]
    kind: Option<Kind>,
    /// A data folder, whose rules.toml lies over the program's rules.
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    /// Print it as JSON.
    #[arg(long)]
    json: bool,
}

fn kind(word: &str) -> Result<Kind, String> {
    Kind::of_word(word).ok_or_else(|| {
        let words: Vec<&str> = Kind::ALL.iter().map(|k| k.word()).collect();
        format!("the kinds are {}", words.join(", "))
    })
}

impl Rules {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        match &self.act {
            Act::Check(check) => check.run(out),
            Act::Show(show) => show.run(out),
        }
    }
}

impl Check {
    fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        let read = match (&self.file, &self.data) {
            (Some(file), _) => TradeRules::with_overlay(file),
            (None, Some(folder)) => {
                if !folder.join(OVERLAY).exists() {
                    writeln!(out, "There is no {OVERLAY} in {}.", folder.display())?;
                }
                TradeRules::of_folder(folder)
            }
            (None, None) => TradeRules::read(&SourceFiles::embedded(), None),
        };
        match read {
            Ok(rules) => {
                writeln!(out, "The rules are sound, version {}.", rules.version())?;
                if let Some(agency) = rules.agency() {
                    let own: usize = rules
                        .shelves()
                        .iter()
                        .map(|s| s.rows.iter().filter(|r| r.agency).count())
                        .sum();
                    writeln!(
                        out,
                        "{agency}: {own} added or replaced, {} disabled.",
                        rules.off().len()
                    )?;
                }
                Ok(0)
            }
            Err(errors) => {
                for error in &errors.0 {
                    writeln!(out, "{error}")?;
                }
                let n = errors.0.len();
                let s = if n == 1 { "" } else { "s" };
                writeln!(out, "{n} error{s}; these rules would not be used.")?;
                Ok(1)
            }
        }
    }
}

impl Show {
    fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        let rules = match &self.data {
            Some(folder) => TradeRules::of_folder(folder)?,
            None => TradeRules::load_embedded()?,
        };
        if self.json {
            let shelves = match self.kind {
                Some(kind) => vec![rules.shelf(kind)],
                None => rules.shelves(),
            };
            let all = serde_json::json!({
                "version": rules.version(),
                "agency": rules.agency(),
                "shelves": shelves,
                "disabled": rules.off().iter().map(|(kind, id, why)| {
                    serde_json::json!({"kind": kind, "id": id, "source": why})
                }).collect::<Vec<_>>(),
            });
            serde_json::to_writer_pretty(&mut *out, &all)?;
            writeln!(out)?;
            return Ok(0);
        }
        match self.kind {
            Some(kind) => one(&rules.shelf(kind), out)?,
            None => {
                writeln!(out, "Version {}", rules.version())?;
                if let Some(agency) = rules.agency() {
                    writeln!(out, "With the file of {agency}")?;
                }
                let lines = rules.shelves().iter().map(summary).collect();
                table::print(out, ["KIND", "ENTRIES", "OF THE AGENCY", "WHAT"], lines)?;
            }
        }
        for (kind, id, why) in rules.off() {
            if self.kind.is_none_or(|k| k == *kind) {
                writeln!(out, "Disabled: {} {id} ({why})", kind.word())?;
            }
        }
        Ok(0)
    }
}

fn summary(shelf: &Shelf) -> [String; 4] {
    let own = shelf.rows.iter().filter(|r| r.agency).count();
    [
        shelf.kind.word().to_owned(),
        shelf.rows.len().to_string(),
        own.to_string(),
        shelf.kind.many().to_owned(),
    ]
}

fn one(shelf: &Shelf, out: &mut dyn Write) -> std::io::Result<()> {
    let line = |r: &Row| {
        let from = if r.agency { "agency" } else { "program" };
        [
            r.id.clone(),
            from.to_owned(),
            r.name.clone(),
            r.source.clone(),
        ]
    };
    let lines = shelf.rows.iter().map(line).collect();
    table::print(out, ["ID", "FROM", "NAME OR RULE", "SOURCE"], lines)
}
