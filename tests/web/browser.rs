//! Somebody before the whole router: a browser with its session, the token of its forms, and the password of who uses it.

use axum::Router;
use axum::body::Body;
use axum::http::{HeaderMap, HeaderName, Request, StatusCode, header};
use axum::response::Response;
use http_body_util::BodyExt as _;
use liftledger::ids::CommandId;
use serde_json::Value;
use tower::ServiceExt as _;

use super::world::{World, encoded};

/// The media type of a form without files.
pub const FORM: &str = "application/x-www-form-urlencoded";

/// An answer, read whole.
#[derive(Clone)]
pub struct Answer {
    /// How it went.
    pub status: StatusCode,
    /// All that stands before the bytes.
    pub headers: HeaderMap,
    /// Where it leads; empty where it leads nowhere.
    pub to: String,
    /// The cookie that it sets, as a browser sends it back.
    pub cookie: String,
    /// The body as it came.
    pub bytes: Vec<u8>,
    /// The body as text.
    pub html: String,
}

fn text(headers: &HeaderMap, name: HeaderName) -> &str {
    headers.get(name).map_or("", |v| v.to_str().unwrap())
}

impl Answer {
    /// Reads it to its end. What is sent as text must be text; of other bytes only what can be read is looked at.
    pub async fn read(response: Response) -> Self {
        let (parts, body) = response.into_parts();
        let bytes = body.collect().await.unwrap().to_bytes().to_vec();
        let kind = text(&parts.headers, header::CONTENT_TYPE);
        if kind.starts_with("text/") || kind.contains("json") {
            assert!(std::str::from_utf8(&bytes).is_ok(), "{kind}: no text");
        }
        let set = text(&parts.headers, header::SET_COOKIE);
        Self {
            status: parts.status,
            to: text(&parts.headers, header::LOCATION).to_owned(),
            cookie: set.split(';').next().unwrap_or_default().to_owned(),
            html: String::from_utf8_lossy(&bytes).into_owned(),
            headers: parts.headers,
            bytes,
        }
    }

    /// The text of a header; empty where there is none.
    pub fn header(&self, name: HeaderName) -> &str {
        text(&self.headers, name)
    }

    /// Whether this stands in it.
    pub fn says(&self, text: &str) -> bool {
        self.html.contains(text)
    }

    /// What a program reads in it.
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.bytes).unwrap_or_else(|e| panic!("{e}: {}", self.html))
    }

    /// The same of an answer that refuses nothing.
    #[track_caller]
    pub fn ok(&self) -> Value {
        assert_eq!(self.status, StatusCode::OK, "{}", self.html);
        self.json()
    }

    /// The value of a field that a form of the page carries along.
    #[track_caller]
    pub fn hidden(&self, name: &str) -> String {
        let from = format!("name=\"{name}\" value=\"");
        let (_, rest) = self
            .html
            .split_once(&from)
            .unwrap_or_else(|| panic!("no field {name} in {}", self.html));
        rest.split_once('"').unwrap().0.to_owned()
    }

    /// Where it leads; it must lead somewhere.
    #[track_caller]
    pub fn leads_to(&self) -> &str {
        assert_eq!(self.status, StatusCode::SEE_OTHER, "{}", self.html);
        assert_ne!(self.to, "");
        &self.to
    }

    /// The code of the rule that refuses, from the page that says so.
    #[track_caller]
    pub fn rule(&self) -> &str {
        let (_, rest) = self
            .html
            .split_once("<dt>Rule</dt><dd><code>")
            .unwrap_or_else(|| panic!("{}: no rule in {}", self.status, self.html));
        rest.split_once('<').unwrap().0
    }

    /// Refused with this code, and a page that says how to go on.
    #[track_caller]
    pub fn refuses(&self, status: u16, code: &str) {
        assert_eq!(self.status, status, "{code}: {}", self.html);
        assert_eq!(self.rule(), code, "{}", self.html);
    }
}

/// A browser; where nothing else is said, somebody is signed in.
#[derive(Clone)]
pub struct Browser {
    /// What answers it.
    pub router: Router,
    /// The session.
    pub cookie: String,
    /// The token of the forms of this session.
    pub csrf: String,
    /// What its owner signs with.
    pub password: String,
}

impl Browser {
    /// Of nobody who is signed in.
    pub fn stranger(router: &Router) -> Self {
        Self {
            router: router.clone(),
            cookie: String::new(),
            csrf: String::new(),
            password: String::new(),
        }
    }

