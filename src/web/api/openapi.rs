//! The description of the interface: OpenAPI 3.1, JSON Schema 2020-12, made from the table of routes and from the types
//! themselves.

use std::sync::OnceLock;

use axum::http::header;
use axum::response::{IntoResponse, Response};
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, SchemaGenerator};
use serde_json::{Map, Value, json};

use crate::web::error::Problem;
use crate::web::router::Need;

/// What a route takes and gives.
pub struct Op {
    summary: &'static str,
    description: Option<&'static str>,
    parameters: Vec<Value>,
    body: Option<Map<String, Value>>,
    answers: Map<String, Value>,
}

impl Op {
    /// With a summary in a few words.
    pub fn new(summary: &'static str) -> Self {
        Self {
            summary,
            description: None,
            parameters: Vec::new(),
            body: None,
            answers: Map::new(),
        }
    }

    /// More words.
    pub fn more(mut self, description: &'static str) -> Self {
        self.description = Some(description);
        self
    }

    fn parameter(mut self, name: &str, required: bool, words: &str, schema: &Value) -> Self {
        self.parameters.push(json!({
            "name": name, "in": "query", "required": required, "description": words, "schema": schema,
        }));
        self
    }

    /// A parameter of the query.
    pub fn query(self, name: &str, required: bool, words: &str) -> Self {
        self.parameter(name, required, words, &json!({"type": "string"}))
    }

    /// A parameter of the query that may come several times.
    pub fn queries(self, name: &str, words: &str) -> Self {
        self.parameter(
            name,
            false,
            words,
            &json!({"type": "array", "items": {"type": "string"}, "maxItems": 20}),
        )
    }

    /// `limit`.
    pub fn limited(self) -> Self {
        let schema = json!({"type": "integer", "minimum": 1, "maximum": 500, "default": 500});
        self.parameter("limit", false, "At most so many rows", &schema)
    }

    /// `after` and `limit` of a list.
    pub fn paged(self) -> Self {
        self.query(
            "after",
            false,
            "`next` of the part before; absent for the first part",
        )
        .limited()
    }

    /// `after` and `limit` of a history.
    pub fn history(self) -> Self {
        let schema = json!({"type": "integer", "minimum": 0, "default": 0});
        self.parameter("after", false, "`next` of the part before", &schema)
            .limited()
    }

    /// A JSON body.
    pub fn body<T: JsonSchema>(mut self, g: &mut SchemaGenerator) -> Self {
        let mut content = Map::new();
        content.insert(
            "application/json".into(),
            json!({"schema": g.subschema_for::<T>()}),
        );
        self.body = Some(content);
        self
    }

    /// A body of bytes.
    pub fn raw_body(mut self, media: &[&str]) -> Self {
        self.body = Some(media.iter().map(|m| ((*m).into(), json!({}))).collect());
        self
    }

    /// An example of the body.
    pub fn example(mut self, example: Value) -> Self {
        if let Some(Value::Object(body)) = self
            .body
            .as_mut()
            .and_then(|b| b.get_mut("application/json"))
        {
            body.insert("example".into(), example);
        }
        self
    }

    /// A JSON answer.
    pub fn json<T: JsonSchema>(mut self, g: &mut SchemaGenerator) -> Self {
        let schema = json!({"schema": g.subschema_for::<T>()});
        self.answers.insert("application/json".into(), schema);
        self
    }

    /// A JSON answer that has no schema of ours.
    pub fn any_json(mut self) -> Self {
        let schema = json!({"schema": {"type": "object"}});
        self.answers.insert("application/json".into(), schema);
        self
    }

    /// An answer of bytes or text.
    pub fn media(mut self, media: &str) -> Self {
        let schema = if media.starts_with("text/") {
            json!({"schema": {"type": "string"}})
        } else {
            json!({})
        };
        self.answers.insert(media.into(), schema);
        self
    }

    fn told(self, path: &str, method: &str, need: Need, tag: &str) -> Value {
        let mut parameters: Vec<Value> = names(path).map(path_parameter).collect();
        parameters.extend(self.parameters);
        let mut op = Map::new();
        op.insert("operationId".into(), operation_id(method, path).into());
        op.insert("summary".into(), self.summary.into());
        op.insert("tags".into(), json!([tag]));
        let who = match need {
            Need::Anybody => "For anybody.".to_owned(),
            Need::SignedIn => "For everybody with an account.".to_owned(),
            Need::May(action) => {
                let roles: Vec<&str> = action.roles().iter().map(|r| r.title()).collect();
                format!("For whoever may {}: {}.", action.words(), roles.join(", "))
            }
        };
        let description = match self.description {
            Some(more) => format!("{who} {more}"),
            None => who,
        };
        op.insert("description".into(), description.into());
        if need == Need::Anybody {
            op.insert("security".into(), json!([]));
        }
        if !parameters.is_empty() {
            op.insert("parameters".into(), parameters.into());
        }
        if let Some(content) = self.body {
            op.insert(
                "requestBody".into(),
                json!({"required": true, "content": content}),
            );
        }
        let mut responses = Map::new();
        responses.insert(
            "200".into(),
            json!({"description": "Done", "content": self.answers}),
        );
        responses.insert(
            "default".into(),
            json!({"$ref": "#/components/responses/Problem"}),
        );
        op.insert("responses".into(), responses.into());
        op.into()
    }
}

