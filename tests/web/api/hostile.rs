//! What cannot be read, and what tries to break things.

use axum::body::Body;
use axum::http::header;
use liftledger::web::api::{self, openapi};
use liftledger::web::router::Route;
use serde_json::{Value, json};

use super::roles::filled;
use super::server::{Answer, Server};

async fn raw(server: &Server, path: &str, kind: &str, body: impl Into<Body>) -> Answer {
    let request = server
        .request(Some("runa"), "POST", path)
        .header(header::CONTENT_TYPE, kind);
    server.send(request.body(body.into()).unwrap()).await
}

pub async fn what_cannot_be_read_is_said(server: &Server) {
    let commands = "/api/commands";
    let json_kind = "application/json";
    let send = |kind: &'static str, body: String| raw(server, commands, kind, body);
    let answer = send(json_kind, "{\"command\": ".into()).await;
    assert_eq!(answer.problem(400), "cannot-be-read");
    let answer = send("text/plain", "{}".into()).await;
    assert_eq!(answer.problem(415), "not-json");
    let unknown = json!({"command": {"act": {"do": "burn"}}});
    let answer = send(json_kind, unknown.to_string()).await;
    assert_eq!(answer.problem(422), "bad-body");
    assert!(answer.json()["detail"].as_str().unwrap().contains("burn"));
    let extra = json!({"command": {"act": {"do": "open-case", "number": "1", "title": "2", "colour": "red"}}});
    let answer = send(json_kind, extra.to_string()).await;
    assert_eq!(answer.problem(422), "bad-body");
    let long = json!({"command": {"late_reason": "x".repeat(300_000)}});
    let answer = send(json_kind, long.to_string()).await;
    assert_eq!(answer.problem(413), "too-large");
    let deep = format!("{{\"command\":{{\"act\":{{\"x\":{}", "[".repeat(100_000));
    let answer = send(json_kind, deep).await;
    assert_eq!(answer.problem(400), "cannot-be-read");

    let image = format!("/api/images?of=mark:{}&name=x", server.demo.marks["hatch"]);
    let answer = raw(server, &image, "image/png", &b"\x89PNG\r\n\x1a\n\0\0"[..]).await;
    assert_eq!(answer.problem(415), "not-a-picture");
    let answer = raw(server, &image, "image/png", Body::empty()).await;
    assert_eq!(answer.problem(400), "no-file");
    let request = server
        .request(Some("runa"), "POST", &image)
        .header(header::CONTENT_LENGTH, "200000001");
    let answer = server.send(request.body(Body::empty()).unwrap()).await;
    assert_eq!(answer.problem(413), "too-large");

    let get = |path: &'static str| server.get("runa", path);
    assert_eq!(get("/api/nothing").await.problem(404), "not-found");
    assert_eq!(get("/api").await.problem(404), "not-found");
    assert_eq!(get("/api/cases/0").await.problem(404), "not-found");
    assert_eq!(
        get("/api/cases?limit=501").await.problem(400),
        "cannot-be-read"
    );
    assert_eq!(
        get("/api/cases?after=x").await.problem(400),
        "cannot-be-read"
    );
    let answer = get("/api/commands").await;
    assert_eq!(answer.problem(405), "no-such-method");
    assert_eq!(answer.headers[header::ALLOW], "POST");
}

/// Every route with every hostile word in its path, its query and its body: a refusal, and never a failure.
pub async fn advice_is_refused_for_what_there_is_not(server: &Server) {
    let ask =
        |body: serde_json::Value| async move { server.post("runa", "/api/advise", &body).await };
    let mark = serde_json::json!({"kind": "toolmark"});
    let answer = ask(serde_json::json!({"mark": mark, "surface": {"substrate": "9Z"}})).await;
    assert_eq!(answer.problem(422), "bad-value");
    assert_eq!(answer.json()["field"], "surface.substrate");
    let answer =
        ask(serde_json::json!({"mark": mark, "kit": [{"medium": "toffee", "lot": "1"}]})).await;
    assert_eq!(answer.problem(422), "bad-value");
    for unread in [
        serde_json::json!({"mark": mark, "surface": {"texture": "velvet"}}),
        serde_json::json!({"mark": mark, "smell": 1}),
        serde_json::json!({"surface": {}}),
        serde_json::json!({"mark": mark, "kit": vec![serde_json::json!({"medium": "lifting-tape"})]}),
    ] {
        assert_eq!(ask(unread).await.problem(422), "bad-body");
    }
}

