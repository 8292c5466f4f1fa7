//! The custodian's room from outside, by HTTP over the whole router: a count of 400 things with four kinds of difference, and
//! a disposition by three people. Both tests share one demo.

use std::sync::OnceLock;

use axum::http::StatusCode;
use liftledger::app::Viewer;
use liftledger::custody::item::Recover;
use liftledger::custody::person::AddPerson;
use liftledger::custody::place::{AddPlace, Fetch, PlaceKind, Store};
use liftledger::custody::state::Holder;
use liftledger::custody::{Act, case, mark};
use liftledger::ids::{
    CaseId, Code, CountId, ItemId, MarkId, PersonId, Piece, PlaceId, SceneId, Subject,
};
use liftledger::people::Role;
use sha2::Digest as _;

use super::browser::Browser;
use super::world::{World, runtime};

mod pictures;
mod seals;

fn world() -> &'static World {
    static WORLD: OnceLock<World> = OnceLock::new();
    WORLD.get_or_init(|| World::load("room-demo"))
}

/// One test after the other: the last thing that one does is to check the whole ledger.
fn on<T>(work: impl Future<Output = T>) -> T {
    static ONE: std::sync::Mutex<()> = std::sync::Mutex::new(());
    let _one = ONE
        .lock()
        .unwrap_or_else(std::sync::PoisonError::into_inner);
    let _ = world();
    runtime().block_on(work)
}

async fn signed_in(user_name: &str) -> Browser {
    Browser::of(world(), user_name).await
}

/// Puts something on the record in somebody's name, without a page.
async fn record(person: PersonId, act: Act) -> uuid::Uuid {
    world().record(person, act).await
}

/// Somebody who lifts and keeps, so that four hundred things get onto a shelf by eight hundred acts.
async fn helper() -> PersonId {
    helper_named("lifts-and-keeps").await
}

async fn helper_named(user_name: &str) -> PersonId {
    let add = AddPerson {
        user_name: user_name.into(),
        name: "Ada Quill".into(),
        number: "T-099".into(),
        roles: [Role::Technician, Role::Custodian].into(),
    };
    PersonId(record(world().demo.people["ivo"].id, Act::AddPerson(add)).await)
}

async fn shelf(person: PersonId, name: &str, parent: Option<PlaceId>) -> PlaceId {
    let add = AddPlace {
        name: name.into(),
        kind: PlaceKind::Shelf,
        parent,
        climate: "room-temperature".into(),
        damp: false,
        lit: false,
        hot: false,
        dusty: false,
        on_edge: false,
        stacked: false,
        biohazard_marked: false,
    };
    PlaceId(record(person, Act::AddPlace(add)).await)
}

async fn marks(person: PersonId, number: &str, n: usize) -> (CaseId, Vec<MarkId>) {
    let open = case::OpenCase {
        number: number.into(),
        title: "Chandlery".into(),
        offence: "burglary".into(),
    };
    let case = CaseId(record(person, Act::OpenCase(open)).await);
    let scene = case::OpenScene {
        case,
        name: "Loft".into(),
        address: "Weir Street 4".into(),
    };
    let scene = SceneId(record(person, Act::OpenScene(scene)).await);
    let mut out = Vec::new();
    for _ in 0..n {
        let noted = mark::NoteMark {
            case,
            scene,
            kind: mark::MarkKind::FrictionRidge,
            object: "sail locker".into(),
            exact_place: "lid".into(),
            up: "towards the hinge".into(),
            substrate: "2C".into(),
            texture: "smooth".into(),
            curvature: "flat".into(),
            note: String::new(),
        };
        out.push(MarkId(record(person, Act::NoteMark(noted)).await));
    }
    (case, out)
}

async fn lift(person: PersonId, mark: MarkId) -> ItemId {
    let recover = Recover {
        mark,
        medium: "lifting-tape".into(),
        lot: String::new(),
        started_at: chrono::Utc::now().fixed_offset(),
        set_at: None,
        air_c: None,
        card: String::new(),
        description: "from the lid".into(),
        wet: false,
        biological: false,
        fragile: false,
        sharp: false,
        size_mm: None,
        thickness: None,
        how_viewed: String::new(),
        from_item: None,
        advice: None,
    };
    ItemId(record(person, Act::Recover(recover)).await)
}

async fn put(person: PersonId, item: ItemId, place: PlaceId) {
    let store = Store {
        piece: Piece::Item(item),
        place,
        overridden: None,
        unsealed_reason: Some("counted next".into()),
    };
    record(person, Act::Store(store)).await;
}

fn code(item: ItemId) -> String {
    Code::of(Subject::Item(item)).unwrap().to_string()
}

