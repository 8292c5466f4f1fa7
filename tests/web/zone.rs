//! Forms in an agency whose clocks are set forward and back: what was typed is one moment, or it is asked which.

use axum::http::StatusCode;
use liftledger::app::Viewer;
use liftledger::ids::{CaseId, Subject};

use super::browser::Browser;
use super::find::Site;

/// Sends the form for opening a case, claimed at this time.
async fn opened(browser: &Browser, number: &str, claimed_at: &str) -> super::browser::Answer {
    let form = browser.get("/do/open-case").await;
    let (csrf, id) = (form.hidden("csrf"), form.hidden("id"));
    let fields = [
        ("csrf", csrf.as_str()),
        ("id", id.as_str()),
        ("sent", "1"),
        ("number", number),
        ("title", "Rope locker"),
        ("claimed_at", claimed_at),
        ("late_reason", "no network at the moorings"),
    ];
    browser.post("/do/open-case", &fields).await
}

/// When the event of a case says that it happened.
async fn claimed(site: &Site, page: &str) -> String {
    let id = page.strip_prefix("/cases/").unwrap();
    let id: CaseId = id.split('?').next().unwrap().parse().unwrap();
    let viewer = Viewer::operator();
    let reader = site.app.house().reader(&viewer);
    let past = reader.history(Subject::Case(id)).await.unwrap();
    past[0].event.header.claimed_at.clone()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_time_that_came_twice_is_asked_for_and_one_that_never_came_is_refused() {
    let site = Site::begin().await;
    let ivo = site.signed_in("ivo").await;
    let page = ivo.get("/agency").await;
    assert!(page.says("<option value=\"Europe/Oslo\""));
    let csrf = page.hidden("csrf");
    let set = |zone: &'static str| {
        let fields = [
            ("csrf", csrf.clone()),
            ("name", "Identification unit".into()),
            ("zone", zone.to_owned()),
            ("paper", "a4".into()),
        ];
        let ivo = ivo.clone();
        async move {
            let fields = fields
                .each_ref()
                .map(|(name, value)| (*name, value.as_str()));
            ivo.post("/agency", &fields).await
        }
    };
    let refused = set("Hollin/Reach").await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.says("such as Europe/Oslo") && refused.says("value=\"Hollin/Reach\""));
    set("europe/oslo").await.leads_to();

    // Years ago, so that neither lies in the future. Clocks: Directive 2000/84/EC; the last Sundays of 2025 are these.
    let tomasz = site.signed_in("tomasz").await;
    let never = opened(&tomasz, "HR-25-1", "2025-03-30T02:30").await;
    assert_eq!(never.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(never.says("2025-03-30 02:30 never came in Europe/Oslo"));
    assert!(never.says("type=\"datetime-local\" value=\"2025-03-30T02:30\""));
    let twice = opened(&tomasz, "HR-25-1", "2025-10-26T02:30").await;
    assert_eq!(twice.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(twice.says("2025-10-26 02:30 came twice in Europe/Oslo"));
    assert!(
        twice.says("2025-10-26 02:30 +02:00 for the first, 2025-10-26 02:30 +01:00 for the second")
    );
    // A browser's own field for times would drop the offset.
    assert!(twice.says("type=\"text\" value=\"2025-10-26T02:30\""));
    assert!(twice.says("Rope locker"));

    for (number, typed, kept) in [
        (
            "HR-25-1",
            "2025-10-26 02:30 +02:00",
            "2025-10-26T02:30:00.000000+02:00",
        ),
        (
            "HR-25-2",
            "2025-10-26 02:30+01:00",
            "2025-10-26T02:30:00.000000+01:00",
        ),
        (
            "HR-25-3",
            "2025-07-01T12:00",
            "2025-07-01T12:00:00.000000+02:00",
        ),
        (
            "HR-25-4",
            "2025-12-01T12:00",
            "2025-12-01T12:00:00.000000+01:00",
        ),
        (
            "HR-25-5",
            "2025-12-01T12:00:05-03:30",
            "2025-12-01T12:00:05.000000-03:30",
        ),
    ] {
        let answer = opened(&tomasz, number, typed).await;
        assert_eq!(claimed(&site, answer.leads_to()).await, kept);
    }
    // In winter and in summer the page says it as the clocks on the wall did.
    let cases = tomasz.get("/cases").await;
    assert!(cases.says("2025-07-01 12:00 +02:00") && cases.says("2025-12-01 12:00 +01:00"));
    assert!(cases.says("2025-12-01 16:30 +01:00"));
}
