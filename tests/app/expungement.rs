//! Expungements carried out on a data folder: what is gone, also from the raw bytes, what stays, and what follows.

use liftledger::app::audit::audit;
use liftledger::app::backup::{self, Asked, Source};
use liftledger::app::house::House;
use liftledger::app::site::Site;
use liftledger::app::views::find::{MOST_HITS, find};
use liftledger::app::{RecordError, Sent, Viewer};
use liftledger::custody::disposition::Method;
use liftledger::custody::{Act, Command, Signed, hand_over, mark};
use liftledger::ids::{CommandId, Piece, Subject};
use liftledger::imaging::recipe::{Op, Recipe};
use liftledger::ledger::event::Source as From;
use liftledger::store::{RAW_BYTES, Reads as _, SqliteStore};

use super::boatyard::{Boatyard, act};
use super::ordered::{
    PLANTED, carry_out, clean, dispose, holding, looked, order, picture, second, shot,
};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_case_is_expunged_to_its_last_byte_and_the_ledger_still_verifies() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("ledger");
    let yard = Boatyard::begin(&data).await;
    let house = &yard.house;
    let it = second(&yard).await;
    let viewer = Viewer::operator();
    let recipe = Recipe::new(vec![Op::Grey]);
    let copied = liftledger::app::copies::make(
        &house.reader(&yard.viewer(yard.tech).await),
        liftledger::app::papers::By {
            signed: Signed::Password,
            source: From::Desk,
        },
        CommandId::new(),
        Subject::Mark(it.mark),
        it.digest,
        &liftledger::app::copies::Wanted::By(recipe),
    )
    .await
    .unwrap();
    let upload = house
        .uploads
        .remember(
            yard.tech,
            &format!("{PLANTED}.png"),
            house.originals.keep(&shot(77)).unwrap(),
            chrono::Utc::now(),
        )
        .await
        .unwrap();
    let (liaison, supervisor) = (Some(yard.liaison), Some(yard.supervisor));
    let ordered = act(house, liaison, None, order(Subject::Case(it.case), vec![]))
        .await
        .unwrap();
    // Still in custody, and by the same person: neither goes.
    let refused = |e: RecordError| match e {
        RecordError::Refused(r) => r.code,
        other => panic!("{other}"),
    };
    let early = act(house, supervisor, None, carry_out(it.case, 1)).await;
    assert_eq!(refused(early.unwrap_err()), "still-in-custody");
    dispose(&yard, it.item).await;
    assert!(!holding(&data, PLANTED).is_empty());
    let before = house.store.event(ordered.seq).await.unwrap().unwrap();

    let command = Command::now(carry_out(it.case, 1));
    let sent = Sent {
        person: supervisor,
        signed: Signed::Password,
        beside: None,
        source: From::Desk,
        command,
    };
    let done = house.recorder.record(sent.clone()).await.unwrap();
    // Sent again, the same answer.
    assert_eq!(house.recorder.record(sent).await.unwrap(), done);

    assert_eq!(holding(&data, PLANTED), Vec::<String>::new());
    for gone in [it.digest, copied.copy] {
        assert!(!house.originals.exists(gone));
    }
    assert!(
        house
            .uploads
            .told(upload, yard.tech, chrono::Utc::now())
            .is_err()
    );
    assert!(house.store.removals(10).await.unwrap().is_empty());
    let expunged = clean(house).await;
    assert!(expunged > 10, "{expunged}");
    // The order and what stands elsewhere are untouched.
    assert_eq!(
        house.store.event(ordered.seq).await.unwrap().unwrap(),
        before
    );
    let reader = house.reader(&viewer);
    let case = reader.case(it.case).await.unwrap();
    assert_eq!(case.number, "HC-26-0200");
    assert_eq!(case.title, "expunged by order 26-EX-14");
    assert!(case.expunged.is_some());
    let mark = reader.mark(it.mark).await.unwrap();
    assert!(mark.images.is_empty() && mark.expunged.is_some());
    let item = reader.item(it.item).await.unwrap();
    assert_eq!(item.number, 1);
    assert_eq!(
        item.custody.holder,
        liftledger::custody::state::Holder::Disposed {
            method: Method::Destroy
        }
    );
    let history = reader.history(Subject::Item(it.item)).await.unwrap();
    assert!(history.iter().any(|p| p.event.expunged == Some(done.seq)));
    // Papers of what is left can still be made.
    let report = super::backup::report(house, Subject::Case(it.case)).await;
    assert!(report.starts_with(b"%PDF"));
    let after = act(
        house,
        Some(yard.tech),
        None,
        Act::DevelopMark(mark::DevelopMark {
            mark: it.mark,
            method: "BLP".into(),
            note: String::new(),
        }),
    )
    .await;
    assert_eq!(refused(after.unwrap_err()), "expunged-by-order");
    // The other case goes on as before.
    let develop = mark::DevelopMark {
        mark: yard.marks[0],
        method: "BLP".into(),
        note: "once more".into(),
    };
    act(house, Some(yard.tech), None, Act::DevelopMark(develop))
        .await
        .unwrap();
    yard.house.close().await;
    // Opened again, everything is the same.
    let house = House::open(data.as_path()).await.unwrap();
    assert_eq!(clean(&house).await, expunged);
    house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn single_events_of_a_thing_in_custody_lose_their_texts_and_custody_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("ledger");
    let yard = Boatyard::begin(&data).await;
    let house = &yard.house;
    let it = second(&yard).await;
    // The picture also stands in the yard's first case: there its bytes are needed.
    let (same, add) = picture(Subject::Mark(yard.marks[0]), house, 77, "IMG_0900.png");
    assert_eq!(same, it.digest);
    act(house, Some(yard.tech), None, add).await.unwrap();
    let viewer = Viewer::operator();
    let history = house
        .reader(&viewer)
        .history(Subject::Mark(it.mark))
        .await
        .unwrap();
    let seq = |kind: &str| {
        let of = history.iter().find(|p| p.event.header.kind == kind);
        of.unwrap().event.header.seq
    };
    let named = vec![seq("mark.noted"), seq("image.added"), seq("item.recovered")];
    let supervisor = Some(yard.supervisor);
    act(
        house,
        supervisor,
        None,
        order(Subject::Case(it.case), named),
    )
    .await
    .unwrap();
    act(house, Some(yard.admin), None, carry_out(it.case, 1))
        .await
        .unwrap();
    // The amendment of the note went with the note: four events.
    assert_eq!(clean(house).await, 4);
    assert!(house.originals.exists(it.digest));
    let reader = house.reader(&viewer);
    let mark = reader.mark(it.mark).await.unwrap();
    assert_eq!(mark.noted.object, "expunged by order 26-EX-14");
    assert!(mark.images.is_empty() && mark.expunged.is_none());
    let item = reader.item(it.item).await.unwrap();
    assert_eq!(item.recovered.description, "expunged by order 26-EX-14");
    // Neither is found any more by what was said of it; the case, whose title was not expunged, is.
    let found = find(&reader, PLANTED, MOST_HITS).await.unwrap();
    let found: Vec<Subject> = found.hits.iter().map(|h| h.subject).collect();
    assert_eq!(found, [Subject::Case(it.case)]);
    // What keep rules ask for is still there, and so is custody: it goes on.
    assert_eq!(item.recovered.medium, "thick-pliable-tape");
    assert!(item.recovered.needs.is_some());
    let release = hand_over::Release {
        piece: Piece::Item(it.item),
        to: yard.tech,
        purpose: "to be photographed".into(),
        authority: String::new(),
        due_at: None,
        unsealed_reason: Some("no seal at hand".into()),
    };
    act(house, Some(yard.custodian), None, Act::Release(release))
        .await
        .unwrap();
    assert_eq!(clean(house).await, 4);
    yard.house.close().await;
}

