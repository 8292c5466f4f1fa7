//! Pages that show, from outside, by HTTP over the whole router: who may see them, what stands on them, and what they
//! put on the record. All tests of this file share one demo.

use std::collections::BTreeSet;
use std::sync::OnceLock;

use axum::http::{StatusCode, header};
use chrono::Utc;
use liftledger::app::views::package_file;
use liftledger::app::views::words::MIRRORED;
use liftledger::app::{Part, Sent, Viewer};
use liftledger::custody::hand_over;
use liftledger::custody::person::AddPerson;
use liftledger::custody::{Act, Command, Signed};
use liftledger::ids::{CommandId, Digest, ItemId, PersonId, Subject};
use liftledger::ledger::event::Source;
use liftledger::people::{Action, Role, permission};
use liftledger::web::router::{
    LABEL_ROUTES, LIVE_ROUTES, LONG_ROUTES, Need, ROUTES, UPLOAD_ROUTES,
};
use sha2::{Digest as _, Sha256};

use super::browser::{Answer, Browser, FORM};
use super::world::{World, runtime};

mod papers;
mod turns;

fn world() -> &'static World {
    static WORLD: OnceLock<World> = OnceLock::new();
    WORLD.get_or_init(|| World::load("pages-demo"))
}

fn on<T>(work: impl Future<Output = T>) -> T {
    let _ = world();
    runtime().block_on(work)
}

/// Whether the permission table refused.
fn refused_by_role(answer: &Answer) -> bool {
    answer.status == StatusCode::FORBIDDEN && answer.says("Your role may not")
}

async fn signed_in(user_name: &str) -> Browser {
    Browser::of(world(), user_name).await
}

/// Sends a form without its token.
async fn forged(browser: &Browser, path: &str, fields: &str) -> Answer {
    browser.send_as("POST", path, FORM, fields.to_owned()).await
}

/// Somebody new, with this role only.
async fn newcomer(role: Role) -> Browser {
    known_newcomer(role).await.1
}

/// Somebody new, with this role only, and who it is.
async fn known_newcomer(role: Role) -> (PersonId, Browser) {
    let w = world();
    static NUMBER: std::sync::atomic::AtomicU32 = std::sync::atomic::AtomicU32::new(0);
    let n = NUMBER.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
    let user_name = format!("only-{}-{n}", role.title().replace(' ', "-"));
    let secret = "slipway-lantern-oakum-caulk-77";
    let id = CommandId::new();
    let add = AddPerson {
        user_name: user_name.clone(),
        name: format!("Only {}", role.title()),
        number: format!("Z-{}", role as u8),
        roles: [role].into(),
    };
    let sent = Sent {
        person: Some(w.demo.people["ivo"].id),
        signed: Signed::Session,
        beside: None,
        source: Source::Desk,
        command: Command {
            id,
            claimed_at: None,
            late_reason: None,
            paper_sheet: None,
            act: Act::AddPerson(add),
        },
    };
    w.house.recorder.record(sent).await.unwrap();
    let person = w.house.person(PersonId(id.0)).await.unwrap().unwrap();
    w.house
        .set_password(&person, secret, Utc::now())
        .await
        .unwrap();
    let browser = Browser::sign_in(&w.router, &user_name, secret).await;
    (person.id, browser)
}

async fn count(subject: Subject) -> u64 {
    let store = &world().house.store;
    store.subject_count(&subject.to_string()).await.unwrap()
}

async fn size() -> u64 {
    world().house.store.head().await.unwrap().size
}

/// The kind and fields of a subject's last event.
async fn last(subject: Subject) -> (String, serde_json::Value) {
    let viewer = Viewer::operator();
    let reader = world().house.reader(&viewer);
    let past = reader.history(subject).await.unwrap().pop().unwrap();
    (
        past.event.header.kind.clone(),
        serde_json::to_value(&past.event.fields).unwrap(),
    )
}

