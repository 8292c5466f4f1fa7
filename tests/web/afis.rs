//! Hand-offs, values and the examiner's desk, by pages and by program, over the whole router.

use std::sync::Arc;

use axum::Router;
use axum::http::{StatusCode, header};
use liftledger::disclosure::itl::check;
use liftledger::ids::{Digest, Subject};
use liftledger::imaging::recipe::Op;
use liftledger::web::{App, router};
use sha2::{Digest as _, Sha256};

use super::browser::{Browser, FORM};
use crate::app::afis_bench::{Bench, picture, png};

async fn signed_in(b: &Bench, router: &Router, user_name: &str) -> Browser {
    let password = &b.demo.people[user_name].sign_in.password;
    Browser::sign_in(router, user_name, password).await
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_examiner_assesses_turns_and_hands_off() {
    let dir = tempfile::tempdir().unwrap();
    let b = Bench::begin(dir.path()).await;
    let router = router(App::new(Arc::clone(&b.house), false));
    let of = b.item("panel-item");
    let Subject::Item(id) = of else {
        unreachable!()
    };
    let view = ["contact-face", "dark-powder"];
    let original = b
        .add(of, "gel-scan.png", "image/png", &png(&picture(7)), &view)
        .await;
    let soren = signed_in(&b, &router, "soren").await;

    // The desk says what the picture needs, and what is no part of this program.
    let desk = soren.get("/desk/examiner").await;
    assert!(
        desk.says("Comparison is no part of this program"),
        "{}",
        desk.html
    );

    // What it is worth, with the form of every act.
    let form = format!("/do/assess-value?of={of}&digest={original}");
    let page = soren.get(&form).await;
    assert_eq!(page.status, StatusCode::OK, "{}", page.html);
    assert!(page.says("comparison is done elsewhere"));
    let command = liftledger::ids::CommandId::new();
    let fields = format!("id={command}&of={of}&digest={original}&value=limited&reason=smudged");
    let done = soren.submit("/do/assess-value", &fields).await;
    assert_eq!(done.status, StatusCode::SEE_OTHER, "{}", done.html);
    let page = soren.get(&format!("/items/{id}")).await.html;
    assert!(page.contains("Of limited value for comparison"), "{page}");

    // The hand-off form is refused without a density, and keeps what was chosen.
    let afis = format!("/items/{id}/afis");
    let form = soren.get(&afis).await;
    assert_eq!(form.status, StatusCode::OK);
    assert!(form.says(&original.to_string()));
    assert!(form.says("this program compares nothing"));
    let before = b.house.store.head().await.unwrap().size;
    let fields = format!(
        "sent=1&receiver=hollin-bureau&picture={original}&edition=2013&position=2&method=WHP&matrix=1"
    );
    let no = soren.submit(&afis, &fields).await;
    assert_eq!(no.status, StatusCode::UNPROCESSABLE_ENTITY);
    let html = no.html;
    assert!(
        html.contains("afis-density-unknown") || html.contains("needs the density"),
        "{html}"
    );
    for kept in [
        "<option value=\"2013\" selected>",
        "<option value=\"2\" selected>",
        "<option value=\"hollin-bureau\" selected>",
        &format!("<option value=\"{original}\" selected>"),
    ] {
        assert!(html.contains(kept), "{kept}: {html}");
    }
    assert_eq!(b.house.store.head().await.unwrap().size, before);

    b.scale(of, original, 1000).await;
    let copy = b.copy(of, original, Some(1000), vec![Op::Flip]).await;
    let fields = format!("sent=1&receiver=hollin-bureau&picture={copy}&position=18&method=WHP");
    let done = soren.submit(&afis, &fields).await;
    assert_eq!(done.status, StatusCode::OK, "{}", done.html);
    let name = done.header(header::CONTENT_DISPOSITION);
    assert!(
        name.starts_with("attachment") && name.ends_with(".an2\""),
        "{name}"
    );
    let all = check(&done.bytes).unwrap();
    assert_eq!(all[3].text(315), None);
    assert!(all[3].text(353).unwrap().starts_with("LIMITED"));
    let digest = Digest(Sha256::digest(&done.bytes).into());
    let page = soren.get(&afis).await.html;
    assert!(page.contains(&digest.to_string()), "what went is listed");
    let item = soren.get(&format!("/items/{id}")).await.html;
    assert!(item.contains("Handed off to an AFIS"), "{item}");

    // A form of another site does nothing.
    let forged = soren.call(&afis, FORM, fields).await;
    assert_eq!(forged.status, StatusCode::FORBIDDEN);

    // A technician is told who may; so is a court liaison of the value.
    let runa = signed_in(&b, &router, "runa").await;
    assert_eq!(runa.get(&afis).await.status, StatusCode::FORBIDDEN);
    let eleni = signed_in(&b, &router, "eleni").await;
    assert_eq!(eleni.get(&afis).await.status, StatusCode::OK);

    // The same by program.
    let body = format!(
        "{{\"picture\":\"{original}\",\"receiver\":\"hollin-bureau\",\"edition\":\"2011\"}}"
    );
    let path = format!("/api/items/{id}/afis");
    let done = eleni.call(&path, "application/json", body).await;
    assert_eq!(done.status, StatusCode::OK, "{}", done.html);
    assert!(done.headers.contains_key("content-digest"));
    let all = check(&done.bytes).unwrap();
    assert_eq!(
        (all[0].text(2), all[3].text(315)),
        (Some("0500"), Some("L"))
    );
    let body = "{\"receiver\":\"nobody\"}";
    let no = eleni.call(&path, "application/json", body).await;
    assert_eq!(no.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(no.json()["code"], "afis-no-receiver");
    let list = eleni.get("/api/receivers").await.json();
    assert_eq!(list[0]["id"], "hollin-bureau");
    assert_eq!(list[0]["edition"], "2015");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_desk_says_what_each_picture_needs() {
    use liftledger::app::views::desk::{Desk, Which, load};
    let dir = tempfile::tempdir().unwrap();
    let b = Bench::begin(dir.path()).await;
    let viewer = b.viewer("soren").await;
    let reader = b.house.reader(&viewer);
    // Something that is in the examiner's hands.
    let held = reader
        .held_by(b.demo.people["soren"].id, &liftledger::app::Part::default())
        .await
        .unwrap();
    let pieces: Vec<Subject> = held.rows.iter().map(|t| t.piece().into()).collect();
    let state = reader.around(&pieces).await.unwrap();
    let of = held
        .rows
        .iter()
        .flat_map(|t| state.items_in(t.piece()))
        .map(|i| Subject::Item(i.id))
        .find(|s| {
            let Subject::Item(id) = s else { return false };
            let mark = &state.marks[&state.items[id].mark];
            mark.noted.mark_kind == liftledger::custody::mark::MarkKind::FrictionRidge
        })
        .expect("the demo leaves a friction ridge item with the examiner");
    let lines = |desk: &Desk, name: &str| -> Vec<(String, &'static str, String)> {
        [
            ("now", &desk.now),
            ("soon", &desk.soon),
            ("later", &desk.later),
        ]
        .into_iter()
        .flat_map(|(when, group)| group.lines.iter().map(move |l| (when, l)))
        .filter(|(_, l)| l.what.starts_with(name))
        .map(|(when, l)| (l.badge.clone(), when, l.why.clone()))
        .collect()
    };
    let view = ["contact-face", "dark-powder"];
    let digest = b
        .add(of, "desk.png", "image/png", &png(&picture(9)), &view)
        .await;
    let desk = load(&reader, Which::Examiner).await.unwrap();
    let said = lines(&desk, "desk.png");
    assert_eq!(said.len(), 1);
    assert_eq!((said[0].0.as_str(), said[0].1), ("reads reversed", "now"));
    assert!(said[0].2.contains("no scale was measured"), "{}", said[0].2);

    b.scale(of, digest, 600).await;
    b.copy(of, digest, Some(600), vec![Op::Flip]).await;
    let desk = load(&reader, Which::Examiner).await.unwrap();
    let said = lines(&desk, "desk.png");
    assert_eq!((said[0].0.as_str(), said[0].1), ("under 1000 ppi", "soon"));
    assert!(
        said[0].2.contains("600") && said[0].2.contains("Nobody has said"),
        "{}",
        said[0].2
    );

    // Of no value: nothing is left to do with it.
    let none = liftledger::custody::value::AssessValue {
        of,
        digest,
        value: liftledger::custody::value::Value::NoValue,
        reason: "nothing but smears".into(),
    };
    b.act("soren", liftledger::custody::Act::AssessValue(none))
        .await
        .unwrap();
    let desk = load(&reader, Which::Examiner).await.unwrap();
    assert_eq!(lines(&desk, "desk.png"), []);
}
