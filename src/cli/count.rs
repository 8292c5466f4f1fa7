//! `liftledger count`: how large a sample of a place must be, and which things a seed draws.

use std::io::Write;

use clap::{Args, Subcommand};
use serde::Serialize;

use crate::keeping::sampling::{self, Confidence};

/// Plan a count of a place.
#[derive(Debug, Args)]
pub(super) struct Count {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Plan(Plan),
}

/// The smallest sample that shows at least one missing thing, if so many are missing.
///
/// Exact, by the hypergeometric distribution: of POPULATION things, MISSING are missing; the sample shows at least one of
/// them with probability CONFIDENCE or more. With a seed it also says which things, numbered from 1 in the order of their
/// codes, are in the sample; the same seed always draws the same ones.
#[derive(Debug, Args)]
#[command(after_help = "Examples:
  liftledger count plan --population 400 --missing 4 --confidence 0.95
  liftledger count plan --population 400 --missing 4 --confidence 95% --seed boatyard --json

How the sample is drawn, for whoever wants to redo it: with the things numbered from 0, block i is the SHA-256 of
\"liftledger-sample-1:SEED:i\"; its first eight bytes, most significant first, are a number below 2^64. A number below b is
that number mod b, blocks in the last incomplete multiple of b passed over. For k from 0, the entries at k and k + (a number
below POPULATION - k) change places; the first entries are the sample.

Exit codes: 0 answered, 1 could not run.")]
struct Plan {
    /// How many things there are: 1 to 10,000,000.
    #[arg(long, value_name = "N")]
    population: u32,
    /// How many of them, if they were missing, the sample must show one of.
    #[arg(long, value_name = "M")]
    missing: u32,
    /// How sure: above 0, at most 1, such as 0.95 or 95%.
    #[arg(long, value_name = "C")]
    confidence: Confidence,
    /// Draw the sample from this seed: 1 to 64 visible ASCII characters.
    #[arg(long, value_name = "TEXT")]
    seed: Option<String>,
    /// Print the answer as JSON.
    #[arg(long)]
    json: bool,
}

/// What is printed as JSON.
#[derive(Serialize)]
struct Answer<'a> {
    population: u32,
    missing: u32,
    confidence: Confidence,
    sample: u32,
    chance_of_none: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    seed: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    drawn: Option<Vec<u32>>,
}

impl Count {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        match &self.what {
            What::Plan(plan) => plan.run(out),
        }
    }
}

impl Plan {
    fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        let sample = sampling::size(self.population, self.missing, self.confidence)?;
        let drawn = match &self.seed {
            Some(seed) => Some(
                sampling::draw(self.population, sample, seed)?
                    .into_iter()
                    .map(|at| at + 1)
                    .collect::<Vec<u32>>(),
            ),
            None => None,
        };
        let none = sampling::chance_of_none(self.population, self.missing, sample);
        if self.json {
            let answer = Answer {
                population: self.population,
                missing: self.missing,
                confidence: self.confidence,
                sample,
                chance_of_none: none,
                seed: self.seed.as_deref(),
                drawn,
            };
            serde_json::to_writer_pretty(&mut *out, &answer)?;
            writeln!(out)?;
            return Ok(0);
        }
        writeln!(out, "population      {}", self.population)?;
        writeln!(out, "missing         {}", self.missing)?;
        writeln!(out, "confidence      {}", self.confidence)?;
        writeln!(out, "sample          {sample}")?;
        writeln!(out, "chance of none  {none:.6}")?;
        if let (Some(seed), Some(drawn)) = (&self.seed, &drawn) {
            writeln!(out, "seed            {seed}")?;
            writeln!(out, "drawn, numbered from 1 in the order of their codes:")?;
            for line in drawn.chunks(12) {
                let line: Vec<String> = line.iter().map(ToString::to_string).collect();
                writeln!(out, "  {}", line.join(" "))?;
            }
        }
        writeln!(
            out,
            "If {} or more of {} were missing, looking for {sample} drawn blindly would show at least one of them with \
             probability {} or more.",
            self.missing, self.population, self.confidence
        )?;
        Ok(0)
    }
}
