//! The append path on a real SQLite file: group commit, the same command twice, fifty at once, a stop in the middle.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

use liftledger::app::audit::{Audit, audit};
use liftledger::app::{RecordError, Recorded, Recorder, Sent, Tools};
use liftledger::clock::SystemClock;
use liftledger::custody::{Act, Command, Signed, case, hand_over, item, mark, package, person};
use liftledger::ids::{CaseId, ItemId, MarkId, PackageId, PersonId, Piece, SceneId};
use liftledger::ledger::checkpoint::Key;
use liftledger::ledger::event::Source;
use liftledger::people::Role;
use liftledger::store::{Reads, SqliteStore};
use uuid::Uuid;

use super::world::Free;

fn key() -> Key {
    Key::new(&[7; 32], "ledger.example/test").unwrap()
}

struct Desk {
    store: Arc<SqliteStore>,
    recorder: Recorder,
    task: tokio::task::JoinHandle<()>,
}

async fn open(dir: &Path) -> Desk {
    let store = Arc::new(SqliteStore::open(&dir.join("ledger.db")).await.unwrap());
    let tools = Tools {
        store: store.clone(),
        key: key(),
        trade: Arc::new(Free),
        rules: "test".into(),
        clock: Arc::new(SystemClock),
        files: None,
    };
    let (recorder, task) = Recorder::start(tools);
    Desk {
        store,
        recorder,
        task,
    }
}

impl Desk {
    async fn send(
        &self,
        person: Option<PersonId>,
        command: Command,
    ) -> Result<Recorded, RecordError> {
        let signed = if person.is_some() {
            Signed::Password
        } else {
            Signed::System
        };
        self.recorder
            .record(Sent {
                person,
                signed,
                beside: None,
                source: Source::Desk,
                command,
            })
            .await
    }

    async fn act(&self, person: Option<PersonId>, act: Act) -> Uuid {
        let command = new(act);
        let id = command.id.0;
        self.send(person, command).await.unwrap();
        id
    }

    async fn audit(&self) -> Audit {
        audit(self.store.as_ref(), key().verifying_key(), &[], |_| {})
            .await
            .unwrap()
    }

    async fn close(self) {
        drop(self.recorder);
        self.task.await.unwrap();
        self.store.close().await;
    }
}

fn new(act: Act) -> Command {
    Command::now(act)
}

fn add(user_name: &str, role: Role) -> Act {
    Act::AddPerson(person::AddPerson {
        user_name: user_name.into(),
        name: format!("Name of {user_name}"),
        number: "N-1".into(),
        roles: BTreeSet::from([role]),
    })
}

/// A sealed package in the technician's hands.
async fn story(desk: &Desk) -> (Piece, PersonId, PersonId) {
    let admin = Some(PersonId(
        desk.act(None, add("admin", Role::Administrator)).await,
    ));
    let tech = PersonId(desk.act(admin, add("tech", Role::Technician)).await);
    let custodian = PersonId(desk.act(admin, add("custodian", Role::Custodian)).await);
    let me = Some(tech);
    let act = case::OpenCase {
        number: "HC-26-0117".into(),
        title: "Boatyard".into(),
        offence: String::new(),
    };
    let case = CaseId(desk.act(me, Act::OpenCase(act)).await);
    let act = case::OpenScene {
        case,
        name: "Shed".into(),
        address: "Slipway 2".into(),
    };
    let scene = SceneId(desk.act(me, Act::OpenScene(act)).await);
    let act = mark::NoteMark {
        case,
        scene,
        kind: mark::MarkKind::FrictionRidge,
        object: "fuel can".into(),
        exact_place: "handle, underside".into(),
        up: "towards the spout".into(),
        substrate: "2A".into(),
        texture: "grained".into(),
        curvature: "tight".into(),
        note: String::new(),
    };
    let mark = MarkId(desk.act(me, Act::NoteMark(act)).await);
    let act = item::Recover {
        mark,
        medium: "silicone-putty".into(),
        lot: String::new(),
        started_at: chrono::Utc::now().fixed_offset(),
        set_at: None,
        air_c: None,
        card: String::new(),
        description: "cast".into(),
        wet: false,
        biological: false,
        fragile: false,
        sharp: false,
        from_item: None,
        advice: None,
        size_mm: None,
        thickness: None,
        how_viewed: String::new(),
    };
    let item = ItemId(desk.act(me, Act::Recover(act)).await);
    let act = package::Pack {
        case,
        container: "rigid-box-small".into(),
        stock: None,
        inner_mm: None,
        contents: vec![Piece::Item(item)],
        note: String::new(),
    };
    let package = PackageId(desk.act(me, Act::Pack(act)).await);
    let act = package::Seal {
        package,
        number: "004217".into(),
        initialled: true,
    };
    desk.act(me, Act::Seal(act)).await;
    (Piece::Package(package), tech, custodian)
}

fn release(piece: Piece, to: PersonId) -> Act {
    Act::Release(hand_over::Release {
        piece,
        to,
        purpose: "intake".into(),
        authority: String::new(),
        due_at: None,
        unsealed_reason: None,
    })
}

