//! Pictures and their working copies, from outside, by HTTP over the whole router, and held against the folder on disk:
//! one press makes the copy that reads direct, nothing changes an original, and the verifier finds an altered copy.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use axum::http::{StatusCode, header};
use liftledger::app::audit::{Audit, audit};
use liftledger::app::papers::export;
use liftledger::app::{Sent, Viewer};
use liftledger::custody::copy::AddCopy;
use liftledger::custody::state::ImageRef;
use liftledger::custody::{Act, Command, Signed};
use liftledger::ids::{CommandId, Digest, Subject};
use liftledger::imaging::recipe::{Op, Recipe};
use liftledger::ledger::event::Source;
use liftledger::web::api;
use liftledger::web::router::{ROUTES, Route, UPLOAD_ROUTES};
use sha2::{Digest as _, Sha256};

use super::browser::{Answer, Browser, FORM};
use super::world::{World, runtime};

/// Sends a form with a new identifier.
async fn sent(browser: &Browser, path: &str, fields: &str) -> Answer {
    let id = CommandId::new();
    browser.submit(path, &format!("id={id}&{fields}")).await
}

/// Sends it where it must be done; where that leads, without what stands after the sharp.
async fn done(browser: &Browser, path: &str, fields: &str) -> String {
    let answer = sent(browser, path, fields).await;
    answer.leads_to().split('#').next().unwrap().to_owned()
}

/// A picture of the demo by its file's name.
async fn picture(world: &World, file: &str) -> (Subject, ImageRef) {
    let viewer = Viewer::operator();
    let reader = world.house.reader(&viewer);
    for id in world.demo.items.values() {
        let images = reader.item(*id).await.unwrap().images;
        if let Some(image) = images.into_iter().find(|i| i.name == file) {
            return (Subject::Item(*id), image);
        }
    }
    for id in world.demo.marks.values() {
        let images = reader.mark(*id).await.unwrap().images;
        if let Some(image) = images.into_iter().find(|i| i.name == file) {
            return (Subject::Mark(*id), image);
        }
    }
    panic!("no picture {file}");
}

async fn size(world: &World) -> u64 {
    world.house.store.head().await.unwrap().size
}

async fn checked(world: &World) -> Audit {
    let house = &world.house;
    let mut audit = audit(house.store.as_ref(), &house.verifying, &[], |_| {})
        .await
        .unwrap();
    tokio::task::block_in_place(|| {
        audit.check_images(&house.originals);
        audit.check_copies(&house.originals);
    });
    audit
}

fn codes(audit: &Audit) -> Vec<&str> {
    audit.models.iter().map(|d| d.code).collect()
}

/// One demo for all: drawing its pictures takes most of the time.
#[test]
fn pictures_and_their_working_copies() {
    let world = World::load("copies-demo");
    runtime().block_on(async {
        // On a thread of the runtime, where the verifier may wait.
        let done = tokio::spawn(async move {
            let world = &world;
            one_press_makes_the_copy_that_reads_direct(world).await;
            a_recipe_is_typed_and_a_refusal_keeps_it(world).await;
            view_steps_set_anew_are_seen_at_the_copy(world).await;
            a_scale_is_typed(world).await;
            the_card_shows_the_copy(world).await;
            an_export_brings_the_copies_along(world).await;
            no_route_changes_an_original(world).await;
            the_verifier_finds_an_altered_copy(world).await;
        });
        done.await.unwrap();
    });
}