/// The raw files are grepped for the texts of events that were named; the rest of the case keeps the word.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_item_disposed_of_is_expunged_alone() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("ledger");
    let yard = Boatyard::begin(&data).await;
    let house = &yard.house;
    let it = second(&yard).await;
    dispose(&yard, it.item).await;
    act(
        house,
        Some(yard.liaison),
        None,
        order(Subject::Item(it.item), vec![]),
    )
    .await
    .unwrap();
    act(house, Some(yard.admin), None, carry_out(it.case, 1))
        .await
        .unwrap();
    for gone in ["a description", "burned", "a purpose"] {
        assert_eq!(
            holding(&data, &format!("{gone} {PLANTED}")),
            Vec::<String>::new()
        );
    }
    assert!(!holding(&data, &format!("the title {PLANTED}")).is_empty());
    clean(house).await;
    let viewer = Viewer::operator();
    let reader = house.reader(&viewer);
    let item = reader.item(it.item).await.unwrap();
    assert_eq!(item.expunged.unwrap().words(), "expunged by order 26-EX-14");
    assert!(reader.case(it.case).await.unwrap().expunged.is_none());
    yard.house.close().await;
}

/// The guards let go exactly what an expungement names; everything else is refused also behind the store's back.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_guards_let_go_what_an_expungement_names_and_no_more() {
    use sqlx::{AssertSqlSafe, Connection as _, Executor as _};
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("ledger");
    let yard = Boatyard::begin(&data).await;
    let house = &yard.house;
    let it = second(&yard).await;
    let viewer = Viewer::operator();
    let reader = house.reader(&viewer);
    let history = reader.history(Subject::Mark(it.mark)).await.unwrap();
    let noted = history[0].event.header.seq;
    act(
        house,
        Some(yard.supervisor),
        None,
        order(Subject::Case(it.case), vec![noted]),
    )
    .await
    .unwrap();
    let done = act(house, Some(yard.admin), None, carry_out(it.case, 1))
        .await
        .unwrap()
        .seq;
    yard.house.close().await;
    let path = data.join("ledger.db");
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(&path);
    let mut raw = sqlx::SqliteConnection::connect_with(&options)
        .await
        .unwrap();
    for sql in [
        format!("DELETE FROM event_payloads WHERE seq = {}", noted - 1),
        format!("DELETE FROM event_payloads WHERE seq = {done}"),
        "DELETE FROM event_payloads".to_owned(),
        format!("INSERT INTO event_payloads (seq, salt, fields) VALUES ({noted}, x'00', x'7b7d')"),
        format!("INSERT INTO expunged (seq, by_seq, remains) VALUES (2, {done}, x'7b7d')"),
        format!(
            "INSERT INTO expunged (seq, by_seq, remains) VALUES ({noted}, {}, x'7b7d')",
            noted + 1
        ),
        format!(
            "INSERT OR REPLACE INTO expunged (seq, by_seq, remains) VALUES ({noted}, {done}, x'7b7d')"
        ),
        format!("UPDATE expunged SET remains = x'7b7d' WHERE seq = {noted}"),
        format!("DELETE FROM expunged WHERE seq = {noted}"),
    ] {
        let refused = raw.execute(AssertSqlSafe(sql.clone())).await;
        assert!(refused.is_err(), "{sql}");
    }
    // Whoever takes the guards away is found out: a payload that nothing names, and what is left of one changed.
    raw.execute("DROP TRIGGER event_payloads_no_delete; DROP TRIGGER expunged_no_update")
        .await
        .unwrap();
    raw.execute("DELETE FROM event_payloads WHERE seq = 3; UPDATE expunged SET remains = x'7b7d'")
        .await
        .unwrap();
    drop(raw);
    let house = House::open(data.as_path()).await.unwrap();
    let found = looked(&house).await;
    let ledger: Vec<&str> = found
        .ledger
        .findings
        .iter()
        .map(|f| f.code.as_str())
        .collect();
    assert_eq!(ledger, ["payload-missing"]);
    let codes: Vec<&str> = found.models.iter().map(|m| m.code).collect();
    for code in ["guard-missing", "expunged-differs", "event-leads-nowhere"] {
        assert!(codes.contains(&code), "{codes:?}");
    }
    house.close().await;
}

