//! The viewer of pictures and the form that hands one off to an AFIS, by keyboard, by touch, and without script.

use serde_json::Value;

use super::Demo;
use super::driver::{Browser, ENTER, Size};
use super::looks::{look, quiet};
use super::ways::tab_to;

/// Keys as the WebDriver standard numbers them (section 17.4.2).
const RIGHT: char = '\u{E014}';
const DOWN: char = '\u{E015}';
const ESCAPE: char = '\u{E00C}';

/// Signs the examiner in and goes to the page of the item of which a working copy was made. Its address.
fn item_with_a_copy(browser: &Browser, demo: &Demo) -> String {
    browser.sign_in("soren", &demo.passwords["soren"]);
    browser.go("/find?q=HR-26-0417");
    // A number that is one case's leads straight to it; else its link stands in the list.
    if browser.find("main a[href^='/items/']").is_none() {
        browser.press("main a[href^='/cases/']");
    }
    // By links alone, so that it goes without script too.
    let items: Vec<String> = browser
        .all("main a[href^='/items/']")
        .iter()
        .map(|a| browser.attribute(a, "href"))
        .collect();
    for item in items {
        browser.go(&item);
        if browser.find("main a[href^='/copies/']").is_some() {
            return item;
        }
    }
    browser.fail("no item with a working copy");
}

fn to_its_picture(browser: &Browser) {
    let link =
        browser.must("#pictures ~ ul a[href^='/pictures/'], .pictures a[href^='/pictures/']");
    let address = browser.attribute(&link, "href");
    browser.go(&address);
    browser.must("figure[data-view=copy]");
}

/// What the viewer shows: for each picture where its middle lies (pixels of the file, worked out from the transformation that
/// the browser applies), how much it is enlarged, and whether it is shown flipped.
fn shown(browser: &Browser) -> Vec<(f64, f64, f64)> {
    let found = browser.run(
        "return [...document.querySelectorAll('.glass')].map((g) => {
           const m = new DOMMatrix(getComputedStyle(g.querySelector('img')).transform);
           const p = m.inverse().transformPoint(new DOMPoint(g.clientWidth / 2, g.clientHeight / 2));
           return [p.x, p.y, m.a]; });",
    );
    let number = |v: &Value, n: usize| v[n].as_f64().unwrap();
    let found = found.as_array().unwrap().iter();
    found
        .map(|v| (number(v, 0), number(v, 1), number(v, 2)))
        .collect()
}

fn pressed(browser: &Browser, words: &str) -> bool {
    let script = format!(
        "return [...document.querySelectorAll('.viewer button')].find((b) => b.textContent.startsWith('{words}')).getAttribute('aria-pressed') === 'true';"
    );
    browser.run(&script) == true
}

/// The copy is the original with left and right exchanged: the same place of the mark lies at mirrored places of the files.
fn same_place(browser: &Browser, views: &[(f64, f64, f64)]) {
    let width = browser
        .run("return document.querySelector('figure[data-view=original] img').naturalWidth;");
    let width = width.as_f64().unwrap();
    let [original, copy] = views else {
        browser.fail("not two pictures")
    };
    assert!(
        (original.0 + copy.0 - width).abs() < 1.0,
        "{views:?} of {width}"
    );
    assert!((original.1 - copy.1).abs() < 1.0, "{views:?}");
    assert!((original.2.abs() - copy.2.abs()).abs() < 0.001, "{views:?}");
}

/// How many hand-offs the form tells of, once there are so many, or after five seconds: the browser keeps the file and says
/// nothing.
fn hand_offs(b: &Browser, form: &str, wanted: usize) -> usize {
    for _ in 0..50 {
        b.go(form);
        if b.all("section[aria-labelledby=past] tbody tr").len() >= wanted {
            break;
        }
        std::thread::sleep(std::time::Duration::from_millis(100));
    }
    b.all("section[aria-labelledby=past] tbody tr").len()
}

