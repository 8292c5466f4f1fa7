//! Sessions over the real router: signing in and what slows it down, limits in time, forged forms.

use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use axum::response::Response;
use chrono::{TimeDelta, Utc};
use http_body_util::BodyExt as _;
use liftledger::app::house::House;
use liftledger::app::sign_in::{ABSOLUTE, FREE_FAILURES, IDLE, LONGEST_WAIT, wait_after};
use liftledger::clock::TestClock;
use liftledger::web::{App, router};
use tower::ServiceExt as _;

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

    async fn send(&self, request: Request<Body>) -> Response {
        self.router.clone().oneshot(request).await.unwrap()
    }

    async fn get(&self, path: &str, cookie: &str) -> Response {
        let request = Request::get(path).header(header::COOKIE, cookie);
        self.send(request.body(Body::empty()).unwrap()).await
    }

    async fn post(&self, path: &str, cookie: &str, body: &str) -> Response {
        let request = Request::post(path)
            .header(header::COOKIE, cookie)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
        self.send(request.body(Body::from(body.to_owned())).unwrap())
            .await
    }

    async fn sign_in(&self, secret: &str) -> Response {
        let body = format!(
            "user_name=ivo&password={}&next=%2Faccount",
            secret.replace(' ', "+")
        );
        self.post("/sign-in", "", &body).await
    }

    /// Signs in; the cookie as a browser sends it back.
    async fn cookie(&self) -> String {
        let response = self.sign_in(SECRET).await;
        assert_eq!(response.status(), StatusCode::SEE_OTHER);
        assert_eq!(response.headers()[header::LOCATION], "/account");
        let set = response.headers()[header::SET_COOKIE].to_str().unwrap();
        for word in ["HttpOnly", "SameSite=Lax", "Secure", "Path=/"] {
            assert!(set.contains(word), "{set}");
        }
        set.split(';').next().unwrap().to_owned()
    }
}