/// What a crash left between the commit and the removal is finished by the next start.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_removal_that_was_stopped_is_finished_by_the_next_start() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("ledger");
    let yard = Boatyard::begin(&data).await;
    let it = second(&yard).await;
    dispose(&yard, it.item).await;
    let of = order(Subject::Case(it.case), vec![]);
    act(&yard.house, Some(yard.liaison), None, of)
        .await
        .unwrap();
    yard.house.close().await;
    // A writer that knows no files stops where a crash would: committed, and nothing removed.
    let store = std::sync::Arc::new(SqliteStore::open(&data.join("ledger.db")).await.unwrap());
    let keys = liftledger::keys::Keys::open(&data.join("keys")).unwrap();
    let tools = liftledger::app::Tools {
        store: store.clone(),
        key: keys.checkpoint("ledger.example/harrow-cove").unwrap(),
        trade: std::sync::Arc::new(liftledger::trade::TradeRules::load_embedded().unwrap()),
        rules: "test".into(),
        clock: std::sync::Arc::new(liftledger::clock::SystemClock),
        files: None,
    };
    let (recorder, task) = liftledger::app::Recorder::start(tools);
    let sent = Sent {
        person: Some(yard.admin),
        signed: Signed::Password,
        beside: None,
        source: From::Desk,
        command: Command::now(carry_out(it.case, 1)),
    };
    recorder.record(sent).await.unwrap();
    drop(recorder);
    task.await.unwrap();
    let waiting: Vec<String> = liftledger::store::Removals::removals(store.as_ref(), 10)
        .await
        .unwrap()
        .into_iter()
        .map(|r| r.what)
        .collect();
    assert!(waiting.contains(&RAW_BYTES.to_owned()) && waiting.contains(&it.digest.to_string()));
    let audit = audit(
        store.as_ref(),
        keys.checkpoint("ledger.example/harrow-cove")
            .unwrap()
            .verifying_key(),
        &[],
        |_| {},
    )
    .await
    .unwrap();
    let codes: Vec<&str> = audit.models.iter().map(|m| m.code).collect();
    assert_eq!(codes, ["expungement-unfinished"]);
    liftledger::store::Store::close(store.as_ref()).await;

    let house = House::open(data.as_path()).await.unwrap();
    assert!(house.store.removals(10).await.unwrap().is_empty());
    assert!(!house.originals.exists(it.digest));
    assert_eq!(holding(&data, PLANTED), Vec::<String>::new());
    clean(&house).await;
    house.close().await;
}

