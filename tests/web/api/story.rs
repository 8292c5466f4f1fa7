//! From the scene to court, by programs only.

use axum::body::Body;
use axum::http::header;
use liftledger::ids::Digest;
use liftledger::ledger::{checkpoint, merkle};
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};

use super::server::Server;

fn png() -> Vec<u8> {
    let picture = image::RgbImage::from_fn(90, 60, |x, y| {
        let v = if (x / 7 + y / 3) % 9 < 4 { 40 } else { 220 };
        image::Rgb([v, v, v])
    });
    let mut out = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut out, image::ImageFormat::Png).unwrap();
    out.into_inner()
}

pub async fn from_the_scene_to_court(server: &Server) {
    let (tech, keeper, liaison) = ("runa", "nour", "eleni");
    let id = |name: &str| server.demo.people[name].id.to_string();
    let case = server
        .made(tech, json!({"do": "open-case", "number": "HR-26-0911", "title": "Slipway store, Hollin Reach"}))
        .await;
    server
        .act(
            tech,
            json!({"do": "open-scene", "case": case, "name": "Store", "address": "2 Slip Lane"}),
            false,
        )
        .await
        .ok();
    let cases = server.get(tech, "/api/cases?limit=1").await.ok();
    assert_eq!(cases["rows"][0]["id"], case.to_string());
    assert!(cases["next"].is_string());
    let file = server.get(tech, &format!("/api/cases/{case}")).await.ok();
    let scene = file["scenes"][0]["id"].clone();
    let mark = server
        .made(tech, json!({"do": "note-mark", "case": case, "scene": scene, "kind": "friction-ridge",
            "object": "locker door, painted steel", "exact_place": "inner face, 12 cm below the latch",
            "up": "towards the upper hinge", "substrate": "2C", "texture": "smooth", "curvature": "flat"}))
        .await;
    server
        .act(
            tech,
            json!({"do": "develop-mark", "mark": mark, "method": "BLP"}),
            false,
        )
        .await
        .ok();

    // A photograph: kept before it is named, recorded once.
    let bytes = png();
    let command = uuid::Uuid::now_v7();
    let path = format!("/api/images?of=mark:{mark}&name=IMG_0201.png&view=front&id={command}");
    let upload = || {
        let request = server.request(Some(tech), "POST", &path);
        let request = request.header(header::CONTENT_TYPE, "image/png");
        server.send(request.body(Body::from(bytes.clone())).unwrap())
    };
    let image = upload().await.ok();
    let digest = hex::encode(Sha256::digest(&bytes));
    assert_eq!(image["digest"], digest);
    assert_eq!(upload().await.ok(), image);
    let show = format!("/api/images/{digest}?of=mark:{mark}");
    let shown = server.get(liaison, &show).await;
    assert_eq!(shown.bytes, bytes);
    assert_eq!(shown.headers[header::CONTENT_TYPE], "image/png");
    let elsewhere = format!("/api/images/{digest}?of=item:{mark}");
    assert_eq!(
        server.get(liaison, &elsewhere).await.problem(404),
        "not-found"
    );

    let item = server
        .made(tech, json!({"do": "recover", "mark": mark, "medium": "gelatin-white", "lot": "G2-041",
            "started_at": chrono::Utc::now().to_rfc3339(), "description": "lift of the locker door"}))
        .await;
    let package = server
        .made(tech, json!({"do": "pack", "case": case, "container": "mailing-box-flat", "contents": [format!("item:{item}")]}))
        .await;
    let piece = format!("package:{package}");
    server
        .act(
            tech,
            json!({"do": "seal", "package": package, "number": "HR-009001", "initialled": true}),
            false,
        )
        .await
        .ok();
    let release = json!({"do": "release", "piece": piece, "to": id(keeper), "purpose": "to the evidence store"});
    let unsigned = server.act(tech, release.clone(), false).await;
    assert_eq!(unsigned.problem(401), "not-signed");
    assert!(unsigned.headers.contains_key(header::WWW_AUTHENTICATE));
    let released = server.act(tech, release, true).await.ok();
    let seq = released["seq"].as_u64().unwrap();
    let event = server.get(tech, &format!("/api/events/{seq}")).await.ok();
    assert_eq!(event["header"]["attested"], "password");
    assert_eq!(event["header"]["source"], "api");
    let canonical = event["canonical"].as_str().unwrap();
    assert_eq!(
        event["leaf"],
        merkle::leaf_hash(canonical.as_bytes()).to_string()
    );

    let receive = json!({"do": "receive", "piece": piece, "seal_seen": "HR-009001"});
    server.act(keeper, receive, true).await.ok();
    let store_in =
        |place: &str| json!({"do": "store", "piece": piece, "place": server.demo.places[place]});
    // Gelatine may not freeze.
    let refused = server.act(keeper, store_in("f1"), false).await;
    assert_eq!(refused.problem(409), "keep-rule");
    server.act(keeper, store_in("a2"), false).await.ok();
    let code = server
        .get(keeper, &format!("/api/packages/{package}"))
        .await
        .ok()["code"]
        .as_str()
        .unwrap()
        .to_lowercase();
    let bearer = server.get(keeper, &format!("/api/codes/{code}")).await.ok();
    assert_eq!(bearer["address"], format!("/api/packages/{package}"));
    server
        .act(
            keeper,
            json!({"do": "fetch", "piece": piece, "purpose": "to hand to the courier"}),
            false,
        )
        .await
        .ok();
    let party = json!({"name": "Odd Farrow", "organisation": "Reach Couriers", "identification": "badge 88"});
    let due = (chrono::Utc::now() + chrono::TimeDelta::days(2)).to_rfc3339();
    let out = json!({"do": "hand-out", "piece": piece, "party": party, "purpose": "laboratory", "due_at": due});
    server.act(keeper, out, true).await.ok();
    let back = json!({"do": "take-back", "piece": piece, "party": party, "seal_seen": "HR-009001"});
    server.act(keeper, back, true).await.ok();

    for (of, id) in [("item", item), ("package", package)] {
        let file = server.get(liaison, &format!("/api/{of}s/{id}")).await.ok();
        assert_eq!(file["id"], id.to_string());
    }
    let history = server
        .get(liaison, &format!("/api/packages/{package}/history"))
        .await
        .ok();
    let kinds: Vec<&str> = history["rows"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| r["event"]["header"]["kind"].as_str().unwrap())
        .collect();
    assert!(kinds.len() >= 8, "{kinds:?}");
    let part = server
        .get(
            liaison,
            &format!("/api/packages/{package}/history?limit=2&after=1"),
        )
        .await
        .ok();
    assert_eq!(part["rows"][0]["n"], 2);
    assert_eq!(part["next"], 3);

    // Prints are on the record before they are handed out.
    printed(
        server,
        liaison,
        &format!("/api/items/{item}/report"),
        json!({"paper": "letter"}),
    )
    .await;
    printed(
        server,
        liaison,
        &format!("/api/cases/{case}/report"),
        json!({}),
    )
    .await;
    printed(
        server,
        liaison,
        &format!("/api/packages/{package}/report"),
        json!({}),
    )
    .await;
    let exhibit =
        json!({"do": "set-exhibit", "item": item, "number": "S-4", "court": "Harrow County Court"});
    server.act(liaison, exhibit, false).await.ok();
    let lab = json!({"to": "State laboratory", "examinations": "Compare", "paper": "a4"});
    let person = json!({"person": server.demo.people[tech].id});
    for (who, word, body) in [
        (liaison, "exhibit-list", json!({"paper": "letter"})),
        (tech, "owner-receipt", json!({"from": "R. Amsel"})),
        (tech, "laboratory-submission", lab),
        (keeper, "hand-over-sheet", json!({"empty": 2})),
        (tech, "witness-sheet", person.clone()),
        (liaison, "witness-sheet", person),
        (liaison, "certification", json!({})),
    ] {
        printed(
            server,
            who,
            &format!("/api/cases/{case}/papers/{word}"),
            body,
        )
        .await;
    }
    let papers = server
        .get(liaison, &format!("/api/cases/{case}/papers"))
        .await
        .ok();
    assert_eq!(papers["rows"][0]["paper"], "Certification of records");
    assert_eq!(papers["rows"].as_array().unwrap().len(), 10, "{papers}");
    let unsaid = server
        .post(
            tech,
            &format!("/api/cases/{case}/papers/laboratory-submission"),
            &json!({"to": "", "examinations": ""}),
        )
        .await;
    assert_eq!(unsaid.problem(422), "paper-refused");
    let others = json!({"person": server.demo.people[keeper].id});
    let refused = server
        .post(
            tech,
            &format!("/api/cases/{case}/papers/witness-sheet"),
            &others,
        )
        .await;
    assert_eq!(refused.problem(403), "role-may-not");
    printed(
        server,
        tech,
        &format!("/api/items/{item}/label"),
        json!({"kind": "envelope"}),
    )
    .await;
    printed(
        server,
        tech,
        &format!("/api/packages/{package}/label"),
        json!({"kind": "box"}),
    )
    .await;
    printed(
        server,
        tech,
        &format!("/api/cases/{case}/labels"),
        json!({"items": [item], "size": "4x6"}),
    )
    .await;
    let place = format!("/api/places/{}/label", server.demo.places["a2"]);
    printed(server, keeper, &place, json!({})).await;
    let card = json!({"kind": "card", "size": "3x5"});
    let wrong = server
        .post(tech, &format!("/api/packages/{package}/label"), &card)
        .await;
    assert_eq!(wrong.problem(422), "paper-refused");
    let mine = server
        .get(liaison, &format!("/api/items/{item}/report"))
        .await;
    assert_eq!(mine.problem(405), "no-such-method");

    // What the server records by itself is not taken from others.
    let claim = json!({"do": "label-printed", "of": format!("item:{item}"), "label": "card", "digest": "0".repeat(64)});
    let refused = server.act(tech, claim, false).await;
    assert_eq!(refused.problem(422), "recorded-by-the-server");

    let hits = server.get(liaison, "/api/find?q=HR-009001").await.ok();
    assert!(hits.to_string().contains(&package.to_string()), "{hits}");
}

