//! Lists are bounded, filtered and paged.

use liftledger::store::{
    Batch, DocFilter, DocOrder, DocRow, KEYS_MAX, LIST_MAX, Reads, Store, StoreError,
};

use super::{Place, doc};

async fn filled() -> Place {
    let place = Place::new().await;
    let docs = (0..700_i64).map(|i| {
        let mut d = doc(&format!("item:{i:04}"), "item");
        d.case_id = Some(format!("case:{}", i % 2));
        d.number = Some(700 - i);
        d.holder = (i % 7 == 0).then(|| "person:a".into());
        d.offer_to = (i % 100 == 0).then(|| "person:b".into());
        d.due_at = (i % 10 == 0).then(|| format!("2031-05-{:02}T00:00:00Z", 1 + i % 28));
        d.place = (i < 5).then(|| "place:s".into());
        d.inside = (i < 3).then(|| "package:p".into());
        d.lot = (i % 3 == 0).then(|| "lifting-tape/LT-9".into());
        d.active = i != 0;
        d
    });
    let mut tx = place.store.begin().await.unwrap();
    tx.append(Batch {
        docs: docs.collect(),
        ..Batch::default()
    })
    .await
    .unwrap();
    assert_eq!(tx.max_number("case:0", "item").await.unwrap(), 700);
    assert_eq!(tx.max_number("case:9", "item").await.unwrap(), 0);
    tx.commit().await.unwrap();
    place
}

async fn all(place: &Place, mut filter: DocFilter) -> Vec<DocRow> {
    let mut rows = Vec::new();
    loop {
        let page = place.store.list_docs(&filter).await.unwrap();
        let Some(last) = page.last() else { return rows };
        filter.after = Some(last.cursor(filter.order));
        rows.extend(page);
    }
}

#[tokio::test]
async fn no_list_is_longer_than_the_bound() {
    let place = filled().await;
    for limit in [0, 501, u32::MAX] {
        let filter = DocFilter {
            limit,
            ..DocFilter::default()
        };
        assert_eq!(
            place.store.list_docs(&filter).await.unwrap().len(),
            LIST_MAX as usize
        );
    }
    let many = vec![String::from("item:0001"); KEYS_MAX + 1];
    assert!(matches!(
        place.store.docs(&many).await,
        Err(StoreError::Refused(_))
    ));
}

#[tokio::test]
async fn pages_join_without_gap_or_double() {
    let place = filled().await;
    for order in [
        DocOrder::Subject,
        DocOrder::Newest,
        DocOrder::Number,
        DocOrder::Due,
        DocOrder::Offer,
    ] {
        let rows = all(
            &place,
            DocFilter {
                order,
                limit: 9,
                ..DocFilter::default()
            },
        )
        .await;
        let mut expected = all(&place, DocFilter::default()).await;
        match order {
            DocOrder::Newest => expected.reverse(),
            DocOrder::Number => expected.sort_by_key(|d| d.number),
            DocOrder::Due => {
                expected.retain(|d| d.due_at.is_some());
                expected.sort_by_key(|d| (d.due_at.clone(), d.subject.clone()));
            }
            DocOrder::Offer => {
                expected.retain(|d| d.offer_to.is_some());
                expected.sort_by_key(|d| (d.offer_to.clone(), d.subject.clone()));
            }
            DocOrder::Subject | DocOrder::Name => {}
        }
        let many = match order {
            DocOrder::Due => 70,
            DocOrder::Offer => 7,
            _ => 700,
        };
        let subjects: Vec<String> = rows.iter().take(9).map(|d| d.subject.clone()).collect();
        let filter = DocFilter {
            order,
            limit: 9,
            ..DocFilter::default()
        };
        assert_eq!(
            place.store.list_subjects(&filter).await.unwrap(),
            subjects[..9.min(many)]
        );
        assert_eq!(rows.len(), many);
        assert_eq!(rows, expected, "{order:?}");
    }
}

