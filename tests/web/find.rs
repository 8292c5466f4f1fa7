//! The field on top, as its script asks: for a session, so often and no oftener, and nothing of what may not be seen.

use std::sync::Arc;

use axum::Router;
use axum::http::{StatusCode, header};
use chrono::{DateTime, TimeDelta, Utc};
use liftledger::app::Viewer;
use liftledger::app::demo::{self, Demo};
use liftledger::clock::TestClock;
use liftledger::ids::Subject;
use liftledger::web::{App, router};

use super::browser::Browser;
use super::world::encoded;

pub(super) struct Site {
    _folder: tempfile::TempDir,
    pub(super) app: App,
    router: Router,
    demo: Demo,
    clock: Arc<TestClock>,
}

impl Site {
    pub(super) async fn begin() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let (house, demo) = demo::begin(&folder.path().join("demo")).await.unwrap();
        let clock = Arc::new(TestClock::at(Utc::now()));
        let app = App::with_clock(Arc::new(house), false, clock.clone());
        Self {
            _folder: folder,
            router: router(app.clone()),
            app,
            demo,
            clock,
        }
    }

    pub(super) async fn signed_in(&self, user_name: &str) -> Browser {
        let password = &self.demo.people[user_name].sign_in.password;
        Browser::sign_in(&self.router, user_name, password).await
    }
}

fn later(clock: &TestClock, by: TimeDelta) {
    let now: DateTime<Utc> = liftledger::clock::Clock::now(clock);
    clock.set(now + by);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_field_is_answered_for_a_session_and_not_faster_than_anybody_types() {
    let site = Site::begin().await;
    let path = "/api/find/typed?q=t";
    let nobody = Browser::stranger(&site.router).get(path).await;
    assert_eq!(nobody.status, StatusCode::UNAUTHORIZED);
    let admin = site.signed_in("ivo").await;
    assert_eq!(admin.get(path).await.status, StatusCode::FORBIDDEN);
    // Nor have that role's pages the field, which every other role's have.
    assert!(!admin.get("/people").await.says("/find"));
    let nour = site.signed_in("nour").await;
    let cases = nour.get("/cases").await;
    assert!(cases.says("action=\"/find\"") && cases.says("src=\"/find.js\""));
    let found = nour.get(path).await.ok();
    let hits = found["hits"].as_array().unwrap();
    assert!(hits.len() > 1 && hits.len() <= 8, "{found}");
    for hit in hits {
        let page = hit["address"].as_str().unwrap();
        let answer = nour.get(page).await;
        assert_eq!(answer.status, StatusCode::OK, "{page}");
        assert!(!hit["name"].as_str().unwrap().is_empty());
    }
    let none = nour.get("/api/find/typed?q=%20").await.ok();
    assert_eq!(none["hits"].as_array().unwrap().len(), 0);
    assert_eq!(none["more"], false);

    // Thirty at once, then ten a second; each person by themselves.
    later(&site.clock, TimeDelta::seconds(60));
    let mut statuses = Vec::new();
    for _ in 0..40 {
        let answer = nour.get(path).await;
        let retry = answer.headers.contains_key(header::RETRY_AFTER);
        assert_eq!(retry, answer.status == StatusCode::TOO_MANY_REQUESTS);
        statuses.push(answer.status);
    }
    let well = statuses.iter().filter(|s| **s == StatusCode::OK).count();
    assert_eq!(well, 30, "{statuses:?}");
    assert!(nour.get(path).await.says("asked-too-often"));
    let runa = site.signed_in("runa").await;
    assert_eq!(runa.get(path).await.status, StatusCode::OK);
    later(&site.clock, TimeDelta::milliseconds(250));
    let mut more = 0;
    for _ in 0..10 {
        more += usize::from(nour.get(path).await.status == StatusCode::OK);
    }
    assert_eq!(more, 2);
    // A clock that was set back locks nobody out.
    later(&site.clock, TimeDelta::hours(-3));
    later(&site.clock, TimeDelta::seconds(4));
    assert_eq!(nour.get(path).await.status, StatusCode::OK);
}

/// Every beginning of every word of the restricted case, asked by the assigned and by a stranger.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_letter_tells_what_is_in_a_restricted_case() {
    let site = Site::begin().await;
    let id = site.demo.cases["outboard"];
    let viewer = Viewer::operator();
    let reader = site.app.house().reader(&viewer);
    let case = reader.case(id).await.unwrap();
    let part = liftledger::app::Part::default();
    let mut texts = vec![case.title.clone()];
    for mark in reader.marks_of(id, &part).await.unwrap().rows {
        texts.push(mark.noted.object);
    }
    let mut of_case: Vec<String> = vec![Subject::Case(id).to_string()];
    for item in reader.items_of(id, &part).await.unwrap().rows {
        texts.push(item.recovered.description);
        of_case.push(Subject::Item(item.id).to_string());
    }
    assert!(texts.len() > 2);
    let nour = site.signed_in("nour").await;
    let runa = site.signed_in("runa").await;
    let mut asked = 0;
    for word in texts.iter().flat_map(|t| t.split_whitespace()) {
        let word: String = word.chars().filter(|c| c.is_alphanumeric()).collect();
        for end in [1, 3, word.chars().count()] {
            let q: String = word.chars().take(end).collect();
            if q.is_empty() || case.number.to_lowercase().starts_with(&q.to_lowercase()) {
                continue;
            }
            asked += 1;
            for who in [&nour, &runa] {
                later(&site.clock, TimeDelta::seconds(1));
                let path = format!(
                    "/api/find/typed?q={}",
                    encoded(&[("", &q)]).trim_start_matches('=')
                );
                let answer = who.get(&path).await;
                for subject in &of_case {
                    assert!(!answer.says(subject.as_str()), "{q}: {}", answer.html);
                }
                assert!(!answer.says(&case.number), "{q}: {}", answer.html);
            }
        }
    }
    assert!(asked > 10, "{asked}");
    // By its number it is found by those who may see it, with no word of it.
    later(&site.clock, TimeDelta::seconds(5));
    let path = format!("/api/find/typed?q={}", case.number.to_lowercase());
    let told = nour.get(&path).await;
    assert!(
        told.says(&case.number) && told.says("restricted"),
        "{}",
        told.html
    );
    assert!(!told.says(&case.title));
    assert!(!runa.get(&path).await.says(&case.number));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_person_leads_to_what_they_have_in_hand() {
    let site = Site::begin().await;
    let nour = site.signed_in("nour").await;
    let runa = site.demo.people["runa"].id;
    let page = nour.get(&format!("/find?held={runa}")).await;
    assert_eq!(page.status, StatusCode::OK);
    assert!(page.says("In the hands of"), "{}", page.html);
    // A custodian has nothing to do with accounts.
    assert!(!page.says(&format!("/people/{runa}")));
    for bad in ["x", "00000000-0000-4000-8000-000000000000"] {
        let answer = nour.get(&format!("/find?held={bad}")).await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{bad}");
    }
}