async fn one_press_makes_the_copy_that_reads_direct(world: &World) {
    let soren = Browser::of(world, "soren").await;
    let (of, image) = picture(world, "charttable-item.png").await;
    let here = format!("/pictures/{}?of={of}", image.digest);
    let page = soren.get(&here).await;
    assert!(page.says("Make the copy that reads direct"));
    assert!(page.says("looked at on the contact face") && page.says("reads reversed"));
    assert!(
        page.says("class=\"pennant\""),
        "the small picture of the steps"
    );
    let press = format!("of={of}&wanted=direct");
    let path = format!("/pictures/{}/copy", image.digest);
    let before = size(world).await;
    let to = done(&soren, &path, &press).await;
    assert_eq!(size(world).await, before + 1);
    let page = soren.get(&to).await;
    assert!(
        page.says("<b>Working copy</b>, reads direct"),
        "{}",
        page.html
    );
    assert!(page.says("Working copy made, event"));
    // Pressed again by somebody else: the same copy, nothing more on the record.
    let milena = Browser::of(world, "milena").await;
    let again = done(&milena, &path, &press).await;
    assert_eq!(size(world).await, before + 1);
    let copy = |to: &str| to.split("copy=").nth(1).unwrap()[..64].to_owned();
    assert_eq!(copy(&to), copy(&again));
    // Its bytes: a PNG, the original mirrored, under its own digest.
    let digest = copy(&to);
    let address = format!("/copies/{digest}?of={of}&original={}", image.digest);
    let file = soren.get(&address).await;
    assert_eq!(file.headers[header::CONTENT_TYPE], "image/png");
    assert_eq!(hex::encode(Sha256::digest(&file.bytes)), digest);
    let original = world.house.originals.read(image.digest).unwrap();
    let original = image::load_from_memory(&original).unwrap();
    assert_eq!(
        image::load_from_memory(&file.bytes).unwrap(),
        original.fliph()
    );
    // Not under another thing's name; and not made by those who may not.
    let (other, _) = picture(world, "hatch-item.png").await;
    let elsewhere = address.replace(&of.to_string(), &other.to_string());
    assert_eq!(soren.get(&elsewhere).await.status, StatusCode::NOT_FOUND);
    let nour = Browser::of(world, "nour").await;
    assert_eq!(
        sent(&nour, &path, &press).await.status,
        StatusCode::FORBIDDEN
    );
    assert!(
        nour.get(&here)
            .await
            .says("<b>Working copy</b>, reads direct")
    );
    assert!(!nour.get(&here).await.says("Make another working copy"));
}

async fn a_recipe_is_typed_and_a_refusal_keeps_it(world: &World) {
    let soren = Browser::of(world, "soren").await;
    let (of, image) = picture(world, "hatch-item-laboratory.png").await;
    let path = format!("/pictures/{}/copy", image.digest);
    let before = size(world).await;
    for (fields, says) in [
        (
            "crop=200+0+100+50&degrees=1.5",
            "does not lie within the picture",
        ),
        ("crop=1+2+3&degrees=1.5", "not four whole numbers"),
        ("degrees=200", "no number between -180 and 180"),
        ("ppi=10", "between 50 and 10000"),
    ] {
        let answer = sent(&soren, &path, &format!("of={of}&sent=1&{fields}")).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{fields}");
        assert!(answer.says(says), "{fields}: {}", answer.html);
        if fields.contains("1.5") {
            assert!(answer.says("value=\"1.5\""), "what was typed is kept");
        }
    }
    assert_eq!(size(world).await, before);
    // Its scale is known, so that it can be resampled.
    let fields = format!("of={of}&sent=1&turns=1&crop=0+0+200+280&grey=yes&ppi=1000");
    let to = done(&soren, &path, &fields).await;
    let (_, now) = picture(world, "hatch-item-laboratory.png").await;
    let copy = now.copies.last().unwrap();
    assert_eq!((copy.ppi, copy.reads.as_str()), (Some(1000), "direct"));
    // 355.6 pixels an inch became 1000.
    assert_eq!((copy.width, copy.height), (562, 787));
    assert!(soren.get(&to).await.says("1000 pixels an inch"));
    // Without a scale there is nothing to resample by.
    let (of, image) = picture(world, "tiller-item.png").await;
    let path = format!("/pictures/{}/copy", image.digest);
    let answer = sent(&soren, &path, &format!("of={of}&sent=1&ppi=1000")).await;
    assert!(answer.says("The picture has no scale") || answer.says("the picture has no scale"));
}

async fn view_steps_set_anew_are_seen_at_the_copy(world: &World) {
    let soren = Browser::of(world, "soren").await;
    let (of, image) = picture(world, "charttable-item.png").await;
    let about = format!("of={of}&digest={}", image.digest);
    let form = soren.get(&format!("/do/set-view?{about}")).await;
    assert!(
        form.says("value=\"contact-face dark-powder\" selected"),
        "{}",
        form.html
    );
    let answer = sent(
        &soren,
        "/do/set-view",
        &format!("{about}&sent=1&view=unknown&steps=sideways&reason=x"),
    )
    .await;
    assert!(answer.status.is_client_error() && answer.says("value=\"sideways\""));
    let fields =
        format!("{about}&sent=1&view=unknown&steps=contact-face+mirror&reason=there+was+a+mirror");
    let to = done(&soren, "/do/set-view", &fields).await;
    let page = soren.get(&to).await;
    assert!(
        page.says("was set anew after this copy was made"),
        "{}",
        page.html
    );
    let (_, now) = picture(world, "charttable-item.png").await;
    assert_eq!(
        (now.reads.as_str(), now.copies[0].reads.as_str()),
        ("direct", "reversed")
    );
}

