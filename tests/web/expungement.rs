//! An order to expunge from outside: entered by one, carried out by another on their forms, and afterwards no page, list,
//! search, answer, paper or bundle says a word of what was there.

use std::sync::OnceLock;

use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use http_body_util::BodyExt as _;
use liftledger::app::Viewer;
use liftledger::custody::mark::{MarkKind, NoteMark};
use liftledger::custody::{Act, case, image};
use liftledger::disclosure::bundle;
use liftledger::ids::{CaseId, CommandId, MarkId, PersonId, SceneId, Subject};
use tower::ServiceExt as _;

use super::world::{World, encoded, runtime};

/// Words that stand in no other text.
const PLANTED: &str = "quillwort";

fn world() -> &'static World {
    static WORLD: OnceLock<World> = OnceLock::new();
    WORLD.get_or_init(|| World::load("expungement-demo"))
}

fn on<T>(work: impl Future<Output = T>) -> T {
    let _ = world();
    runtime().block_on(work)
}

struct Answer {
    status: StatusCode,
    to: String,
    cookie: String,
    bytes: Vec<u8>,
}

impl Answer {
    fn text(&self) -> String {
        String::from_utf8_lossy(&self.bytes).into_owned()
    }
}

#[derive(Clone, Default)]
struct Browser {
    cookie: String,
    csrf: String,
}

impl Browser {
    async fn send(&self, request: Request<Body>) -> Answer {
        let response = world().router.clone().oneshot(request).await.unwrap();
        let text = |name| {
            let value = response.headers().get(name);
            value.map_or(String::new(), |v| v.to_str().unwrap().to_owned())
        };
        let (to, set) = (text(header::LOCATION), text(header::SET_COOKIE));
        let status = response.status();
        let bytes = response.into_body().collect().await.unwrap().to_bytes();
        Answer {
            status,
            to,
            cookie: set.split(';').next().unwrap_or_default().to_owned(),
            bytes: bytes.to_vec(),
        }
    }

    async fn get(&self, path: &str) -> Answer {
        let request = Request::get(path).header(header::COOKIE, &self.cookie);
        self.send(request.body(Body::empty()).unwrap()).await
    }

    async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let request = Request::post(path)
            .header(header::COOKIE, &self.cookie)
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded");
        self.send(request.body(Body::from(encoded(fields))).unwrap())
            .await
    }

    async fn of(user: &str) -> Self {
        let secret = &world().demo.people[user].sign_in.password;
        let fields = [("user_name", user), ("password", secret.as_str())];
        let answer = Self::default().post("/sign-in", &fields).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.text());
        let mut browser = Self {
            cookie: answer.cookie,
            csrf: String::new(),
        };
        let html = browser.get("/account").await.text();
        let (_, rest) = html.split_once("name=\"csrf\" value=\"").unwrap();
        browser.csrf = rest.split_once('"').unwrap().0.to_owned();
        browser
    }

    /// Sends the form of an act and signs it where it asks.
    async fn act(&self, user: &str, word: &str, fields: &[(&str, &str)]) -> Answer {
        let id = CommandId::new().to_string();
        let secret = &world().demo.people[user].sign_in.password;
        let mut all = vec![
            ("csrf", self.csrf.as_str()),
            ("id", id.as_str()),
            ("sent", "1"),
            ("password", secret.as_str()),
        ];
        all.extend_from_slice(fields);
        self.post(&format!("/do/{word}"), &all).await
    }
}

async fn record(person: PersonId, act: Act) -> uuid::Uuid {
    world().record(person, act).await
}