#[tokio::test]
async fn every_condition_holds() {
    let place = filled().await;
    let some = |s: &str| Some(String::from(s));
    let cases = [
        (
            DocFilter {
                kind: some("item"),
                ..DocFilter::default()
            },
            700,
        ),
        (
            DocFilter {
                kind: some("mark"),
                ..DocFilter::default()
            },
            0,
        ),
        (
            DocFilter {
                case_id: some("case:1"),
                ..DocFilter::default()
            },
            350,
        ),
        (
            DocFilter {
                holder: some("person:a"),
                ..DocFilter::default()
            },
            100,
        ),
        (
            DocFilter {
                offer_to: some("person:b"),
                ..DocFilter::default()
            },
            7,
        ),
        (
            DocFilter {
                place: some("place:s"),
                ..DocFilter::default()
            },
            5,
        ),
        (
            DocFilter {
                inside: some("package:p"),
                ..DocFilter::default()
            },
            3,
        ),
        (
            DocFilter {
                active: Some(false),
                ..DocFilter::default()
            },
            1,
        ),
        (
            DocFilter {
                holder: some("person:a"),
                case_id: some("case:1"),
                ..DocFilter::default()
            },
            50,
        ),
        (
            DocFilter {
                due_before: some("2031-05-02T00:00:00Z"),
                ..DocFilter::default()
            },
            5,
        ),
    ];
    for (filter, expected) in cases {
        assert_eq!(
            place.store.count_docs(&filter, 1_000).await.unwrap(),
            expected,
            "{filter:?}"
        );
        assert_eq!(
            place.store.count_docs(&filter, 2).await.unwrap(),
            expected.min(2),
            "{filter:?}, no further than two"
        );
        assert_eq!(
            all(&place, filter.clone()).await.len() as u64,
            expected,
            "{filter:?}"
        );
    }
}

/// The desks' lists are found by index, not by reading every document.
#[tokio::test]
async fn the_desks_lists_use_an_index() {
    let place = filled().await;
    for (sql, index) in [
        (
            "SELECT * FROM docs WHERE offer_to = 'person:b' ORDER BY subject LIMIT 9",
            "docs_offer_to",
        ),
        (
            "SELECT * FROM docs WHERE 1 = 1 AND offer_to IS NOT NULL ORDER BY offer_to, subject LIMIT 9",
            "docs_offer_to",
        ),
        (
            "SELECT * FROM docs WHERE kind = 'item' AND holder = 'person:a' ORDER BY subject LIMIT 9",
            "docs_holder",
        ),
        (
            "SELECT * FROM docs WHERE place = 'place:s' ORDER BY subject LIMIT 9",
            "docs_place",
        ),
        (
            "SELECT * FROM docs WHERE due_at < '2031' AND due_at IS NOT NULL ORDER BY due_at, subject LIMIT 9",
            "docs_due",
        ),
        (
            "SELECT * FROM docs WHERE kind = 'item' AND case_id = 'case:1' AND number IS NOT NULL \
             ORDER BY number, subject LIMIT 9",
            "docs_case",
        ),
        (
            "SELECT subject FROM docs WHERE kind = 'item' AND case_id = 'case:1' AND number IS NOT NULL \
             ORDER BY number, subject LIMIT 9",
            "docs_case",
        ),
        (
            "SELECT * FROM docs WHERE kind = 'person' AND name = 'mara'",
            "docs_name",
        ),
    ] {
        let plan = place.plan(sql).await;
        assert!(
            plan.len() == 1 && plan[0].contains(index),
            "{sql}: {plan:?}"
        );
        // No document is read for what the index has: each database has its own words for it.
        let alone = ["USING COVERING INDEX", "Index Only Scan"];
        let alone = alone.iter().any(|words| plan[0].contains(words));
        assert_eq!(alone, sql.starts_with("SELECT subject"), "{sql}: {plan:?}");
    }
}

#[tokio::test]
async fn what_was_made_with_a_lot_is_paged() {
    let place = filled().await;
    let filter = DocFilter {
        lot: Some("lifting-tape/LT-9".into()),
        limit: 100,
        ..DocFilter::default()
    };
    let rows = all(&place, filter.clone()).await;
    assert_eq!(rows.len(), 234);
    assert!(rows.windows(2).all(|w| w[0].subject < w[1].subject));
    assert_eq!(place.store.count_docs(&filter, 1_000).await.unwrap(), 234);
}
