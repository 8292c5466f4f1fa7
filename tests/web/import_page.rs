//! The page for the import of an existing room, by HTTP over the whole router: looked through, signed, recorded, sent again.

use std::sync::OnceLock;
use std::time::{Duration, Instant};

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use http_body_util::BodyExt as _;
use liftledger::app::audit::audit;
use liftledger::app::import::sent::MOST_FILE;
use liftledger::ids::CommandId;
use tower::ServiceExt as _;

use super::world::{World, encoded, runtime};

fn world() -> &'static World {
    static WORLD: OnceLock<World> = OnceLock::new();
    WORLD.get_or_init(|| World::load("import-page-demo"))
}

struct Answer {
    status: StatusCode,
    to: String,
    cookie: String,
    html: String,
}

async fn sent(request: Request<Body>) -> Answer {
    let response = world().router.clone().oneshot(request).await.unwrap();
    let text = |name| {
        let value = response.headers().get(name);
        value.map_or(String::new(), |v| v.to_str().unwrap().to_owned())
    };
    let (to, set) = (text(header::LOCATION), text(header::SET_COOKIE));
    let status = response.status();
    let bytes = response.into_body().collect().await.unwrap().to_bytes();
    Answer {
        status,
        to,
        cookie: set.split(';').next().unwrap_or_default().to_owned(),
        html: String::from_utf8(bytes.to_vec()).unwrap(),
    }
}

struct Browser {
    cookie: String,
    csrf: String,
    password: String,
}

impl Browser {
    async fn of(user: &str) -> Self {
        let password = world().demo.people[user].sign_in.password.clone();
        let mut browser = Self {
            cookie: String::new(),
            csrf: String::new(),
            password: password.clone(),
        };
        let fields = [("user_name", user), ("password", password.as_str())];
        browser.cookie = browser.post("/sign-in", &fields).await.cookie;
        let html = browser.get("/account").await.html;
        let (_, rest) = html.split_once("name=\"csrf\" value=\"").unwrap();
        browser.csrf = rest.split_once('"').unwrap().0.to_owned();
        browser
    }

    async fn get(&self, path: &str) -> Answer {
        let request = Request::get(path).header(header::COOKIE, &self.cookie);
        sent(request.body(Body::empty()).unwrap()).await
    }

