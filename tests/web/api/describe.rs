//! The description: it has what the table of routes has, and answers are as it says.

use std::collections::BTreeSet;

use liftledger::custody::Act;
use liftledger::ids::Subject;
use liftledger::web::api::{self, openapi};
use serde_json::{Value, json};

use super::roles::filled;
use super::server::Server;

fn references<'a>(value: &'a Value, out: &mut Vec<&'a str>) {
    match value {
        Value::Object(map) => {
            for (key, value) in map {
                if key == "$ref"
                    && let Some(to) = value.as_str()
                {
                    out.push(to);
                }
                references(value, out);
            }
        }
        Value::Array(list) => list.iter().for_each(|v| references(v, out)),
        _ => {}
    }
}

#[test]
fn it_has_what_the_table_of_routes_has() {
    let document = openapi::document();
    let said: BTreeSet<(String, String)> = document["paths"]
        .as_object()
        .unwrap()
        .iter()
        .flat_map(|(path, ops)| {
            let methods = ops.as_object().unwrap().keys();
            methods.map(|m| (path.clone(), m.clone()))
        })
        .collect();
    let there: BTreeSet<(String, String)> = api::all()
        .map(|r| (r.path.to_owned(), r.method.to_owned()))
        .collect();
    assert_eq!(said, there);
    assert!(there.len() > 40);
}

#[test]
fn every_reference_leads_somewhere_and_nothing_is_said_by_chance() {
    let document = openapi::document();
    let mut all = Vec::new();
    references(&document, &mut all);
    assert!(all.len() > 100);
    for to in all {
        let at = to.strip_prefix('#').unwrap();
        assert!(document.pointer(at).is_some(), "{to}");
    }
    assert_eq!(document, openapi::document());
    let mut ids = BTreeSet::new();
    for ops in document["paths"].as_object().unwrap().values() {
        for op in ops.as_object().unwrap().values() {
            assert!(ids.insert(op["operationId"].as_str().unwrap()));
        }
    }
}

#[test]
fn every_act_can_be_sent() {
    let document = openapi::document();
    let act = &document["components"]["schemas"]["Act"];
    let said: BTreeSet<&str> = act["oneOf"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| one["properties"]["do"]["const"].as_str().unwrap())
        .collect();
    let there: BTreeSet<&str> = Act::TABLE.iter().map(|(word, ..)| *word).collect();
    assert_eq!(said, there);
}

/// Each answer that can be had by GET, with the schema that the description gives for it.
pub async fn answers(server: &Server) -> Vec<(String, Value, Value)> {
    let document = openapi::document();
    let mut out = Vec::new();
    for route in api::all().filter(|r| r.method == "get") {
        let schema = &document["paths"][route.path]["get"]["responses"]["200"]["content"]["application/json"]
            ["schema"];
        if schema.is_null() {
            continue;
        }
        let mut path = filled(server, route.path);
        let mut who = "eleni";
        match route.path {
            "/api/uploads" => who = "runa",
            "/api/uploads/{id}" => {
                who = "runa";
                let begin = json!({"name": "IMG_0931.tif", "bytes": 10});
                let begun = server.post(who, "/api/uploads", &begin).await.ok();
                path = format!("/api/uploads/{}", begun["id"].as_str().unwrap());
            }
            "/api/images/{digest}/copies" => {
                let id = server.demo.items["hatch-item"];
                let viewer = liftledger::app::Viewer::operator();
                let item = server.app.house().reader(&viewer).item(id).await.unwrap();
                let digest = item.images[0].digest;
                path = format!("/api/images/{digest}/copies?of=item:{id}");
            }
            "/api/find" | "/api/find/typed" => path.push_str("?q=HR"),
            "/api/lots" => path.push_str("?medium=silicone-putty&lot=sp-0931"),
            "/api/rules/{kind}" => path = "/api/rules/medium".into(),
            "/api/handedness" => path.push_str("?step=contact-face&step=flip"),
            "/api/measure/film" => {
                path.push_str("?medium=film-forming-liquid&length_mm=22&width_mm=18");
            }
            "/api/measure/cast" => path.push_str("?length_mm=60&width_mm=25&thickness_mm=4"),
            "/api/measure/set" => path.push_str("?medium=clear-pvs&air_c=20"),
            "/api/proofs/consistency" => path.push_str("?from=3"),
            "/api/codes/{code}" => {
                let place = format!("/api/places/{}", server.demo.places["a1"]);
                let place = server.get("eleni", &place).await.ok();
                path = format!("/api/codes/{}", place["code"].as_str().unwrap());
            }
            "/api/people/{id}/holds" => {
                path = format!("/api/people/{}/holds", server.demo.people["tomasz"].id);
            }
            "/api/counts/{id}" => {
                // Of something that stands there and of a label of a shop: with one difference of two kinds.
                let send = async |act: Value| {
                    let id = liftledger::ids::CommandId::new();
                    let command = json!({"command": {"id": id, "act": act}});
                    server.post("nour", "/api/commands", &command).await.ok();
                    id
                };
                let places = [server.demo.places["a1"]];
                let id = send(json!({"do": "begin-count", "places": places})).await;
                let codes = ["5901234123457"];
                send(json!({"do": "scan-codes", "count": id, "codes": codes})).await;
                send(json!({"do": "end-count", "count": id})).await;
                path = format!("/api/counts/{id}");
            }
            "/api/cases/{id}/expungements/{number}" => {
                let of = Subject::Case(server.demo.cases["boatyard"]);
                let order = json!({"do": "order-expungement", "of": of, "court": "Hollin County Court",
                    "order": "26-EX-14", "dated": "2026-03-02"});
                server.act("milena", order, true).await.ok();
            }
            "/api/tokens" => continue,
            _ => {}
        }
        out.push((
            path.clone(),
            schema.clone(),
            server.get(who, &path).await.ok(),
        ));
    }
    // Files of every kind of thing that the demo has.
    for (of, ids) in [
        (
            "items",
            server
                .demo
                .items
                .values()
                .map(ToString::to_string)
                .collect::<Vec<_>>(),
        ),
        (
            "marks",
            server
                .demo
                .marks
                .values()
                .map(ToString::to_string)
                .collect(),
        ),
        (
            "packages",
            server
                .demo
                .packages
                .values()
                .map(ToString::to_string)
                .collect(),
        ),
        (
            "places",
            server
                .demo
                .places
                .values()
                .map(ToString::to_string)
                .collect(),
        ),
    ] {
        let route = format!("/api/{of}/{{id}}");
        let schema = &document["paths"][&route]["get"]["responses"]["200"]["content"]["application/json"]
            ["schema"];
        for id in ids {
            let path = format!("/api/{of}/{id}");
            // Those of the restricted case are refused.
            let answer = server.get("eleni", &path).await;
            if answer.status == 200 {
                out.push((path, schema.clone(), answer.json()));
            }
        }
    }
    let schema = &document["paths"]["/api/advise"]["post"]["responses"]["200"]["content"]["application/json"]
        ["schema"];
    for (texture, collectable) in [("fine-grain", false), ("sticky", true), ("smooth", false)] {
        let asked = serde_json::json!({
            "surface": {"texture": texture, "collectable": collectable, "wet": texture == "smooth"},
            "mark": {"kind": "friction-ridge", "methods": ["BLP"]},
        });
        let answer = server.post("eleni", "/api/advise", &asked).await.ok();
        // Today, where no day was given.
        assert!(answer["question"]["date"].is_string());
        out.push((format!("/api/advise ({texture})"), schema.clone(), answer));
    }
    assert!(out.len() > 60, "{}", out.len());
    out
}