#[test]
fn four_hundred_things_are_counted_blind_and_four_kinds_of_difference_found() {
    on(async {
        let person = helper().await;
        let (_, marks) = marks(person, "HR-26-0700", 9).await;
        let (here, there) = (
            shelf(person, "Count 1", None).await,
            shelf(person, "Elsewhere 1", None).await,
        );
        let inner = shelf(person, "Count 1, bin", Some(here)).await;
        let mut items = Vec::new();
        for i in 0..407_usize {
            let item = lift(person, marks[i / 50]).await;
            // 400 stand there, ten of them in the bin; four stand elsewhere; three are in somebody's hands.
            match i {
                0..10 => put(person, item, inner).await,
                10..400 => put(person, item, here).await,
                400..404 => put(person, item, there).await,
                _ => {}
            }
            items.push(item);
        }
        let nour = signed_in("nour").await;
        let place = here.to_string();
        let to = nour
            .done(
                "begin-count",
                &[("place", place.as_str()), ("below", "yes")],
            )
            .await;
        let page = to.split('?').next().unwrap().to_owned();
        let id: CountId = page.strip_prefix("/counts/").unwrap().parse().unwrap();
        let count = id.to_string();

        // Blind: neither the page nor the interface for programs says what should be there, nor how much.
        let open = nour.get(&page).await;
        assert_eq!(open.status, StatusCode::OK, "{}", open.html);
        assert!(items.iter().all(|i| !open.html.contains(&code(*i))));
        assert!(!open.html.contains(" 400") && !open.html.contains("400 "));
        let told = nour.get(&format!("/api{page}")).await.json();
        assert_eq!(told["looked_for"], serde_json::json!([]));
        assert!(!told.to_string().contains(&code(items[0])));

        // Five of those that stand there are not seen; the four and the three are, and two labels that are not ours.
        let mut seen: Vec<String> = items[5..].iter().map(|i| code(*i)).collect();
        let unknown = code(ItemId::new());
        seen.push("5901234123457".into());
        seen.push(unknown.clone());
        seen.push(code(items[7]));
        let mut misread = code(items[8]);
        misread.replace_range(11.., if misread.ends_with('0') { "1" } else { "0" });
        seen.push(misread.clone());
        let mut last = String::new();
        for batch in seen.chunks(100) {
            let codes = batch.join("\r\n");
            last = nour
                .done(
                    "scan-codes",
                    &[("count", count.as_str()), ("codes", codes.as_str())],
                )
                .await;
        }
        let after = nour.get(&last).await.html;
        assert!(after.contains("scanned before"), "{after}");
        assert!(after.contains("Misread or mistyped") && after.contains(&misread));
        assert!(after.contains("of another agency&#39;s") || after.contains("of another agency"));
        // A batch that is too long is refused and kept.
        let long = vec!["I000"; 501].join("\n");
        let refused = nour
            .act(
                "scan-codes",
                &[("count", count.as_str()), ("codes", long.as_str())],
            )
            .await;
        assert!(refused.html.contains("bad-value") && refused.html.contains("I000"));

        nour.done("end-count", &[("count", count.as_str())]).await;
        let ended = nour.get(&page).await.html;
        for said in [
            "395 of 400 found",
            "5 missing",
            "4 misplaced",
            "3 unexpected",
            "2 not of this ledger",
            "place Elsewhere 1",
            "5901234123457",
        ] {
            assert!(ended.contains(said), "{said}: {ended}");
        }
        assert!(
            !ended.contains("/do/resolve-difference"),
            "whoever counted does not resolve"
        );
        let own = [
            ("count", count.as_str()),
            ("number", "1"),
            ("outcome", "set-right"),
            ("reason", "behind the bin"),
        ];
        assert_eq!(nour.refused("resolve-difference", &own).await, "own-count");
        let desk = nour.get("/desk/storeroom").await.html;
        assert!(desk.contains("Counts, 14 to be resolved"), "{desk}");

        let milena = signed_in("milena").await;
        let offered = milena.get(&page).await.html;
        assert_eq!(offered.matches("/do/resolve-difference").count(), 14);
        milena.done("resolve-difference", &own).await;
        let resolved = milena.get(&page).await.html;
        assert!(resolved.contains("Set right, by") && resolved.contains("behind the bin"));
        assert_eq!(
            milena.refused("resolve-difference", &own).await,
            "already-resolved"
        );
        // Each difference is an event on the thread of its thing.
        let told = milena.get(&format!("/api{page}")).await.json();
        let differences = told["differences"].as_array().unwrap();
        assert_eq!(differences.len(), 14);
        let first = &differences[0];
        let item = milena
            .get(&format!(
                "/items/{}",
                first["piece"]
                    .as_str()
                    .unwrap()
                    .strip_prefix("item:")
                    .unwrap()
            ))
            .await
            .html;
        assert!(item.contains("Count differs"), "{item}");
    });
}

