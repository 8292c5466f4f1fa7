//! The pages in a real browser: Chromium, spoken to by the W3C WebDriver protocol.

mod answers;
mod day;
pub mod driver;
mod find;
mod intake;
mod live;
mod looks;
mod packs;
mod story;
mod viewer;
mod ways;

use std::collections::BTreeMap;

use crate::served::Server;

/// The demo, served.
pub struct Demo {
    pub folder: tempfile::TempDir,
    pub server: Server,
    pub passwords: BTreeMap<String, String>,
}

impl Demo {
    pub fn begin() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let data = folder.path().join("demo");
        let server = Server::start("demo", &data);
        let signs = liftledger::app::demo::kept_sign_ins(&data).unwrap();
        let passwords = signs.into_iter().map(|s| (s.user_name, s.password));
        Self {
            passwords: passwords.collect(),
            folder,
            server,
        }
    }

    pub fn at(&self, path: &str) -> String {
        format!("{}{path}", self.server.address)
    }
}