/// Held against the schema by a small check of our own: every property is described, everything required is there, and
/// kinds fit. The full check, by another implementation, is among the outside checks.
pub async fn every_answer_fits_its_schema(server: &Server) {
    let document = openapi::document();
    let mut wrong = Vec::new();
    for (path, schema, answer) in answers(server).await {
        fits(&document, &schema, &answer, &path, &mut wrong);
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

fn fits(document: &Value, schema: &Value, value: &Value, at: &str, wrong: &mut Vec<String>) {
    if wrong.len() > 10 {
        return;
    }
    if let Some(to) = schema["$ref"].as_str() {
        let referred = document.pointer(&to[1..]).unwrap();
        // What is said beside the reference is no matter of what it refers to.
        let mut rest = value.clone();
        if let (Some(map), Some(beside)) = (rest.as_object_mut(), schema["properties"].as_object())
        {
            map.retain(|name, _| !beside.contains_key(name));
        }
        fits(document, referred, &rest, at, wrong);
    }
    for any in ["oneOf", "anyOf"] {
        let Some(choices) = schema[any].as_array() else {
            continue;
        };
        let good = choices.iter().any(|one| {
            let mut wrong = Vec::new();
            fits(document, one, value, at, &mut wrong);
            wrong.is_empty()
        });
        if !good {
            wrong.push(format!("{at}: fits no choice: {value}"));
        }
    }
    if let Some(only) = schema.get("const")
        && only != value
    {
        wrong.push(format!("{at}: {value} is not {only}"));
    }
    if let Some(words) = schema["enum"].as_array()
        && !words.contains(value)
    {
        wrong.push(format!("{at}: {value} is none of {words:?}"));
    }
    let is = |kind: &str| match kind {
        "null" => value.is_null(),
        "boolean" => value.is_boolean(),
        "integer" => value.is_i64() || value.is_u64(),
        "number" => value.is_number(),
        "string" => value.is_string(),
        "array" => value.is_array(),
        "object" => value.is_object(),
        other => panic!("{other}"),
    };
    let good = match &schema["type"] {
        Value::String(kind) => is(kind),
        Value::Array(kinds) => kinds.iter().any(|k| is(k.as_str().unwrap())),
        _ => true,
    };
    if !good {
        wrong.push(format!("{at}: {value} is no {}", schema["type"]));
    }
    if let (Some(list), Some(items)) = (value.as_array(), schema.get("items")) {
        for (i, one) in list.iter().enumerate() {
            fits(document, items, one, &format!("{at}/{i}"), wrong);
        }
    }
    let Some(map) = value.as_object() else { return };
    for name in schema["required"].as_array().into_iter().flatten() {
        if !map.contains_key(name.as_str().unwrap()) {
            wrong.push(format!("{at}: {name} is missing"));
        }
    }
    if let Some(properties) = schema["properties"].as_object() {
        for (name, one) in map {
            let at = format!("{at}/{name}");
            match properties.get(name) {
                Some(schema) => fits(document, schema, one, &at, wrong),
                // A tagged choice may stand beside a reference that has the rest.
                None if schema.get("$ref").is_some() || schema.get("oneOf").is_some() => {}
                None => wrong.push(format!("{at} is not described")),
            }
        }
    }
}
