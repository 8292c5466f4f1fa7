//! The demo behind the router, and one access token for each of its people.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::Router;
use axum::body::Body;
use axum::http::{Request, header};
use chrono::Utc;
use liftledger::app::demo::{self, Demo};
use liftledger::ids::Subject;
use liftledger::web::{App, router};
use serde_json::{Value, json};
use tower::ServiceExt as _;

pub use super::browser::Answer;

pub struct Server {
    _dir: tempfile::TempDir,
    pub app: App,
    pub router: Router,
    pub demo: Demo,
    pub tokens: BTreeMap<String, String>,
}

impl Answer {
    /// The code of a problem detail of this status.
    pub fn problem(&self, status: u16) -> String {
        assert_eq!(self.status, status, "{}", self.html);
        let kind = self.headers[header::CONTENT_TYPE].to_str().unwrap();
        assert_eq!(kind, "application/problem+json");
        let body = self.json();
        assert_eq!(body["status"], status);
        let code = body["code"].as_str().unwrap();
        assert_eq!(body["type"], format!("/problems/{code}"));
        for text in ["title", "detail", "next"] {
            assert!(body[text].as_str().unwrap().len() > 3, "{body}");
        }
        code.to_owned()
    }
}

impl Server {
    pub async fn begin() -> Self {
        let dir = tempfile::tempdir().unwrap();
        let (house, demo) = demo::begin(&dir.path().join("demo")).await.unwrap();
        let mut tokens = BTreeMap::new();
        for (name, person) in &demo.people {
            let token = house
                .issue_token(person.id, "test", 1, Utc::now())
                .await
                .unwrap();
            tokens.insert(name.clone(), token);
        }
        let app = App::new(Arc::new(house), false);
        Self {
            _dir: dir,
            router: router(app.clone()),
            app,
            demo,
            tokens,
        }
    }

    pub async fn send(&self, request: Request<Body>) -> Answer {
        let response = self.router.clone().oneshot(request).await.unwrap();
        Answer::read(response).await
    }

    pub fn request(
        &self,
        who: Option<&str>,
        method: &str,
        path: &str,
    ) -> axum::http::request::Builder {
        let mut request = Request::builder().method(method).uri(path);
        if let Some(who) = who {
            request = request.header(
                header::AUTHORIZATION,
                format!("Bearer {}", self.tokens[who]),
            );
        }
        request
    }

    pub async fn get(&self, who: &str, path: &str) -> Answer {
        let request = self.request(Some(who), "GET", path);
        self.send(request.body(Body::empty()).unwrap()).await
    }

    pub async fn post(&self, who: &str, path: &str, body: &Value) -> Answer {
        let request = self
            .request(Some(who), "POST", path)
            .header(header::CONTENT_TYPE, "application/json");
        self.send(request.body(Body::from(body.to_string())).unwrap())
            .await
    }

    /// An act, signed with the password where that is asked for.
    pub async fn act(&self, who: &str, act: Value, signed: bool) -> Answer {
        let id = uuid::Uuid::now_v7();
        let mut body = json!({"command": {"id": id, "act": act}});
        if signed {
            body["password"] = self.demo.people[who].sign_in.password.clone().into();
        }
        self.post(who, "/api/commands", &body).await
    }

    /// The identifier of what an act created.
    pub async fn made(&self, who: &str, act: Value) -> uuid::Uuid {
        let told = self.act(who, act, false).await.ok();
        let subject: Subject = told["created"].as_str().unwrap().parse().unwrap();
        subject.uuid()
    }
}
