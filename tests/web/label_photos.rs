//! Photographs of labels, by HTTP over the whole router: at the intake counter, in a count, on the page of finding, and in the
//! interface for programs. Each answer there can be, and nothing is kept of any picture.

use std::sync::OnceLock;

use liftledger::custody::Act;
use liftledger::custody::count::BeginCount;
use liftledger::custody::hand_over::Release;
use liftledger::ids::{Code, CommandId, CountId, ItemId, PackageId, PersonId, Piece, Subject};
use liftledger::imaging::raster::{Raster, Samples};
use serde_json::Value;

use super::browser::{Answer, Browser};
use super::world::{World, runtime};
use crate::imaging::photo::{Dice, Photo, drawn, plain, png};

fn world() -> &'static World {
    static WORLD: OnceLock<World> = OnceLock::new();
    WORLD.get_or_init(|| World::load("label-photos-demo"))
}

/// Sends the form with a picture in it.
async fn photo(browser: &Browser, path: &str, fields: &[(&str, &str)], picture: &[u8]) -> Answer {
    let id = CommandId::new().to_string();
    let more = "; filename=\"label.jpg\"\r\nContent-Type: image/jpeg";
    let mut parts = vec![("id", "", id.as_bytes()), ("photo", more, picture)];
    parts.extend(fields.iter().map(|(n, v)| (*n, "", v.as_bytes())));
    browser.upload(path, &parts).await
}

/// Sends a picture as a program does.
async fn read(browser: &Browser, picture: Vec<u8>) -> Answer {
    browser.call("/api/codes/read", "image/png", picture).await
}

/// A label in somebody's hand.
fn taken(text: &str) -> Vec<u8> {
    let mut dice = Dice(3);
    let photo = Photo::of(&mut dice, 0.3);
    png(&photo.take(&drawn(text, 8), 640, 480, &mut dice))
}

fn two(one: &str, other: &str) -> Vec<u8> {
    let (one, other) = (drawn(one, 5), drawn(other, 5));
    let (Samples::Eight(a), Samples::Eight(b)) = (&one.samples, &other.samples) else {
        panic!("8 bits")
    };
    assert_eq!(one.width, other.width);
    let samples = [a.as_slice(), b.as_slice()].concat();
    png(&Raster {
        height: one.height * 2,
        samples: Samples::Eight(samples),
        ..one
    })
}

fn code(subject: impl Into<Subject>) -> String {
    Code::of(subject.into()).unwrap().to_string()
}

fn misread(code: &str) -> String {
    let (body, check) = code.split_at(11);
    format!("{body}{}", if check == "A" { "B" } else { "A" })
}

fn foreign() -> &'static str {
    "HX/77 <b>120</b>"
}

async fn record(person: PersonId, act: Act) -> uuid::Uuid {
    world().record(person, act).await
}

/// Something that whoever has it may release, on its way to the custodian.
async fn on_its_way() -> PackageId {
    let demo = &world().demo;
    let to = demo.people["nour"].id;
    let viewer = liftledger::app::Viewer::operator();
    let reader = world().house.reader(&viewer);
    for package in demo.packages.values() {
        let package = reader.package(*package).await.unwrap();
        let liftledger::custody::state::Holder::Person { person } = package.custody.holder else {
            continue;
        };
        if person == to || package.custody.offer.is_some() || package.custody.inside.is_some() {
            continue;
        }
        let release = Release {
            piece: Piece::Package(package.id),
            to,
            purpose: "storage".into(),
            authority: String::new(),
            due_at: None,
            unsealed_reason: Some("on its way at once".into()),
        };
        record(person, Act::Release(release)).await;
        return package.id;
    }
    panic!("the demo has nothing in anybody's hands")
}

#[test]
fn a_photograph_is_as_good_as_a_scanner() {
    let _ = world();
    runtime().block_on(async {
        let nour = Browser::of(world(), "nour").await;
        let before = world().house.store.head().await.unwrap();
        let kept = walked();
        the_page_of_finding(&nour).await;
        the_programs(&nour).await;
        // Nothing was recorded by any of it, and no picture kept.
        assert_eq!(world().house.store.head().await.unwrap(), before);
        assert_eq!(walked(), kept);
        the_counter(&nour).await;
        a_count(&nour).await;
        assert_eq!(walked(), kept);
    });
}

/// Files of originals and uploads, by name.
fn walked() -> Vec<std::path::PathBuf> {
    let mut out = Vec::new();
    let root = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("label-photos-demo");
    let mut todo = vec![root.join("originals"), root.join("uploads")];
    while let Some(folder) = todo.pop() {
        let Ok(entries) = std::fs::read_dir(&folder) else {
            continue;
        };
        for entry in entries {
            let path = entry.unwrap().path();
            if path.is_dir() {
                todo.push(path);
            } else {
                out.push(path);
            }
        }
    }
    assert!(!out.is_empty(), "the demo has originals");
    out.sort();
    out
}