async fn planted(number: &str) -> (CaseId, MarkId, String) {
    let (w, say) = (world(), |what: &str| format!("{what} {PLANTED}"));
    let tech = w.demo.people["runa"].id;
    let open = case::OpenCase {
        number: number.into(),
        title: say("title"),
        offence: say("offence"),
    };
    let case = CaseId(record(tech, Act::OpenCase(open)).await);
    let scene = case::OpenScene {
        case,
        name: say("scene"),
        address: say("address"),
    };
    let scene = SceneId(record(tech, Act::OpenScene(scene)).await);
    let noted = NoteMark {
        case,
        scene,
        kind: MarkKind::FrictionRidge,
        object: say("object"),
        exact_place: say("place"),
        up: say("up"),
        substrate: "2C".into(),
        texture: "smooth".into(),
        curvature: "flat".into(),
        note: say("note"),
    };
    let mark = MarkId(record(tech, Act::NoteMark(noted)).await);
    let mut bytes = std::io::Cursor::new(Vec::new());
    ::image::RgbImage::from_pixel(40, 30, ::image::Rgb([9, 8, 7]))
        .write_to(&mut bytes, ::image::ImageFormat::Png)
        .unwrap();
    let kept = w.house.originals.keep(bytes.get_ref()).unwrap();
    let add = image::AddImage {
        of: Subject::Mark(mark),
        digest: kept.digest,
        name: say("name"),
        media_type: "image/png".into(),
        bytes: kept.bytes,
        width: Some(40),
        height: Some(30),
        view: Vec::new(),
        says: liftledger::imaging::metadata::FileSays::default(),
    };
    record(tech, Act::AddImage(add)).await;
    (case, mark, kept.digest.to_string())
}

#[test]
fn two_people_expunge_a_case_and_nothing_shows_a_word_of_it() {
    on(async {
        let (case, mark, digest) = planted("HR-26-0900").await;
        let (eleni, ivo) = (Browser::of("eleni").await, Browser::of("ivo").await);
        let made = eleni
            .post(
                &format!("/cases/{case}/bundle"),
                &[
                    ("csrf", eleni.csrf.as_str()),
                    ("to", "Brigid Ashdown, defence"),
                    ("authority", "request 12"),
                ],
            )
            .await;
        assert_eq!(made.status, StatusCode::OK, "{}", made.text());
        assert!(made.text().contains(PLANTED));
        let of = format!("case:{case}");
        let fields = [
            ("of", of.as_str()),
            ("events", ""),
            ("court", "Hollin County Court"),
            ("order", "26-EX-9"),
            ("dated", "2026-03-01"),
        ];
        let ordered = eleni.act("eleni", "order-expungement", &fields).await;
        assert_eq!(ordered.status, StatusCode::SEE_OTHER, "{}", ordered.text());
        // Whoever carries it out may read no evidence, and is shown none.
        let waiting = ivo.get("/expungements").await.text();
        assert!(waiting.contains("26-EX-9") && waiting.contains("HR-26-0900"));
        let order = format!("/cases/{case}/expungements/1");
        for path in [
            &order,
            &format!("/do/carry-out-expungement?case={case}&number=1"),
        ] {
            let page = ivo.get(path).await;
            assert_eq!(page.status, StatusCode::OK, "{path}: {}", page.text());
            assert!(!page.text().contains(PLANTED), "{path}");
        }
        assert_eq!(
            ivo.get(&format!("/cases/{case}")).await.status,
            StatusCode::FORBIDDEN
        );
        let number = [("case", &of[5..]), ("number", "1")];
        let done = ivo.act("ivo", "carry-out-expungement", &number).await;
        assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.text());
        assert!(done.to.starts_with(&order), "{}", done.to);

        let told = ivo.get(&order).await.text();
        for said in ["Brigid Ashdown, defence", "request 12", "Backups"] {
            assert!(told.contains(said), "{said}: {told}");
        }
        let house = &world().house;
        let viewer = Viewer::operator();
        let events = house
            .reader(&viewer)
            .history(Subject::Mark(mark))
            .await
            .unwrap();
        let seq = events[0].event.header.seq;
        for (path, status) in [
            (format!("/cases/{case}"), 200),
            ("/cases".to_owned(), 200),
            (format!("/marks/{mark}"), 200),
            (format!("/events/{seq}"), 200),
            (format!("/find?q={PLANTED}"), 200),
            ("/find?q=HR-26-0900".to_owned(), 303),
            ("/api/find?q=HR-26-0900".to_owned(), 200),
            ("/desk/court".to_owned(), 200),
            (order.clone(), 200),
            (format!("/images/{digest}?of=mark:{mark}"), 404),
            (format!("/pictures/{digest}?of=mark:{mark}"), 404),
            (format!("/api/cases/{case}"), 200),
            (format!("/api/cases/{case}/history"), 200),
            (format!("/api/cases/{case}/marks"), 200),
            (format!("/api/marks/{mark}"), 200),
            (format!("/api/marks/{mark}/history"), 200),
            (format!("/api/events/{seq}"), 200),
            (format!("/api{order}"), 200),
            (format!("/api/find?q={PLANTED}"), 200),
            (format!("/api/images/{digest}?of=mark:{mark}"), 404),
        ] {
            let answer = eleni.get(&path).await;
            let text = answer.text().replace(&format!("value=\"{PLANTED}\""), "");
            let text = text.replace(&format!("“{PLANTED}”"), "");
            assert_eq!(answer.status.as_u16(), status, "{path}: {text}");
            // What was asked for may be said back; nothing was found by it.
            if !path.contains(PLANTED) {
                assert!(!text.contains(PLANTED), "{path}: {text}");
            }
        }
        for path in [
            format!("/cases/{case}"),
            format!("/marks/{mark}"),
            format!("/events/{seq}"),
        ] {
            let text = eleni.get(&path).await.text();
            assert!(text.contains("expunged by order"), "{path}: {text}");
        }
        let found = eleni.get(&format!("/api/find?q={PLANTED}")).await.text();
        assert_eq!(found, "[]");
        let event: serde_json::Value =
            serde_json::from_slice(&eleni.get(&format!("/api/events/{seq}")).await.bytes).unwrap();
        assert!(
            event["salt"].is_null() && event["expunged"].as_u64().unwrap() > seq,
            "{event}"
        );

        // A bundle made now says that it was expunged, and its check finds that in order.
        let made = eleni
            .post(
                &format!("/cases/{case}/bundle"),
                &[
                    ("csrf", eleni.csrf.as_str()),
                    ("to", "Brigid Ashdown, defence"),
                    ("authority", "request 13"),
                ],
            )
            .await;
        assert_eq!(made.status, StatusCode::OK, "{}", made.text());
        assert!(!made.text().contains(PLANTED));
        let report = bundle::check(std::io::Cursor::new(&made.bytes), Some(&house.verifying));
        assert!(report.is_clean(), "{:?}", report.findings);
    });
}