/// A page of this server: one heading, nothing inline, nothing from elsewhere, no identifier twice, every link to a row
/// of the page leads to one.
fn is_a_page(path: &str, answer: &Answer) {
    assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.html);
    let html = &answer.html;
    assert_eq!(html.matches("<h1").count(), 1, "{path}");
    for forbidden in [" style=", "<style", " onclick=", "javascript:"] {
        assert!(!html.contains(forbidden), "{path} has {forbidden}");
    }
    assert!(!html.contains("src=\"http") && !html.contains("href=\"http"));
    let mut ids = BTreeSet::new();
    for part in html.split(" id=\"").skip(1) {
        let id = part.split('"').next().unwrap();
        assert!(ids.insert(id.to_owned()), "{path} has the id {id} twice");
    }
    for part in html.split("href=\"#").skip(1) {
        let id = part.split('"').next().unwrap();
        assert!(ids.contains(id), "{path} has no {id}");
    }
}

const NOBODY: &str = "00000000-0000-7000-8000-000000000000";

/// A route's path with something in it, of which there is nothing.
fn filled(path: &str) -> String {
    let digest = "0".repeat(64);
    path.replace("{id}", NOBODY)
        .replace("{seq}", "999999999")
        .replace("{digest}", &digest)
        .replace("{act}", "receive")
        .split('/')
        .map(|part| if part.starts_with('{') { "x" } else { part })
        .collect::<Vec<_>>()
        .join("/")
}

#[test]
fn each_route_asks_the_permission_table() {
    on(async {
        let roles = [
            Role::Administrator,
            Role::Technician,
            Role::Custodian,
            Role::Examiner,
            Role::CourtLiaison,
            Role::Supervisor,
            Role::Auditor,
        ];
        let everybody = Browser::stranger(&world().router);
        for role in roles {
            let browser = newcomer(role).await;
            let mut left = None;
            for route in ROUTES
                .iter()
                .chain(LONG_ROUTES)
                .chain(LIVE_ROUTES)
                .chain(UPLOAD_ROUTES)
                .chain(LABEL_ROUTES)
            {
                if route.path == "/sign-out" {
                    left = Some(route);
                    continue;
                }
                let path = filled(route.path);
                let send = |who: Browser| {
                    let path = path.clone();
                    async move {
                        match route.method {
                            "get" => who.get(&path).await,
                            _ => who.submit(&path, "").await,
                        }
                    }
                };
                let stranger = send(everybody.clone()).await;
                if route.need == Need::Anybody {
                    assert_ne!(stranger.status, StatusCode::SEE_OTHER, "{path}");
                } else {
                    assert_eq!(stranger.status, StatusCode::SEE_OTHER, "{path}");
                    let to = &stranger.to;
                    assert!(to.starts_with("/sign-in"), "{path} leads to {to}");
                }
                let Need::May(action) = route.need else {
                    continue;
                };
                let answer = send(browser.clone()).await;
                assert_eq!(
                    refused_by_role(&answer),
                    !permission::allows(&[role], action),
                    "{} {path} by {}: {}",
                    route.method,
                    role.title(),
                    answer.status
                );
            }
            // The forms of acts are one route, and each asks by its own line of the table.
            for (word, action, _) in Act::TABLE {
                for answer in [
                    browser.get(&format!("/do/{word}")).await,
                    browser.submit(&format!("/do/{word}"), "").await,
                ] {
                    assert_eq!(
                        refused_by_role(&answer),
                        !permission::allows(&[role], *action),
                        "{word} by {}: {}",
                        role.title(),
                        answer.status
                    );
                }
            }
            // Signing out comes last.
            assert!(left.is_some());
            assert_eq!(
                browser.submit("/sign-out", "").await.status,
                StatusCode::SEE_OTHER
            );
            assert_eq!(browser.get("/cases").await.status, StatusCode::SEE_OTHER);
        }
    });
}

#[test]
fn everybody_has_their_desks_and_nobody_elses() {
    on(async {
        let desks = [
            ("/desk/field", vec!["runa", "tomasz"]),
            ("/desk/storeroom", vec!["nour"]),
            ("/desk/examiner", vec!["soren"]),
            ("/desk/court", vec!["eleni", "milena"]),
        ];
        for user in ["runa", "tomasz", "nour", "soren", "eleni", "milena"] {
            let browser = signed_in(user).await;
            let home = browser.get("/").await;
            let to = home.to;
            for (desk, of) in &desks {
                let answer = browser.get(desk).await;
                if of.contains(&user) {
                    is_a_page(desk, &answer);
                    assert_eq!(to, *desk);
                } else {
                    assert_eq!(answer.status, StatusCode::NOT_FOUND, "{desk} of {user}");
                }
            }
        }
        // What waits is there with its act.
        let storeroom = signed_in("nour").await.get("/desk/storeroom").await;
        assert!(storeroom.says("/do/receive?piece=package:"));
        let field = signed_in("runa").await.get("/desk/field").await;
        assert!(field.says("/do/recover?mark=") && field.says("Withdraw the offer"));
    });
}

