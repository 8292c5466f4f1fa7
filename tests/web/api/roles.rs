//! Who may call what.

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use chrono::Utc;
use liftledger::app::Viewer;
use liftledger::custody::state::Holder;
use liftledger::ids::Subject;
use liftledger::people::permission;
use liftledger::web::api;
use liftledger::web::router::Need;
use liftledger::web::session::{COOKIE, csrf_of};
use serde_json::json;

use super::server::Server;

/// A path with something in place of each parameter.
pub fn filled(server: &Server, path: &str) -> String {
    let demo = &server.demo;
    let id = match path.split('/').nth(2) {
        Some("cases") => demo.cases["boatyard"].to_string(),
        Some("marks") => demo.marks.values().next().unwrap().to_string(),
        Some("items") => demo.items["hatch-item"].to_string(),
        Some("packages") => demo.packages["hatch-pack"].to_string(),
        Some("places") => demo.places["a1"].to_string(),
        _ => demo.people["runa"].id.to_string(),
    };
    path.replace("{id}", &id)
        .replace("{seq}", "20")
        .replace("{number}", "1")
        .replace("{code}", "nothing")
        .replace("{which}", "court")
        .replace("{name}", "nothing")
        .replace("{digest}", &"0".repeat(64))
}

pub async fn nobody_is_let_in_without_a_token(server: &Server) {
    for route in api::all() {
        let path = filled(server, route.path);
        let method = route.method.to_uppercase();
        for wrong in [None, Some("Bearer llt_nobodys"), Some("Basic eDp5")] {
            let mut request = Request::builder().method(method.as_str()).uri(&path);
            if let Some(wrong) = wrong {
                request = request.header(header::AUTHORIZATION, wrong);
            }
            let answer = server.send(request.body(Body::empty()).unwrap()).await;
            if route.need == Need::Anybody {
                assert_eq!(answer.status, 200, "{path}");
                continue;
            }
            assert_eq!(answer.problem(401), "not-signed-in", "{path}");
            let asked = answer.headers[header::WWW_AUTHENTICATE].to_str().unwrap();
            assert!(asked.starts_with("Bearer"), "{asked}");
        }
    }
}

pub async fn each_role_may_what_the_table_says(server: &Server) {
    for (name, person) in &server.demo.people {
        for route in api::all() {
            let path = filled(server, route.path);
            let method = route.method.to_uppercase();
            // An empty body is refused only after the table was asked, so that nothing is changed here.
            let request = server.request(Some(name), &method, &path);
            let answer = server.send(request.body(Body::empty()).unwrap()).await;
            let forbidden = answer.status == 403 && answer.json()["code"] == "role-may-not";
            let may = match route.need {
                Need::May(action) => permission::allows(&person.roles, action),
                Need::SignedIn | Need::Anybody => true,
            };
            if may && route.path == "/api/desk/{which}" {
                // Whose desk it is, the desk itself asks.
                continue;
            }
            assert_eq!(
                !may, forbidden,
                "{name}: {method} {path}: {}",
                answer.status
            );
            assert!(!answer.status.is_server_error(), "{method} {path}");
            assert!(answer.status != 401, "{method} {path}");
        }
    }
}

pub async fn a_token_makes_no_tokens(server: &Server) {
    let body = json!({"name": "second", "days": 1, "password": server.demo.people["runa"].sign_in.password});
    let answer = server.post("runa", "/api/tokens", &body).await;
    assert_eq!(answer.problem(403), "token-may-not");
    assert_eq!(
        server.get("runa", "/api/tokens").await.problem(403),
        "token-may-not"
    );
}