pub async fn a_lot_is_recalled_and_a_kit_is_ones_own(server: &Server) {
    let lots = |lot: &str| format!("/api/lots?medium=lifting-tape&lot={lot}");
    let rows = |told: serde_json::Value| told["items"]["rows"].as_array().unwrap().clone();
    // One item of the boatyard, one of an older case, one of the restricted case: only those assigned see that, and its number only.
    let seen = rows(server.get("eleni", &lots("lt-209")).await.ok());
    assert_eq!(seen.len(), 2);
    assert!(seen.iter().all(|r| r["restricted"] == false));
    assert!(seen.iter().any(|r| r["case_number"] == "HR-26-0417"));
    assert!(!seen[0]["what"].as_str().unwrap().is_empty());
    let seen = rows(server.get("tomasz", &lots("LT-209")).await.ok());
    assert_eq!(seen.len(), 3);
    let closed = seen.iter().find(|r| r["restricted"] == true).unwrap();
    for field in ["what", "started", "by", "with"] {
        assert_eq!(closed[field], "", "{field}");
    }
    assert!(rows(server.get("eleni", &lots("none-such")).await.ok()).is_empty());
    // As amended: the bottle was misread.
    let film = |lot: &str| format!("/api/lots?medium=film-forming-liquid&lot={lot}");
    assert!(rows(server.get("eleni", &film("FL-27")).await.ok()).is_empty());
    assert_eq!(
        rows(server.get("eleni", &film("FL-28")).await.ok()).len(),
        1
    );
    // In parts.
    let first = server
        .get("tomasz", &format!("{}&limit=1", lots("LT-209")))
        .await
        .ok();
    let next = first["items"]["next"].as_str().unwrap();
    let second = server
        .get(
            "tomasz",
            &format!("{}&limit=1&after={next}", lots("LT-209")),
        )
        .await
        .ok();
    assert_ne!(rows(first.clone())[0]["item"], rows(second)[0]["item"]);
    assert_eq!(
        server.get("ivo", &lots("LT-209")).await.problem(403),
        "role-may-not"
    );
    let unknown = server.get("eleni", "/api/lots?medium=toffee&lot=1").await;
    assert_eq!(unknown.problem(400), "cannot-be-read");
    assert_eq!(
        server
            .get("eleni", "/api/lots?medium=lifting-tape")
            .await
            .problem(400),
        "cannot-be-read"
    );

    let kit = server.get("tomasz", "/api/kit").await.ok();
    assert!(
        kit.as_array()
            .unwrap()
            .iter()
            .any(|e| e["lot"] == "SP-0788")
    );
    assert_eq!(
        server.get("eleni", "/api/kit").await.ok(),
        serde_json::json!([])
    );
    let add = serde_json::json!({"do": "kit-add", "medium": "gelatin-black", "lot": "GB-9", "expires_on": "2031-01-31"});
    server.act("tomasz", add, false).await.ok();
    let kit = server.get("tomasz", "/api/kit").await.ok();
    assert_eq!(
        kit.as_array().unwrap().last().unwrap()["expires_on"],
        "2031-01-31"
    );
    let remove = serde_json::json!({"do": "kit-remove", "medium": "gelatin-black", "lot": "gb-9", "reason": "handed back"});
    server.act("tomasz", remove, false).await.ok();
    let kit = server.get("tomasz", "/api/kit").await.ok();
    assert!(kit.as_array().unwrap().iter().all(|e| e["lot"] != "GB-9"));
}