#[test]
fn every_page_of_the_story_can_be_drawn() {
    on(async {
        let w = world();
        // A technician who is assigned to both cases.
        let browser = signed_in("tomasz").await;
        let mut paths: Vec<String> = vec!["/cases".into(), "/places".into()];
        paths.extend(w.demo.cases.values().map(|id| format!("/cases/{id}")));
        paths.extend(
            w.demo
                .cases
                .values()
                .map(|id| format!("/cases/{id}/papers")),
        );
        paths.extend(w.demo.marks.values().map(|id| format!("/marks/{id}")));
        paths.extend(w.demo.items.values().map(|id| format!("/items/{id}")));
        paths.extend(w.demo.packages.values().map(|id| format!("/packages/{id}")));
        paths.extend(w.demo.places.values().map(|id| format!("/places/{id}")));
        // One event of each kind, and the first and the last of all.
        let mut kinds = BTreeSet::new();
        let viewer = Viewer::operator();
        let reader = w.house.reader(&viewer);
        let end = size().await;
        for seq in 1..=end {
            let event = reader.event(seq).await.unwrap();
            if kinds.insert(event.header.kind.clone()) || seq == end {
                paths.push(format!("/events/{seq}"));
            }
        }
        assert!(kinds.len() > 15 && paths.len() > 90);
        for path in paths {
            let answer = browser.get(&path).await;
            is_a_page(&path, &answer);
            if path.starts_with("/events/") {
                assert!(
                    answer.says("is in the tree of the latest checkpoint"),
                    "{path}"
                );
            }
        }
    });
}

#[test]
fn the_page_of_an_item_answers_what_is_asked() {
    on(async {
        let w = world();
        let viewer = Viewer::operator();
        let reader = w.house.reader(&viewer);
        let browser = signed_in("nour").await;
        let mut reversed = 0;
        for id in w.demo.items.values() {
            let item = reader.item(*id).await.unwrap();
            if item.case != w.demo.cases["boatyard"] {
                continue;
            }
            let answer = browser.get(&format!("/items/{id}")).await;
            let is = item.recovered.reads == "reversed";
            assert_eq!(answer.says(MIRRORED), is, "item {}", item.number);
            reversed += usize::from(is);
            let events = count(Subject::Item(*id)).await;
            assert!(answer.says("<svg class=\"across") && answer.says("id=\"row-1\""));
            let rows = answer.html.matches("<tr id=\"row-").count() as u64;
            // Its own events are all there; those of packages around it come on top.
            assert!(rows >= events, "item {}: {rows} of {events}", item.number);
            assert!(answer.says(&item.code.grouped()) && answer.says("Where it is"));
            for image in &item.images {
                assert!(answer.says(&image.digest.to_string()));
            }
        }
        assert!(reversed >= 3);
        // Source beside the rule, caution beside the step, timer or set time where the medium sets.
        let cast = w.demo.items.values();
        let mut set = 0;
        for id in cast {
            let item = reader.item(*id).await.unwrap();
            let sets = w
                .house
                .rules
                .medium(&item.recovered.medium)
                .unwrap()
                .set
                .is_some();
            if sets && item.case == w.demo.cases["boatyard"] {
                let answer = browser.get(&format!("/items/{id}")).await;
                assert_eq!(
                    answer.says("class=\"timer\""),
                    item.recovered.set_at.is_none()
                );
                assert_eq!(answer.says("Set time: "), item.recovered.set_at.is_some());
                set += 1;
            }
        }
        assert!(set > 0);
    });
}

/// An item of the restricted case, and one of the open one.
async fn an_item_of(case: &str) -> ItemId {
    let viewer = Viewer::operator();
    let reader = world().house.reader(&viewer);
    let case = world().demo.cases[case];
    let page = reader.items_of(case, &Part::default()).await.unwrap();
    page.rows[0].id
}