async fn a_scale_is_typed(world: &World) {
    let soren = Browser::of(world, "soren").await;
    let (of, image) = picture(world, "tiller-item.png").await;
    let about = format!(
        "of={of}&digest={}&sent=1&kind=picked&unit=mm&picking=1",
        image.digest
    );
    let short = format!("{about}&x1=10&y1=300&x2=12.5&y2=300&length=5");
    let answer = sent(&soren, "/do/set-scale", &short).await;
    assert!(answer.status.is_client_error());
    assert!(answer.says("less than 20 pixels apart") && answer.says("value=\"12.5\""));
    let good = format!("{about}&x1=28,5&y1=344&x2=168.5&y2=344&length=10");
    let to = done(&soren, "/do/set-scale", &good).await;
    let page = soren.get(&to).await;
    // 140 pixels on 10 mm.
    assert!(page.says("356 \u{b1} 6.3 pixels an inch"), "{}", page.html);
    assert!(page.says("ASTM E3235-21"));
    let (_, now) = picture(world, "tiller-item.png").await;
    assert!(now.scale.is_some());
}

async fn the_card_shows_the_copy(world: &World) {
    let eleni = Browser::of(world, "eleni").await;
    let (of, image) = picture(world, "panel-item.png").await;
    let item = world.demo.items["panel-item"];
    assert_eq!(of, Subject::Item(item));
    let page = eleni.get(&format!("/items/{item}")).await.html;
    let (card, _) = page.split_once("id=\"thread\"").unwrap();
    let copy = &image.copies[0];
    assert!(
        card.contains(&format!("<image href=\"/copies/{}?of=", copy.digest)),
        "{card}"
    );
    assert!(card.contains("The working copy shown reads as on the surface"));
    assert!(
        !card.contains("matrix(-1"),
        "a copy that reads direct is not turned"
    );
    assert_eq!(copy.recipe, Recipe::new(vec![Op::Flip, Op::Invert]));
    // Without a copy the original is turned for display, and says so.
    let item = world.demo.items["lamp-item"];
    let page = eleni.get(&format!("/items/{item}")).await.html;
    assert!(page.contains("matrix(-1") && page.contains("the original stays as it is"));
}

async fn an_export_brings_the_copies_along(world: &World) {
    let viewer = Viewer::operator();
    let reader = world.house.reader(&viewer);
    let (of, image) = picture(world, "panel-item.png").await;
    let Subject::Item(item) = of else {
        panic!("{of}")
    };
    let case = reader.item(item).await.unwrap().case;
    let dir = tempfile::tempdir().unwrap();
    let target = export::Target {
        folder: dir.path().join("case"),
        originals: true,
        overwrite: false,
    };
    let done = export::case(&reader, case, &target, |_| {}).await.unwrap();
    let there = files(&target.folder.join("originals"));
    assert_eq!(
        there.len() as u64,
        done.pictures + 1,
        "and the list of sums"
    );
    for digest in [image.digest, image.copies[0].digest] {
        let path = target.folder.join("originals").join(digest.to_string());
        assert_eq!(Digest::of(&std::fs::read(path).unwrap()), digest);
    }
}

/// Every file of originals, when it was last changed.
fn files(folder: &Path) -> BTreeMap<PathBuf, SystemTime> {
    let mut out = BTreeMap::new();
    let mut todo = vec![folder.to_owned()];
    while let Some(at) = todo.pop() {
        for entry in std::fs::read_dir(at).unwrap().flatten() {
            let meta = entry.metadata().unwrap();
            if meta.is_dir() {
                todo.push(entry.path());
            } else {
                out.insert(entry.path(), meta.modified().unwrap());
            }
        }
    }
    out
}

