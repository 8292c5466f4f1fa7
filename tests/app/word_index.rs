//! The word index: derived with the documents, audited, filled in where a database has none; words of a restricted case never
//! get in.

use std::collections::BTreeSet;

use liftledger::app::audit::{Audit, audit};
use liftledger::app::house::House;
use liftledger::app::reader::opened;
use liftledger::app::views::find::{MOST_TYPED, find};
use liftledger::app::word_index::{self, MOST_LETTERS, MOST_WORDS};
use liftledger::app::{Reader, Viewer, demo, replay};
use liftledger::custody::{Act, State, amendment, case};
use liftledger::ids::Subject;
use liftledger::ledger::event::Event;
use sqlx::{AssertSqlSafe, Connection as _, Executor as _, SqliteConnection};

use super::boatyard::{Boatyard, CASE, act};

async fn audited(house: &House) -> Audit {
    audit(house.store.as_ref(), &house.verifying, &[], |_| {})
        .await
        .unwrap()
}

async fn found(reader: &Reader<'_>, q: &str) -> BTreeSet<String> {
    let found = find(reader, q, 50).await.unwrap();
    found.hits.into_iter().map(|h| h.name).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn things_are_found_by_the_beginnings_of_their_words() {
    let folder = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(folder.path()).await;
    let cal = b.viewer(b.custodian).await;
    let reader = b.house.reader(&cal);
    for (q, name) in [
        ("s", "Place Shelf D-12"),
        ("shelf", "Place Shelf D-12"),
        ("SHE d-12", "Place Shelf D-12"),
        ("bran", "Cal Brannoch"),
        ("c-007", "Cal Brannoch"),
        ("0042", "Package P1"),
        ("putty", "Item 2"),
        ("recovered silicone", "Item 2"),
        ("hasp", "Mark M2"),
        ("boaty", "Case HC-26-0117"),
        ("0117", "Case HC-26-0117"),
        ("HC-26-0117 putty", "Item 2"),
        ("hasp HC-26-0117", "Mark M2"),
    ] {
        let names = found(&reader, q).await;
        assert!(names.contains(name), "{q}: {names:?}");
    }
    assert_eq!(found(&reader, "recovered silicone").await.len(), 1);
    for q in [
        "utty",
        "hasp putty",
        "\u{0}",
        "%",
        "''",
        "--",
        &"x".repeat(5_000),
    ] {
        assert_eq!(found(&reader, q).await.len(), 0, "{q}");
    }
    // The beginning of a code, as it is typed off a label.
    let code = reader.item(b.items[0]).await.unwrap().code;
    let begin = &code.as_str()[..7];
    if begin.bytes().any(|c| c.is_ascii_digit()) {
        assert!(
            found(&reader, &begin.to_lowercase())
                .await
                .contains("Item 1")
        );
    }
    // One letter shows something of several kinds, and says that there is more.
    let few = find(&reader, "c", 3).await.unwrap();
    assert!(few.hits.len() == 3 && few.more, "{few:?}");
    assert!(find(&reader, "putty", MOST_TYPED).await.unwrap().hits.len() <= MOST_TYPED);

    // A description that is amended is found by its new words only.
    let viewer = Viewer::operator();
    let history = b
        .house
        .reader(&viewer)
        .history(Subject::Item(b.items[1]))
        .await
        .unwrap();
    let recovered = history
        .iter()
        .find(|p| p.event.header.kind == "item.recovered")
        .unwrap();
    let amend = amendment::Amend {
        event: recovered.event.header.seq,
        field: "description".into(),
        value: "cast of the hinge, in two halves".into(),
        reason: "the wrong words".into(),
    };
    act(&b.house, Some(b.tech), None, Act::Amend(amend))
        .await
        .unwrap();
    assert!(found(&reader, "halves").await.contains("Item 2"));
    assert!(found(&reader, "recovered silicone").await.is_empty());
    assert!(audited(&b.house).await.is_clean());
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_restricted_case_takes_its_words_out_and_gets_them_back() {
    let folder = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(folder.path()).await;
    let of = |restricted: bool| {
        Act::Restrict(case::Restrict {
            case: b.case,
            restricted,
            reason: "a witness is in it".into(),
        })
    };
    let sees = b.viewer(b.supervisor).await;
    let stranger = b.viewer(b.custodian).await;
    let words = [
        "putty",
        "hasp",
        "boatyard",
        "burglary",
        "004217",
        "HC-26-0117 putty",
    ];
    for q in words {
        assert!(
            !found(&b.house.reader(&stranger), q).await.is_empty(),
            "{q}"
        );
    }
    act(&b.house, Some(b.supervisor), None, of(true))
        .await
        .unwrap();
    for q in words {
        // The seal as it is written leads those who may see it there; no beginning and no word does.
        let assigned = found(&b.house.reader(&sees), q).await;
        assert!(q == "004217" || assigned.is_empty(), "{q}: {assigned:?}");
        assert!(found(&b.house.reader(&stranger), q).await.is_empty(), "{q}");
    }
    for q in ["h", "HC-26", CASE] {
        let case = format!("Case {CASE}");
        assert!(
            found(&b.house.reader(&sees), q).await.contains(&case),
            "{q}"
        );
        assert!(
            !found(&b.house.reader(&stranger), q).await.contains(&case),
            "{q}"
        );
    }
    // In the database itself there is no word of it but its number.
    let mut raw = SqliteConnection::connect(&format!(
        "sqlite://{}",
        folder.path().join("ledger.db").display()
    ))
    .await
    .unwrap();
    let left: Vec<String> = sqlx::query_scalar(
        "SELECT word FROM words WHERE kind NOT IN ('person', 'place') ORDER BY word",
    )
    .fetch_all(&mut raw)
    .await
    .unwrap();
    assert_eq!(left, ["0117", "26", "hc", "hc-26-0117"]);
    assert!(audited(&b.house).await.is_clean());
    act(&b.house, Some(b.supervisor), None, of(false))
        .await
        .unwrap();
    for q in words {
        assert!(
            !found(&b.house.reader(&stranger), q).await.is_empty(),
            "{q}"
        );
    }
    assert!(audited(&b.house).await.is_clean());
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_audit_finds_every_wrong_word_and_a_database_without_words_gets_them() {
    let folder = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(folder.path()).await;
    let file = format!("sqlite://{}", folder.path().join("ledger.db").display());
    let mut raw = SqliteConnection::connect(&file).await.unwrap();
    let item = Subject::Item(b.items[0]);
    for (wrong, mend) in [
        (
            format!("DELETE FROM words WHERE subject = '{item}' AND word = 'recovered'"),
            format!(
                "INSERT INTO words (subject, word, kind) VALUES ('{item}', 'recovered', 'item')"
            ),
        ),
        (
            format!("INSERT INTO words (subject, word, kind) VALUES ('{item}', 'planted', 'item')"),
            "DELETE FROM words WHERE word = 'planted'".to_owned(),
        ),
        (
            "INSERT INTO words (subject, word, kind) VALUES ('item:nobody', 'x', 'item')"
                .to_owned(),
            "DELETE FROM words WHERE subject = 'item:nobody'".to_owned(),
        ),
        // Under another kind it is not found among items.
        (
            format!(
                "UPDATE words SET kind = 'case' WHERE subject = '{item}' AND word = 'recovered'"
            ),
            format!(
                "UPDATE words SET kind = 'item' WHERE subject = '{item}' AND word = 'recovered'"
            ),
        ),
    ] {
        raw.execute(AssertSqlSafe(wrong.clone())).await.unwrap();
        let found = audited(&b.house).await.models;
        assert_eq!(found.len(), 1, "{wrong}: {found:?}");
        assert_eq!(found[0].code, "words-differ");
        raw.execute(AssertSqlSafe(mend)).await.unwrap();
        assert!(audited(&b.house).await.is_clean());
    }
    // All words of a subject gone, and one of nobody: filled anew, everything is right.
    raw.execute(AssertSqlSafe(format!(
        "DELETE FROM words WHERE subject = '{item}'; \
         INSERT INTO words (subject, word, kind) VALUES ('item:nobody', 'x', 'item')"
    )))
    .await
    .unwrap();
    assert_eq!(audited(&b.house).await.models.len(), 2);
    word_index::fill(b.house.store.as_ref()).await.unwrap();
    assert!(audited(&b.house).await.is_clean());
    let verifying = b.house.verifying.clone();
    b.house.close().await;

    // A database of before there were words.
    raw.execute(
        "DROP TABLE words; DELETE FROM _sqlx_migrations WHERE version = 6; DELETE FROM settings WHERE name = 'word-index'",
    )
    .await
    .unwrap();
    raw.close().await.unwrap();
    let house = House::open(folder.path()).await.unwrap();
    let found = audit(house.store.as_ref(), &verifying, &[], |_| {})
        .await
        .unwrap();
    assert!(found.is_clean(), "{:?}", found.models);
    let viewer = Viewer::operator();
    let hits = find(&house.reader(&viewer), "shelf", 8).await.unwrap().hits;
    assert_eq!(hits.len(), 1);
    house.close().await;
}

/// What most events are changes no words: nothing is computed and written for them.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn events_that_are_said_to_change_no_words_change_none() {
    let folder = tempfile::tempdir().unwrap();
    let (house, _) = demo::begin(folder.path()).await.unwrap();
    let mut state = State::default();
    let (mut quiet, mut from) = (BTreeSet::new(), i64::MIN);
    let words = |state: &State, event: &Event| -> Vec<Vec<String>> {
        let touched = event.header.touches.iter();
        touched
            .map(|t| word_index::words(state, t.subject))
            .collect()
    };
    loop {
        let page = house.store.events(from, 500).await.unwrap();
        let Some(last) = page.last() else { break };
        from = last.seq + 1;
        for raw in page {
            let event = opened(raw).unwrap();
            let before = words(&state, &event);
            replay::step(&mut state, &event).unwrap();
            let kind = event.header.kind.as_str();
            if !word_index::may_change(kind) {
                // A subject that the event itself makes has no words either.
                assert_eq!(words(&state, &event), before, "{kind}");
                quiet.insert(kind.to_owned());
            }
        }
    }
    // The demo has many of them, so this was no empty promise.
    assert!(quiet.len() > 12, "{quiet:?}");
    assert!(word_index::may_change("item.recovered") && word_index::may_change("record.amended"));
    house.close().await;
}

#[test]
fn words_are_cut_and_counted() {
    assert_eq!(
        word_index::asked("  HC-26-0117, (Boatyard) «Łódź» -- "),
        ["hc-26-0117", "boatyard", "łódź"]
    );
    assert_eq!(word_index::asked(" \t\n-/- "), Vec::<String>::new());
    assert_eq!(
        word_index::asked(&"w".repeat(500))[0].chars().count(),
        MOST_LETTERS
    );
    const { assert!(MOST_WORDS >= 100) };
}
