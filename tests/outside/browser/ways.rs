//! Other ways to use the pages: by keyboard alone, and without any script.

use serde_json::json;

use super::Demo;
use super::driver::{Browser, ENTER, Size, TAB};
use super::looks::{look, quiet};

/// Tab by tab until the focus is on what matches; it must be seen wherever it stands.
pub fn tab_to(browser: &Browser, css: &str) {
    for _ in 0..80 {
        browser.keys(&TAB.to_string());
        let script = format!(
            "const e = document.activeElement; const s = getComputedStyle(e); const body = e === document.body;
             return {{there: e.matches(\"{css}\"), seen: body || (s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2), what: e.outerHTML.slice(0, 200)}};"
        );
        let at = browser.run(&script);
        assert_eq!(at["seen"], true, "the focus is not seen: {}", at["what"]);
        if at["there"] == true {
            return;
        }
    }
    browser.fail(&format!("no way by tab to {css}"));
}

#[test]
fn a_case_is_opened_by_keyboard_alone() {
    let demo = Demo::begin();
    let browser = Browser::start(&demo.server.address, Size::Desk, true);
    browser.go("/sign-in");
    tab_to(&browser, "#user_name");
    browser.keys("runa");
    tab_to(&browser, "#password");
    browser.keys(&format!("{}{ENTER}", demo.passwords["runa"]));
    browser.must("header .who");
    assert_eq!(browser.path(), "/desk/field");
    tab_to(&browser, "main a[href='/do/open-case']");
    browser.picture("keyboard-focus");
    browser.keys(&ENTER.to_string());
    browser.must("#number");
    tab_to(&browser, "#number");
    browser.keys("HC-26-0881");
    tab_to(&browser, "#title");
    browser.keys("Slipway winch tampered with");
    tab_to(&browser, "main form .acts button");
    browser.keys(&ENTER.to_string());
    browser.shows("Case HC-26-0881: Slipway winch tampered with");
    quiet(&browser);
}

/// On a phone the ways out of a page lie behind the name of whoever is signed in, also where there is no script.
#[test]
fn the_ways_out_lie_behind_a_name_on_a_phone() {
    let demo = Demo::begin();
    for (size, script) in [(Size::Phone, true), (Size::Narrow, false)] {
        let phone = Browser::start(&demo.server.address, size, script);
        phone.sign_in("nour", &demo.passwords["nour"]);
        let seen = "const way = document.querySelector('#ways').getBoundingClientRect();
                    return [document.querySelector('header').offsetHeight < 130, way.height > 0];";
        assert_eq!(phone.run(seen), json!([true, false]));
        phone.press("header button[popovertarget='ways']");
        assert_eq!(phone.run(seen), json!([true, true]));
        look(&phone, &format!("phone-ways-{script}"));
        phone.press("#ways a[href='/account']");
        phone.must("#password-heading");
        phone.press("header button[popovertarget='ways']");
        phone.press("#ways form[action='/sign-out'] button");
        phone.must("#password");
        quiet(&phone);
    }
    let desk = Browser::start(&demo.server.address, Size::Desk, true);
    desk.sign_in("nour", &demo.passwords["nour"]);
    desk.press("#ways a[href='/account']");
    desk.must("#password-heading");
}

/// The seal number that the page of a package tells.
fn seal_on(browser: &Browser) -> String {
    let text = browser.text();
    let (_, rest) = text
        .split_once("HR-00")
        .unwrap_or_else(|| browser.fail("no seal"));
    let digits: String = rest.chars().take_while(char::is_ascii_digit).collect();
    format!("HR-00{digits}")
}

#[test]
fn a_hand_over_goes_without_script() {
    let demo = Demo::begin();
    let nour = Browser::start(&demo.server.address, Size::Desk, false);
    nour.sign_in("nour", &demo.passwords["nour"]);
    nour.go("/desk/storeroom");
    // The offer that waits in the demo.
    let way = nour.must("main a.act[href*='/do/receive']");
    let form = nour.attribute(&way, "href");
    let (_, id) = form.split_once("package").unwrap();
    let id: String = id
        .trim_start_matches("%3A")
        .trim_start_matches(':')
        .chars()
        .take(36)
        .collect();
    let page = format!("/packages/{id}");
    nour.go(&page);
    assert!(nour.find(".turns").is_none(), "a script ran");
    let seal = seal_on(&nour);
    nour.begin("receive");
    nour.fill("seal_seen", &seal);
    nour.picture("no-script-receive");
    nour.sign("receive", &demo.passwords["nour"]);
    nour.shows(&seal);
    nour.begin("release");
    nour.choose("to", "Rúna");
    nour.fill("purpose", "back to the technician, for a second look");
    nour.sign("release", &demo.passwords["nour"]);

    let runa = Browser::start(&demo.server.address, Size::Desk, false);
    runa.sign_in("runa", &demo.passwords["runa"]);
    runa.go(&page);
    runa.begin("receive");
    runa.fill("seal_seen", &seal);
    runa.sign("receive", &demo.passwords["runa"]);
    runa.shows("Rúna");
    runa.picture("no-script-received");
    assert!(runa.find("main a[href*='/do/release']").is_some());
}
