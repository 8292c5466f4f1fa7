//! The page for the import of an existing room, by HTTP over the whole router: looked through, signed, recorded, sent again.

use std::sync::OnceLock;
use std::time::{Duration, Instant};

use liftledger::app::audit::audit;
use liftledger::app::import::sent::MOST_FILE;
use liftledger::ids::CommandId;

use super::browser::{Answer, Browser};
use super::world::{World, encoded, runtime};

fn world() -> &'static World {
    static WORLD: OnceLock<World> = OnceLock::new();
    WORLD.get_or_init(|| World::load("import-page-demo"))
}

async fn signed_in(user_name: &str) -> Browser {
    Browser::of(world(), user_name).await
}

/// Sends a mapping and a file.
async fn sent(browser: &Browser, mapping: &str, file: &[u8]) -> Answer {
    let parts: [(&str, &str, &[u8]); 3] = [
        ("mapping", "", mapping.as_bytes()),
        ("mapping_file", "", b""),
        ("file", "; filename=\"C:\\rooms\\old room.csv\"", file),
    ];
    browser.upload("/import", &parts).await
}

/// The page of a file, once it asks for itself no more.
async fn settled(browser: &Browser, path: &str) -> String {
    let begun = Instant::now();
    loop {
        let answer = browser.get(path).await;
        assert_eq!(answer.status, 200, "{}", answer.html);
        if !answer.says("http-equiv=\"refresh\"") {
            return answer.html;
        }
        assert!(begun.elapsed().as_secs() < 60, "{}", answer.html);
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
}

/// Signs what is to be taken over.
async fn signed(browser: &Browser, path: &str, batch: &str, password: &str) -> Answer {
    let id = CommandId::new().to_string();
    let fields = [
        ("id", id.as_str()),
        ("batch", batch),
        ("password", password),
    ];
    let path = format!("{path}/record");
    browser.submit(&path, &encoded(&fields)).await
}

const MAPPING: &str = "[columns]
case = \"Case\"
item = \"No\"
description = \"What\"
received = \"In\"
[constant]
kind = \"object\"
";

fn fact(html: &str, name: &str) -> Option<String> {
    let (_, rest) = html.split_once(&format!("<dt>{name}</dt><dd>"))?;
    Some(rest.split_once('<')?.0.to_owned())
}

fn room(rows: usize, wrong: &[usize]) -> Vec<u8> {
    let mut out = String::from("Case,No,What,In\n");
    for n in 1..=rows {
        let day = if wrong.contains(&n) {
            "=1+1 <b>"
        } else {
            "2019-05-02"
        };
        out.push_str(&format!("OLD-{},{n},brass hinge,{day}\n", n % 7));
    }
    out.into_bytes()
}

#[test]
fn a_room_is_looked_through_signed_and_taken_over() {
    let _ = world();
    runtime().block_on(async {
        let size = || async { world().house.store.head().await.unwrap().size };
        let nour = signed_in("nour").await;
        assert!(nour.get("/import").await.says("name=\"mapping\""));
        let begun = size().await;

        // What cannot be used is said, and the mapping stays in the form.
        let answer = sent(&nour, "[colums]", &room(1, &[])).await;
        answer.refuses(409, "bad-mapping");
        assert!(answer.says("[colums]</textarea>"));
        let answer = sent(&nour, MAPPING, b"").await;
        answer.refuses(409, "no-table");
        let large = vec![b'x'; MOST_FILE + 1];
        let answer = sent(&nour, MAPPING, &large).await;
        answer.refuses(413, "too-large");
        let answer = sent(&nour, MAPPING, b"Case,No\n1,2\n").await;
        let html = settled(&nour, &answer.to).await;
        assert!(
            html.contains("It went no further.") && html.contains("no column"),
            "{html}"
        );

        // 450 rows, 120 of them wrong: each is named, a hundred on a page, all in the table.
        let wrong: Vec<usize> = (1..=120).collect();
        let answer = sent(&nour, MAPPING, &room(450, &wrong)).await;
        assert_eq!(answer.status, 303, "{}", answer.html);
        let path = answer.to;
        let html = settled(&nour, &path).await;
        assert!(html.contains("Import of old room.csv"), "{html}");
        assert_eq!(fact(&html, "Rows gone through").unwrap(), "450");
        assert_eq!(fact(&html, "Can be taken over").unwrap(), "330");
        assert_eq!(fact(&html, "Wrong").unwrap(), "120");
        assert_eq!(html.matches("data-label=\"Row\"").count(), 100);
        assert!(!html.contains("1+1 <b>") && html.contains("This is no day."));
        let second = nour.get(&format!("{path}?page=2")).await.html;
        assert_eq!(second.matches("data-label=\"Row\"").count(), 20);
        let table = nour.get(&format!("{path}/problems.csv")).await;
        let mut rows = csv::Reader::from_reader(table.html.as_bytes());
        let rows: Vec<csv::StringRecord> = rows.records().map(Result::unwrap).collect();
        assert_eq!(rows.len(), 120);
        // A spreadsheet is given no formula.
        assert!(
            rows.iter().all(|r| r[3].starts_with("'=1+1")),
            "{:?}",
            rows[0]
        );
        assert_eq!(size().await, begun);

        // Somebody else's file is not there, and a technician has no such page.
        let eleni = signed_in("eleni").await;
        let status = eleni.get(&path).await.status;
        assert!(status == 404 || status == 403, "{status}");
        assert_eq!(signed_in("runa").await.get("/import").await.status, 403);

        // It is signed, and recorded batch by batch: the first batch has the wrong rows, so it is left out whole.
        let answer = signed(&nour, &path, "200", "").await;
        assert_eq!(answer.status, 200);
        assert!(answer.says("not witnessed by this ledger"));
        let answer = signed(&nour, &path, "200", "not my password").await;
        assert_eq!(answer.status, 401);
        let answer = signed(&nour, &path, "201", &nour.password).await;
        answer.refuses(422, "bad-value");
        assert_eq!(size().await, begun);
        let answer = signed(&nour, &path, "200", &nour.password).await;
        assert_eq!(answer.to, path, "{}", answer.html);
        let html = settled(&nour, &path).await;
        assert_eq!(fact(&html, "Rows gone through").unwrap(), "450 of 450");
        assert_eq!(fact(&html, "Taken over").unwrap(), "250");
        assert_eq!(
            fact(&html, "Held back with a wrong row of their batch").unwrap(),
            "80"
        );
        assert!(size().await > begun + 250);
        // Once is enough.
        let answer = signed(&nour, &path, "200", &nour.password).await;
        answer.refuses(409, "busy");

        // Mended and sent again: what is on the record is left out, the others follow; and then there is nothing left.
        for (before, good) in [("250", "200"), ("450", "0")] {
            let path = sent(&nour, MAPPING, &room(450, &[])).await.to;
            let html = settled(&nour, &path).await;
            assert_eq!(fact(&html, "On the record before").unwrap(), before);
            assert_eq!(fact(&html, "Can be taken over").unwrap(), good);
            assert!(!html.contains("What is wrong <span"));
            if good == "0" {
                assert!(html.contains("every row is on the record"), "{html}");
                let _ = nour.submit(&format!("{path}/leave"), "").await;
                assert_eq!(nour.get(&path).await.status, 404);
            } else {
                let answer = signed(&nour, &path, "7", &nour.password).await;
                assert_eq!(answer.status, 303);
                let html = settled(&nour, &path).await;
                assert_eq!(fact(&html, "Taken over").unwrap(), good);
            }
        }
        let house = &world().house;
        let found = audit(house.store.as_ref(), &house.verifying, &[], |_| {})
            .await
            .unwrap();
        assert!(found.is_clean(), "{:?}", found.ledger);
    });
}
