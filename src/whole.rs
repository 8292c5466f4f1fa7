//! Files that are whole or not there: written under another name beside their own, synced, and then given their own.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

/// A file on its way. Dropped before [`Whole::finish`], it leaves what it wrote under the other name, and the file that was
/// there as it was.
#[derive(Debug)]
pub struct Whole {
    file: File,
    temp: PathBuf,
    path: PathBuf,
}

impl Whole {
    /// Begins the file at `path`, written at `temp` on the same disk; what an earlier run left there goes.
    ///
    /// # Errors
    /// The file system's.
    pub fn begin(path: &Path, temp: PathBuf, mode: u32) -> io::Result<Self> {
        // Taken away rather than opened: it may have another mode.
        match fs::remove_file(&temp) {
            Err(e) if e.kind() != io::ErrorKind::NotFound => return Err(e),
            _ => {}
        }
        let file = OpenOptions::new()
            .write(true)
            .create_new(true)
            .mode(mode)
            .open(&temp)?;
        Ok(Self {
            file,
            temp,
            path: path.to_owned(),
        })
    }

    /// Puts it in its place; on disk, with its folder, before this returns.
    ///
    /// # Errors
    /// The file system's.
    pub fn finish(self) -> io::Result<()> {
        self.file.sync_all()?;
        fs::rename(&self.temp, &self.path)?;
        let folder = self.path.parent().filter(|p| !p.as_os_str().is_empty());
        sync_folder(folder.unwrap_or(Path::new(".")))
    }
}

impl Write for Whole {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.file.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// Writes a file whole; see [`Whole`].
///
/// # Errors
/// The file system's.
pub fn write(path: &Path, temp: PathBuf, bytes: &[u8], mode: u32) -> io::Result<()> {
    let mut file = Whole::begin(path, temp, mode)?;
    file.write_all(bytes)?;
    file.finish()
}

/// Syncs a folder: which names are in it.
///
/// # Errors
/// The file system's.
pub fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder).and_then(|f| f.sync_all())
}
