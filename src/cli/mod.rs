//! The command line, one file a command.
//!
//! Exit codes: 0 well, 1 could not run, 2 verification failed or a case is not ready.

mod advise;
mod afis;
mod backup;
mod bundle;
mod case;
mod certificate;
mod check_paper;
mod climate;
mod config;
mod count;
mod database;
mod demo;
mod export;
mod expungement;
mod file;
mod handedness;
mod import;
mod item;
mod label;
mod lot;
mod measure;
mod name;
mod paper;
mod person;
mod report;
mod restore;
mod rules;
mod serve;
mod site;
mod table;
mod verify;
mod witness;

use std::io::{BufRead as _, Read as _, Write};
use std::{ffi::OsString, process::ExitCode};

use anyhow::{Context as _, bail};
use clap::{Parser, Subcommand};

use crate::app::house::House;
use crate::config::LogFormat;
use crate::ledger::checkpoint::VerifyingKey;

/// Verification failed, or what was asked is answered with no.
pub const FAILED: u8 = 2;

/// Evidence-lift chain-of-custody and packaging ledger.
#[derive(Debug, Parser)]
#[command(
    name = "liftledger",
    version,
    about,
    after_help = "Exit codes: 0 well, 1 could not run, 2 verification failed or a case is not ready."
)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    Advise(advise::Advise),
    Backup(backup::Backup),
    Restore(restore::Restore),
    Demo(demo::Demo),
    Case(case::Case),
    Certificate(certificate::Certificate),
    Climate(climate::Climate),
    Item(item::Item),
    Config(config::Config),
    Count(count::Count),
    Label(label::Label),
    Lot(lot::Lot),
    Report(report::Report),
    Paper(paper::Paper),
    Afis(afis::Afis),
    Export(export::Export),
    Expungement(expungement::Expungement),
    Bundle(bundle::Bundle),
    Rules(rules::Rules),
    Handedness(handedness::Handedness),
    Import(import::Import),
    Measure(measure::Measure),
    Person(person::Person),
    Database(database::Database),
    Serve(serve::Serve),
    Verify(verify::Verify),
    Witness(witness::Witness),
}

/// Runs the command that the arguments name; the answer is the process's exit code.
#[must_use]
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    run_all(arguments.into_iter().collect())
}

/// Nothing here or below is generic, so that it is compiled once, with the library: a generic command would be compiled anew, with
/// everything that it waits for, in each program that calls it.
#[inline(never)]
fn run_all(arguments: Vec<OsString>) -> ExitCode {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(e) => {
            // Help and version are answers, not errors.
            let code = if e.use_stderr() { 1 } else { 0 };
            let _ = e.print();
            return ExitCode::from(code);
        }
    };
    let done = match arguments.command {
        Command::Advise(advise) => advise.run(&mut std::io::stdout().lock()),
        Command::Backup(backup) => backup.run(&mut std::io::stdout().lock()),
        Command::Restore(restore) => restore.run(&mut std::io::stdout().lock()),
        Command::Demo(demo) => demo.run(&mut std::io::stdout().lock()),
        Command::Case(case) => case.run(&mut std::io::stdout().lock()),
        Command::Certificate(certificate) => certificate.run(&mut std::io::stdout().lock()),
        Command::Climate(climate) => climate.run(&mut std::io::stdout().lock()),
        Command::Item(item) => item.run(&mut std::io::stdout().lock()),
        Command::Config(config) => config.run(&mut std::io::stdout().lock()),
        Command::Count(count) => count.run(&mut std::io::stdout().lock()),
        Command::Report(report) => report.run(&mut std::io::stdout().lock()),
        Command::Paper(paper) => paper.run(&mut std::io::stdout().lock()),
        Command::Lot(lot) => lot.run(&mut std::io::stdout().lock()),
        Command::Label(label) => label.run(&mut std::io::stdout().lock()),
        Command::Rules(rules) => rules.run(&mut std::io::stdout().lock()),
        Command::Handedness(handedness) => handedness.run(&mut std::io::stdout().lock()),
        Command::Import(import) => import.run(&mut std::io::stdout().lock()),
        Command::Bundle(bundle) => bundle.run(&mut std::io::stdout().lock()),
        Command::Afis(afis) => afis.run(&mut std::io::stdout().lock()),
        Command::Measure(measure) => measure.run(&mut std::io::stdout().lock()),
        Command::Export(export) => export.run(&mut std::io::stdout().lock()),
        Command::Expungement(order) => order.run(&mut std::io::stdout().lock()),
        Command::Person(person) => person.run(&mut std::io::stdout().lock()),
        Command::Database(database) => database.run(&mut std::io::stdout().lock()),
        Command::Serve(serve) => serve.run(&mut std::io::stdout().lock()),
        Command::Verify(verify) => verify.run(&mut std::io::stdout().lock()),
        Command::Witness(witness) => witness.run(&mut std::io::stdout().lock()),
    };
    match done {
        Ok(code) => ExitCode::from(code),
        Err(e) => {
            let _ = writeln!(std::io::stderr(), "liftledger: {e:#}");
            ExitCode::from(1)
        }
    }
}

