//! `liftledger verify --pdf`: whether a paper that turned up is one that was printed.

use std::fs::File;
use std::io::{Read as _, Write};
use std::path::Path;

use anyhow::{Context, bail};

use super::FAILED;
use crate::app::house::House;
use crate::app::papers::check::{TRUST, check};
use crate::app::reader::Viewer;
use crate::app::site::Site;
use crate::disclosure::paper::{MAX_BYTES, is_pdf};

fn read(path: &Path) -> anyhow::Result<Vec<u8>> {
    let file = File::open(path).with_context(|| format!("cannot open {}", path.display()))?;
    let mut bytes = Vec::new();
    file.take(MAX_BYTES as u64 + 1)
        .read_to_end(&mut bytes)
        .with_context(|| format!("cannot read {}", path.display()))?;
    if bytes.len() > MAX_BYTES {
        bail!("{} is larger than 32 MB, which no paper is", path.display());
    }
    if !is_pdf(&bytes) {
        bail!("{} is not a PDF", path.display());
    }
    Ok(bytes)
}

/// 0 where it is the paper that was printed, [`FAILED`] where it is not.
pub(super) fn run(path: &Path, site: Site, json: bool, out: &mut dyn Write) -> anyhow::Result<u8> {
    let bytes = read(path)?;
    let checked = super::runtime()?.block_on(async {
        let house = House::open(site).await?;
        let viewer = Viewer::operator();
        let checked = check(&house.reader(&viewer), bytes, None).await;
        house.close().await;
        anyhow::Ok(checked?)
    })?;
    if json {
        serde_json::to_writer_pretty(&mut *out, &checked)?;
        writeln!(out)?;
    } else {
        writeln!(out, "{}.", checked.heading())?;
        writeln!(out, "{}", checked.sentence())?;
        for p in checked.prints() {
            writeln!(
                out,
                "{} on {} by {}: {}. Event {}.",
                p.act, p.when, p.by, p.of, p.seq
            )?;
            if let Some(warning) = &p.warning {
                writeln!(out, "{warning}.")?;
            }
            if !checked.is_printed() {
                writeln!(out, "SHA-256 on the record {}", p.digest)?;
            }
        }
        for sentence in checked.signatures.iter().flat_map(|s| &s.sentences) {
            writeln!(out, "{sentence}")?;
        }
        if checked.signatures.is_empty() {
            writeln!(out, "It bears no signature.")?;
        } else {
            writeln!(out, "{}", TRUST)?;
        }
        writeln!(out, "SHA-256 of the file {}", checked.digest)?;
    }
    Ok(if checked.is_printed() { 0 } else { FAILED })
}
