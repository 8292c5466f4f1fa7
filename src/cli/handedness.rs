//! `liftledger handedness`: which way round an image reads, from the steps between the mark and the image.

use std::io::Write;

use clap::Args;

use crate::lifting::handedness::{Lateral, Relief, Step, Tone, read};

/// Work out which way round an image reads, whether depth is as found, and whether ridges are dark.
///
/// Name the steps from the mark to the image, in order. A step that is not of the list counts as unknown, and one unknown
/// step makes the answer unknown.
#[derive(Debug, Args)]
#[command(after_help = after_help())]
pub(super) struct Handedness {
    /// Steps, in order.
    #[arg(value_name = "STEP", num_args = 0..=64)]
    steps: Vec<String>,
    /// Print the answer as JSON.
    #[arg(long)]
    json: bool,
}

fn after_help() -> String {
    let mut out = String::from(
        "Examples:
  liftledger handedness contact-face cast dark-powder flip
  liftledger handedness through-medium light-powder black-card --json

Steps:\n",
    );
    for step in Step::ALL {
        out.push_str(&format!("  {:18} {}\n", step.name(), step.words()));
    }
    out.push_str("\nExit codes: 0 answered (also when the answer is unknown), 1 could not run.");
    out
}

/// What is printed as JSON.
#[derive(serde::Serialize)]
struct Answer<'a> {
    steps: &'a [Step],
    not_known: &'a [String],
    lateral: Lateral,
    relief: Relief,
    tone: Tone,
    sentence: &'a str,
}

/// The word that data and JSON have for a value.
fn word(value: impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(s)) => s,
        _ => String::new(),
    }
}

impl Handedness {
    pub(super) fn run(&self, out: &mut dyn Write) -> anyhow::Result<u8> {
        let mut not_known = Vec::new();
        let mut steps = Vec::with_capacity(self.steps.len());
        for text in &self.steps {
            steps.push(text.parse().unwrap_or_else(|_| {
                not_known.push(text.chars().take(40).collect::<String>());
                Step::Unknown
            }));
        }
        for text in &not_known {
            let _ = writeln!(
                std::io::stderr(),
                "\"{text}\" is not of the list and counts as unknown; liftledger handedness --help has the steps"
            );
        }
        let reading = read(&steps);
        if self.json {
            let answer = Answer {
                steps: &steps,
                not_known: &not_known,
                lateral: reading.lateral,
                relief: reading.relief,
                tone: reading.tone,
                sentence: &reading.sentence,
            };
            serde_json::to_writer_pretty(&mut *out, &answer)?;
            writeln!(out)?;
        } else {
            writeln!(out, "lateral  {}", word(reading.lateral))?;
            writeln!(out, "relief   {}", word(reading.relief))?;
            writeln!(out, "tone     {}", word(reading.tone))?;
            writeln!(out, "{}", reading.sentence)?;
        }
        Ok(0)
    }
}