pub async fn a_cookie_needs_the_token_of_its_forms(server: &Server) {
    let sign_in = &server.demo.people["runa"].sign_in;
    let house = server.app.house();
    let opened = house
        .sign_in(&sign_in.user_name, &sign_in.password, Utc::now())
        .await
        .unwrap();
    let cookie = format!("{COOKIE}={}", opened.token);
    let csrf = csrf_of(&server.app, &opened.token);
    let ask = |method: &str, path: &str, csrf: Option<&str>, body: Option<serde_json::Value>| {
        let mut request = Request::builder()
            .method(method)
            .uri(path)
            .header(header::COOKIE, &cookie)
            .header(header::CONTENT_TYPE, "application/json");
        if let Some(csrf) = csrf {
            request = request.header("x-csrf-token", csrf);
        }
        request
            .body(body.map_or_else(Body::empty, |b| Body::from(b.to_string())))
            .unwrap()
    };
    let me = server.send(ask("GET", "/api/me", None, None)).await.ok();
    assert_eq!(me["signed"], "session");
    let body = json!({"name": "printer", "days": 7, "password": sign_in.password});
    let send = |csrf, body| server.send(ask("POST", "/api/tokens", csrf, Some(body)));
    assert_eq!(send(None, body.clone()).await.problem(403), "foreign-form");
    assert_eq!(
        send(Some("0"), body.clone()).await.problem(403),
        "foreign-form"
    );
    let mut wrong = body.clone();
    wrong["password"] = "not the password".into();
    assert_eq!(
        send(Some(&csrf), wrong).await.problem(401),
        "wrong-password"
    );
    let made = send(Some(&csrf), body.clone()).await.ok();
    let token = made["token"].as_str().unwrap();
    assert!(token.starts_with("llt_"));
    assert_eq!(send(Some(&csrf), body).await.problem(422), "token-refused");
    let by_token = Request::builder()
        .uri("/api/me")
        .header(header::AUTHORIZATION, format!("Bearer {token}"));
    let me = server
        .send(by_token.body(Body::empty()).unwrap())
        .await
        .ok();
    assert_eq!(me["signed"], "token");
    assert_eq!(me["person"]["user_name"], "runa");
    // From another site the browser says so, and is believed.
    let mut foreign = ask("DELETE", "/api/tokens/printer", Some(&csrf), None);
    foreign
        .headers_mut()
        .insert("sec-fetch-site", "cross-site".parse().unwrap());
    assert_eq!(server.send(foreign).await.problem(403), "foreign-form");
    let listed = server
        .send(ask("GET", "/api/tokens", None, None))
        .await
        .ok();
    assert_eq!(listed.as_array().unwrap().len(), 2);
    assert!(!listed.to_string().contains(token));
    let end = || ask("DELETE", "/api/tokens/printer", Some(&csrf), None);
    assert_eq!(server.send(end()).await.ok()["name"], "printer");
    assert_eq!(server.send(end()).await.problem(404), "not-found");
    let by_token = Request::builder()
        .uri("/api/me")
        .header(header::AUTHORIZATION, format!("Bearer {token}"));
    let answer = server.send(by_token.body(Body::empty()).unwrap()).await;
    assert_eq!(answer.problem(401), "not-signed-in");
}

pub async fn a_restricted_case_is_closed_and_its_reading_recorded(server: &Server) {
    let case = server.demo.cases["outboard"];
    let store = &server.app.house().store;
    let key = Subject::Case(case).to_string();
    let count = || store.subject_count(&key);
    let item = server.demo.items["shelf-edge-item"];
    let before = count().await.unwrap();
    for path in [
        format!("/api/cases/{case}"),
        format!("/api/cases/{case}/marks"),
        format!("/api/cases/{case}/items"),
        format!("/api/cases/{case}/packages"),
        format!("/api/cases/{case}/history"),
        format!("/api/cases/{case}/ready"),
        format!("/api/items/{item}"),
        format!("/api/items/{item}/history"),
    ] {
        let answer = server.get("runa", &path).await;
        assert_eq!(answer.problem(403), "case-restricted", "{path}");
    }
    assert_eq!(count().await.unwrap(), before, "nothing was read");
    let seen = server.get("runa", "/api/cases").await.ok();
    assert!(!seen.to_string().contains(&case.to_string()));

    // Lists give the assigned its number and nothing to record; what holds whole records is a reading.
    let viewer = Viewer::operator();
    let reader = server.app.house().reader(&viewer);
    let record = reader.case(case).await.unwrap();
    let described = reader.item(item).await.unwrap().recovered.description;
    for path in [
        "/api/cases",
        "/api/find?q=HR-26",
        "/api/desk/storeroom",
        "/api/desk/field",
    ] {
        for who in ["nour", "tomasz"] {
            let answer = server.get(who, path).await;
            if answer.status == StatusCode::NOT_FOUND {
                continue; // a desk of another role
            }
            let seen = answer.ok().to_string();
            let on_desk = path.starts_with("/api/desk/");
            assert!(on_desk || seen.contains(&record.number), "{who} {path}");
            assert!(!seen.contains(&record.title), "{who} {path}");
            assert!(!seen.contains(&described), "{who} {path}");
        }
    }
    assert_eq!(count().await.unwrap(), before, "lists are no readings");
    let mut holder = reader.item(item).await.unwrap().custody;
    if let Some(package) = holder.inside {
        holder = reader.package(package).await.unwrap().custody;
    }
    let path = match holder.holder {
        Holder::Place { place } => format!("/api/places/{place}"),
        Holder::Person { person } => format!("/api/people/{person}/holds"),
        other => panic!("{other:?}"),
    };
    server.get("nour", &path).await.ok();
    assert_eq!(count().await.unwrap(), before + 1, "{path}");
    let before = before + 1;

    server
        .get("tomasz", &format!("/api/items/{item}"))
        .await
        .ok();
    assert_eq!(count().await.unwrap(), before + 1);
    let path = format!("/api/cases/{case}/history?after={before}");
    let history = server.get("tomasz", &path).await.ok();
    let event = &history["rows"][0]["event"];
    assert_eq!(event["header"]["kind"], "case.read");
    assert_eq!(event["header"]["attested"], "token");
    assert_eq!(event["header"]["source"], "api");
    let tomasz = server.demo.people["tomasz"].id.to_string();
    assert_eq!(event["header"]["actor"], tomasz);
    assert!(
        event["fields"]["what"]
            .as_str()
            .unwrap()
            .starts_with("API: item")
    );
}