#[test]
fn the_viewer_works_by_keyboard_and_changes_no_file() {
    let demo = Demo::begin();
    let b = Browser::start(&demo.server.address, Size::Desk, true);
    item_with_a_copy(&b, &demo);
    to_its_picture(&b);
    b.must(".viewer.live");
    look(&b, "viewer-desk");
    let whole = shown(&b);
    same_place(&b, &whole);

    tab_to(&b, "figure[data-view=original] .glass");
    b.keys("+++");
    let zoomed = shown(&b);
    assert!(zoomed[0].2 > whole[0].2 * 1.9, "{whole:?} {zoomed:?}");
    same_place(&b, &zoomed);
    b.keys(&format!("{RIGHT}{RIGHT}{DOWN}"));
    let moved = shown(&b);
    assert!(moved[0].0 > zoomed[0].0 + 10.0 && moved[0].1 > zoomed[0].1 + 10.0);
    assert!(
        moved[1].0 < zoomed[1].0 - 10.0,
        "the copy moves the other way"
    );
    same_place(&b, &moved);

    // The loupe says millimetres, since the picture has a scale.
    b.keys("l");
    assert!(pressed(&b, "Loupe"));
    assert_eq!(b.all(".lens:not([hidden])").len(), 2);
    let says = b.text_of(&b.must(".readout"));
    assert!(says.contains(" mm of the original"), "{says}");
    let rules =
        b.run("return [...document.querySelectorAll('.lens-rule')].map((r) => r.textContent);");
    assert!(rules[0].as_str().unwrap().ends_with(" mm"), "{rules}");
    b.picture("viewer-loupe");

    // Flip and invert are for the eye.
    b.keys("fi");
    assert!(pressed(&b, "Show flipped") && pressed(&b, "Show inverted"));
    b.shows("Shown flipped; the file is not changed.");
    let flipped = shown(&b);
    assert!(flipped[0].2 < 0.0 && flipped[1].2 > 0.0, "{flipped:?}");
    same_place(&b, &flipped);
    b.keys("fi0");
    let again = shown(&b);
    assert!(
        (again[0].2 - whole[0].2).abs() < 1e-6,
        "{whole:?} {again:?}"
    );
    let sent = b.run("return performance.getEntriesByType('resource').filter((r) => r.initiatorType === 'fetch' || r.initiatorType === 'xmlhttprequest').length;");
    assert_eq!(sent, 0, "something was sent");
    quiet(&b);
}

#[test]
fn a_scale_is_picked_by_keyboard_in_the_picture() {
    let demo = Demo::begin();
    let b = Browser::start(&demo.server.address, Size::Desk, true);
    item_with_a_copy(&b, &demo);
    to_its_picture(&b);
    b.must(".viewer.live");
    tab_to(&b, "details[data-scale] summary");
    b.keys(&ENTER.to_string());
    tab_to(&b, "details[data-scale] .acts button");
    b.keys(&ENTER.to_string());
    b.shows("Press point 1 of 2");
    // The focus is on the original: its middle, then 40 steps of a hundredth of the glass to the right of it.
    b.keys(&format!("++{ENTER}"));
    b.shows("Press point 2 of 2");
    b.keys(&format!("{RIGHT}{RIGHT}{RIGHT}{ENTER}"));
    let at = |name: &str| -> f64 {
        let value = b.property(&b.must(&format!("[name={name}]")), "value");
        value.as_str().unwrap().parse().unwrap()
    };
    assert!(at("x2") > at("x1") + 20.0 && (at("y2") - at("y1")).abs() < 1.5);
    let way = at("x2") - at("x1");
    // The focus went on to the length.
    b.keys("5 mm");
    b.fill("reason", "picked again, nearer");
    b.picture("viewer-scale");
    b.press("form[action='/do/set-scale'] div.acts button");
    b.done();
    let ppi = way * 25.4 / 5.0;
    let says = b.text_of(&b.must("section[aria-labelledby=scale]"));
    let told: f64 = says
        .split_whitespace()
        .find_map(|w| w.parse().ok())
        .unwrap_or_else(|| b.fail(&says));
    assert!((told - ppi).abs() / ppi < 0.01, "{told} for {ppi}: {says}");
    // Escape ends picking.
    b.press("details[data-scale] summary");
    b.press("details[data-scale] .acts button");
    b.shows("Press point 1 of 2");
    b.keys(&ESCAPE.to_string());
    assert!(b.find(".viewer.picking").is_none());
    quiet(&b);
}

