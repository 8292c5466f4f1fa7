//! `liftledger measure`: how large a film, how much material, how long it sets.

use std::io::Write;
use std::path::PathBuf;

use clap::{Args, Subcommand};

use crate::lifting::Thickness;
use crate::lifting::film::{MAX_SIDE, film};
use crate::lifting::thickness::{MAX_TENTHS, tenths};
use crate::lifting::volume::{MAX_STRIP, volume};
use crate::trade::TradeRules;

/// Work out the size of a film, the volume of casting material, or the set time of a medium.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger measure film --length 22 --width 18
  liftledger measure cast --length 60 --width 25 --thickness 4 --strips 8x4
  liftledger measure set silicone-putty --thickness 4.5
  liftledger measure set clear-pvs --air 18 --data ledger --json

Lengths are millimetres with at most one decimal.")]
pub(super) struct Measure {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Film(FilmArgs),
    Cast(CastArgs),
    Set(SetArgs),
}

fn side(text: &str) -> Result<u32, String> {
    tenths(text, MAX_SIDE).map_err(|e| e.to_string())
}

fn layer(text: &str) -> Result<u32, String> {
    tenths(text, MAX_TENTHS).map_err(|e| e.to_string())
}

fn thickness(text: &str) -> Result<Thickness, String> {
    text.parse()
        .map_err(|e| format!("{e}; or write thin or thick"))
}

fn strips(text: &str) -> Result<(u32, u32), String> {
    let (base, hardener) = text
        .split_once('x')
        .ok_or("give the widths of both strips, such as 8x4")?;
    let width = |s: &str| tenths(s, MAX_STRIP).map_err(|e| e.to_string());
    Ok((width(base)?, width(hardener)?))
}

/// The film for a mark: its size with the margin, its area, the drops.
#[derive(Debug, Args)]
struct FilmArgs {
    /// Length of the mark, mm.
    #[arg(long, value_name = "MM", value_parser = side)]
    length: u32,
    /// Width of the mark, mm.
    #[arg(long, value_name = "MM", value_parser = side)]
    width: u32,
    /// The medium.
    #[arg(long, value_name = "MEDIUM", default_value = "film-forming-liquid")]
    medium: String,
    #[command(flatten)]
    how: How,
}

/// The casting material for an area and a thickness.
#[derive(Debug, Args)]
struct CastArgs {
    /// Length of the cast, mm.
    #[arg(long, value_name = "MM", value_parser = side)]
    length: u32,
    /// Width of the cast, mm.
    #[arg(long, value_name = "MM", value_parser = side)]
    width: u32,
    /// Thickness of the cast, mm.
    #[arg(long, value_name = "MM", value_parser = layer)]
    thickness: u32,
    /// Widths at which the two parts leave their tubes, mm: gives the length of the strips.
    #[arg(long, value_name = "MMxMM", value_parser = strips)]
    strips: Option<(u32, u32)>,
    /// Print it as JSON.
    #[arg(long)]
    json: bool,
}

/// How long a medium sets, from when it was laid on.
#[derive(Debug, Args)]
struct SetArgs {
    /// The medium; liftledger rules show medium has the list.
    #[arg(value_name = "MEDIUM")]
    medium: String,
    /// Air temperature, °C.
    #[arg(long, value_name = "C", allow_negative_numbers = true, value_parser = clap::value_parser!(i16).range(-60..=70))]
    air: Option<i16>,
    /// Thickness of the layer: thin, thick or mm.
    #[arg(long, value_name = "THICKNESS", value_parser = thickness)]
    thickness: Option<Thickness>,
    #[command(flatten)]
    how: How,
}

#[derive(Debug, Args)]
struct How {
    /// A data folder, whose rules.toml lies over the program's rules.
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    /// Print it as JSON.
    #[arg(long)]
    json: bool,
}

impl How {
    fn rules(&self) -> anyhow::Result<TradeRules> {
        Ok(match &self.data {
            Some(folder) => TradeRules::of_folder(folder)?,
            None => TradeRules::load_embedded()?,
        })
    }
}

fn say(
    out: &mut dyn Write,
    json: bool,
    value: &impl serde::Serialize,
    sentence: &str,
) -> anyhow::Result<u8> {
    if json {
        serde_json::to_writer_pretty(&mut *out, value)?;
        writeln!(out)?;
    } else {
        writeln!(out, "{sentence}")?;
    }
    Ok(0)
}

impl Measure {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        match &self.what {
            What::Film(a) => {
                let rules = a.how.rules()?;
                let medium = rules.medium(&a.medium);
                let rule = medium.and_then(|m| m.film.as_ref()).ok_or_else(|| {
                    anyhow::anyhow!("{} is no medium that dries to a film", a.medium)
                })?;
                let film = film(rule, a.length, a.width);
                say(out, a.how.json, &film, &film.sentence)
            }
            What::Cast(a) => {
                let volume = volume(a.length, a.width, a.thickness, a.strips);
                say(out, a.json, &volume, &volume.sentence)
            }
            What::Set(a) => {
                let rules = a.how.rules()?;
                let medium = rules.medium(&a.medium).ok_or_else(|| {
                    anyhow::anyhow!(
                        "there is no medium {}; liftledger rules show medium has the list",
                        a.medium
                    )
                })?;
                match rules.set_window(medium, a.air, a.thickness) {
                    Some(window) => say(out, a.how.json, &window, &window.sentence()),
                    None => {
                        let said =
                            format!("The medium has no setting time to keep: {}.", medium.name);
                        say(out, a.how.json, &serde_json::Value::Null, &said)
                    }
                }
            }
        }
    }
}