#[test]
fn a_restricted_case_is_shut_and_its_readings_are_recorded() {
    on(async {
        let w = world();
        let case = w.demo.cases["outboard"];
        let viewer = Viewer::operator();
        let reader = w.house.reader(&viewer);
        let record = reader.case(case).await.unwrap();
        let item = reader.item(an_item_of("outboard").await).await.unwrap();
        let first = reader.history(Subject::Item(item.id)).await.unwrap();
        let mut paths = vec![
            format!("/cases/{case}"),
            format!("/cases/{case}/ready"),
            format!("/items/{}", item.id),
            format!("/marks/{}", item.mark),
            format!("/events/{}", first[0].event.header.seq),
        ];
        let packages = reader.packages_of(case, &Part::default()).await.unwrap();
        paths.extend(packages.rows.iter().map(|p| format!("/packages/{}", p.id)));
        let mark = reader.mark(item.mark).await.unwrap();
        let (of, image) = item
            .images
            .first()
            .map(|i| (Subject::Item(item.id), i))
            .or(mark.images.first().map(|i| (Subject::Mark(mark.id), i)))
            .unwrap();
        paths.push(format!("/images/{}?of={of}", image.digest));
        let (stranger, assigned) = (signed_in("runa").await, signed_in("nour").await);
        for path in &paths {
            let before = count(Subject::Case(case)).await;
            let answer = stranger.get(path).await;
            assert_eq!(answer.status, StatusCode::FORBIDDEN, "{path}");
            assert!(!answer.says(&record.title), "{path}");
            assert_eq!(count(Subject::Case(case)).await, before, "{path}");
            assert_eq!(assigned.get(path).await.status, StatusCode::OK, "{path}");
            let (kind, fields) = last(Subject::Case(case)).await;
            assert_eq!(kind, "case.read", "{path}");
            assert!(!fields["what"].as_str().unwrap().is_empty());
        }
        // Neither the list nor the desks nor the search field tell it to a stranger.
        for path in ["/cases", "/desk/field", "/find?q=outboard+parts"] {
            let answer = stranger.get(path).await;
            assert!(
                !answer.says(&record.title) && !answer.says(&record.number),
                "{path}"
            );
        }
        // The assigned see its number there, and no more: a list is not put on the record.
        let before = count(Subject::Case(case)).await;
        for path in [
            "/cases".to_owned(),
            "/find?q=HR-26".to_owned(),
            "/find?q=HR-26-0".to_owned(),
            "/desk/storeroom".to_owned(),
        ] {
            let list = assigned.get(&path).await;
            assert_eq!(list.status, StatusCode::OK, "{path}");
            let on_desk = path.starts_with("/desk/");
            assert!(on_desk || list.says(&record.number), "{path}");
            for words in [
                &record.title,
                &mark.noted.object,
                &item.recovered.description,
            ] {
                assert!(!list.says(words), "{path}: {words}");
            }
        }
        assert_eq!(count(Subject::Case(case)).await, before);
    });
}

