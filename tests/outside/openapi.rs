//! The description of the interface, and real answers held against it.
//!
//! Sources: PyPI openapi-spec-validator, which checks against the OpenAPI Initiative's own schema of OpenAPI 3.1; PyPI
//! jsonschema, an implementation of JSON Schema 2020-12.
#![allow(dead_code)]

use std::io::Write;
use std::process::{Command, Stdio};

use liftledger::web::api::openapi;
use serde_json::{Value, json};

#[path = "../web/browser.rs"]
mod browser;
#[path = "../web/api/describe.rs"]
mod describe;
#[path = "../web/api/roles.rs"]
mod roles;
#[path = "../web/api/server.rs"]
mod server;
#[path = "../web/world.rs"]
mod world;

const SCRIPT: &str = r#"
import json, sys
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator
told = json.load(sys.stdin)
document = told["document"]
for e in OpenAPIV31SpecValidator(document).iter_errors():
    print("document:", list(e.absolute_path), e.message[:300])
for name, schema in document["components"]["schemas"].items():
    Draft202012Validator.check_schema(schema)
validators = {}
for path, schema, answer in told["answers"]:
    key = json.dumps(schema)
    if key not in validators:
        validators[key] = Draft202012Validator({**schema, "components": document["components"]})
    for e in list(validators[key].iter_errors(answer))[:3]:
        print(path, list(e.absolute_path), e.message[:300])
"#;

/// What the two libraries have to say; empty is good.
fn said(document: &Value, answers: &[(String, Value, Value)]) -> String {
    let venv = std::env::var("LIFTLEDGER_VENV").unwrap_or_else(|_| "target/venv".into());
    let mut child = Command::new(format!("{venv}/bin/python"))
        .args(["-c", SCRIPT])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the Python of the environment that tests/run makes");
    let input = json!({"document": document, "answers": answers}).to_string();
    child
        .stdin
        .take()
        .unwrap()
        .write_all(input.as_bytes())
        .unwrap();
    let out = child.wait_with_output().unwrap();
    assert!(out.status.success());
    String::from_utf8(out.stdout).unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_description_is_openapi_and_answers_are_as_it_says() {
    let server = server::Server::begin().await;
    let document = openapi::document();
    let mut answers = describe::answers(&server).await;
    // Requests too: what the example says, and a problem.
    let commands = &document["paths"]["/api/commands"]["post"];
    let body = &commands["requestBody"]["content"]["application/json"];
    answers.push((
        "example".into(),
        body["schema"].clone(),
        body["example"].clone(),
    ));
    let problem = &document["components"]["responses"]["Problem"]["content"];
    let schema = problem["application/problem+json"]["schema"].clone();
    let refused = server.get("runa", "/api/checkpoint").await.json();
    answers.push(("problem".into(), schema, refused));
    assert_eq!(said(&document, &answers), "");

    // The checks can fail: a description without its title, an answer without what it must have.
    let mut broken = document.clone();
    broken["info"].as_object_mut().unwrap().remove("title");
    assert!(said(&broken, &[]).contains("document:"));
    let (path, schema, mut answer) = answers.pop().unwrap();
    answer.as_object_mut().unwrap().remove("code");
    assert!(said(&document, &[(path, schema, answer)]).contains("code"));
}