async fn the_page_of_finding(nour: &Browser) {
    let item = *world().demo.items.values().next().unwrap();
    let ask = async |picture: Vec<u8>| photo(nour, "/find/photograph", &[], &picture).await;
    let answer = ask(taken(&code(Piece::Item(item)))).await;
    assert_eq!(answer.status, 303, "{}", answer.html);
    assert_eq!(answer.to, format!("/items/{item}"));
    // A shop's code on the same bag does not get into the way.
    let answer = ask(two(&code(Piece::Item(item)), "590123412345")).await;
    assert_eq!(answer.to, format!("/items/{item}"));

    let unknown = code(Piece::Item(ItemId::new()));
    ask(taken(&unknown)).await.refuses(404, "not-found");
    ask(taken(&misread(&unknown)))
        .await
        .refuses(409, "label-misread");
    let answer = ask(taken(foreign())).await;
    answer.refuses(409, "label-not-ours");
    assert!(!answer.says("<b>120"), "{}", answer.html);
    assert!(answer.says("HX/77 &#60;b&#62;120"), "{}", answer.html);
    let answer = ask(two(&code(Piece::Item(item)), &unknown)).await;
    answer.refuses(422, "several-codes");
    assert!(answer.says(&format!("/find?q={unknown}")));
    let blank = plain(640, 480, 180);
    let answer = ask(png(&blank)).await;
    answer.refuses(422, "no-code-seen");
    assert!(answer.says("light from the side"));
    ask(Vec::new()).await.refuses(422, "no-photograph");
    ask(b"GIF89a".to_vec()).await.refuses(415, "not-a-picture");
    let mut cut = taken(&unknown);
    cut.truncate(cut.len() / 2);
    ask(cut).await.refuses(415, "not-a-picture");
    ask(vec![0; 25 * 1024 * 1024 + 1])
        .await
        .refuses(413, "too-large");
    let wide = plain(12_001, 1, 0);
    ask(png(&wide)).await.refuses(413, "too-large");
    let stranger = Browser {
        csrf: "x".into(),
        ..nour.clone()
    };
    let answer = photo(&stranger, "/find/photograph", &[], b"").await;
    assert_eq!(answer.status, 403);
}

async fn the_programs(nour: &Browser) {
    let item = *world().demo.items.values().next().unwrap();
    let unknown = code(Piece::Item(ItemId::new()));
    let answer = read(nour, two(&code(Piece::Item(item)), &unknown)).await;
    assert_eq!(answer.status, 200, "{}", answer.html);
    let told = answer.json();
    let mut kinds: Vec<(&str, &Value)> = told["codes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|c| (c["kind"].as_str().unwrap(), &c["subject"]))
        .collect();
    kinds.sort_by_key(|(kind, _)| *kind);
    let subject = Value::String(Subject::Item(item).to_string());
    assert_eq!(kinds, [("ours", &subject), ("unknown", &Value::Null)]);
    let told = read(nour, taken(foreign())).await.json();
    assert_eq!(told["codes"][0]["kind"], "foreign");
    assert_eq!(told["codes"][0]["text"], foreign());
    let told = read(nour, b"no".to_vec()).await.json();
    assert_eq!(told["code"], "not-a-picture");
    let answer = read(nour, vec![0; 25 * 1024 * 1024 + 1]).await;
    assert_eq!(answer.status, 413);
}

async fn the_counter(nour: &Browser) {
    let package = on_its_way().await;
    let ours = code(Piece::Package(package));
    let told = nour.get("/api/intake").await.json();
    let waits = told["rows"].as_array().unwrap();
    let listed = waits.iter().any(|w| w["code"] == ours.as_str());
    assert!(listed, "{told}");

    // What was typed into another line before stays.
    let fields = [
        ("code", "HX-1"),
        ("what", "refuse"),
        ("seal", ""),
        ("condition", "intact"),
        ("note", "soaked through"),
    ];
    let ask = async |picture: Vec<u8>| photo(nour, "/intake/photograph", &fields, &picture).await;
    let answer = ask(taken(&ours)).await;
    assert_eq!(answer.status, 200, "{}", answer.html);
    assert!(answer.says("It is at the counter: read its seal."));
    assert!(answer.says("soaked through"));
    let row = answer
        .html
        .split(&format!("data-code=\"{ours}\""))
        .nth(1)
        .unwrap();
    let row = row.split("</tr>").next().unwrap();
    assert!(row.contains("<option value=\"receive\" selected>"), "{row}");

    let unknown = code(Piece::Package(PackageId::new()));
    for (text, rule) in [
        (unknown.clone(), "not-found"),
        (misread(&unknown), "label-misread"),
        (foreign().to_owned(), "label-not-ours"),
    ] {
        let answer = ask(taken(&text)).await;
        assert_eq!(answer.status, 200);
        assert!(answer.says(&format!("<code>{rule}</code>")), "{rule}");
        assert!(!answer.says("<b>120"));
        assert!(answer.says("soaked through"));
    }
    for (picture, status, rule) in [
        (two(&ours, &unknown), 422, "several-codes"),
        (b"GIF89a".to_vec(), 415, "not-a-picture"),
        (vec![0; 25 * 1024 * 1024 + 1], 413, "too-large"),
        (Vec::new(), 422, "no-photograph"),
    ] {
        let answer = ask(picture).await;
        answer.refuses(status, rule);
        assert!(answer.says("soaked through"), "{rule}");
    }
}

async fn a_count(nour: &Browser) {
    let demo = &world().demo;
    let place = *demo.places.values().next().unwrap();
    let begin = BeginCount {
        places: vec![place],
        sample: None,
    };
    let count = CountId(record(demo.people["nour"].id, Act::BeginCount(begin)).await);
    let path = format!("/counts/{count}/photograph");
    let answer = photo(nour, &path, &[], b"GIF89a").await;
    answer.refuses(415, "not-a-picture");
    let unknown = code(Piece::Package(PackageId::new()));
    let answer = photo(nour, &path, &[], &taken(&unknown)).await;
    assert_eq!(answer.status, 303, "{}", answer.html);
    let page = nour.get(&answer.to).await.html;
    assert!(page.contains(&unknown), "{page}");
}
