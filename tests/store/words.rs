//! The word index: replaced whole for a subject, read by the beginning of a word and no further.

use liftledger::store::{
    Batch, DocFilter, DocOrder, KEYS_MAX, LIST_MAX, Reads, Store, StoreError, WordsAsked, WordsRow,
};

use super::{Place, doc};

fn words(subject: &str, kind: &str, words: &[&str]) -> WordsRow {
    WordsRow {
        subject: subject.into(),
        kind: kind.into(),
        words: words.iter().map(|w| (*w).to_owned()).collect(),
    }
}

async fn append(place: &Place, rows: Vec<WordsRow>) {
    let mut tx = place.store.begin().await.unwrap();
    tx.append(Batch {
        words: rows,
        ..Batch::default()
    })
    .await
    .unwrap();
    tx.commit().await.unwrap();
}

async fn from(place: &Place, kind: &str, begin: &str, limit: u32) -> Vec<(String, String)> {
    let rows = place.store.words_from(kind, begin, limit).await.unwrap();
    rows.into_iter().map(|r| (r.word, r.subject)).collect()
}

#[tokio::test]
async fn words_are_found_by_their_beginning_the_newest_subject_first() {
    let place = Place::new().await;
    let rows = vec![
        words("item:1", "item", &["bag", "blue", "œdema"]),
        words("item:2", "item", &["bag", "bagged", "żagiel"]),
        words("item:3", "item", &["b", "c"]),
        words("case:1", "case", &["bag"]),
    ];
    append(&place, rows).await;
    let found = from(&place, "item", "b", 10).await;
    let expected = [
        ("b", "item:3"),
        ("bag", "item:2"),
        ("bag", "item:1"),
        ("bagged", "item:2"),
        ("blue", "item:1"),
    ];
    let pair = |(w, s): &(&str, &str)| ((*w).to_owned(), (*s).to_owned());
    assert_eq!(found, expected.iter().map(pair).collect::<Vec<_>>());
    assert_eq!(from(&place, "item", "b", 2).await, found[..2]);
    assert_eq!(from(&place, "item", "bag", 10).await.len(), 3);
    assert_eq!(from(&place, "case", "b", 10).await.len(), 1);
    assert_eq!(from(&place, "item", "ż", 10).await.len(), 1);
    assert_eq!(from(&place, "item", "x", 10).await, []);
    assert_eq!(from(&place, "item", "b\0", 10).await, []);
    assert_eq!(from(&place, "item", "%", 10).await, []);

    // Replaced whole; taken out whole.
    append(
        &place,
        vec![
            words("item:2", "item", &["crate"]),
            words("item:3", "item", &[]),
        ],
    )
    .await;
    assert_eq!(from(&place, "item", "", 10).await.len(), 4);
    let asked = ["item:2".into(), "item:3".into(), "item:9".into()];
    for (begin, has) in [
        ("crate", 1),
        ("cra", 1),
        ("c", 1),
        ("crates", 0),
        ("crb", 0),
        ("c\0", 0),
    ] {
        let of = place.store.having_word(&asked, begin).await.unwrap();
        assert_eq!(of, ["item:2"][..has], "{begin:?}");
    }
    // A subject with two words that begin so is one.
    append(&place, vec![words("item:3", "item", &["bag", "box"])]).await;
    let of = place.store.having_word(&asked, "b").await.unwrap();
    assert_eq!(of, ["item:3"]);
    append(&place, vec![words("item:3", "item", &[])]).await;

    // Paged, every row once, in order.
    let mut after = (String::new(), String::new());
    let mut seen = Vec::new();
    loop {
        let page = place
            .store
            .words_page((&after.0, &after.1), 2)
            .await
            .unwrap();
        let Some(last) = page.last() else { break };
        after = (last.subject.clone(), last.words.last().unwrap().clone());
        for row in page {
            seen.extend(row.words.into_iter().map(|w| (row.subject.clone(), w)));
        }
    }
    assert_eq!(seen.len(), 5);
    assert!(seen.is_sorted());

    let mut tx = place.store.begin().await.unwrap();
    tx.clear_words().await.unwrap();
    tx.commit().await.unwrap();
    assert!(
        place
            .store
            .words_page(("", ""), 0)
            .await
            .unwrap()
            .is_empty()
    );
}

