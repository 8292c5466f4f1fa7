//! The demo, loaded once for the tests of a file, and the whole router over it.

use std::path::Path;
use std::sync::{Arc, OnceLock};

use axum::Router;
use liftledger::app::Sent;
use liftledger::app::demo::{self, Demo};
use liftledger::app::house::House;
use liftledger::custody::{Act, Command, Signed};
use liftledger::ids::PersonId;
use liftledger::ledger::event::Source;
use liftledger::web::{App, router};
use tokio::runtime::Runtime;

pub struct World {
    pub house: Arc<House>,
    pub demo: Demo,
    pub router: Router,
}

/// The writer of a house lives on the runtime that opened it, so all tests run on this one.
pub fn runtime() -> &'static Runtime {
    static RUNTIME: OnceLock<Runtime> = OnceLock::new();
    RUNTIME.get_or_init(|| Runtime::new().unwrap())
}

impl World {
    /// Loads it into a folder of this name, which no other file of tests uses.
    pub fn load(name: &str) -> Self {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
        let _ = std::fs::remove_dir_all(&folder);
        let (house, demo) = runtime().block_on(demo::begin(&folder)).unwrap();
        let house = Arc::new(house);
        let router = router(App::new(house.clone(), false));
        Self {
            house,
            demo,
            router,
        }
    }

    /// Puts something on the record in somebody's name, without a page. What it creates bears the identifier that it gives back.
    pub async fn record(&self, person: PersonId, act: Act) -> uuid::Uuid {
        let command = Command::now(act);
        let id = command.id.0;
        let sent = Sent {
            person: Some(person),
            signed: Signed::Password,
            beside: None,
            source: Source::Desk,
            command,
        };
        self.house.recorder.record(sent).await.unwrap();
        id
    }
}

/// The body of a form.
pub fn encoded(fields: &[(&str, &str)]) -> String {
    let one = |s: &str| {
        percent_encoding::utf8_percent_encode(s, percent_encoding::NON_ALPHANUMERIC).to_string()
    };
    let pairs: Vec<String> = fields
        .iter()
        .map(|(n, v)| format!("{}={}", one(n), one(v)))
        .collect();
    pairs.join("&")
}
