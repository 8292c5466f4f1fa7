//! The field on top: answers from the first letter on, by keyboard as the ARIA practices describe a combobox with a list
//! (www.w3.org/WAI/ARIA/apg/patterns/combobox), by pointer, on a phone; a scanner goes straight to the thing; and without
//! script the form is as it was.

use std::time::{Duration, Instant};

use liftledger::app::house::House;
use liftledger::app::{Part, Viewer};
use serde_json::Value;

use super::Demo;
use super::driver::{Browser, ENTER, Size};
use super::looks::{look, quiet};

/// Keys as the standard of WebDriver numbers them (section 17.4.2).
const DOWN: char = '\u{E015}';
const UP: char = '\u{E013}';
const ESCAPE: char = '\u{E00C}';

/// How the combobox stands: what a screen reader is told.
fn stand(browser: &Browser) -> Value {
    browser.run(
        "const f = document.querySelector('#find'); const list = document.querySelector('#find-list');
         const id = f.getAttribute('aria-activedescendant');
         const active = id && document.getElementById(id);
         return {role: f.getAttribute('role'), expanded: f.getAttribute('aria-expanded'),
                 controls: f.getAttribute('aria-controls'), focus: document.activeElement === f,
                 shown: !!list && !list.hidden, options: list ? list.querySelectorAll('[role=option]').length : 0,
                 selected: list ? list.querySelectorAll('[aria-selected=true]').length : 0,
                 active: active ? active.textContent : '', value: f.value,
                 said: document.querySelector('form.find [role=status]')?.textContent || ''};",
    )
}

fn until(browser: &Browser, what: &str, fits: impl Fn(&Value) -> bool) -> Value {
    let begun = Instant::now();
    loop {
        let at = stand(browser);
        if fits(&at) {
            return at;
        }
        if begun.elapsed() > Duration::from_secs(15) {
            browser.fail(&format!("{what}: {at}"));
        }
        std::thread::sleep(Duration::from_millis(30));
    }
}

fn open(at: &Value) -> bool {
    at["shown"] == true && at["expanded"] == "true"
}

fn path_becomes(browser: &Browser, begins: &str) {
    let begun = Instant::now();
    while !browser.path().starts_with(begins) {
        if begun.elapsed() > Duration::from_secs(15) {
            browser.fail(&format!("not at {begins} but {}", browser.path()));
        }
        std::thread::sleep(Duration::from_millis(30));
    }
}