/// A backup made before holds the texts; brought up to the ledger it holds them no more, and restores.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_later_backup_drops_what_was_expunged_and_restores() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("ledger");
    let kept = folder.path().join("backup");
    let yard = Boatyard::begin(&data).await;
    let it = second(&yard).await;
    dispose(&yard, it.item).await;
    let site = Site::from(data.as_path());
    let back_up = async || {
        let source = Source::open(&site).await.unwrap();
        let made = backup::make(&source, &kept, None, |_| {}).await.unwrap();
        source.close().await;
        made
    };
    back_up().await;
    assert!(!holding(&kept, PLANTED).is_empty());
    let original = liftledger::originals::Originals::at(kept.join("originals"));
    assert!(original.exists(it.digest));
    let of = order(Subject::Case(it.case), vec![]);
    act(&yard.house, Some(yard.liaison), None, of)
        .await
        .unwrap();
    act(&yard.house, Some(yard.admin), None, carry_out(it.case, 1))
        .await
        .unwrap();
    back_up().await;
    assert_eq!(holding(&kept, PLANTED), Vec::<String>::new());
    assert!(!original.exists(it.digest));
    // Once more, with nothing new.
    back_up().await;
    let checked = backup::check(
        &kept,
        &Asked::default(),
        &folder.path().join("scratch"),
        |_| {},
    )
    .await
    .unwrap();
    assert_eq!(checked.without, []);
    let again = folder.path().join("again");
    backup::restore(
        &kept,
        &Site::from(again.as_path()),
        &Asked::default(),
        None,
        |_| {},
    )
    .await
    .unwrap();
    let expunged = clean(&yard.house).await;
    let store = SqliteStore::open(&again.join("ledger.db")).await.unwrap();
    let restored = audit(&store, &yard.house.verifying, &[], |_| {})
        .await
        .unwrap();
    assert!(restored.is_clean());
    assert_eq!(restored.ledger.expunged, expunged);
    let doc = Subject::Case(it.case).to_string();
    assert_eq!(
        store.doc(&doc).await.unwrap(),
        yard.house.store.doc(&doc).await.unwrap()
    );
    store.close().await;
    yard.house.close().await;
}