/// Logs to standard error: warnings and errors, or what RUST_LOG asks for. No secret is ever logged.
fn logging() {
    logging_as("warn", LogFormat::Text);
}

/// The same with another filter, where RUST_LOG says nothing, and as lines of JSON where that is asked for.
fn logging_as(filter: &str, format: LogFormat) {
    use tracing_subscriber::filter::Targets;
    use tracing_subscriber::layer::{Layer as _, SubscriberExt as _};
    use tracing_subscriber::util::SubscriberInitExt as _;
    let asked: Option<Targets> = std::env::var("RUST_LOG").ok().and_then(|t| t.parse().ok());
    // A filter of the settings was read before; a wrong one lets warnings through.
    let filter = asked.or_else(|| filter.parse().ok()).unwrap_or_else(|| {
        Targets::new().with_default(tracing_subscriber::filter::LevelFilter::WARN)
    });
    let log = tracing_subscriber::fmt::layer().with_writer(std::io::stderr);
    let log = match format {
        LogFormat::Text => log.boxed(),
        LogFormat::Json => log
            .json()
            .with_current_span(true)
            .with_span_list(false)
            .boxed(),
    };
    // A second call in the same process, as tests make it, changes nothing.
    let _ = tracing_subscriber::registry()
        .with(filter)
        .with(log)
        .try_init();
}

/// Opens the ledger, does the work, and closes it whatever came of it.
fn with_house<T>(
    at: &site::Where,
    work: impl AsyncFnOnce(&House) -> anyhow::Result<T>,
) -> anyhow::Result<T> {
    runtime()?.block_on(async {
        let house = House::open(at.site()?).await?;
        let house = house.timestamped(config::timestamps()?);
        let done = work(&house).await;
        house.close().await;
        done
    })
}

/// A secret from standard input: one line, at most so many bytes.
fn secret(what: &str, most: u64) -> anyhow::Result<String> {
    let mut line = String::new();
    std::io::stdin()
        .lock()
        .take(most)
        .read_line(&mut line)
        .with_context(|| format!("cannot read the {what}"))?;
    let secret = line.trim_end_matches(['\r', '\n']);
    if secret.is_empty() {
        bail!("no {what} on standard input; pipe one line to it");
    }
    Ok(secret.to_owned())
}

/// The ledger's key, as `--key` gives it.
fn key(text: &str) -> anyhow::Result<VerifyingKey> {
    text.trim().parse().context("--key is not a verifier key")
}

/// The runtime for commands that open a data folder.
fn runtime() -> anyhow::Result<tokio::runtime::Runtime> {
    Ok(tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()?)
}