async fn text(response: Response) -> String {
    let bytes = response.into_body().collect().await.unwrap().to_bytes();
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// Whether the session still opens a page, and not the way to the sign-in form.
async fn is_in(site: &Site, cookie: &str) -> bool {
    let response = site.get("/", cookie).await;
    assert_eq!(response.status(), StatusCode::SEE_OTHER);
    !response.headers()[header::LOCATION]
        .to_str()
        .unwrap()
        .starts_with("/sign-in")
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
        let response = site.sign_in("not this one, surely").await;
        assert_eq!(response.status(), StatusCode::UNAUTHORIZED);
        let page = text(response).await;
        assert!(page.contains("User name or password are wrong"), "{page}");
        assert!(
            page.contains("value=\"ivo\""),
            "the name typed is still there"
        );
        assert!(!page.contains("not this one"), "a password is never shown");
    }
    // Now even the right password has to wait.
    let response = site.sign_in(SECRET).await;
    assert_eq!(response.status(), StatusCode::TOO_MANY_REQUESTS);
    site.clock.advance(TimeDelta::seconds(5));
    assert_eq!(site.sign_in(SECRET).await.status(), StatusCode::SEE_OTHER);
    // A success forgets the failures.
    assert_eq!(
        site.sign_in("not this one, surely").await.status(),
        StatusCode::UNAUTHORIZED
    );
    assert_eq!(site.sign_in(SECRET).await.status(), StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn an_unknown_name_is_answered_like_a_wrong_password() {
    let site = Site::new().await;
    let known = site.sign_in("not this one, surely").await;
    let body = "user_name=nobody&password=not+this+one&next=%2F";
    let unknown = site.post("/sign-in", "", body).await;
    assert_eq!(known.status(), unknown.status());
    let (known, unknown) = (text(known).await, text(unknown).await);
    assert_eq!(
        known.replace("value=\"ivo\"", "").replace("/account", "/"),
        unknown.replace("value=\"nobody\"", "")
    );
}

#[tokio::test]
async fn a_session_ends_unused_after_an_hour_and_used_after_twelve() {
    let site = Site::new().await;
    let cookie = site.cookie().await;
    assert!(is_in(&site, &cookie).await);
    site.clock.advance(IDLE + TimeDelta::seconds(1));
    assert!(!is_in(&site, &cookie).await);

    let cookie = site.cookie().await;
    let mut passed = TimeDelta::zero();
    let step = TimeDelta::minutes(50);
    while passed + step <= ABSOLUTE {
        site.clock.advance(step);
        passed += step;
        assert!(is_in(&site, &cookie).await, "after {passed}");
    }
    site.clock.advance(step);
    assert!(!is_in(&site, &cookie).await);
}

#[tokio::test]
async fn signing_out_ends_the_session_for_good() {
    let site = Site::new().await;
    let cookie = site.cookie().await;
    // Without the form's token nothing happens.
    let response = site.post("/sign-out", &cookie, "csrf=0000").await;
    assert_eq!(response.status(), StatusCode::FORBIDDEN);
    assert!(is_in(&site, &cookie).await);
    let page = text(site.get("/nowhere", &cookie).await).await;
    let csrf = page
        .split("name=\"csrf\" value=\"")
        .nth(1)
        .and_then(|rest| rest.split('"').next())
        .unwrap()
        .to_owned();
    let response = site
        .post("/sign-out", &cookie, &format!("csrf={csrf}"))
        .await;
    assert_eq!(response.status(), StatusCode::SEE_OTHER);
    assert!(!is_in(&site, &cookie).await);
}

#[tokio::test]
async fn another_sites_form_is_refused_even_with_cookie() {
    let site = Site::new().await;
    let cookie = site.cookie().await;
    for (name, value) in [
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
        ("origin", "https://elsewhere.example"),
    ] {
        let request = Request::post("/sign-out")
            .header(header::COOKIE, &cookie)
            .header(header::HOST, "ledger.example")
            .header(name, value)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(Body::from("csrf=0"))
            .unwrap();
        let response = site.send(request).await;
        assert_eq!(response.status(), StatusCode::FORBIDDEN, "{name}: {value}");
    }
    assert!(is_in(&site, &cookie).await);
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
        let next: String =
            percent_encoding::utf8_percent_encode(next, percent_encoding::NON_ALPHANUMERIC)
                .collect();
        let body = format!(
            "user_name=ivo&password={}&next={next}",
            SECRET.replace(' ', "+")
        );
        let response = site.post("/sign-in", "", &body).await;
        assert_eq!(response.headers()[header::LOCATION], "/");
    }
}

#[tokio::test]
async fn every_answer_carries_the_policy() {
    let site = Site::new().await;
    for path in ["/", "/sign-in", "/nowhere", "/style.css", "/healthz"] {
        let response = site.get(path, "").await;
        let policy = response.headers()[header::CONTENT_SECURITY_POLICY]
            .to_str()
            .unwrap();
        assert!(policy.contains("default-src 'self'"), "{path}");
        assert_eq!(
            response.headers()[header::X_CONTENT_TYPE_OPTIONS],
            "nosniff"
        );
    }
    assert_eq!(site.get("/healthz", "").await.status(), StatusCode::OK);
    assert_eq!(site.get("/readyz", "").await.status(), StatusCode::OK);
}

#[tokio::test]
async fn only_hashes_of_tokens_are_stored() {
    let site = Site::new().await;
    let cookie = site.cookie().await;
    let token = cookie.split_once('=').unwrap().1;
    let folder = site._folder.path().join("ledger");
    for name in ["ledger.db", "ledger.db-wal"] {
        let bytes = std::fs::read(folder.join(name)).unwrap_or_default();
        let found = bytes.windows(token.len()).any(|w| w == token.as_bytes());
        assert!(!found, "{name} holds the token itself");
        let found = bytes.windows(SECRET.len()).any(|w| w == SECRET.as_bytes());
        assert!(!found, "{name} holds the password itself");
    }
}