#[test]
fn the_field_answers_from_the_first_letter_and_obeys_the_keyboard() {
    let demo = Demo::begin();
    let browser = Browser::start(&demo.server.address, Size::Desk, true);
    browser.sign_in("nour", &demo.passwords["nour"]);
    let at = stand(&browser);
    assert_eq!(
        (&at["role"], &at["expanded"]),
        (&"combobox".into(), &"false".into()),
        "{at}"
    );
    let field = browser.must("#find");
    browser.type_into(&field, "b");
    let at = until(&browser, "one letter", open);
    assert!(at["options"].as_u64() > Some(1), "{at}");
    assert_eq!(
        (&at["selected"], &at["controls"]),
        (&0.into(), &"find-list".into()),
        "{at}"
    );
    assert!(at["said"].as_str().unwrap().contains("found"), "{at}");
    look(&browser, "find-desk");
    // Down to the first, up to the last, and round.
    browser.keys(&DOWN.to_string());
    let first = stand(&browser);
    assert!(first["selected"] == 1 && first["active"] != "", "{first}");
    browser.keys(&UP.to_string());
    let last = stand(&browser);
    assert_ne!(first["active"], last["active"]);
    browser.keys(&DOWN.to_string());
    assert_eq!(stand(&browser)["active"], first["active"]);
    // What is typed stays what is typed, and the focus stays in the field.
    assert_eq!(
        (&first["value"], &first["focus"]),
        (&"b".into(), &true.into())
    );
    browser.keys(&ESCAPE.to_string());
    let at = stand(&browser);
    assert!(
        !open(&at) && at["value"] == "b" && at["active"] == "",
        "{at}"
    );
    // Typed on, chosen, gone to.
    browser.keys("oatyard");
    until(&browser, "a word", |at| {
        open(at) && at["options"].as_u64() >= Some(1)
    });
    // The answer to the last letter is there once nothing is asked any more.
    std::thread::sleep(Duration::from_millis(800));
    browser.keys(&DOWN.to_string());
    assert!(stand(&browser)["active"].as_str().unwrap().contains("Case"));
    browser.keys(&ENTER.to_string());
    path_becomes(&browser, "/cases/");
    // Nothing chosen: Enter sends the form, as without script.
    let field = browser.must("#find");
    browser.type_into(&field, "trailer");
    until(&browser, "trailer", open);
    browser.keys(&ENTER.to_string());
    path_becomes(&browser, "/find?q=trailer");
    browser.must("main ul a[href^='/marks/']");
    // By pointer.
    let field = browser.must("#find");
    browser.type_into(&field, "trailer");
    until(&browser, "trailer again", open);
    browser.press("#find-list [role=option]");
    let begun = Instant::now();
    while browser.path().starts_with("/find") {
        assert!(
            begun.elapsed() < Duration::from_secs(15),
            "a press leads nowhere"
        );
        std::thread::sleep(Duration::from_millis(30));
    }
    quiet(&browser);
}

#[test]
fn a_scan_goes_straight_to_the_thing() {
    let demo = Demo::begin();
    // The label of an item, read off the files of the demo.
    let folder = demo.folder.path().join("demo");
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let (code, page) = runtime.block_on(async {
        let house = House::open(&folder).await.unwrap();
        let viewer = Viewer::operator();
        let reader = house.reader(&viewer);
        let cases = reader.cases(&Part::default()).await.unwrap().rows;
        let case = cases.iter().find(|c| !c.restricted && c.items > 0).unwrap();
        let item = reader.item_numbered(case.id, 1).await.unwrap().unwrap();
        house.close().await;
        (item.code.to_string(), format!("/items/{}", item.id))
    });
    let browser = Browser::start(&demo.server.address, Size::Desk, true);
    browser.sign_in("nour", &demo.passwords["nour"]);
    // Into the field, and with the focus anywhere else.
    browser.run("document.querySelector('#find').focus(); return 0;");
    browser.scan(&code);
    path_becomes(&browser, &page);
    browser.go("/cases");
    browser.scan(&code);
    path_becomes(&browser, &page);
    quiet(&browser);
}

#[test]
fn the_field_works_on_a_phone_and_without_script() {
    let demo = Demo::begin();
    let phone = Browser::start(&demo.server.address, Size::Phone, true);
    phone.sign_in("nour", &demo.passwords["nour"]);
    let field = phone.must("#find");
    phone.type_into(&field, "h");
    until(&phone, "one letter on a phone", open);
    look(&phone, "find-phone");
    // Large enough for a glove, and within the screen.
    let size = phone.run(
        "const o = document.querySelector('#find-list [role=option]').getBoundingClientRect(); return {h: o.height, r: o.right, w: window.innerWidth};",
    );
    assert!(size["h"].as_f64() >= Some(44.0), "{size}");
    assert!(size["r"].as_f64() <= size["w"].as_f64(), "{size}");
    quiet(&phone);

    let plain = Browser::start(&demo.server.address, Size::Desk, false);
    plain.sign_in("nour", &demo.passwords["nour"]);
    assert!(plain.find("#find-list").is_none(), "a script ran");
    let field = plain.must("#find");
    plain.type_into(&field, &format!("trailer{ENTER}"));
    path_becomes(&plain, "/find?q=trailer");
    plain.must("main ul a[href^='/marks/']");
}
