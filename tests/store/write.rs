//! Appending.

use std::time::Duration;

use liftledger::store::{Batch, CommandRow, LIST_MAX, Reads, SealRow, Store, StoreError, TouchRow};

use super::{Place, batch, doc};

#[tokio::test]
async fn what_is_appended_is_read_back() {
    let place = Place::new().await;
    let mut tx = place.store.begin().await.unwrap();
    assert_eq!(tx.head().await.unwrap().size, 0);
    let mut b = batch(1, 3);
    let mut item = doc("item:a", "item");
    item.code = Some("I00000000000".into());
    item.doc = "{\"first\":1}".into();
    b.docs = vec![item.clone(), item.clone()];
    b.docs[1].doc = "{\"last\":1}".into();
    b.docs.push(doc("person:p", "person"));
    b.docs[2].name = Some("mara".into());
    b.seals = vec![SealRow {
        number: "S-1".into(),
        package: "package:x".into(),
        seq: 2,
    }];
    let command = CommandRow {
        id: "c".into(),
        fingerprint: vec![1; 32],
        actor: "person:p".into(),
        answer: "{}".into(),
        first_seq: 1,
        count: 3,
    };
    b.commands = vec![command.clone()];
    tx.append(b.clone()).await.unwrap();

    // The transaction reads its own writes; nobody else does.
    assert_eq!(tx.head().await.unwrap().size, 3);
    assert_eq!(tx.subject_count("item:a").await.unwrap(), 3);
    assert_eq!(tx.subject_count("item:none").await.unwrap(), 0);
    assert_eq!(
        tx.lookup_code("I00000000000").await.unwrap().unwrap().doc,
        "{\"last\":1}"
    );
    assert_eq!(
        tx.lookup("person", "mara").await.unwrap().unwrap().subject,
        "person:p"
    );
    assert!(tx.lookup("place", "mara").await.unwrap().is_none());
    assert_eq!(
        tx.lookup_seal("S-1").await.unwrap().unwrap().package,
        "package:x"
    );
    assert_eq!(tx.command("c").await.unwrap(), Some(command.clone()));
    assert_eq!(
        tx.load_docs(&["item:a".into(), "item:none".into()])
            .await
            .unwrap()
            .len(),
        1
    );
    let mut nodes = tx.nodes(&[(0, 2), (0, 0), (1, 0)]).await.unwrap();
    nodes.sort_by_key(|n| n.idx);
    assert_eq!(nodes, [b.nodes[0].clone(), b.nodes[2].clone()]);
    assert_eq!(place.store.head().await.unwrap().size, 0);
    tx.commit().await.unwrap();

    let store = &place.store;
    let head = store.head().await.unwrap();
    assert_eq!(
        (head.size, head.last_recorded_at.as_deref()),
        (3, Some("2031-05-01T08:00:00.000003Z"))
    );
    let event = store.event(2).await.unwrap().unwrap();
    assert_eq!(event.id.as_deref(), Some("event-000002"));
    assert_eq!(event.header, Some(b.events[1].header.clone()));
    assert_eq!(
        (event.salt, event.fields),
        (Some(vec![7; 16]), Some(b"{}".to_vec()))
    );
    assert_eq!(
        store
            .event_by_id("event-000003")
            .await
            .unwrap()
            .unwrap()
            .seq,
        3
    );
    assert!(store.event(4).await.unwrap().is_none());
    assert_eq!(store.command("c").await.unwrap(), Some(command));
    assert_eq!(store.latest_checkpoint().await.unwrap(), b.checkpoint);
    assert_eq!(store.checkpoint_at_least(2).await.unwrap(), b.checkpoint);
    assert!(store.checkpoint_at_least(4).await.unwrap().is_none());
    assert_eq!(store.checkpoints(i64::MIN, 10).await.unwrap().len(), 1);
    let touched = store.events_of("item:a", 1, 10).await.unwrap();
    assert_eq!(
        touched
            .iter()
            .map(|t| (t.n, t.event.seq))
            .collect::<Vec<_>>(),
        [(2, 2), (3, 3)]
    );
    assert_eq!(
        store.doc("item:a").await.unwrap().unwrap().doc,
        "{\"last\":1}"
    );

    // A document is replaced whole.
    let mut tx = store.begin().await.unwrap();
    let mut item = doc("item:a", "item");
    item.holder = Some("person:p".into());
    tx.append(Batch {
        docs: vec![item.clone()],
        ..Batch::default()
    })
    .await
    .unwrap();
    tx.commit().await.unwrap();
    assert_eq!(store.doc("item:a").await.unwrap(), Some(item));
    assert!(store.doc_by_code("I00000000000").await.unwrap().is_none());
}