#[test]
fn a_disposition_is_by_three_people_and_ends_custody() {
    on(async {
        let w = world();
        let nour_id = w.demo.people["nour"].id;
        let (runa_id, milena_id) = (w.demo.people["runa"].id, w.demo.people["milena"].id);
        // A sealed package of the boatyard on a shelf.
        let viewer = Viewer::operator();
        let reader = w.house.reader(&viewer);
        let mut found = None;
        for id in w.demo.packages.values() {
            let package = reader.package(*id).await.unwrap();
            let shelved = matches!(package.custody.holder, Holder::Place { .. });
            if shelved
                && package.custody.inside.is_none()
                && package.custody.offer.is_none()
                && package.seal().is_some()
                && package.case == w.demo.cases["boatyard"]
            {
                found = Some(package);
                break;
            }
        }
        let package = found.unwrap();
        let seal = package.seal().unwrap().number.clone();
        let piece = Piece::Package(package.id);
        let fetch = Fetch {
            piece,
            purpose: "for its disposition".into(),
        };
        record(nour_id, Act::Fetch(fetch)).await;
        let (nour, runa, milena, eleni) = (
            signed_in("nour").await,
            signed_in("runa").await,
            signed_in("milena").await,
            signed_in("eleni").await,
        );
        let named = piece.to_string();
        let (runa_text, milena_text) = (runa_id.to_string(), milena_id.to_string());
        let authorise = |early: &'static str| {
            vec![
                ("piece", named.as_str()),
                ("method", "return-to-owner"),
                ("authority", "release 7 of the prosecutor"),
                ("reason", "the owner asks for it"),
                ("early_reason", early),
                ("password", milena.password.as_str()),
            ]
        };
        // Nobody has said how long it is kept: the form says so, and refuses without a word on why earlier.
        let form = milena
            .get(&format!("/do/authorise-disposition?piece={named}"))
            .await;
        assert!(form.html.contains("It is to be kept"), "{}", form.html);
        let refused = milena
            .refused("authorise-disposition", &authorise(""))
            .await;
        assert_eq!(refused, "still-retained");
        // A hold on the case keeps it; the court liaison places it, and lifts it again by signing.
        let case = format!("case:{}", package.case);
        let hold = [
            ("of", case.as_str()),
            ("authority", "order 12 of the county court"),
            ("reason", "the appeal is open"),
        ];
        eleni.done("place-hold", &hold).await;
        let shown = eleni.get(&format!("/cases/{}", package.case)).await.html;
        assert!(shown.contains("Hold 1") && shown.contains("the appeal is open"));
        let early = authorise("order 9 of the county court");
        assert_eq!(
            milena.refused("authorise-disposition", &early).await,
            "held"
        );
        let lift = [
            &hold[..],
            &[("number", "1"), ("password", eleni.password.as_str())],
        ]
        .concat();
        eleni.done("lift-hold", &lift).await;
        milena.done("authorise-disposition", &early).await;

        let dispose = |witness: &'static str| {
            let witness = if witness == "runa" {
                &runa_text
            } else {
                &milena_text
            };
            vec![
                ("piece", named.as_str()),
                ("witness", witness.as_str()),
                ("how", "handed over at the counter, receipt 31"),
                ("party.name", "Odo Fenn"),
                ("party.identification", "passport of the owner"),
                ("seal_seen", seal.as_str()),
                ("condition", "intact"),
                ("password", nour.password.as_str()),
            ]
        };
        let form = nour.get(&format!("/do/dispose?piece={named}")).await.html;
        assert!(!form.contains(&milena_text), "who authorised is no witness");
        assert_eq!(
            nour.refused("dispose", &dispose("milena")).await,
            "same-person"
        );
        nour.done("dispose", &dispose("runa")).await;
        // The list says of each item of the case why it stays, and how far its disposition is.
        let list = eleni
            .get(&format!("/cases/{}/disposition", package.case))
            .await
            .html;
        assert!(list.contains("waits for its witness"), "{list}");
        assert!(list.contains("Nobody has said yet how long") && list.contains("dispose of that"));
        // Until it is witnessed nothing else is done with it, and it is nour's by the record.
        let page = format!("/packages/{}", package.id);
        let desk = runa.get("/desk/field").await.html;
        assert!(desk.contains("to be witnessed"), "{desk}");
        let store = [
            ("piece", named.as_str()),
            ("place", &w.demo.places["a1"].to_string()),
        ];
        assert_eq!(nour.refused("store", &store).await, "disposition-open");
        let unsigned = [("piece", named.as_str())];
        let sign = runa.act("witness-disposition", &unsigned).await;
        assert!(
            sign.html.contains("type=\"password\""),
            "it asks for the password"
        );
        let signed = [
            ("piece", named.as_str()),
            ("password", runa.password.as_str()),
        ];
        runa.done("witness-disposition", &signed).await;

        let ended = nour.get(&page).await.html;
        assert!(ended.contains("no longer in custody"), "{ended}");
        assert!(!ended.contains("/do/release") && !ended.contains("/do/take-charge"));
        assert_eq!(nour.refused("store", &store).await, "disposed-of");
        // What was in it went with it.
        let inside = reader.package(package.id).await.unwrap().contents[0];
        let inner = nour
            .get(&format!(
                "/{}s/{}",
                Subject::from(inside).kind(),
                Subject::from(inside).uuid()
            ))
            .await
            .html;
        assert!(inner.contains("no longer in custody"), "{inner}");
        // The certificate: a PDF, on the record before it is handed out.
        let before = reader.history(Subject::from(piece)).await.unwrap().len();
        let certificate = eleni.submit(&format!("{page}/certificate"), "").await;
        assert_eq!(certificate.status, StatusCode::OK);
        let pdf = certificate.bytes;
        assert!(pdf.starts_with(b"%PDF"));
        std::fs::write(
            std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("certificate.pdf"),
            &pdf,
        )
        .unwrap();
        let past = reader.history(Subject::from(piece)).await.unwrap();
        assert_eq!(past.len(), before + 1);
        let printed = &past[before].event;
        assert_eq!(printed.header.kind, "paper.report-printed");
        let digest: [u8; 32] = sha2::Sha256::digest(&pdf).into();
        assert_eq!(
            printed.field_str("digest"),
            Some(liftledger::ids::Digest(digest).to_string().as_str())
        );
        // What was not disposed of by itself has none.
        let inner_page = format!(
            "/{}s/{}",
            Subject::from(inside).kind(),
            Subject::from(inside).uuid()
        );
        let none = eleni.submit(&format!("{inner_page}/certificate"), "").await;
        assert!(none.status.is_client_error(), "{}", none.status);
        // The whole ledger still checks, read models and all.
        let audit =
            liftledger::app::audit::audit(w.house.store.as_ref(), &w.house.verifying, &[], |_| {})
                .await
                .unwrap();
        assert!(audit.is_clean(), "{:?}", audit.models);
    });
}

