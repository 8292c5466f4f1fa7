//! Files that commands write: never over one that is there, unless told to.

use std::fs::{File, OpenOptions};
use std::io::{ErrorKind, Write};
use std::path::Path;

use anyhow::{Context as _, bail};

use crate::app::papers::Printed;

/// Refuses early, before anything goes on the record.
pub(super) fn free(path: &Path, force: bool) -> anyhow::Result<()> {
    if path.is_dir() {
        bail!("{} is a folder; name a file in it", path.display());
    }
    if path.exists() && !force {
        bail!(
            "{} is there already; name another file, or add --force to write over it",
            path.display()
        );
    }
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() && !folder.is_dir() => {
            bail!("there is no folder {}; make it first", folder.display())
        }
        _ => Ok(()),
    }
}

/// Writes the file, through a neighbour that takes its place when it is whole.
pub(super) fn write(path: &Path, bytes: &[u8], force: bool) -> anyhow::Result<()> {
    let whole = |mut file: File| -> std::io::Result<()> {
        file.write_all(bytes)?;
        file.sync_all()
    };
    let said = || format!("cannot write {}", path.display());
    if !force {
        return match OpenOptions::new().write(true).create_new(true).open(path) {
            Ok(file) => whole(file).with_context(said),
            Err(e) if e.kind() == ErrorKind::AlreadyExists => free(path, force),
            Err(e) => Err(e).with_context(said),
        };
    }
    let mut name = path.as_os_str().to_owned();
    name.push(".part");
    let part = Path::new(&name);
    File::create(part)
        .and_then(whole)
        .and_then(|()| std::fs::rename(part, path))
        .with_context(said)
}

/// Writes a paper, and says what it is on the record.
pub(super) fn write_paper(
    path: &Path,
    printed: &Printed,
    force: bool,
    out: &mut dyn Write,
) -> anyhow::Result<u8> {
    write(path, &printed.bytes, force)?;
    writeln!(
        out,
        "{}: SHA-256 {}, on the record as event {}",
        path.display(),
        printed.digest,
        printed.recorded.seq
    )?;
    if let Some(warning) = &printed.warning {
        writeln!(out, "{warning}.")?;
    }
    Ok(0)
}
