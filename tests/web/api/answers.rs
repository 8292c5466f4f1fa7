//! Findings answered by a program, and whether a case is ready for court.

use serde_json::{Value, json};

use liftledger::ids::Subject;

use super::server::Server;

fn answer(key: &Value, text: &str, evidence: Option<u64>) -> Value {
    json!({"do": "answer-finding", "finding": key, "text": text, "evidence": evidence})
}

pub async fn a_finding_is_answered_and_answered_again(server: &Server) {
    let lamp = server.demo.packages["lamp-pack"];
    let case = server.demo.cases["boatyard"];
    let path = format!("/api/packages/{lamp}");
    let file = server.get("eleni", &path).await.ok();
    let gap = &file["findings"][0];
    assert_eq!(gap["code"], "gap");
    assert!(gap["answer"].is_null() && gap["events"].as_array().unwrap().len() == 2);
    let key = &gap["key"];
    let before = server
        .get("eleni", &format!("/api/cases/{case}/ready"))
        .await
        .ok();
    assert_eq!(before["ready"], false);
    let left = |ready: &Value| ready["left"].as_array().unwrap().len();

    // The custodian, who took charge of it, does not answer it.
    let own = server
        .act("nour", answer(key, "I found it", None), false)
        .await;
    assert_eq!(own.problem(403), "role-may-not");
    // What is not found is not answered: another event, another kind, another thing.
    let text = key.as_str().unwrap();
    let pieces: Vec<&str> = text.split('@').collect();
    let other = server.demo.packages["dust-pack"];
    for wrong in [
        format!("gap@{}@1", pieces[1]),
        format!("overlap@{}@{}", pieces[1], pieces[2]),
        format!("gap@package:{other}@{}", pieces[2]),
    ] {
        let act = answer(&json!(wrong), "as the key book shows", None);
        let refused = server.act("eleni", act, false).await;
        assert_eq!(refused.problem(409), "no-such-finding", "{wrong}");
    }
    for unreadable in ["gap", "gap@item:1@2", "GAP@x@y"] {
        let act = answer(&json!(unreadable), "x", None);
        let status = server.act("eleni", act, false).await.status;
        assert!(status.is_client_error(), "{unreadable}: {status}");
    }

    let evidence = gap["events"][1].as_u64();
    let first = answer(key, "It lay in the locked counter room.", None);
    let first = server.act("eleni", first, false).await.ok();
    let second = answer(
        key,
        "The key book of those days shows nobody in the room.",
        evidence,
    );
    let second = server.act("milena", second, false).await.ok();
    let file = server.get("nour", &path).await.ok();
    let told = &file["findings"][0];
    // The finding is as it was, its key too; the later answer stands in front, and the earlier one is named.
    assert_eq!((&told["key"], &told["sentence"]), (key, &gap["sentence"]));
    let said = &told["answer"];
    assert!(said["text"].as_str().unwrap().starts_with("The key book"));
    assert_eq!(said["seq"], second["seq"]);
    assert_eq!(said["earlier"], json!([first["seq"]]));
    assert_eq!(said["evidence"], json!(evidence));
    assert!(
        said["by_name"].as_str().unwrap().contains("S-001"),
        "{said}"
    );
    // The item in it, and the case, say the same.
    let item = &file["contents"][0]["piece"];
    let item = item.as_str().unwrap().strip_prefix("item:").unwrap();
    let item = server.get("nour", &format!("/api/items/{item}")).await.ok();
    assert_eq!(item["findings"][0]["answer"], *said);
    let after = server
        .get("eleni", &format!("/api/cases/{case}/ready"))
        .await
        .ok();
    assert_eq!(left(&after), left(&before) - 1);
    assert_eq!(
        after["answered"].as_u64(),
        before["answered"].as_u64().map(|n| n + 1)
    );
    // Both answers stay in the ledger.
    for seq in [&first["seq"], &second["seq"]] {
        let event = server.get("nour", &format!("/api/events/{seq}")).await.ok();
        assert_eq!(event["header"]["kind"], "finding.answered");
        assert_eq!(event["fields"]["finding"], *key);
    }
}

pub async fn answers_in_a_restricted_case(server: &Server) {
    let case = server.demo.cases["outboard"];
    let piece = format!("package:{}", server.demo.packages["shelf-edge-pack"]);
    let store = &server.app.house().store;
    let subject = Subject::Case(case).to_string();
    let path = format!("/api/cases/{case}/ready");
    let before = store.subject_count(&subject).await.unwrap();
    assert_eq!(
        server.get("eleni", &path).await.problem(403),
        "case-restricted"
    );
    assert_eq!(store.subject_count(&subject).await.unwrap(), before);
    // Somebody takes charge of what stood on the shelf: nobody released it.
    let charge = json!({"do": "take-charge", "piece": piece, "reason": "found in the workshop",
        "seal_seen": "HR-004136"});
    server.act("nour", charge, true).await.ok();
    let ready = server.get("milena", &path).await.ok();
    // The reading is on the record.
    assert_eq!(store.subject_count(&subject).await.unwrap(), before + 1);
    assert_eq!(ready["ready"], false);
    let key = &ready["left"][0]["finding"]["key"];
    assert!(key.as_str().unwrap().starts_with("gap@package:"));
    let refused = server.act("eleni", answer(key, "x", None), false).await;
    assert_eq!(refused.problem(403), "case-restricted");
    // Nor may an event of it be named as what shows something elsewhere.
    let seq = ready["left"][0]["finding"]["events"][0].as_u64();
    let lamp = server.demo.packages["lamp-pack"];
    let file = server
        .get("eleni", &format!("/api/packages/{lamp}"))
        .await
        .ok();
    let elsewhere = answer(&file["findings"][0]["key"], "as that shows", seq);
    let refused = server.act("eleni", elsewhere, false).await;
    assert_eq!(refused.problem(403), "case-restricted");
    let answered = answer(
        key,
        "It was lent by word of mouth; the custodian's note is in the file.",
        None,
    );
    server.act("milena", answered, false).await.ok();
    let ready = server.get("milena", &path).await.ok();
    assert_eq!(ready["ready"], true, "{ready}");
}
