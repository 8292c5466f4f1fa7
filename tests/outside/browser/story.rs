//! One lift from the scene to the court, by the people who do it, in the pages that they use.

use std::path::Path;
use std::process::Command;

use chrono::{Duration, Utc};

use super::Demo;
use super::driver::{Browser, ENTER, Size};
use super::looks::{look, quiet};
use crate::boatyard::png;

const CASE: &str = "HC-26-0990";

/// Fetches a paper as the browser would, with the session's cookie and the form's own fields.
pub(super) fn paper(browser: &Browser, address: &str, form: &str) -> Vec<u8> {
    let hidden = browser.all(&format!("{form} input[type=hidden]"));
    let fields: Vec<(String, String)> = hidden
        .iter()
        .map(|e| (browser.attribute(e, "name"), browser.attribute(e, "value")))
        .collect();
    let action = browser.attribute(&browser.must(form), "action");
    let mut answer = ureq::post(format!("{address}{action}"))
        .header("cookie", browser.cookie("liftledger-session"))
        .send_form(fields)
        .unwrap();
    let bytes = answer.body_mut().read_to_vec().unwrap();
    assert!(bytes.starts_with(b"%PDF-"), "{action} is no PDF");
    bytes
}

pub(super) fn words_of(pdf: &[u8], folder: &Path) -> String {
    let file = folder.join("paper.pdf");
    std::fs::write(&file, pdf).unwrap();
    crate::labels::run("pdftotext", &["-layout", file.to_str().unwrap(), "-"])
}

fn liftledger(args: &[&str]) -> String {
    let out = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args(args)
        .output()
        .unwrap();
    let said = String::from_utf8(out.stdout).unwrap();
    assert!(
        out.status.success(),
        "{args:?}: {said}{}",
        String::from_utf8_lossy(&out.stderr)
    );
    said
}

/// At the scene, on a phone: from the case to the offer. The page of the package and its code.
fn technician(demo: &Demo) -> (String, String, String) {
    let b = Browser::start(&demo.server.address, Size::Phone, true);
    b.sign_in("runa", &demo.passwords["runa"]);
    assert_eq!(b.path(), "/desk/field");
    look(&b, "story-01-field-desk");
    b.begin("open-case");
    b.fill("number", CASE);
    b.fill("title", "Chandlery forced at Hollin quay");
    b.fill("offence", "burglary");
    b.send("open-case");
    b.begin("open-scene");
    b.fill("name", "Chandlery");
    b.fill("address", "2 Quay Walk, back door by the crane");
    b.send("open-scene");
    look(&b, "story-02-case");
    b.begin("note-mark");
    b.fill("kind", "friction-ridge");
    b.fill("object", "sextant case, varnished wood");
    b.fill("exact_place", "lid, outer face, 4 cm from the left hinge");
    b.fill("up", "towards the handle");
    b.fill("substrate", "2C");
    b.fill("texture", "smooth");
    look(&b, "story-03-note-mark");
    b.send("note-mark");
    b.begin("develop-mark");
    b.fill("method", "BLP");
    look(&b, "story-04-develop");
    b.send("develop-mark");
    let photograph = demo.folder.path().join("IMG_0931.png");
    std::fs::write(&photograph, png(5)).unwrap();
    b.press("main a[href$='/photograph']");
    b.choose("view", "straight at the mark, from its own side");
    b.type_into(&b.must("#file"), photograph.to_str().unwrap());
    look(&b, "story-05-photograph");
    b.press("main form .acts button");
    b.shows("IMG_0931.png");
    look(&b, "story-06-mark");
    b.begin("recover");
    b.fill("medium", "gelatin-white");
    b.fill("lot", "G2-0914");
    b.fill("description", "Lift of a thumb mark, white gelatin");
    look(&b, "story-07-recover");
    b.send("recover");
    let item = b.path().split('?').next().unwrap().to_owned();
    // A gel lift shows its contact face: what was left is right.
    let banner = b.text_of(&b.must("p.banner"));
    assert!(banner.contains("MIRRORED IMAGE"), "{banner}");
    let packing = b.text_of(&b.must("section[aria-labelledby=keeping]"));
    assert!(
        packing.contains("Pack it in one of these") && packing.contains("flat mailing box"),
        "{packing}"
    );
    look(&b, "story-08-item");
    let label = paper(&b, &demo.server.address, "#papers form[action$='/label']");
    let words = words_of(&label, demo.folder.path());
    assert!(
        words.contains(CASE) && words.contains("sextant case"),
        "{words}"
    );

    b.begin("pack");
    let allowed = b.must("select[name=container] optgroup option");
    b.click(&allowed);
    if b.find("main [name=contents]:checked").is_none() {
        b.press("main [name=contents]");
    }
    look(&b, "story-09-pack");
    b.send("pack");
    let package = b.path().split('?').next().unwrap().to_owned();
    let code = b.text_of(&b.must("main .code"));
    b.begin("seal");
    b.fill("number", "HR-009001");
    b.fill("initialled", "yes");
    b.send("seal");
    b.begin("release");
    b.choose("to", "Nour");
    b.fill("purpose", "to the evidence store");
    b.press("main form[action='/do/release'] .acts button");
    let signing = b.must("#signing-password");
    b.shows("to the evidence store");
    look(&b, "story-10-sign");
    b.type_into(&signing, "not the password");
    b.press("fieldset.signing button");
    b.shows("This is not your password");
    b.type_into(&b.must("#signing-password"), &demo.passwords["runa"]);
    b.press("fieldset.signing button");
    b.shows("On offer");
    look(&b, "story-11-offered");
    quiet(&b);
    (item, package, code)
}