    async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let mut all = vec![("csrf", self.csrf.as_str())];
        all.extend_from_slice(fields);
        let request = Request::post(path)
            .header(header::COOKIE, &self.cookie)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
        sent(request.body(Body::from(encoded(&all))).unwrap()).await
    }

    async fn send(&self, mapping: &str, file: &[u8]) -> Answer {
        let mut body = Vec::new();
        let mut field = |name: &str, value: &[u8]| {
            body.extend_from_slice(b"--edge\r\nContent-Disposition: form-data; name=\"");
            body.extend_from_slice(format!("{name}\"\r\n\r\n").as_bytes());
            body.extend_from_slice(value);
            body.extend_from_slice(b"\r\n");
        };
        field("csrf", self.csrf.as_bytes());
        field("mapping", mapping.as_bytes());
        field("mapping_file", b"");
        field("file\"; filename=\"C:\\rooms\\old room.csv", file);
        body.extend_from_slice(b"--edge--\r\n");
        let request = Request::post("/import")
            .header(header::COOKIE, &self.cookie)
            .header(header::CONTENT_TYPE, "multipart/form-data; boundary=edge")
            .body(Body::from(body))
            .unwrap();
        sent(request).await
    }

    /// The page of a file, once it asks for itself no more.
    async fn settled(&self, path: &str) -> String {
        let begun = Instant::now();
        loop {
            let answer = self.get(path).await;
            assert_eq!(answer.status, 200, "{}", answer.html);
            if !answer.html.contains("http-equiv=\"refresh\"") {
                return answer.html;
            }
            assert!(begun.elapsed().as_secs() < 60, "{}", answer.html);
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    }

    async fn signed(&self, path: &str, batch: &str, password: &str) -> Answer {
        let id = CommandId::new().to_string();
        let fields = [
            ("id", id.as_str()),
            ("batch", batch),
            ("password", password),
        ];
        self.post(&format!("{path}/record"), &fields).await
    }
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

fn rule(answer: &Answer, status: u16) -> String {
    assert_eq!(answer.status, status, "{}", answer.html);
    let (_, rest) = answer.html.split_once("<dt>Rule</dt><dd><code>").unwrap();
    rest.split_once('<').unwrap().0.to_owned()
}

#[test]
fn a_room_is_looked_through_signed_and_taken_over() {
    let _ = world();
    runtime().block_on(async {
        let size = || async { world().house.store.head().await.unwrap().size };
        let nour = Browser::of("nour").await;
        assert!(nour.get("/import").await.html.contains("name=\"mapping\""));
        let begun = size().await;

        // What cannot be used is said, and the mapping stays in the form.
        let answer = nour.send("[colums]", &room(1, &[])).await;
        assert_eq!(rule(&answer, 409), "bad-mapping");
        assert!(answer.html.contains("[colums]</textarea>"));
        assert_eq!(rule(&nour.send(MAPPING, b"").await, 409), "no-table");
        let large = vec![b'x'; MOST_FILE + 1];
        assert_eq!(rule(&nour.send(MAPPING, &large).await, 413), "too-large");
        let answer = nour.send(MAPPING, b"Case,No\n1,2\n").await;
        let html = nour.settled(&answer.to).await;
        assert!(
            html.contains("It went no further.") && html.contains("no column"),
            "{html}"
        );

        // 450 rows, 120 of them wrong: each is named, a hundred on a page, all in the table.
        let wrong: Vec<usize> = (1..=120).collect();
        let answer = nour.send(MAPPING, &room(450, &wrong)).await;
        assert_eq!(answer.status, 303, "{}", answer.html);
        let path = answer.to;
        let html = nour.settled(&path).await;
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
        let eleni = Browser::of("eleni").await;
        let status = eleni.get(&path).await.status;
        assert!(status == 404 || status == 403, "{status}");
        assert_eq!(Browser::of("runa").await.get("/import").await.status, 403);

        // It is signed, and recorded batch by batch: the first batch has the wrong rows, so it is left out whole.
        let answer = nour.signed(&path, "200", "").await;
        assert_eq!(answer.status, 200);
        assert!(answer.html.contains("not witnessed by this ledger"));
        let answer = nour.signed(&path, "200", "not my password").await;
        assert_eq!(answer.status, 401);
        assert_eq!(
            rule(&nour.signed(&path, "201", &nour.password).await, 422),
            "bad-value"
        );
        assert_eq!(size().await, begun);
        let answer = nour.signed(&path, "200", &nour.password).await;
        assert_eq!(answer.to, path, "{}", answer.html);
        let html = nour.settled(&path).await;
        assert_eq!(fact(&html, "Rows gone through").unwrap(), "450 of 450");
        assert_eq!(fact(&html, "Taken over").unwrap(), "250");
        assert_eq!(
            fact(&html, "Held back with a wrong row of their batch").unwrap(),
            "80"
        );
        assert!(size().await > begun + 250);
        // Once is enough.
        let answer = nour.signed(&path, "200", &nour.password).await;
        assert_eq!(rule(&answer, 409), "busy");

        // Mended and sent again: what is on the record is left out, the others follow; and then there is nothing left.
        for (before, good) in [("250", "200"), ("450", "0")] {
            let path = nour.send(MAPPING, &room(450, &[])).await.to;
            let html = nour.settled(&path).await;
            assert_eq!(fact(&html, "On the record before").unwrap(), before);
            assert_eq!(fact(&html, "Can be taken over").unwrap(), good);
            assert!(!html.contains("What is wrong <span"));
            if good == "0" {
                assert!(html.contains("every row is on the record"), "{html}");
                let _ = nour.post(&format!("{path}/leave"), &[]).await;
                assert_eq!(nour.get(&path).await.status, 404);
            } else {
                let answer = nour.signed(&path, "7", &nour.password).await;
                assert_eq!(answer.status, 303);
                let html = nour.settled(&path).await;
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