async fn printed(server: &Server, who: &str, path: &str, body: Value) {
    let answer = server.post(who, path, &body).await;
    assert_eq!(
        answer.status,
        200,
        "{path}: {}",
        String::from_utf8_lossy(&answer.bytes)
    );
    assert_eq!(answer.headers[header::CONTENT_TYPE], "application/pdf");
    assert!(answer.bytes.starts_with(b"%PDF-"));
    let seq = answer.headers["liftledger-event"].to_str().unwrap();
    let event = server.get(who, &format!("/api/events/{seq}")).await.ok();
    let digest = hex::encode(Sha256::digest(&answer.bytes));
    assert_eq!(event["fields"]["digest"], digest, "{path}");
    assert_eq!(event["header"]["source"], "api");
    assert_eq!(event["header"]["attested"], "token");
}

pub async fn a_command_is_carried_out_once(server: &Server) {
    let id = uuid::Uuid::now_v7();
    let body = |title: &str| json!({"command": {"id": id, "act": {"do": "open-case", "number": "HR-26-0912", "title": title}}});
    let send = |who, title| async move { server.post(who, "/api/commands", &body(title)).await };
    let first = send("runa", "Fuel tap at the quay").await.ok();
    assert_eq!(send("runa", "Fuel tap at the quay").await.ok(), first);
    assert_eq!(
        send("runa", "Another title").await.problem(409),
        "sent-before"
    );
    assert_eq!(
        send("tomasz", "Fuel tap at the quay").await.problem(409),
        "sent-before"
    );
    // A wrong password records nothing.
    let mut wrong = json!({"command": {"act": {"do": "open-case", "number": "HR-26-0913", "title": "None"}}, "password": "guessed"});
    let answer = server.post("runa", "/api/commands", &wrong).await;
    assert_eq!(answer.problem(401), "wrong-password");
    wrong["password"] = Value::Null;
    server.post("runa", "/api/commands", &wrong).await.ok();
}