#[test]
fn a_form_that_shows_words_of_a_restricted_case_is_a_reading() {
    on(async {
        let w = world();
        let case = w.demo.cases["outboard"];
        let viewer = Viewer::operator();
        let reader = w.house.reader(&viewer);
        let record = reader.case(case).await.unwrap();
        let item = reader.item(an_item_of("outboard").await).await.unwrap();
        let packages = reader.packages_of(case, &Part::default()).await.unwrap();
        let piece = format!("package:{}", packages.rows[0].id);
        let noted = reader.history(Subject::Mark(item.mark)).await.unwrap();
        let noted = noted[0].event.header.seq;
        // A finding, so that there is one to answer: somebody takes charge of what nobody released.
        let act = liftledger::custody::Act::TakeCharge(hand_over::TakeCharge {
            piece: piece.parse().unwrap(),
            reason: "found in the workshop".into(),
            seal_seen: "HR-004136".into(),
            condition: hand_over::Condition::Intact,
            note: String::new(),
        });
        let sent = liftledger::app::Sent {
            person: Some(w.demo.people["nour"].id),
            signed: liftledger::custody::Signed::Password,
            beside: None,
            source: liftledger::ledger::event::Source::Desk,
            command: liftledger::custody::Command {
                id: liftledger::ids::CommandId::new(),
                claimed_at: None,
                late_reason: None,
                paper_sheet: None,
                act,
            },
        };
        w.house.recorder.record(sent).await.unwrap();
        let found = package_file::load(&reader, packages.rows[0].id).await;
        let finding = found.unwrap().findings[0].key.to_string();
        for (who, path) in [
            ("milena", format!("/do/answer-finding?finding={finding}")),
            ("tomasz", format!("/do/open-scene?case={case}")),
            ("tomasz", format!("/do/note-mark?case={case}")),
            ("tomasz", format!("/do/develop-mark?mark={}", item.mark)),
            ("tomasz", format!("/do/recover?mark={}", item.mark)),
            ("tomasz", format!("/do/pack?case={case}")),
            ("tomasz", format!("/do/amend?event={noted}")),
            ("tomasz", format!("/marks/{}/photograph", item.mark)),
            ("tomasz", format!("/items/{}/photograph", item.id)),
            ("nour", format!("/do/release?piece={piece}")),
            ("nour", format!("/do/receive?piece={piece}")),
            ("nour", format!("/do/store?piece={piece}")),
            ("nour", format!("/do/open?piece={piece}")),
        ] {
            let before = count(Subject::Case(case)).await;
            let answer = signed_in(who).await.get(&path).await;
            assert_eq!(answer.status, StatusCode::OK, "{path}");
            assert!(answer.says(&record.title), "{path}");
            assert_eq!(count(Subject::Case(case)).await, before + 1, "{path}");
            let (kind, _) = last(Subject::Case(case)).await;
            assert_eq!(kind, "case.read", "{path}");
        }
    });
}

#[test]
fn a_print_is_on_the_record_before_it_is_handed_out() {
    on(async {
        let w = world();
        let item = an_item_of("boatyard").await;
        let package = w
            .house
            .reader(&Viewer::operator())
            .item(item)
            .await
            .unwrap();
        let package = package.custody.inside.unwrap();
        let place = *w.demo.places.values().next().unwrap();
        let case = w.demo.cases["boatyard"];
        let browser = signed_in("nour").await;
        for (path, fields, subject, kind) in [
            (
                format!("/items/{item}/label"),
                "kind=card&size=4x6",
                Subject::Item(item),
                "paper.label-printed",
            ),
            (
                format!("/packages/{package}/label"),
                "kind=envelope",
                Subject::Package(package),
                "paper.label-printed",
            ),
            (
                format!("/places/{place}/label"),
                "",
                Subject::Place(place),
                "paper.label-printed",
            ),
            (
                format!("/items/{item}/report"),
                "",
                Subject::Item(item),
                "paper.report-printed",
            ),
            (
                format!("/packages/{package}/report"),
                "",
                Subject::Package(package),
                "paper.report-printed",
            ),
        ] {
            let before = count(subject).await;
            // Without the form's token nothing is printed.
            let forged = forged(&browser, &path, fields).await;
            assert_eq!(forged.status, StatusCode::FORBIDDEN, "{path}");
            assert_eq!(count(subject).await, before, "{path}");
            let answer = browser.submit(&path, fields).await;
            assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.html);
            assert_eq!(answer.header(header::CONTENT_TYPE), "application/pdf");
            assert!(
                answer
                    .header(header::CONTENT_DISPOSITION)
                    .starts_with("inline; filename=\"")
            );
            assert!(answer.bytes.starts_with(b"%PDF"));
            let (last_kind, fields) = last(subject).await;
            assert_eq!(last_kind, kind, "{path}");
            let digest = Digest(Sha256::digest(&answer.bytes).into());
            assert_eq!(fields["digest"], digest.to_string(), "{path}");
            assert_eq!(count(subject).await, before + 1, "{path}");
        }
        let sheet = browser
            .submit(
                &format!("/cases/{case}/labels"),
                &format!("size=3x5&item={item}"),
            )
            .await;
        assert!(sheet.status == StatusCode::OK && sheet.bytes.starts_with(b"%PDF"));
        // What there is not is refused and not recorded.
        let before = count(Subject::Item(item)).await;
        for fields in ["kind=place", "kind=card&size=9x9", "kind=poster", ""] {
            let answer = browser
                .submit(&format!("/items/{item}/label"), fields)
                .await;
            assert!(
                answer.status.is_client_error(),
                "{fields}: {}",
                answer.status
            );
        }
        assert_eq!(count(Subject::Item(item)).await, before);
    });
}