fn receive(piece: Piece) -> Act {
    Act::Receive(hand_over::Receive {
        piece,
        seal_seen: "004217".into(),
        condition: hand_over::Condition::Intact,
        note: String::new(),
    })
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn fifty_clients_accept_the_same_offer_at_once() {
    let dir = tempfile::tempdir().unwrap();
    let desk = open(dir.path()).await;
    let (piece, tech, custodian) = story(&desk).await;
    desk.act(Some(tech), release(piece, custodian)).await;
    let clients = (0..50).map(|_| desk.send(Some(custodian), new(receive(piece))));
    let answers = futures_util::future::join_all(clients).await;
    let received = answers.iter().filter(|a| a.is_ok()).count();
    let refused = answers
        .iter()
        .filter(|a| matches!(a, Err(RecordError::Refused(r)) if r.code == "no-open-offer"))
        .count();
    assert_eq!((received, refused), (1, 49));
    let audit = desk.audit().await;
    assert!(audit.is_clean(), "{audit:?}");
    desk.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_same_command_twice_is_carried_out_once_also_after_a_restart() {
    let dir = tempfile::tempdir().unwrap();
    let desk = open(dir.path()).await;
    let (piece, tech, custodian) = story(&desk).await;
    let command = new(release(piece, custodian));
    let first = desk.send(Some(tech), command.clone()).await.unwrap();
    let twice = desk.send(Some(tech), command.clone()).await.unwrap();
    assert_eq!(first, twice);
    desk.close().await;
    let desk = open(dir.path()).await;
    assert_eq!(desk.send(Some(tech), command.clone()).await.unwrap(), first);
    let other = Command {
        act: release(piece, tech),
        ..command.clone()
    };
    assert_eq!(
        desk.send(Some(tech), other).await,
        Err(RecordError::Conflict)
    );
    // Somebody else's command of the same content is not the same command.
    assert_eq!(
        desk.send(Some(custodian), command).await,
        Err(RecordError::Conflict)
    );
    let before = desk.store.head().await.unwrap().size;
    desk.act(Some(custodian), receive(piece)).await;
    assert_eq!(desk.store.head().await.unwrap().size, before + 1);
    let audit = desk.audit().await;
    assert!(audit.is_clean(), "{audit:?}");
    desk.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_seal_number_and_a_user_name_are_used_once_also_within_one_group() {
    let dir = tempfile::tempdir().unwrap();
    let desk = open(dir.path()).await;
    let admin = Some(PersonId(
        desk.act(None, add("admin", Role::Administrator)).await,
    ));
    let same = (0..20).map(|_| desk.send(admin, new(add("same", Role::Technician))));
    let answers = futures_util::future::join_all(same).await;
    let taken = answers
        .iter()
        .filter(|a| matches!(a, Err(RecordError::Refused(r)) if r.code == "already-in-use"))
        .count();
    assert_eq!(
        (answers.iter().filter(|a| a.is_ok()).count(), taken),
        (1, 19)
    );
    let audit = desk.audit().await;
    assert!(audit.is_clean(), "{audit:?}");
    desk.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_change_behind_the_ledgers_back_is_found() {
    let dir = tempfile::tempdir().unwrap();
    let desk = open(dir.path()).await;
    let (piece, tech, custodian) = story(&desk).await;
    desk.act(Some(tech), release(piece, custodian)).await;
    desk.close().await;
    // Whoever has the file can take the guards away; each such hand leaves a finding.
    let database = |sql: &'static str| {
        let path = dir.path().join("ledger.db");
        async move {
            use sqlx::{ConnectOptions, Connection};
            let options = sqlx::sqlite::SqliteConnectOptions::new().filename(path);
            let mut raw = options.connect().await.unwrap();
            sqlx::raw_sql(sql).execute(&mut raw).await.unwrap();
            raw.close().await.unwrap();
        }
    };
    database(
        "UPDATE docs SET doc = replace(doc, '\"Boatyard\"', '\"Harbour\"') WHERE kind = 'case'",
    )
    .await;
    let desk = open(dir.path()).await;
    let found = desk.audit().await;
    assert!(found.ledger.is_clean(), "{found:?}");
    assert_eq!(
        found.models.iter().map(|d| d.code).collect::<Vec<_>>(),
        vec!["read-model-differs"]
    );
    desk.close().await;
    database(
        "UPDATE docs SET doc = replace(doc, '\"Harbour\"', '\"Boatyard\"') WHERE kind = 'case'; \
         UPDATE docs SET lot = 'lifting-tape/NONE' WHERE kind = 'item'",
    )
    .await;
    let desk = open(dir.path()).await;
    let found = desk.audit().await;
    let items: Vec<&str> = found.models.iter().map(|d| d.text.as_str()).collect();
    assert!(
        !items.is_empty() && items.iter().all(|t| t.starts_with("item:")),
        "{found:?}"
    );
    desk.close().await;
    // The same number of events of each, and two of them in each other's place.
    database(
        "UPDATE docs SET lot = NULL WHERE kind = 'item' AND lot = 'lifting-tape/NONE'; \
         UPDATE touches SET seq = (SELECT sum(seq) FROM touches AS t WHERE t.subject = touches.subject AND t.n IN (1, 2)) - seq \
         WHERE n IN (1, 2) AND subject = (SELECT subject FROM touches WHERE subject LIKE 'item:%' AND n = 2 LIMIT 1)",
    )
    .await;
    let desk = open(dir.path()).await;
    let found = desk.audit().await;
    assert!(found.ledger.is_clean(), "{found:?}");
    assert!(
        found
            .models
            .iter()
            .any(|d| d.code == "touches-differ" && d.text.contains("item:")),
        "{found:?}"
    );
    desk.close().await;
    database("DELETE FROM touches WHERE seq = 10").await;
    let desk = open(dir.path()).await;
    let found = desk.audit().await;
    assert!(
        found.models.iter().any(|d| d.code == "count-differs"),
        "{found:?}"
    );
    desk.close().await;
}