    /// Of somebody of the demo.
    pub async fn of(world: &World, user_name: &str) -> Self {
        let password = &world.demo.people[user_name].sign_in.password;
        Self::sign_in(&world.router, user_name, password).await
    }

    /// Of whoever has this password.
    pub async fn sign_in(router: &Router, user_name: &str, password: &str) -> Self {
        let mut browser = Self::stranger(router);
        let fields = [("user_name", user_name), ("password", password)];
        let answer = browser.post("/sign-in", &fields).await;
        answer.leads_to();
        browser.cookie = answer.cookie;
        password.clone_into(&mut browser.password);
        let page = browser.get("/account").await;
        assert_eq!(page.status, StatusCode::OK, "{}", page.html);
        browser.csrf = page.hidden("csrf");
        browser
    }

    /// Sends with the session's cookie and gives the answer unread: a stream has no end to wait for.
    pub async fn ask(&self, mut request: Request<Body>) -> Response {
        let cookie = self.cookie.parse().unwrap();
        request.headers_mut().insert(header::COOKIE, cookie);
        self.router.clone().oneshot(request).await.unwrap()
    }

    /// Sends with the session's cookie.
    pub async fn send(&self, request: Request<Body>) -> Answer {
        Answer::read(self.ask(request).await).await
    }

    /// Sends just this body, without a token unless one stands in it.
    pub async fn send_as(
        &self,
        method: &str,
        path: &str,
        kind: &str,
        body: impl Into<Body>,
    ) -> Answer {
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header(header::CONTENT_TYPE, kind);
        self.send(request.body(body.into()).unwrap()).await
    }

    /// Opens a page.
    pub async fn get(&self, path: &str) -> Answer {
        let request = Request::get(path).body(Body::empty());
        self.send(request.unwrap()).await
    }

    /// Sends just these fields, without a token unless it is one of them.
    pub async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        self.send_as("POST", path, FORM, encoded(fields)).await
    }

    /// Sends a form with its token; `fields` are encoded.
    pub async fn submit(&self, path: &str, fields: &str) -> Answer {
        let body = format!("csrf={}&{fields}", self.csrf);
        self.send_as("POST", path, FORM, body).await
    }

    /// Sends as a script of the pages does, with the token in a header.
    pub async fn call(&self, path: &str, kind: &str, body: impl Into<Body>) -> Answer {
        let request = Request::post(path)
            .header(header::CONTENT_TYPE, kind)
            .header("x-csrf-token", &self.csrf);
        self.send(request.body(body.into()).unwrap()).await
    }

    /// Sends a form with files in it: its token, then each part by its name, what follows the name, and its bytes.
    pub async fn upload(&self, path: &str, parts: &[(&str, &str, &[u8])]) -> Answer {
        let token = ("csrf", "", self.csrf.as_bytes());
        let mut body = Vec::new();
        for (name, more, bytes) in std::iter::once(&token).chain(parts) {
            let head = format!("form-data; name=\"{name}\"{more}\r\n\r\n");
            body.extend_from_slice(b"--edge\r\nContent-Disposition: ");
            body.extend_from_slice(head.as_bytes());
            body.extend_from_slice(bytes);
            body.extend_from_slice(b"\r\n");
        }
        body.extend_from_slice(b"--edge--\r\n");
        let kind = "multipart/form-data; boundary=edge";
        self.send_as("POST", path, kind, body).await
    }

    /// Sends the form of an act.
    pub async fn act(&self, word: &str, fields: &[(&str, &str)]) -> Answer {
        let id = CommandId::new().to_string();
        let all = [&[("id", id.as_str()), ("sent", "1")][..], fields].concat();
        self.submit(&format!("/do/{word}"), &encoded(&all)).await
    }

    /// Sends the form of an act that must be done; where it leads.
    pub async fn done(&self, word: &str, fields: &[(&str, &str)]) -> String {
        let answer = self.act(word, fields).await;
        assert_eq!(
            answer.status,
            StatusCode::SEE_OTHER,
            "{word}: {}",
            answer.html
        );
        answer.to
    }

    /// Sends the form of an act that must be refused; by which rule.
    pub async fn refused(&self, word: &str, fields: &[(&str, &str)]) -> String {
        let answer = self.act(word, fields).await;
        assert_ne!(
            answer.status,
            StatusCode::SEE_OTHER,
            "{word} was done: {}",
            answer.to
        );
        answer.rule().to_owned()
    }
}