pub async fn nothing_breaks_the_server(server: &Server) {
    let words = [
        "",
        "0",
        "-1",
        "18446744073709551615",
        "9223372036854775808",
        "99999999999999999999999999",
        "%00",
        "%ff%fe",
        "..%2f..%2fetc",
        "%27%20OR%201=1--",
        "%22%3E%3Cb%3E",
        "item:00000000-0000-0000-0000-000000000000",
        "00000000-0000-0000-0000-000000000000",
        "person:00000000-0000-7000-8000-000000000000",
        // A place to go on from, made by hand: ["x","y"], [1,2], {}.
        "WyJ4IiwieSJd",
        "WzEsMl0",
        "e30",
        "%F0%9F%94%92",
        "I0123456789A",
    ];
    let bodies = [
        "",
        "null",
        "[]",
        "{}",
        "0",
        "{\"command\":{}}",
        "{\"command\":{\"act\":{\"do\":\"seal\"}}}",
        "{\"command\":{\"id\":\"00000000-0000-0000-0000-000000000000\",\"act\":{\"do\":\"open-case\",\"number\":\"\\u0000\",\"title\":\"\"}}}",
        "{\"command\":{\"claimed_at\":\"9999-12-31T23:59:60Z\",\"act\":{\"do\":\"open-case\",\"number\":\"a\",\"title\":\"b\"}}}",
        "{\"command\":{\"claimed_at\":\"-262143-01-01T00:00:00Z\",\"act\":{\"do\":\"open-case\",\"number\":\"a\",\"title\":\"b\"}}}",
        "{\"kind\":\"card\",\"size\":\"9x9\"}",
        "{\"items\":[\"00000000-0000-0000-0000-000000000000\"]}",
        "{\"paper\":\"a0\"}",
        "\u{feff}{}",
    ];
    let description = openapi::document();
    let mut asked = 0;
    for route in api::all() {
        let usual = filled(server, route.path);
        let mut paths = vec![usual.clone()];
        let asks = route.method == "get" || route.path == "/api/images";
        for word in words {
            if let Some((head, _)) = route.path.split_once('{') {
                let tail = route.path.split_once('}').map_or("", |(_, t)| t);
                paths.push(format!("{head}{word}{tail}"));
            }
            // A print takes its time, and looks at no query.
            if !asks {
                continue;
            }
            let query = format!(
                "after={word}&limit={word}&q={word}&of={word}&name={word}&view={word}&from={word}&to={word}&active={word}\
                 &marks_after={word}&id={word}&claimed_at={word}"
            );
            paths.push(format!("{usual}?{query}"));
            // One at a time, so that the first to be refused does not hide the others.
            for name in queries(&description, route) {
                paths.push(format!("{usual}?{name}={word}"));
            }
        }
        for path in paths {
            let method = route.method.to_uppercase();
            let bodies: &[&str] = if method == "POST" && path == usual {
                &bodies
            } else {
                &["{}"]
            };
            for body in bodies {
                let who = if route.path.contains("proofs") {
                    "eleni"
                } else {
                    "runa"
                };
                let request = server
                    .request(Some(who), &method, &path)
                    .header(header::CONTENT_TYPE, "application/json");
                let Ok(request) = request.body(Body::from((*body).to_owned())) else {
                    continue;
                };
                let answer = server.send(request).await;
                asked += 1;
                let said = String::from_utf8_lossy(&answer.bytes).into_owned();
                assert!(
                    !answer.status.is_server_error(),
                    "{method} {path} {body}: {} {said}",
                    answer.status
                );
                if answer.status.is_client_error() {
                    answer.problem(answer.status.as_u16());
                }
            }
        }
    }
    assert!(asked > 2_000, "{asked} requests");
}

/// What the description says that a route may be asked with behind its path.
fn queries<'a>(description: &'a Value, route: &Route) -> Vec<&'a str> {
    let parameters = &description["paths"][route.path][route.method]["parameters"];
    let of = parameters.as_array().into_iter().flatten();
    of.filter(|p| p["in"] == "query")
        .filter_map(|p| p["name"].as_str())
        .collect()
}
