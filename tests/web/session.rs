//! Sessions over the real router: signing in and what slows it down, limits in time, forged forms.

use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use chrono::{TimeDelta, Utc};
use liftledger::app::house::House;
use liftledger::app::sign_in::{ABSOLUTE, FREE_FAILURES, IDLE, LONGEST_WAIT, wait_after};
use liftledger::clock::TestClock;
use liftledger::web::{App, router};

use super::browser::{Answer, Browser, FORM};

const SECRET: &str = "slipway lantern 42";

struct Site {
    _folder: tempfile::TempDir,
    clock: Arc<TestClock>,
    router: Router,
}

impl Site {
    async fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let house = House::open_or_begin(&folder.path().join("ledger"), "ledger.invalid/test")
            .await
            .unwrap();
        house
            .add_administrator("ivo", "Ivo Tarn", "A-001", SECRET)
            .await
            .unwrap();
        let clock = Arc::new(TestClock::at(Utc::now()));
        let app = App::with_clock(Arc::new(house), true, clock.clone());
        Self {
            _folder: folder,
            clock,
            router: router(app),
        }
    }

    fn stranger(&self) -> Browser {
        Browser::stranger(&self.router)
    }

    /// Sends the form of signing in.
    async fn sign_in(&self, secret: &str) -> Answer {
        self.sign_in_as("ivo", secret, "/account").await
    }

    async fn sign_in_as(&self, user_name: &str, secret: &str, next: &str) -> Answer {
        let fields = [
            ("user_name", user_name),
            ("password", secret),
            ("next", next),
        ];
        self.stranger().post("/sign-in", &fields).await
    }

    async fn signed_in(&self) -> Browser {
        let answer = self.sign_in(SECRET).await;
        assert_eq!(answer.leads_to(), "/account");
        let set = answer.header(header::SET_COOKIE);
        for word in ["HttpOnly", "SameSite=Lax", "Secure", "Path=/"] {
            assert!(set.contains(word), "{set}");
        }
        Browser {
            cookie: answer.cookie,
            ..self.stranger()
        }
    }
}

/// Whether the session still opens a page, and not the way to the sign-in form.
async fn is_in(browser: &Browser) -> bool {
    !browser.get("/").await.leads_to().starts_with("/sign-in")
}

#[test]
fn waits_double_to_a_quarter_of_an_hour() {
    assert_eq!(wait_after(FREE_FAILURES - 1), TimeDelta::zero());
    assert_eq!(wait_after(FREE_FAILURES), TimeDelta::seconds(4));
    assert_eq!(wait_after(FREE_FAILURES + 3), TimeDelta::seconds(32));
    assert_eq!(wait_after(u64::MAX), LONGEST_WAIT);
}

