//! Pages wait for their turn; what changes something does not.

use std::time::Duration;

use liftledger::web::turn::AT_ONCE;
use liftledger::web::{App, router};
use tokio::time::timeout;

use super::*;

/// How long is waited for what must not come.
const NEVER: Duration = Duration::from_millis(300);
/// How long for what must.
const SOON: Duration = Duration::from_secs(60);

async fn ask(browser: &Browser, method: &str, path: &str) -> StatusCode {
    browser.send_as(method, path, FORM, "").await.status
}

#[test]
fn pages_wait_while_as_many_are_made_as_may_be() {
    on(async {
        let app = App::new(world().house.clone(), false);
        let turns = app.turns().clone();
        let browser = Browser {
            router: router(app),
            ..signed_in("nour").await
        };
        let all = u32::try_from(AT_ONCE).unwrap();
        let taken = turns.acquire_many(all).await.unwrap();
        for path in ["/cases", "/api/cases"] {
            let waiting = timeout(NEVER, ask(&browser, "GET", path)).await;
            assert!(waiting.is_err(), "{path} did not wait");
        }
        // Neither what changes something nor what never changes, nor who asks whether the server can work.
        for (method, path, expected) in [
            ("POST", "/do/release", StatusCode::FORBIDDEN),
            ("GET", "/style.css", StatusCode::OK),
            ("GET", "/readyz", StatusCode::OK),
        ] {
            let answer = timeout(SOON, ask(&browser, method, path)).await;
            assert_eq!(answer.ok(), Some(expected), "{path}");
        }
        drop(taken);
        // Whoever gave up has left no turn behind that nobody has.
        let many = (0..5 * AT_ONCE).map(|_| ask(&browser, "GET", "/cases"));
        let many = timeout(SOON, futures_util::future::join_all(many)).await;
        assert!(many.unwrap().iter().all(|s| *s == StatusCode::OK));
        assert_eq!(turns.available_permits(), AT_ONCE);
    });
}