#[test]
fn originals_come_as_they_were_kept() {
    on(async {
        let viewer = Viewer::operator();
        let reader = world().house.reader(&viewer);
        let id = an_item_of("boatyard").await;
        let item = reader.item(id).await.unwrap();
        let image = &item.images[0];
        let browser = signed_in("eleni").await;
        let answer = browser
            .get(&format!("/images/{}?of=item:{id}", image.digest))
            .await;
        assert_eq!(answer.status, StatusCode::OK);
        assert_eq!(answer.header(header::CONTENT_TYPE), image.media_type);
        assert_eq!(answer.header(header::X_CONTENT_TYPE_OPTIONS), "nosniff");
        let policy = answer.header(header::CONTENT_SECURITY_POLICY);
        assert!(policy.contains("sandbox"), "{policy}");
        assert_eq!(Sha256::digest(&answer.bytes)[..], image.digest.0[..]);
        // Not under another thing's name, and not without one.
        let other = world().demo.items.values().find(|i| **i != id).unwrap();
        for of in [format!("item:{other}"), format!("case:{}", item.case)] {
            let answer = browser
                .get(&format!("/images/{}?of={of}", image.digest))
                .await;
            assert!(answer.status.is_client_error(), "{of}");
        }
    });
}

#[test]
fn finding_goes_there_or_says_that_there_is_nothing() {
    on(async {
        let browser = signed_in("nour").await;
        let id = an_item_of("boatyard").await;
        let viewer = Viewer::operator();
        let reader = world().house.reader(&viewer);
        let item = reader.item(id).await.unwrap();
        let case = reader.case(item.case).await.unwrap();
        for (q, to) in [
            (item.code.as_str().to_owned(), format!("/items/{id}")),
            (case.number.clone(), format!("/cases/{}", case.id)),
            (
                format!("{}/{}", case.number, item.number),
                format!("/items/{id}"),
            ),
        ] {
            let answer = browser.get(&format!("/find?q={q}")).await;
            assert_eq!(answer.status, StatusCode::SEE_OTHER, "{q}");
            assert_eq!(answer.to, to, "{q}");
        }
        let several = browser.get("/find?q=trailer").await;
        is_a_page("/find", &several);
        assert!(several.html.matches("/marks/").count() >= 2);
        let none = browser.get("/find?q=%3Cscript%3E").await;
        is_a_page("/find", &none);
        assert!(none.says("Nothing that you may see") && !none.says("<script>"));
        is_a_page("/find", &browser.get("/find").await);
    });
}

#[test]
fn the_proof_page_gives_key_and_checkpoint() {
    on(async {
        let w = world();
        let browser = signed_in("eleni").await;
        let page = browser.get("/proof").await;
        is_a_page("/proof", &page);
        // A plus sign may be written as a character reference.
        let key = w.house.verifying.to_string();
        let origin = key.split('+').next().unwrap();
        assert!(page.says(origin) && page.says("liftledger verify --folder"));
        let file = browser.get("/proof/checkpoint").await;
        assert!(
            file.header(header::CONTENT_DISPOSITION)
                .starts_with("attachment")
        );
        let note = file.html;
        let signed = liftledger::ledger::checkpoint::open(&note, &w.house.verifying).unwrap();
        assert!(signed.size > 100 && signed.size <= size().await);
    });
}

#[test]
fn what_was_just_done_is_said_to_who_did_it() {
    on(async {
        let id = an_item_of("boatyard").await;
        let viewer = Viewer::operator();
        let reader = world().house.reader(&viewer);
        let past = reader.history(Subject::Item(id)).await.unwrap();
        let mine = past
            .iter()
            .find(|p| p.event.header.kind == "item.recovered")
            .unwrap();
        let actor = mine.event.header.actor;
        let seq = mine.event.header.seq;
        let path = format!("/items/{id}?done={seq}");
        for (name, person) in &world().demo.people {
            if !person
                .roles
                .iter()
                .any(|r| permission::allows([r], Action::ReadEvidence))
            {
                continue;
            }
            let answer = signed_in(name).await.get(&path).await;
            let said = answer.says(&format!("event {seq}."));
            assert_eq!(said, Some(person.id) == actor, "{name}");
        }
    });
}