#[tokio::test]
async fn several_words_are_asked_of_one_range_and_no_further_than_the_bound() {
    let place = Place::new().await;
    // Every third is a blue bag, every fifth a red one.
    let rows = (0..300).map(|n| {
        let mut all = vec!["bag"];
        all.extend((n % 3 == 0).then_some("blue"));
        all.extend((n % 5 == 0).then_some("red"));
        words(&format!("item:{n:04}"), "item", &all)
    });
    append(&place, rows.collect()).await;
    append(&place, vec![words("case:1", "case", &["bag", "blue"])]).await;
    let with = async |also: &[&str], through, limit| {
        let also: Vec<String> = also.iter().map(|w| (*w).to_owned()).collect();
        let asked = WordsAsked {
            kind: "item",
            begin: "ba",
            also: &also,
            through,
            limit,
        };
        let rows = place.store.words_with(&asked).await.unwrap();
        rows.into_iter().map(|r| r.subject).collect::<Vec<_>>()
    };
    let brute = |also: &[&str], through: usize, limit: usize| {
        let fits = |n: &u32| {
            also.iter().all(|w| match &w[..1] {
                "b" => n.is_multiple_of(3) || w.len() < 2,
                _ => n.is_multiple_of(5),
            })
        };
        let newest = (0..300_u32).rev().take(through);
        let of = newest.filter(fits).map(|n| format!("item:{n:04}"));
        of.take(limit).collect::<Vec<_>>()
    };
    for (also, through, limit) in [
        (&["bl"][..], 300, 400),
        (&["bl"], 300, 7),
        (&["bl", "red"], 300, 400),
        (&["bl", "re"], 100, 400),
        (&["b"], 50, 400),
        (&[], 20, 400),
    ] {
        let got = with(also, through, limit).await;
        let through = usize::try_from(through).unwrap();
        let limit = usize::try_from(limit).unwrap();
        assert_eq!(got, brute(also, through, limit), "{also:?}");
        assert!(!got.is_empty(), "{also:?}");
    }
    assert_eq!(with(&["green"], 300, 10).await, [""; 0]);
    assert_eq!(with(&["re\0"], 300, 10).await, [""; 0]);
}

#[tokio::test]
async fn no_list_of_words_is_longer_than_the_bound() {
    let place = Place::new().await;
    let rows = (0..700).map(|n| words(&format!("item:{n:04}"), "item", &["bag", "box"]));
    append(&place, rows.collect()).await;
    for limit in [0, 501, u32::MAX] {
        assert_eq!(
            from(&place, "item", "b", limit).await.len(),
            LIST_MAX as usize
        );
    }
    let many = vec![String::from("item:0001"); KEYS_MAX + 1];
    let refused = place.store.having_word(&many, "b").await;
    assert!(
        matches!(refused, Err(StoreError::Refused(_))),
        "{refused:?}"
    );
}

#[tokio::test]
async fn the_beginning_of_a_word_and_of_a_code_is_a_range_of_an_index() {
    let place = Place::new().await;
    let docs = (0..40_i64).map(|n| {
        let mut d = doc(&format!("item:{n:02}"), "item");
        d.code = Some(format!("I{n:02}7Q"));
        d.case_id = Some("case".into());
        d.number = Some(n);
        d
    });
    let rows = (0..40).map(|n| words(&format!("item:{n:02}"), "item", &["bag", "box"]));
    let mut tx = place.store.begin().await.unwrap();
    tx.append(Batch {
        docs: docs.collect(),
        words: rows.collect(),
        ..Batch::default()
    })
    .await
    .unwrap();
    tx.commit().await.unwrap();
    let codes = place.store.docs_by_code_from("I1", 3).await.unwrap();
    let codes: Vec<_> = codes.into_iter().filter_map(|d| d.code).collect();
    assert_eq!(codes, ["I107Q", "I117Q", "I127Q"]);
    let filter = DocFilter {
        kind: Some("item".into()),
        case_id: Some("case".into()),
        number: Some(17),
        order: DocOrder::Number,
        ..DocFilter::default()
    };
    let one = place.store.list_docs(&filter).await.unwrap();
    assert_eq!(one.len(), 1);
    assert_eq!(one[0].subject, "item:17");
    for (sql, index) in [
        (
            "SELECT subject, word FROM words WHERE kind = 'item' AND word >= 'b' AND word < 'c' ORDER BY word, subject DESC LIMIT 9",
            "words_word",
        ),
        (
            "SELECT * FROM docs WHERE code >= 'I1' AND code < 'I2' ORDER BY code LIMIT 9",
            "docs",
        ),
    ] {
        let plan = place.plan(sql).await;
        // One step, by the index, and nothing is sorted behind it.
        assert_eq!(plan.len(), 1, "{plan:?}");
        assert!(
            plan[0].contains(index) && plan[0].to_lowercase().contains("index"),
            "{plan:?}"
        );
    }
}