/// Nothing but reading is there for an address of an original; and whatever is sent to all routes that take something,
/// the files stay as they are.
async fn no_route_changes_an_original(world: &World) {
    let all: Vec<&Route> = ROUTES
        .iter()
        .chain(UPLOAD_ROUTES)
        .chain(api::all())
        .collect();
    let of_pictures: Vec<&&Route> = all
        .iter()
        .filter(|r| {
            ["images", "pictures", "copies"]
                .iter()
                .any(|w| r.path.contains(w))
        })
        .collect();
    assert!(of_pictures.len() >= 8, "{of_pictures:?}");
    for route in &of_pictures {
        let reads = route.method == "get";
        let makes = route.method == "post" && !route.path.ends_with("{digest}");
        assert!(reads || makes, "{} {}", route.method, route.path);
    }
    let (of, image) = picture(world, "hatch-item.png").await;
    let path = world.house.originals.path(image.digest);
    let folder = path.ancestors().nth(3).unwrap();
    let before = files(folder);
    assert!(before.len() > 40, "{}", before.len());
    let mut sent = 0;
    for user in ["soren", "runa", "milena", "ivo"] {
        let browser = Browser::of(world, user).await;
        for route in all.iter().filter(|r| r.method != "get") {
            if ["/sign-out", "/sign-in", "/account", "/people"]
                .iter()
                .any(|p| route.path.starts_with(p))
            {
                continue;
            }
            let item = of.to_string().replace("item:", "");
            let address = route
                .path
                .replace("{digest}", &image.digest.to_string())
                .replace("{id}", &item)
                .replace("{act}", "add-image")
                .replace("{name}", "nothing");
            let fields = format!("of={of}&digest={}&bytes=0&name=x", image.digest);
            for method in [route.method, "put", "patch", "delete"] {
                let method = method.to_uppercase();
                let body = format!("csrf={}&{fields}", browser.csrf);
                let to = format!("{address}?{fields}");
                browser.send_as(&method, &to, FORM, body).await;
                sent += 1;
            }
        }
    }
    assert!(sent > 200, "{sent}");
    let after = files(folder);
    for (path, changed) in &before {
        assert_eq!(after.get(path), Some(changed), "{}", path.display());
    }
    for file in before.keys() {
        let name = file.file_name().unwrap().to_str().unwrap();
        if let Ok(digest) = name.parse::<Digest>() {
            world.house.originals.verify(digest).unwrap();
        }
    }
}

async fn the_verifier_finds_an_altered_copy(world: &World) {
    let clean = checked(world).await;
    assert!(clean.is_clean(), "{:?}", clean.models);
    assert!(clean.copies.len() >= 3);
    // A file that is no copy by its recipe, under a digest that fits it: only making it again shows that.
    let (of, image) = picture(world, "lamp-item.png").await;
    let originals = &world.house.originals;
    let other = liftledger::imaging::derive::derive(
        &originals.read(image.digest).unwrap(),
        &Recipe::new(vec![]),
        None,
    )
    .unwrap();
    let kept = originals.keep(&other.png).unwrap();
    let forged = AddCopy {
        of,
        digest: image.digest,
        copy: kept.digest,
        recipe: Recipe::new(vec![Op::Flip]),
        scale: None,
        bytes: kept.bytes,
        width: other.width,
        height: other.height,
        grey: other.grey,
        ppi: None,
        pixels: other.pixels,
    };
    let sent = Sent {
        person: Some(world.demo.people["soren"].id),
        signed: Signed::Session,
        beside: None,
        source: Source::Desk,
        command: Command::now(Act::AddCopy(forged)),
    };
    world.house.recorder.record(sent).await.unwrap();
    assert_eq!(codes(&checked(world).await), ["copy-differs"]);
    // A byte of another copy changed on the disk.
    let (_, panel) = picture(world, "panel-item.png").await;
    let path = originals.path(panel.copies[0].digest);
    let whole = std::fs::read(&path).unwrap();
    let mut altered = whole.clone();
    let middle = altered.len() / 2;
    altered[middle] ^= 1;
    let put = |bytes: &[u8]| {
        std::fs::remove_file(&path).unwrap();
        std::fs::write(&path, bytes).unwrap();
    };
    put(&altered);
    assert_eq!(
        codes(&checked(world).await),
        ["copy-altered", "copy-differs"]
    );
    std::fs::remove_file(&path).unwrap();
    assert_eq!(
        codes(&checked(world).await),
        ["copy-missing", "copy-differs"]
    );
    std::fs::write(&path, whole).unwrap();
    assert_eq!(codes(&checked(world).await), ["copy-differs"]);
}