#[test]
fn the_page_of_a_place_is_silent_while_it_is_counted_blind() {
    on(async {
        let w = world();
        let viewer = Viewer::operator();
        let reader = w.house.reader(&viewer);
        let mut found = None;
        for place in w.demo.places.values() {
            let part = liftledger::app::Part::default();
            let here = reader.stored_in(*place, &part).await.unwrap();
            if let Some(thing) = here.rows.first() {
                found = Some((*place, thing.code().grouped()));
                break;
            }
        }
        let (place, code) = found.unwrap();
        let page = format!("/places/{place}");
        let nour = signed_in("nour").await;
        let shown = async |b: &Browser| b.get(&page).await.html.contains(&code);
        assert!(shown(&nour).await);
        let place = place.to_string();
        let count = nour.done("begin-count", &[("place", &place)]).await;
        let count = count
            .trim_start_matches("/counts/")
            .split('?')
            .next()
            .unwrap();
        let answer = nour.get(&page).await;
        assert!(!answer.html.contains(&code), "{}", answer.html);
        assert!(answer.html.contains("A blind count of this place is open"));
        let api = nour.get(&format!("/api/places/{place}")).await;
        let file = api.json();
        assert_eq!(file["counted"], count);
        assert_eq!(file["contents"]["rows"], serde_json::json!([]));
        // Whoever leads the room and may not count still sees it.
        assert!(shown(&signed_in("eleni").await).await);
        nour.done("end-count", &[("count", count)]).await;
        assert!(shown(&nour).await);
    });
}

#[test]
fn a_pasted_log_stands_on_the_page_of_its_place() {
    on(async {
        let place = world().demo.places["r1"].to_string();
        let nour = signed_in("nour").await;
        let rows = "time,temperature_c\n2026-01-02T10:00:00Z,5\n2026-01-02T10:10:00Z,9\nsoon,5\n";
        let fields = |csv| {
            [
                ("place", place.as_str()),
                ("logger", "L-3"),
                ("offset", ""),
                ("csv", csv),
            ]
        };
        let refused = nour.act("log-climate", &fields(rows)).await;
        assert_eq!(refused.status, StatusCode::CONFLICT);
        assert!(refused.html.contains("Line 4: "), "{}", refused.html);
        assert!(
            refused.html.contains("2026-01-02T10:10:00Z,9"),
            "what was typed stays"
        );
        let to = nour
            .done("log-climate", &fields(&rows.replace("soon,5\n", "")))
            .await;
        let (page, part) = to.split_once('#').unwrap();
        assert_eq!(part, "climate");
        assert!(page.contains("?done="), "{to}");
        let html = nour.get(page).await.html;
        assert!(html.contains("2 readings of logger L-3"), "{html}");
        assert!(html.contains("1 excursion"), "{html}");
    });
}