#[test]
fn the_viewer_works_by_touch() {
    let demo = Demo::begin();
    let b = Browser::start(&demo.server.address, Size::Phone, true);
    item_with_a_copy(&b, &demo);
    to_its_picture(&b);
    b.must(".viewer.live");
    look(&b, "viewer-phone");
    let middle = |css: &str| -> (i64, i64) {
        let script = format!(
            "const g = document.querySelector(\"{css}\"); g.scrollIntoView({{block: 'center'}}); const r = g.getBoundingClientRect(); return [Math.round(r.x + r.width / 2), Math.round(r.y + r.height / 2)];"
        );
        let at = b.run(&script);
        (at[0].as_i64().unwrap(), at[1].as_i64().unwrap())
    };
    let (x, y) = middle("figure[data-view=original] .glass");
    let whole = shown(&b);
    // Two fingers apart: larger, in both pictures.
    b.fingers(&[
        &[(x - 30, y), (x - 60, y), (x - 110, y)],
        &[(x + 30, y), (x + 60, y), (x + 110, y)],
    ]);
    let zoomed = shown(&b);
    assert!(zoomed[0].2 > whole[0].2 * 2.0, "{whole:?} {zoomed:?}");
    same_place(&b, &zoomed);
    // One finger moves what is larger than its glass.
    b.fingers(&[&[(x + 60, y + 40), (x, y), (x - 60, y - 40)]]);
    let moved = shown(&b);
    assert!(
        moved[0].0 > zoomed[0].0 + 10.0 && moved[0].1 > zoomed[0].1 + 10.0,
        "{zoomed:?} {moved:?}"
    );
    same_place(&b, &moved);
    // Targets are large enough for a finger, the buttons are there instead of keys.
    for button in b.all(".viewer button") {
        let high = b.property(&button, "offsetHeight").as_f64().unwrap();
        assert!(high >= 44.0, "{} is {high} high", b.text_of(&button));
    }
    b.press(".viewer-bar button:nth-of-type(3)");
    let again = shown(&b);
    assert!(
        (again[0].2 - whole[0].2).abs() < 1e-6,
        "{whole:?} {again:?}"
    );
    b.picture("viewer-phone-again");
    quiet(&b);
}

#[test]
fn without_script_both_pictures_stand_there_and_a_file_is_handed_off() {
    let demo = Demo::begin();
    let b = Browser::start(&demo.server.address, Size::Desk, false);
    let item = item_with_a_copy(&b, &demo);
    to_its_picture(&b);
    assert!(b.find(".viewer.live").is_none(), "a script ran");
    for view in ["original", "copy"] {
        let image = b.must(&format!("figure[data-view={view}] img"));
        assert!(b.property(&image, "naturalWidth").as_u64().unwrap() > 100);
        assert!(b.property(&image, "clientWidth").as_u64().unwrap() > 100);
    }
    b.picture("viewer-no-script");

    let form = format!("{item}/afis");
    b.go(&form);
    let past = b.text_of(&b.must("section[aria-labelledby=past]"));
    assert!(
        past.contains("Nothing so far") || past.contains("SHA-256"),
        "{past}"
    );
    let before = hand_offs(&b, &form, 0);
    b.choose("receiver", "Hollin latent print bureau");
    b.choose("edition", "2013");
    b.press("main form[action$='/afis'] .acts button");
    assert_eq!(hand_offs(&b, &form, before + 1), before + 1);
    let past = b.text_of(&b.must("section[aria-labelledby=past]"));
    for words in ["Hollin latent print bureau", "2013", "reads direct"] {
        assert!(past.contains(words), "{words} is not in {past}");
    }
    b.picture("afis-no-script");
}

#[test]
fn a_picture_is_handed_off_by_keyboard() {
    let demo = Demo::begin();
    let b = Browser::start(&demo.server.address, Size::Desk, true);
    let item = item_with_a_copy(&b, &demo);
    let form = format!("{item}/afis");
    b.go(&form);
    look(&b, "afis-desk");
    let before = hand_offs(&b, &form, 0);
    tab_to(&b, "main select[name=receiver]");
    // Typing on a list chooses by its first letters.
    b.keys("Hollin");
    tab_to(&b, "main form[action$='/afis'] .acts button");
    b.keys(&ENTER.to_string());
    assert_eq!(hand_offs(&b, &form, before + 1), before + 1);
    quiet(&b);
}
