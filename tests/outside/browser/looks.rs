//! What must hold of every page, whatever is on it.

use serde_json::Value;

use super::Demo;
use super::driver::{Browser, Size};

/// What is wrong with the page: by its headings, labels and width. Each row is one complaint.
const COMPLAINTS: &str = r##"
const out = [];
const name = (e) => `<${e.tagName.toLowerCase()} id="${e.id}" name="${e.getAttribute("name") || ""}">`;
const h1 = document.querySelectorAll("h1").length;
if (h1 !== 1) out.push(`${h1} headings of the first level`);
if (!document.title.trim()) out.push("no title");
if (!document.documentElement.lang) out.push("no language");
for (const e of document.querySelectorAll("input:not([type=hidden]), select, textarea")) {
  const by = (e.getAttribute("aria-labelledby") || "").split(/\s+/).some((i) => i && document.getElementById(i));
  if (!(e.labels && e.labels.length) && !e.getAttribute("aria-label") && !by) out.push(`${name(e)} has no label`);
}
for (const e of document.querySelectorAll("a[href], button")) {
  const words = (e.textContent || "").trim() || e.getAttribute("aria-label") || e.querySelector("[alt], title");
  if (!words) out.push(`${name(e)} says nothing: ${e.outerHTML.slice(0, 120)}`);
}
for (const e of document.querySelectorAll("img:not([alt])")) out.push(`${e.src} has no text`);
const ids = new Set();
for (const e of document.querySelectorAll("[id]")) {
  if (ids.has(e.id)) out.push(`the id ${e.id} stands twice`);
  ids.add(e.id);
}
for (const label of document.querySelectorAll("label[for], [aria-labelledby], [aria-describedby]")) {
  const of = label.getAttribute("for") || label.getAttribute("aria-labelledby") || label.getAttribute("aria-describedby");
  for (const id of of.split(/\s+/)) if (id && !document.getElementById(id)) out.push(`${name(label)} points at ${id}, which is not there`);
}
const wide = document.documentElement.scrollWidth - window.innerWidth;
if (wide > 0) {
  const edge = window.innerWidth + 1;
  const who = [...document.querySelectorAll("main *, header *")]
    .filter((e) => e.getBoundingClientRect().right > edge).slice(0, 3).map((e) => e.outerHTML.slice(0, 100));
  out.push(`${wide} px too wide: ${who.join(" | ")}`);
}
for (const e of document.querySelectorAll("main .card, main .thread")) {
  const r = e.getBoundingClientRect();
  if (r.width && r.width < 200) out.push(`${e.tagName} ${e.className} is ${Math.round(r.width)} px wide`);
}
for (const e of document.querySelectorAll("main :is(p, a, button, tbody *, li, label, h1, h2, h3)")) {
  const r = e.getBoundingClientRect();
  if (r.width && r.width < 30 && r.height > 120) out.push(`squeezed: ${e.outerHTML.slice(0, 100)}`);
}
return out;
"##;

/// Looks at the page as it is, and takes a picture of it.
pub fn look(browser: &Browser, name: &str) {
    let said = browser.run(COMPLAINTS);
    browser.picture(name);
    assert_eq!(
        said,
        Value::Array(Vec::new()),
        "{} at {}",
        name,
        browser.path()
    );
}

/// What the console may say: that a form was refused, or a page not found, is no error of the page.
pub fn quiet(browser: &Browser) {
    let loud: Vec<String> = browser
        .console()
        .into_iter()
        // The browser's advice on forms is no error either.
        .filter(|l| !l.starts_with("\"DEBUG\""))
        .filter(|l| !l.contains("the server responded with a status of 4"))
        .collect();
    assert_eq!(loud, Vec::<String>::new());
}

/// Where the links of a page lead, in this part of the server.
fn links(browser: &Browser, under: &str, most: usize) -> Vec<String> {
    let script = format!(
        "return [...new Set([...document.querySelectorAll(\"main a[href^='{under}']\")].map((a) => a.getAttribute('href')))].slice(0, {most});"
    );
    let found = browser.run(&script);
    let found = found.as_array().unwrap().iter();
    found.map(|v| v.as_str().unwrap().to_owned()).collect()
}

fn walk(demo: &Demo, size: Size, called: &str, user: &str, first: &[&str]) {
    let browser = Browser::start(&demo.server.address, size, true);
    browser.go("/sign-in");
    look(&browser, &format!("{called}-sign-in"));
    browser.sign_in(user, &demo.passwords[user]);
    let mut ways: Vec<String> = first.iter().map(|w| (*w).to_owned()).collect();
    browser.go("/cases");
    ways.extend(links(&browser, "/cases/", 1));
    let case = ways.last().unwrap().clone();
    browser.go(&case);
    ways.extend(links(&browser, &format!("{case}/papers"), 1));
    for under in ["/marks/", "/items/", "/packages/", "/do/", "/events/"] {
        ways.extend(links(&browser, under, 2));
    }
    // Every kind of card there is, also where nothing else is done with it.
    let all_items = links(&browser, "/items/", 30);
    for thing in ways.clone() {
        if ["/marks/", "/items/", "/packages/"]
            .iter()
            .any(|t| thing.starts_with(t))
        {
            browser.go(&thing);
            ways.extend(links(&browser, "/do/", 6));
            ways.extend(links(&browser, "/marks/", 1));
            ways.extend(links(&browser, "/events/", 1));
        }
    }
    ways.extend(all_items);
    let mut seen = std::collections::BTreeSet::new();
    let mut wrong = Vec::new();
    for way in ways {
        let way = way.split('#').next().unwrap().to_owned();
        if !seen.insert(way.clone()) {
            continue;
        }
        browser.go(&way);
        let said = browser.run(COMPLAINTS);
        let words: Vec<&str> = way
            .split(['/', '?', '='])
            .filter(|w| !w.is_empty() && w.len() < 20)
            .collect();
        browser.picture(&format!("{called}-{}-{:02}", words.join("-"), seen.len()));
        if said != Value::Array(Vec::new()) {
            wrong.push(format!("{way}: {said}"));
        }
        let heading = browser.text_of(&browser.must("h1"));
        if heading.contains("Not ") || heading.contains("cannot") {
            wrong.push(format!("{way}: {heading}"));
        }
    }
    assert!(seen.len() > 10, "{seen:?}");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    quiet(&browser);
}

#[test]
fn every_page_fits_a_phone_and_is_labelled() {
    let demo = Demo::begin();
    let ways = [
        "/desk/field",
        "/cases",
        "/do/open-case",
        "/find?q=boat",
        "/account",
    ];
    walk(&demo, Size::Phone, "phone", "runa", &ways);
    let ways = [
        "/desk/storeroom",
        "/room",
        "/room/list?of=to-shelf",
        "/places",
        "/do/add-place",
        "/find?q=",
        "/account",
    ];
    walk(&demo, Size::Phone, "phone-store", "nour", &ways);
}

#[test]
fn every_page_is_labelled_at_a_desk() {
    let demo = Demo::begin();
    let ways = ["/desk/storeroom", "/room", "/places", "/do/add-place"];
    walk(&demo, Size::Desk, "desk", "nour", &ways);
    let ways = ["/desk/court", "/proof", "/account"];
    walk(&demo, Size::Desk, "court", "milena", &ways);
}