#[tokio::test]
async fn five_thousand_events_in_one_append() {
    let place = Place::new().await;
    let mut tx = place.store.begin().await.unwrap();
    let mut b = batch(1, 5_000);
    b.docs = (0..5_000)
        .map(|i| doc(&format!("item:{i:05}"), "item"))
        .collect();
    tx.append(b.clone()).await.unwrap();
    tx.commit().await.unwrap();
    let counts = place.store.counts().await.unwrap();
    assert_eq!(
        (counts.events, counts.payloads, counts.nodes),
        (5_000, 5_000, 5_000)
    );
    assert_eq!(
        (counts.touches, counts.docs, counts.checkpoints),
        (5_000, 5_000, 1)
    );
    // Paged raw, every row as it was written.
    let mut from = i64::MIN;
    let mut seen = 0;
    loop {
        let page = place.store.events(from, 999).await.unwrap();
        let Some(last) = page.last() else { break };
        from = last.seq + 1;
        for row in page {
            assert_eq!(row.header.as_ref(), Some(&b.events[seen].header));
            seen += 1;
        }
    }
    assert_eq!(seen, 5_000);
    let mut after = None;
    let mut nodes = 0;
    loop {
        let page = place.store.nodes_page(after, 1_234).await.unwrap();
        let Some(last) = page.last() else { break };
        after = Some((last.level, last.idx));
        nodes += page.len();
    }
    assert_eq!(nodes, 5_000);
    assert_eq!(
        place
            .store
            .events_of("item:a", 0, u32::MAX)
            .await
            .unwrap()
            .len(),
        LIST_MAX as usize
    );
}

#[tokio::test]
async fn the_first_events_of_several_subjects() {
    let place = Place::new().await;
    let mut tx = place.store.begin().await.unwrap();
    let mut b = batch(1, 300);
    // Every third is another's, too.
    for seq in (3..=300).step_by(3) {
        b.touches.push(TouchRow {
            subject: "item:b".into(),
            n: seq / 3,
            seq,
        });
    }
    tx.append(b).await.unwrap();
    tx.commit().await.unwrap();
    let asked = ["item:b", "item:none", "item:a"].map(str::to_owned);
    let rows = place.store.first_events(&asked, 120).await.unwrap();
    for (subject, ends) in [("item:a", 120), ("item:b", 100)] {
        let mine: Vec<_> = rows.iter().filter(|r| r.subject == subject).collect();
        let alone = place.store.events_of(subject, 0, 120).await.unwrap();
        assert_eq!(alone.len(), ends);
        let mine: Vec<_> = mine.into_iter().map(|r| r.touched.clone()).collect();
        assert_eq!(mine, alone, "{subject}");
    }
    assert_eq!(rows.len(), 220);
    assert_eq!(place.store.first_events(&[], 500).await.unwrap(), []);
    let many: Vec<String> = (0..51).map(|n| format!("item:{n}")).collect();
    let refused = place.store.first_events(&many, 100).await;
    assert!(
        matches!(refused, Err(StoreError::Refused(_))),
        "{refused:?}"
    );
}

#[tokio::test]
async fn dropped_or_rolled_back_leaves_nothing() {
    let place = Place::new().await;
    let mut tx = place.store.begin().await.unwrap();
    tx.append(batch(1, 3)).await.unwrap();
    drop(tx);
    let mut tx = place.store.begin().await.unwrap();
    assert_eq!(tx.head().await.unwrap().size, 0);
    tx.append(batch(1, 2)).await.unwrap();
    tx.rollback().await.unwrap();
    assert_eq!(
        place.store.counts().await.unwrap(),
        liftledger::store::Counts::default()
    );
    // The writer is free and well afterwards, and what is committed is there for the next process.
    let mut tx = place.store.begin().await.unwrap();
    tx.append(batch(1, 1)).await.unwrap();
    tx.commit().await.unwrap();
    place.store.close().await;
    let again = place.again().await;
    assert_eq!(again.head().await.unwrap().size, 1);
}