/// The names in braces.
fn names(path: &str) -> impl Iterator<Item = &str> {
    path.split('/')
        .filter_map(|part| part.strip_prefix('{')?.strip_suffix('}'))
}

fn path_parameter(name: &str) -> Value {
    let (words, schema) = match name {
        "id" => ("Identifier", json!({"type": "string", "format": "uuid"})),
        "seq" => (
            "Place in the ledger, from 1",
            json!({"type": "integer", "minimum": 1}),
        ),
        "digest" => (
            "SHA-256, lower-case hex",
            json!({"type": "string", "pattern": "^[0-9a-f]{64}$"}),
        ),
        "code" => ("The code of a label", json!({"type": "string"})),
        "which" => (
            "Which desk",
            json!({"type": "string", "enum": ["field", "storeroom", "examiner", "court"]}),
        ),
        _ => ("Name", json!({"type": "string"})),
    };
    json!({"name": name, "in": "path", "required": true, "description": words, "schema": schema})
}

/// `get-cases-id-marks`.
fn operation_id(method: &str, path: &str) -> String {
    let mut out = method.to_owned();
    for part in path
        .trim_start_matches("/api")
        .split(['/', '{', '}', '.'])
        .filter(|p| !p.is_empty())
    {
        out.push('-');
        out.push_str(part);
    }
    out
}

/// The description.
#[must_use]
pub fn document() -> Value {
    let settings =
        SchemaSettings::draft2020_12().with(|s| s.definitions_path = "/components/schemas".into());
    let mut g = settings.into_generator();
    let mut paths: Map<String, Value> = Map::new();
    for (route, op) in super::described(&mut g) {
        let tag = route.path.split('/').nth(2).unwrap_or_default();
        let tag = tag.split('.').next().unwrap_or_default();
        let told = op.told(route.path, route.method, route.need, tag);
        let entry = paths.entry(route.path).or_insert_with(|| json!({}));
        entry[route.method] = told;
    }
    let problem = g.subschema_for::<Problem>();
    let mut schemas = g.take_definitions(true);
    // Made by chance when a client leaves it out, so there is nothing to state as the default.
    if let Some(id) = schemas
        .get_mut("Command")
        .and_then(|c| c.pointer_mut("/properties/id"))
        .and_then(Value::as_object_mut)
    {
        id.remove("default");
    }
    json!({
        "openapi": "3.1.1",
        "info": {
            "title": "Liftledger",
            "summary": "A ledger of the custody and packaging of lifted marks and casts",
            "description": "Everything that a page does. Times are RFC 3339 with an offset. Lists come in parts of at \
                            most 500 rows. Reading a restricted case goes on the record. All examples are invented.",
            "version": env!("CARGO_PKG_VERSION"),
            "license": {"name": "MIT OR Apache-2.0", "identifier": "MIT OR Apache-2.0"},
        },
        "servers": [{"url": "/"}],
        "security": [{"token": []}, {"session": []}],
        "paths": paths,
        "components": {
            "schemas": schemas,
            "responses": {
                "Problem": {
                    "description": "Refused or failed. A rule of custody that refuses is named in code (409, or 403 \
                                    and 404 where something may not be seen or is not there); 401 asks for a token, \
                                    or for the password of an act that must be signed; 503 and 429 say when to try \
                                    again.",
                    "content": {"application/problem+json": {"schema": problem}},
                },
            },
            "securitySchemes": {
                "token": {
                    "type": "http",
                    "scheme": "bearer",
                    "description": "A personal access token, made under My account. It acts in that person's name.",
                },
                "session": {
                    "type": "apiKey",
                    "in": "cookie",
                    "name": crate::web::session::COOKIE,
                    "description": "The session of a page. What changes anything also needs the header x-csrf-token, \
                                    which the forms of that session carry as csrf.",
                },
            },
        },
    })
}

/// The description as it is sent; it never changes while the server runs.
pub async fn show() -> Response {
    static TEXT: OnceLock<String> = OnceLock::new();
    let text = TEXT.get_or_init(|| document().to_string());
    ([(header::CONTENT_TYPE, "application/json")], text.as_str()).into_response()
}
