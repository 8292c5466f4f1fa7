//! Every method and every medium with a caution: the caution stands in the report of what was made with it.

use chrono::{Duration, Utc};
use liftledger::app::papers::report::report;
use liftledger::app::papers::{By, Layout};
use liftledger::custody::{Act, mark};
use liftledger::ids::{ItemId, Subject};

use super::boatyard::{Boatyard, act, recovery};

/// Without spaces, since a column of a report breaks lines where it must.
fn packed(text: &str) -> String {
    text.chars().filter(|c| !c.is_whitespace()).collect()
}

async fn printed(b: &Boatyard, item: ItemId) -> String {
    let viewer = b.viewer(b.liaison).await;
    let reader = b.house.reader(&viewer);
    let of = Subject::Item(item);
    let paper = report(&reader, By::session(), of, &Layout::default(), |_, _| {})
        .await
        .unwrap();
    let pdf = lopdf::Document::load_mem(&paper.bytes).unwrap();
    let pages: Vec<u32> = pdf.get_pages().into_keys().collect();
    packed(&pdf.extract_text(&pages).unwrap())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn cautions_of_all_methods_and_media_are_in_the_report() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let rules = b.house.rules.clone();
    // 48 methods on three marks: a mark takes at most 20.
    let codes: Vec<String> = rules.methods().iter().map(|m| m.id.clone()).collect();
    for (mark, codes) in b.marks.iter().zip(codes.chunks(16)) {
        for method in codes {
            let develop = mark::DevelopMark {
                mark: *mark,
                method: method.clone(),
                note: String::new(),
            };
            act(&b.house, Some(b.tech), None, Act::DevelopMark(develop))
                .await
                .unwrap();
        }
    }
    let mut seen = 0;
    for (n, medium) in rules.media().iter().enumerate() {
        let mark = b.marks[n % b.marks.len()];
        let at = Utc::now().fixed_offset() - Duration::minutes(1);
        let recover = Act::Recover(recovery(mark, &medium.id, at));
        let made = act(&b.house, Some(b.tech), None, recover).await.unwrap();
        let Some(Subject::Item(item)) = made.created else {
            panic!("no item")
        };
        // The item's report has the cautions of its medium, and of all methods of its mark.
        let text = printed(&b, item).await;
        let methods = codes.chunks(16).nth(n % b.marks.len()).unwrap();
        let of_methods = methods
            .iter()
            .flat_map(|m| &rules.method(m).unwrap().cautions);
        for id in medium.cautions.iter().chain(of_methods) {
            let caution = rules.caution(id).unwrap();
            for words in [&caution.text, &caution.defers_to] {
                assert!(text.contains(&packed(words)), "{}: {words}", medium.id);
                seen += 1;
            }
        }
    }
    assert!(seen > 300, "{seen}");
    b.house.close().await;
}