#[tokio::test]
async fn a_batch_behind_the_wrong_head_is_refused_as_moved() {
    let place = Place::new().await;
    let mut tx = place.store.begin().await.unwrap();
    tx.append(batch(1, 2)).await.unwrap();
    assert_eq!(tx.append(batch(2, 3)).await, Err(StoreError::Moved));
    assert_eq!(tx.append(batch(4, 5)).await, Err(StoreError::Moved));
    tx.append(batch(3, 3)).await.unwrap();
    tx.commit().await.unwrap();
    assert_eq!(place.store.head().await.unwrap().size, 3);
}

#[tokio::test]
async fn a_seal_number_and_a_name_are_used_once() {
    let place = Place::new().await;
    let seal = SealRow {
        number: "S-1".into(),
        package: "package:x".into(),
        seq: 1,
    };
    let mut tx = place.store.begin().await.unwrap();
    tx.append(Batch {
        seals: vec![seal.clone()],
        ..Batch::default()
    })
    .await
    .unwrap();
    tx.commit().await.unwrap();
    let asked = ["S-1", "S-2"].map(str::to_owned);
    let used = place.store.seals(&asked).await.unwrap();
    assert_eq!(used, std::slice::from_ref(&seal));
    let mut tx = place.store.begin().await.unwrap();
    let again = tx
        .append(Batch {
            seals: vec![seal],
            ..Batch::default()
        })
        .await;
    assert!(matches!(again, Err(StoreError::Refused(_))), "{again:?}");
    tx.rollback().await.unwrap();

    let mut docs = vec![doc("person:a", "person"), doc("person:b", "person")];
    for d in &mut docs {
        d.name = Some("mara".into());
    }
    let mut tx = place.store.begin().await.unwrap();
    let twice = tx
        .append(Batch {
            docs,
            ..Batch::default()
        })
        .await;
    assert!(matches!(twice, Err(StoreError::Refused(_))), "{twice:?}");
}

/// One store, then two stores on one file (as two processes would): the second writer waits and sees the first's work.
#[tokio::test]
async fn a_second_writer_waits() {
    let place = Place::new().await;
    let other = place.again().await;
    for (round, second) in [place.store.clone(), other].into_iter().enumerate() {
        let round = round as u64;
        let mut tx = place.store.begin().await.unwrap();
        let waiting = tokio::spawn(async move {
            let mut tx = second.begin().await.unwrap();
            let size = tx.head().await.unwrap().size;
            tx.rollback().await.unwrap();
            size
        });
        tx.append(batch(round + 1, round + 1)).await.unwrap();
        tokio::time::sleep(Duration::from_millis(200)).await;
        assert!(!waiting.is_finished());
        tx.commit().await.unwrap();
        assert_eq!(waiting.await.unwrap(), round + 1);
    }
}

#[tokio::test]
async fn read_models_can_be_emptied_and_the_ledger_stays() {
    let place = Place::new().await;
    let mut tx = place.store.begin().await.unwrap();
    let mut b = batch(1, 2);
    b.docs = vec![doc("item:a", "item")];
    tx.append(b).await.unwrap();
    tx.clear_read_models().await.unwrap();
    tx.commit().await.unwrap();
    let counts = place.store.counts().await.unwrap();
    assert_eq!((counts.events, counts.touches, counts.docs), (2, 0, 0));
}

/// Names that no database keeps are found nowhere, and end nothing.
#[tokio::test]
async fn a_name_with_a_nul_is_nobodys() {
    let place = Place::new().await;
    let mut tx = place.store.begin().await.unwrap();
    assert_eq!(tx.lookup("person", "ma\0ra").await, Ok(None));
    assert_eq!(tx.lookup_code("I\0").await, Ok(None));
    assert_eq!(tx.lookup_seal("S\0").await, Ok(None));
    tx.append(batch(1, 1)).await.unwrap();
    tx.commit().await.unwrap();
    assert_eq!(place.store.doc_by_name("person", "\0").await, Ok(None));
    assert_eq!(place.store.head().await.unwrap().size, 1);
}

/// A damaged header has no time; the ledger's size is still known.
#[tokio::test]
async fn a_header_that_is_no_json_has_no_time() {
    let place = Place::new().await;
    for (seq, header) in [
        (1, &b"\xff\xfe"[..]),
        (2, b"{\"recorded_at\":"),
        (3, b"{\"other\":1}"),
    ] {
        let mut tx = place.store.begin().await.unwrap();
        let mut b = batch(seq, seq);
        b.events[0].header = header.to_vec();
        tx.append(b).await.unwrap();
        tx.commit().await.unwrap();
        let head = place.store.head().await.unwrap();
        assert_eq!((head.size, head.last_recorded_at), (seq, None));
    }
}