/// RFC 9162, checked by our own verifier, which has been held against another implementation elsewhere.
pub async fn proofs_hold(server: &Server) {
    let note = server.get("eleni", "/api/checkpoint").await;
    let note = String::from_utf8(note.bytes).unwrap();
    let house = server.app.house();
    let head = checkpoint::open(&note, &house.verifying).unwrap();
    let read = |v: &Value| -> Digest { v.as_str().unwrap().parse().unwrap() };
    let list = |v: &Value| -> Vec<Digest> { v.as_array().unwrap().iter().map(read).collect() };
    for seq in [1, 2, head.size / 2, head.size] {
        let path = format!("/api/proofs/inclusion/{seq}");
        let told = server.get("eleni", &path).await.ok();
        let size = told["size"].as_u64().unwrap();
        assert_eq!(told["checkpoint"], note);
        merkle::verify_inclusion(
            &read(&told["leaf"]),
            seq - 1,
            size,
            &list(&told["proof"]),
            &head.root,
        )
        .unwrap();
    }
    for from in [0, 1, 7, head.size - 1, head.size] {
        let told = server
            .get("eleni", &format!("/api/proofs/consistency?from={from}"))
            .await
            .ok();
        assert_eq!(read(&told["to_root"]), head.root);
        merkle::verify_consistency(
            from,
            head.size,
            &list(&told["proof"]),
            &read(&told["from_root"]),
            &head.root,
        )
        .unwrap();
    }
    let over = format!("/api/proofs/inclusion/{}", head.size + 1);
    assert_eq!(server.get("eleni", &over).await.problem(404), "not-found");
}