#[test]
fn a_restricted_case_tells_nothing_to_whoever_carries_orders_out() {
    on(async {
        let (case, ..) = planted("HR-26-0901").await;
        let w = world();
        let milena = w.demo.people["milena"].id;
        record(
            milena,
            Act::OrderExpungement(liftledger::custody::expungement::OrderExpungement {
                of: Subject::Case(case),
                events: vec![],
                court: "Hollin County Court".into(),
                order: "26-EX-10".into(),
                dated: "2026-03-01".parse().unwrap(),
            }),
        )
        .await;
        record(
            milena,
            Act::Assign(case::Assign {
                case,
                person: milena,
                assigned: true,
            }),
        )
        .await;
        record(
            milena,
            Act::Restrict(case::Restrict {
                case,
                restricted: true,
                reason: "by order".into(),
            }),
        )
        .await;
        let ivo = Browser::of("ivo").await;
        let waiting = ivo.get("/expungements").await.text();
        assert!(!waiting.contains("26-EX-10") && !waiting.contains("HR-26-0901"));
        for path in [
            format!("/cases/{case}/expungements/1"),
            format!("/do/carry-out-expungement?case={case}&number=1"),
        ] {
            let page = ivo.get(&path).await;
            assert_eq!(page.status, StatusCode::FORBIDDEN, "{path}");
            assert!(!page.text().contains("26-EX-10"), "{path}");
        }
        let of = case.to_string();
        let fields = [("case", of.as_str()), ("number", "1")];
        let done = ivo.act("ivo", "carry-out-expungement", &fields).await;
        assert_eq!(done.status, StatusCode::FORBIDDEN);
    });
}
