//! `liftledger advise`: which medium takes this mark off this surface.

use std::io::{Read, Write};
use std::path::PathBuf;

use anyhow::{Context as _, bail};
use chrono::Utc;
use clap::Args;

use super::table;
use crate::app::views::advice::{AdviceTold, told};
use crate::lifting::advise::{Question, Why};
use crate::trade::TradeRules;

/// The longest question, bytes.
const MOST: u64 = 256 * 1024;

/// Say which medium takes a mark off a surface, why, what not and why not, and what follows from each.
///
/// The question is JSON, as POST /api/advise takes it. What is left out is not known; without "kit" every medium counts as at
/// hand; without "date" it is today in UTC. Advice never decides, and nothing is recorded.
#[derive(Debug, Args)]
#[command(after_help = r#"Examples:
  A print in black powder on a grained panel, everything at hand:
    echo '{"surface":{"texture":"fine-grain","curvature":"flat"},
           "mark":{"kind":"friction-ridge","methods":["BLP"]}}' | liftledger advise

  A pry mark on a window frame that stays where it is, and one lot in the kit:
    echo '{"surface":{"texture":"impressed","substrate":"2E"},
           "mark":{"kind":"toolmark"},
           "kit":[{"medium":"silicone-putty","lot":"SP-0931","expires_on":"2027-06-30"}],
           "date":"2026-03-14","air_c":4}' | liftledger advise --json

  From a file:
    liftledger advise question.json

Words: texture smooth, fine-grain, moulded-grain, ribbed, dimpled, rough, bare-wood, absorbent, sticky, dusty, impressed,
recessed; curvature flat, gentle, tight, compound; porosity porous, nonporous, semiporous, other; recess, wet, fragile,
collectable, dusty true or false; kind friction-ridge, toolmark, footwear, other; depth on-surface, pressed, raised; tone dark,
light, fluorescent, varies. Methods and substrates are codes of ANSI/NIST-ITL fields 9.352 and 9.355."#)]
pub(super) struct Advise {
    /// A file with the question; standard input without one.
    #[arg(value_name = "FILE")]
    file: Option<PathBuf>,
    /// A data folder, whose rules.toml lies over the program's rules.
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    /// Print the whole answer as JSON: reasons with their sources, steps with their cautions, packing.
    #[arg(long)]
    json: bool,
}

impl Advise {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        let rules = match &self.data {
            Some(folder) => TradeRules::of_folder(folder)?,
            None => TradeRules::load_embedded()?,
        };
        let text = match &self.file {
            Some(path) => {
                let file = std::fs::File::open(path)
                    .with_context(|| format!("cannot open {}", path.display()))?;
                bounded(file)?
            }
            None => bounded(std::io::stdin().lock())?,
        };
        let mut question: Question = serde_json::from_str(&text).context(
            "the question cannot be read as JSON; liftledger advise --help has examples",
        )?;
        question.date.get_or_insert(Utc::now().date_naive());
        let told = told(&rules, question)?;
        if self.json {
            serde_json::to_writer_pretty(&mut *out, &told)?;
            writeln!(out)?;
        } else {
            print(out, &told)?;
        }
        Ok(0)
    }
}

fn bounded(from: impl Read) -> anyhow::Result<String> {
    let mut text = String::new();
    from.take(MOST + 1).read_to_string(&mut text)?;
    if text.len() as u64 > MOST {
        bail!("the question is longer than {MOST} bytes");
    }
    Ok(text)
}

fn sentences(reasons: &[Why]) -> String {
    let all: Vec<&str> = reasons.iter().map(|r| r.sentence.as_str()).collect();
    all.join(" ")
}

fn print(out: &mut dyn Write, told: &AdviceTold) -> anyhow::Result<()> {
    writeln!(out, "Trade rules {}. {}", told.rules, told.advisory)?;
    writeln!(out)?;
    writeln!(out, "First of all, photograph:")?;
    for step in &told.first {
        writeln!(out, "  {}. {}", step.n, step.text)?;
        for caution in &step.cautions {
            writeln!(out, "     Caution. {}", caution.shown())?;
        }
    }
    for note in &told.notes {
        writeln!(out, "Note: {}", note.sentence)?;
    }
    writeln!(out)?;
    if let Some(nothing) = &told.nothing {
        writeln!(
            out,
            "Nothing to lift it with: {} {}",
            nothing.sentence, nothing.next
        )?;
    } else {
        let heads = ["", "MEDIUM", "LOT", "READS", "CARD", "SETS", "WHY"];
        let rows = told.ranked.iter().enumerate().map(|(i, c)| {
            let lot = c.ranked.lots.first();
            let mut why = sentences(&c.ranked.reasons);
            if !c.ranked.against.is_empty() {
                why = format!("{why} But: {}", sentences(&c.ranked.against));
            }
            [
                (i + 1).to_string(),
                c.ranked.medium.clone(),
                lot.map_or_else(|| "-".into(), |l| l.lot.clone()),
                c.reads_words.clone(),
                if c.card_words.is_empty() {
                    "-".into()
                } else {
                    c.card_words.clone()
                },
                c.ranked.consequences.set.as_ref().map_or_else(
                    || "-".into(),
                    |s| {
                        s.usual
                            .map_or_else(|| "dries".into(), |u| format!("{u} min"))
                    },
                ),
                why.trim().to_owned(),
            ]
        });
        table::print(out, heads, rows.collect())?;
    }
    writeln!(out)?;
    let rows = told
        .excluded
        .iter()
        .map(|e| [e.medium.clone(), sentences(&e.reasons)]);
    table::print(out, ["NOT ADVISED", "WHY"], rows.collect())?;
    if !told.ranked.is_empty() {
        writeln!(out)?;
        writeln!(
            out,
            "Steps with their cautions, packing and sources: --json"
        )?;
    }
    Ok(())
}