#[tokio::test]
async fn a_guesser_waits_and_the_owner_gets_in_afterwards() {
    let site = Site::new().await;
    for _ in 0..FREE_FAILURES {
        let page = site.sign_in("not this one, surely").await;
        assert_eq!(page.status, StatusCode::UNAUTHORIZED);
        assert!(
            page.says("User name or password are wrong"),
            "{}",
            page.html
        );
        assert!(page.says("value=\"ivo\""), "the name typed is still there");
        assert!(!page.says("not this one"), "a password is never shown");
    }
    // Now even the right password has to wait.
    let early = site.sign_in(SECRET).await;
    assert_eq!(early.status, StatusCode::TOO_MANY_REQUESTS);
    site.clock.advance(TimeDelta::seconds(5));
    assert_eq!(site.sign_in(SECRET).await.status, StatusCode::SEE_OTHER);
    // A success forgets the failures.
    assert_eq!(
        site.sign_in("not this one, surely").await.status,
        StatusCode::UNAUTHORIZED
    );
    assert_eq!(site.sign_in(SECRET).await.status, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn an_unknown_name_is_answered_like_a_wrong_password() {
    let site = Site::new().await;
    let known = site.sign_in("not this one, surely").await;
    let unknown = site.sign_in_as("nobody", "not this one", "/").await;
    assert_eq!(known.status, unknown.status);
    let (known, unknown) = (known.html, unknown.html);
    assert_eq!(
        known.replace("value=\"ivo\"", "").replace("/account", "/"),
        unknown.replace("value=\"nobody\"", "")
    );
}

#[tokio::test]
async fn a_session_ends_unused_after_an_hour_and_used_after_twelve() {
    let site = Site::new().await;
    let browser = site.signed_in().await;
    assert!(is_in(&browser).await);
    site.clock.advance(IDLE + TimeDelta::seconds(1));
    assert!(!is_in(&browser).await);

    let browser = site.signed_in().await;
    let mut passed = TimeDelta::zero();
    let step = TimeDelta::minutes(50);
    while passed + step <= ABSOLUTE {
        site.clock.advance(step);
        passed += step;
        assert!(is_in(&browser).await, "after {passed}");
    }
    site.clock.advance(step);
    assert!(!is_in(&browser).await);
}

#[tokio::test]
async fn signing_out_ends_the_session_for_good() {
    let site = Site::new().await;
    let browser = site.signed_in().await;
    // Without the form's token nothing happens.
    let forged = browser.post("/sign-out", &[("csrf", "0000")]).await;
    assert_eq!(forged.status, StatusCode::FORBIDDEN);
    assert!(is_in(&browser).await);
    let csrf = browser.get("/nowhere").await.hidden("csrf");
    let out = browser.post("/sign-out", &[("csrf", &csrf)]).await;
    assert_eq!(out.status, StatusCode::SEE_OTHER);
    assert!(!is_in(&browser).await);
}

#[tokio::test]
async fn another_sites_form_is_refused_even_with_cookie() {
    let site = Site::new().await;
    let browser = site.signed_in().await;
    for (name, value) in [
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
        ("origin", "https://elsewhere.example"),
    ] {
        let request = Request::post("/sign-out")
            .header(header::HOST, "ledger.example")
            .header(name, value)
            .header(header::CONTENT_TYPE, FORM)
            .body(Body::from("csrf=0"))
            .unwrap();
        let status = browser.send(request).await.status;
        assert_eq!(status, StatusCode::FORBIDDEN, "{name}: {value}");
    }
    assert!(is_in(&browser).await);
}

#[tokio::test]
async fn nobody_is_led_elsewhere_after_signing_in() {
    let site = Site::new().await;
    for next in [
        "https://elsewhere.example/",
        "//elsewhere.example",
        "/\\elsewhere.example",
        "x",
    ] {
        let answer = site.sign_in_as("ivo", SECRET, next).await;
        assert_eq!(answer.to, "/");
    }
}

#[tokio::test]
async fn every_answer_carries_the_policy() {
    let site = Site::new().await;
    let nobody = site.stranger();
    for path in ["/", "/sign-in", "/nowhere", "/style.css", "/healthz"] {
        let answer = nobody.get(path).await;
        let policy = answer.header(header::CONTENT_SECURITY_POLICY);
        assert!(policy.contains("default-src 'self'"), "{path}");
        assert_eq!(answer.header(header::X_CONTENT_TYPE_OPTIONS), "nosniff");
    }
    assert_eq!(nobody.get("/healthz").await.status, StatusCode::OK);
    assert_eq!(nobody.get("/readyz").await.status, StatusCode::OK);
}

#[tokio::test]
async fn only_hashes_of_tokens_are_stored() {
    let site = Site::new().await;
    let browser = site.signed_in().await;
    let token = browser.cookie.split_once('=').unwrap().1;
    let folder = site._folder.path().join("ledger");
    for name in ["ledger.db", "ledger.db-wal"] {
        let bytes = std::fs::read(folder.join(name)).unwrap_or_default();
        let found = bytes.windows(token.len()).any(|w| w == token.as_bytes());
        assert!(!found, "{name} holds the token itself");
        let found = bytes.windows(SECRET.len()).any(|w| w == SECRET.as_bytes());
        assert!(!found, "{name} holds the password itself");
    }
}
