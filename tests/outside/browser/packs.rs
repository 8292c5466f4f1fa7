//! Packing anew and taking back, on a phone and at a desk.

use super::Demo;
use super::driver::{Browser, Size};
use super::looks::{look, quiet};

/// A package of the case that stands on a shelf: its page.
fn shelved(browser: &Browser) -> String {
    browser.go("/cases");
    let pages = browser.run(
        "return [...document.querySelectorAll(\"main a[href^='/cases/']\")].map((a) => a.getAttribute('href'));",
    );
    for case in pages.as_array().unwrap().iter().filter_map(|v| v.as_str()) {
        browser.go(case);
        let packages = browser.run(
            "return [...new Set([...document.querySelectorAll(\"main a[href^='/packages/']\")].map((a) => a.getAttribute('href')))];",
        );
        for package in packages
            .as_array()
            .unwrap()
            .iter()
            .filter_map(|v| v.as_str())
        {
            browser.go(package);
            if browser.find("main a[href*='/do/fetch']").is_some()
                && browser.text().contains("HR-0")
            {
                return package.to_owned();
            }
        }
    }
    browser.fail("nothing is on a shelf")
}

fn seal_on(browser: &Browser) -> String {
    let text = browser.text();
    let (_, rest) = text
        .split_once("HR-00")
        .unwrap_or_else(|| browser.fail("no seal"));
    let digits: String = rest.chars().take_while(char::is_ascii_digit).collect();
    format!("HR-00{digits}")
}

/// Signs what is shown.
fn confirm(browser: &Browser, secret: &str) {
    browser.type_into(&browser.must("#signing-password"), secret);
    browser.press("fieldset.signing button");
    browser.done();
}

fn goes_out_comes_back_and_is_packed_anew(size: Size, called: &str) {
    let demo = Demo::begin();
    let secret = &demo.passwords["nour"];
    let nour = Browser::start(&demo.server.address, size, true);
    nour.sign_in("nour", secret);
    let page = shelved(&nour);
    let seal = seal_on(&nour);
    nour.begin("fetch");
    nour.fill("purpose", "for the hearing");
    nour.send("fetch");
    nour.begin("hand-out");
    look(&nour, &format!("{called}-hand-out"));
    nour.fill("party.name", "O. Reyes");
    nour.fill("party.organisation", "Court of Hollin Reach");
    nour.fill("party.identification", "service card of the court");
    nour.fill("tracking", "TR 55 21");
    nour.fill("purpose", "hearing");
    nour.fill("weighed.grams", "412.5");
    nour.fill("weighed.scale", "scale 3");
    nour.sign("hand-out", secret);
    nour.go(&page);
    nour.shows("TR 55 21");
    look(&nour, &format!("{called}-is-out"));
    nour.begin("take-back");
    look(&nour, &format!("{called}-take-back"));
    nour.fill("party.name", "O. Reyes");
    nour.fill("party.organisation", "Court of Hollin Reach");
    nour.fill("party.identification", "service card of the court");
    nour.fill("seal_seen", &seal);
    nour.fill("weighed.grams", "380");
    nour.fill("weighed.scale", "scale 3");
    nour.press("main form .acts button");
    nour.shows("32.5 g less than 412.5 g");
    look(&nour, &format!("{called}-weight-asked"));
    confirm(&nour, secret);
    nour.go(&page);
    nour.shows("Another weight than it went out with");
    nour.begin("repack");
    look(&nour, &format!("{called}-repack"));
    nour.choose("why", "The package is damaged");
    nour.fill("reason", "the corner is torn");
    nour.fill("seal_seen", &seal);
    nour.fill("seal", "HR-777001");
    // What the rules allow stands first.
    let first =
        nour.run("return document.querySelector(\"select[name='container']\").options[1].value;");
    nour.fill("container", first.as_str().unwrap());
    nour.press("main form .acts button");
    nour.shows("What you sign");
    look(&nour, &format!("{called}-repack-sign"));
    confirm(&nour, secret);
    nour.shows("Made of what was in");
    look(&nour, &format!("{called}-repacked"));
    nour.go(&page);
    nour.shows("empty and closed");
    look(&nour, &format!("{called}-emptied"));
    quiet(&nour);
}

#[test]
fn a_package_goes_out_comes_back_and_is_packed_anew_on_a_phone() {
    goes_out_comes_back_and_is_packed_anew(Size::Phone, "packs-phone");
}

#[test]
fn a_package_goes_out_comes_back_and_is_packed_anew_at_a_desk() {
    goes_out_comes_back_and_is_packed_anew(Size::Desk, "packs-desk");
}