/// An address that names nothing, because it is mistyped, gets the house's own page on every route.
#[test]
fn a_malformed_address_gets_the_house_page() {
    on(async {
        let browser = signed_in("ivo").await;
        let mut tried = 0;
        for route in ROUTES {
            if !route.path.contains('{') || route.method != "get" {
                continue;
            }
            let path: String = route
                .path
                .split('/')
                .map(|part| {
                    if part.starts_with('{') {
                        "nonsense"
                    } else {
                        part
                    }
                })
                .collect::<Vec<_>>()
                .join("/");
            let answer = browser.get(&path).await;
            tried += 1;
            assert!(
                answer.status == StatusCode::NOT_FOUND || answer.status == StatusCode::FORBIDDEN,
                "{path}: {}",
                answer.status
            );
            assert!(answer.says("<h1"), "{path}: {}", answer.html);
        }
        assert!(tried >= 8, "{tried}");
    });
}

/// Sends a file to the page that checks papers.
async fn checked(browser: &Browser, file: &[u8]) -> Answer {
    let parts = [("file", "; filename=\"a.pdf\"", file)];
    browser.upload("/papers/check", &parts).await
}

#[test]
fn a_paper_that_turned_up_is_held_against_the_record() {
    on(async {
        let browser = signed_in("eleni").await;
        is_a_page("/papers/check", &browser.get("/papers/check").await);
        let item = world().demo.items["tiller-item"];
        let report = browser.submit(&format!("/items/{item}/report"), "").await;
        assert_eq!(report.status, StatusCode::OK);
        // The case is open to all: nothing to note, and nothing was kept. Other tests record beside this one now and then; a check that
        // records something itself would do so every time.
        let mut quiet = false;
        for _ in 0..20 {
            let before = size().await;
            checked(&browser, &report.bytes).await;
            quiet = size().await == before;
            if quiet {
                break;
            }
        }
        assert!(quiet, "a check of a paper is an event");
        let answer = checked(&browser, &report.bytes).await;
        is_a_page("/papers/check", &answer);
        assert!(answer.says("This is the paper that was printed"));
        assert!(answer.says(&Digest::of(&report.bytes).to_string()));
        assert!(answer.says("case HR-26-0417") && answer.says("<dt>By</dt><dd>Ελένη"));
        assert!(answer.says("(self-signed demonstration certificate, valid from"));
        assert!(answer.says("The signature holds and covers the whole file."));
        let more = [&report.bytes[..], b"\n%%EOF\n"].concat();
        let answer = checked(&browser, &more).await;
        is_a_page("/papers/check", &answer);
        assert!(answer.says("Printed by this ledger, and then appended to"));
        assert!(answer.says("somebody added 7 bytes"));
        let mut altered = report.bytes.clone();
        let middle = altered.len() / 2;
        altered[middle] ^= 1;
        let answer = checked(&browser, &altered).await;
        is_a_page("/papers/check", &answer);
        assert!(answer.says("it was altered") && answer.says(&Digest::of(&altered).to_string()));
        let answer = checked(&browser, b"%PDF-1.7 of somebody else").await;
        is_a_page("/papers/check", &answer);
        assert!(answer.says("This paper is not known"));
        for (file, code) in [
            (&b"GIF89a"[..], "not-a-pdf"),
            (b"", "no-file"),
            (&vec![b' '; 32 * 1024 * 1024 + 1], "too-large"),
        ] {
            let answer = checked(&browser, file).await;
            assert!(answer.status.is_client_error(), "{code}: {}", answer.status);
            assert!(answer.says(code), "{code}: {}", answer.html);
        }
        // A form of another session, and one without a token before the file.
        let foreign = Browser {
            csrf: "x".into(),
            ..browser.clone()
        };
        let answer = checked(&foreign, &report.bytes).await;
        assert_eq!(answer.status, StatusCode::FORBIDDEN);
        assert!(answer.says("foreign-form"));
    });
}
