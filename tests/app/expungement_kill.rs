//! The real server killed with SIGKILL in the middle of expungements: after the next start each is either not there, with
//! every text, or carried out to its last byte. (The machine itself goes on, so this is no test of a power cut.)

use std::path::Path;
use std::time::Duration;

use liftledger::app::Viewer;
use liftledger::app::house::House;
use liftledger::custody::{Act, case, mark};
use liftledger::ids::{CaseId, Digest, MarkId, PersonId, Subject};
use liftledger::people::password;
use liftledger::store::CredentialRow;

use super::boatyard::{Boatyard, act, noted};
use super::load::random;
use super::ordered::{clean, holding, order, picture};
use super::served::{Answer, Server, Sheet, Visit};

const CASES: usize = 14;
const SECRET: &str = "slipway lantern 42";

struct Named {
    case: CaseId,
    word: String,
    digest: Digest,
}

/// A case with a mark, a picture, a word of its own, and an order to expunge it.
async fn named(yard: &Boatyard, n: usize) -> Named {
    let (house, tech) = (&yard.house, Some(yard.tech));
    let word = format!("quillwort-{n:03}-");
    let open = case::OpenCase {
        number: format!("HC-26-05{n:02}"),
        title: format!("title {word}"),
        offence: String::new(),
    };
    let made = act(house, tech, None, Act::OpenCase(open)).await.unwrap();
    let Some(Subject::Case(case)) = made.created else {
        panic!("no case")
    };
    let scene = case::OpenScene {
        case,
        name: format!("scene {word}"),
        address: "4 Slip Road".into(),
    };
    act(house, tech, None, Act::OpenScene(scene)).await.unwrap();
    let viewer = Viewer::operator();
    let scene = house.reader(&viewer).case(case).await.unwrap().scenes[0].id;
    let mut note = noted(case, scene, mark::MarkKind::Toolmark, n);
    note.note = format!("note {word}");
    let made = act(house, tech, None, Act::NoteMark(note)).await.unwrap();
    let mark: MarkId = match made.created {
        Some(Subject::Mark(mark)) => mark,
        other => panic!("{other:?}"),
    };
    let seed = u8::try_from(100 + n).unwrap();
    let (digest, add) = picture(Subject::Mark(mark), house, seed, &format!("name {word}"));
    act(house, tech, None, add).await.unwrap();
    act(
        house,
        Some(yard.supervisor),
        None,
        order(Subject::Case(case), vec![]),
    )
    .await
    .unwrap();
    Named { case, word, digest }
}

async fn secret(house: &House, person: PersonId, user_name: &str) {
    let row = CredentialRow {
        person: Subject::Person(person).to_string(),
        phc: password::hash(SECRET, user_name).unwrap(),
        changed_at: "2026-03-01T00:00:00.000000Z".into(),
    };
    house.store.set_credential(row).await.unwrap();
}

/// Whether it was carried out, after a start that finishes what was stopped.
async fn looked_at(data: &Path, it: &Named) -> bool {
    let house = House::open(data).await.unwrap();
    let viewer = Viewer::operator();
    let case = house.reader(&viewer).case(it.case).await.unwrap();
    let done = case.expunged.is_some();
    assert!(house.store.removals(10).await.unwrap().is_empty());
    assert_eq!(house.originals.exists(it.digest), !done);
    clean(&house).await;
    house.close().await;
    assert_eq!(holding(data, &it.word).is_empty(), done);
    done
}

#[test]
fn an_expungement_is_whole_or_not_there_however_the_server_ends() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("ledger");
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .unwrap();
    let cases = runtime.block_on(async {
        let yard = Boatyard::begin(&data).await;
        secret(&yard.house, yard.admin, "ivo").await;
        let mut cases = Vec::new();
        for n in 0..CASES {
            cases.push(named(&yard, n).await);
        }
        yard.house.close().await;
        cases
    });
    let mut went = [0, 0];
    for it in &cases {
        let sheet = Sheet {
            word: "carry-out-expungement",
            id: uuid::Uuid::now_v7().to_string(),
            fields: vec![("case", it.case.to_string()), ("number", "1".to_owned())],
        };
        let mut server = Server::start("serve", &data);
        let visit = Visit::begin(&server.address, "ivo", SECRET, "/account");
        let address = server.address.clone();
        std::thread::scope(|scope| {
            scope.spawn(|| visit.send(&address, &sheet));
            // Checking the password takes most of the time before.
            std::thread::sleep(Duration::from_millis(random(2_000)));
            server.kill();
        });
        let done = runtime.block_on(looked_at(&data, it));
        went[usize::from(done)] += 1;
        // Sent again it is carried out, or answered as it was.
        let server = Server::start("serve", &data);
        let visit = Visit::begin(&server.address, "ivo", SECRET, "/account");
        let answer = visit.send(&server.address, &sheet);
        assert!(matches!(answer, Answer::Done(_)), "{answer:?}");
        drop(server);
        assert!(runtime.block_on(looked_at(&data, it)));
    }
    eprintln!("{} not there, {} carried out when killed", went[0], went[1]);
}