/// In the store: found in the queue, received, put on a shelf that is allowed, lent, taken back, opened, resealed.
fn custodian(demo: &Demo, package: &str, code: &str) {
    let secret = &demo.passwords["nour"];
    let b = Browser::start(&demo.server.address, Size::Desk, true);
    b.sign_in("nour", secret);
    assert_eq!(b.path(), "/desk/storeroom");
    b.shows(CASE);
    look(&b, "story-20-storeroom");
    // The key goes to the scan field from anywhere.
    b.keys("/");
    b.keys(&format!("{}{ENTER}", code.replace(' ', "")));
    b.shows(code);
    assert_eq!(b.path(), package);
    b.begin("receive");
    b.fill("seal_seen", "HR-009001");
    look(&b, "story-21-receive");
    b.sign("receive", secret);
    b.begin("store");
    let forbidden = b.must("select[name=place] optgroup:nth-of-type(2) option");
    let wanted = b.attribute(&forbidden, "value");
    b.click(&forbidden);
    b.press("main form[action='/do/store'] .acts button");
    let refusal = b.text_of(&b.must("section.refusal"));
    assert!(
        refusal.contains("Not done:") && refusal.contains("Next"),
        "{refusal}"
    );
    assert!(refusal.contains(CASE), "{refusal}");
    assert_eq!(b.property(&b.must("select[name=place]"), "value"), wanted);
    look(&b, "story-22-refused");
    let good = b.must("select[name=place] optgroup:nth-of-type(1) option");
    b.click(&good);
    b.send("store");
    look(&b, "story-23-stored");

    b.begin("release");
    b.choose("to", "Søren");
    b.fill("purpose", "comparison with the elimination prints");
    let due = (Utc::now() + Duration::days(5)).format("%Y-%m-%dT12:00");
    b.run(&format!(
        "document.querySelector('[name=due_at]').value = '{due}'; return 1;"
    ));
    look(&b, "story-24-check-out");
    b.sign("release", secret);

    let examiner = Browser::start(&demo.server.address, Size::Desk, true);
    let soren = &demo.passwords["soren"];
    examiner.sign_in("soren", soren);
    assert_eq!(examiner.path(), "/desk/examiner");
    examiner.shows(CASE);
    look(&examiner, "story-25-examiner");
    examiner.go(package);
    examiner.begin("receive");
    examiner.fill("seal_seen", "HR-009001");
    examiner.sign("receive", soren);
    examiner.shows("On loan");
    examiner.begin("release");
    examiner.choose("to", "Nour");
    examiner.fill("purpose", "return");
    examiner.sign("release", soren);
    quiet(&examiner);

    b.go(package);
    b.begin("receive");
    b.fill("seal_seen", "HR-009001");
    b.sign("receive", secret);
    b.begin("open");
    b.fill("reason", "To look whether the cover lies flat");
    b.fill("seal_seen", "HR-009001");
    b.sign("open", secret);
    b.begin("seal");
    b.fill("number", "HR-009002");
    b.fill("initialled", "yes");
    b.send("seal");
    b.shows("HR-009002");
    look(&b, "story-26-resealed");
    quiet(&b);
}

/// At the court desk: the thread, the report, and an export that stands by itself.
fn liaison(demo: &Demo, item: &str) {
    let b = Browser::start(&demo.server.address, Size::Desk, true);
    b.sign_in("eleni", &demo.passwords["eleni"]);
    assert_eq!(b.path(), "/desk/court");
    look(&b, "story-30-court");
    b.go(&format!("/find?q={CASE}"));
    b.shows("Chandlery forced at Hollin quay");
    look(&b, "story-31-case");
    b.press(&format!("main a[href='{item}']"));
    b.must("section[aria-labelledby=thread] svg");
    let table = b.text_of(&b.must("table.custody"));
    for words in [
        "Rúna Fjeldså",
        "Nour Haddaoui",
        "Søren Højbakke",
        "HR-009001",
        "HR-009002",
    ] {
        assert!(table.contains(words), "{words} is not in\n{table}");
    }
    look(&b, "story-32-item");
    let report = paper(&b, &demo.server.address, "#papers form[action$='/report']");
    let words = words_of(&report, demo.folder.path());
    for expected in [CASE, "HR-009002", "Søren Højbakke"] {
        assert!(words.contains(expected), "{expected} is not in\n{words}");
    }
    quiet(&b);
    let mut checkpoint = ureq::get(demo.at("/proof/checkpoint"))
        .header("cookie", b.cookie("liftledger-session"))
        .call()
        .unwrap();
    let kept = demo.folder.path().join("checkpoint.txt");
    std::fs::write(&kept, checkpoint.body_mut().read_to_vec().unwrap()).unwrap();
    let data = demo.folder.path().join("demo");
    let export = demo.folder.path().join("export");
    let (data, export) = (data.to_str().unwrap(), export.to_str().unwrap());
    liftledger(&[
        "export",
        "--case",
        CASE,
        "--with-originals",
        "--out",
        export,
        "--data",
        data,
    ]);
    let key = std::fs::read_to_string(Path::new(export).join("vkey.txt")).unwrap();
    liftledger(&["verify", "--folder", export, "--key", key.trim()]);
    liftledger(&[
        "verify",
        "--data",
        data,
        "--checkpoint",
        kept.to_str().unwrap(),
    ]);
}

#[test]
fn a_lift_goes_from_the_scene_to_the_court() {
    let demo = Demo::begin();
    let (item, package, code) = technician(&demo);
    custodian(&demo, &package, &code);
    liaison(&demo, &item);
}
