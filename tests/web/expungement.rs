//! An order to expunge from outside: entered by one, carried out by another on their forms, and afterwards no page, list,
//! search, answer, paper or bundle says a word of what was there.

use std::sync::OnceLock;

use axum::http::StatusCode;
use liftledger::app::Viewer;
use liftledger::custody::mark::{MarkKind, NoteMark};
use liftledger::custody::{Act, case, image};
use liftledger::disclosure::bundle;
use liftledger::ids::{CaseId, MarkId, PersonId, SceneId, Subject};

use super::browser::Browser;
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

async fn signed_in(user_name: &str) -> Browser {
    Browser::of(world(), user_name).await
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
        let (eleni, ivo) = (signed_in("eleni").await, signed_in("ivo").await);
        let bundle_for = async |authority: &str| {
            let fields = [("to", "Brigid Ashdown, defence"), ("authority", authority)];
            let path = format!("/cases/{case}/bundle");
            eleni.submit(&path, &encoded(&fields)).await
        };
        let made = bundle_for("request 12").await;
        assert_eq!(made.status, StatusCode::OK, "{}", made.html);
        assert!(made.says(PLANTED));
        let of = format!("case:{case}");
        let fields = [
            ("of", of.as_str()),
            ("events", ""),
            ("court", "Hollin County Court"),
            ("order", "26-EX-9"),
            ("dated", "2026-03-01"),
            ("password", &eleni.password),
        ];
        eleni.done("order-expungement", &fields).await;
        // Whoever carries it out may read no evidence, and is shown none.
        let waiting = ivo.get("/expungements").await.html;
        assert!(waiting.contains("26-EX-9") && waiting.contains("HR-26-0900"));
        let order = format!("/cases/{case}/expungements/1");
        for path in [
            &order,
            &format!("/do/carry-out-expungement?case={case}&number=1"),
        ] {
            let page = ivo.get(path).await;
            assert_eq!(page.status, StatusCode::OK, "{path}: {}", page.html);
            assert!(!page.says(PLANTED), "{path}");
        }
        assert_eq!(
            ivo.get(&format!("/cases/{case}")).await.status,
            StatusCode::FORBIDDEN
        );
        let number = [
            ("case", &of[5..]),
            ("number", "1"),
            ("password", &ivo.password),
        ];
        let to = ivo.done("carry-out-expungement", &number).await;
        assert!(to.starts_with(&order), "{to}");

        let told = ivo.get(&order).await.html;
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
            let text = answer.html.replace(&format!("value=\"{PLANTED}\""), "");
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
            let text = eleni.get(&path).await.html;
            assert!(text.contains("expunged by order"), "{path}: {text}");
        }
        let found = eleni.get(&format!("/api/find?q={PLANTED}")).await.html;
        assert_eq!(found, "[]");
        let event = eleni.get(&format!("/api/events/{seq}")).await.json();
        assert!(
            event["salt"].is_null() && event["expunged"].as_u64().unwrap() > seq,
            "{event}"
        );

        // A bundle made now says that it was expunged, and its check finds that in order.
        let made = bundle_for("request 13").await;
        assert_eq!(made.status, StatusCode::OK, "{}", made.html);
        assert!(!made.says(PLANTED));
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
        let ivo = signed_in("ivo").await;
        let waiting = ivo.get("/expungements").await.html;
        assert!(!waiting.contains("26-EX-10") && !waiting.contains("HR-26-0901"));
        for path in [
            format!("/cases/{case}/expungements/1"),
            format!("/do/carry-out-expungement?case={case}&number=1"),
        ] {
            let page = ivo.get(&path).await;
            assert_eq!(page.status, StatusCode::FORBIDDEN, "{path}");
            assert!(!page.says("26-EX-10"), "{path}");
        }
        let of = case.to_string();
        let fields = [
            ("case", of.as_str()),
            ("number", "1"),
            ("password", &ivo.password),
        ];
        let done = ivo.act("carry-out-expungement", &fields).await;
        assert_eq!(done.status, StatusCode::FORBIDDEN);
    });
}
