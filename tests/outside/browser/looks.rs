//! What must hold of every page, whatever is on it.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

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
for (const e of document.querySelectorAll("a[href^='#']")) {
  const id = e.getAttribute("href").slice(1);
  if (!document.getElementById(id)) out.push(`a link leads to ${id}, which is not on the page`);
}
// A phone zooms out over what is too wide, and window.innerWidth with it.
const room = document.documentElement.clientWidth;
const wide = document.documentElement.scrollWidth - room;
if (wide > 0) {
  const edge = room + 1;
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

/// Where the links of a page lead, in the order in which they stand; those to files are left out.
fn links(browser: &Browser) -> Vec<String> {
    let script = "return [...document.querySelectorAll(\"a[href^='/']:not([download], [href^='/copies/'])\")].map((a) => a.getAttribute('href'));";
    let found = browser.run(script);
    let found = found.as_array().unwrap().iter();
    found.map(|v| v.as_str().unwrap().to_owned()).collect()
}

/// The address without what tells one thing from another of its kind.
fn kind(way: &str) -> String {
    let is_id =
        |word: &&str| [36, 64].contains(&word.len()) || word.bytes().all(|b| b.is_ascii_digit());
    let words = way.split(['/', ':', '=', '@', '&', '.']);
    let words = words.filter(|w| !is_id(w) && w.parse::<liftledger::ids::Code>().is_err());
    words.collect::<Vec<_>>().join("/")
}

/// How many pages of a kind are looked at. Cards differ by what they are cards of.
fn most(kind: &str) -> usize {
    if kind == "items" { 30 } else { 2 }
}

/// How many pages are looked at for one person.
const PAGES: usize = 150;

/// Follows the links from the person's desk, a page after the other, and looks at each.
fn walk(demo: &Demo, size: Size, called: &str, user: &str) {
    let browser = Browser::start(&demo.server.address, size, true);
    browser.go("/sign-in");
    look(&browser, &format!("{called}-sign-in"));
    browser.sign_in(user, &demo.passwords[user]);
    let mut ways = VecDeque::from([browser.path()]);
    // No link leads to what is found.
    if browser.find("form.find").is_some() {
        ways.extend(["/find?q=boat".into(), "/find?q=".into()]);
    }
    let (mut seen, mut kinds) = (BTreeSet::new(), BTreeMap::<String, usize>::new());
    let mut wrong = Vec::new();
    while let Some(way) = ways.pop_front()
        && seen.len() < PAGES
    {
        let way = way.split('#').next().unwrap().to_owned();
        let kind = kind(&way);
        let of_kind = kinds.entry(kind.clone()).or_default();
        if *of_kind == most(&kind) || !seen.insert(way.clone()) {
            continue;
        }
        *of_kind += 1;
        browser.go(&way);
        let said = browser.run(COMPLAINTS);
        let words: Vec<&str> = kind.split('/').filter(|w| !w.is_empty()).collect();
        browser.picture(&format!("{called}-{}-{of_kind}", words.join("-")));
        if said != Value::Array(Vec::new()) {
            wrong.push(format!("{way}: {said}"));
        }
        let heading = browser.text_of(&browser.must("h1"));
        let told = heading.contains("Not ") || heading.contains("cannot");
        if told && !heading.starts_with("Not on a shelf yet") {
            wrong.push(format!("{way}: {heading}"));
        }
        // A link that leads to a refusal should not be there.
        if let Some(refusal) = browser.find("main .refusal[role=alert]") {
            wrong.push(format!("{way}: {}", browser.text_of(&refusal)));
        }
        ways.extend(links(&browser));
    }
    assert!(kinds.len() > 15, "{kinds:?}");
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    quiet(&browser);
}

#[test]
fn every_page_fits_a_phone_and_is_labelled() {
    let demo = Demo::begin();
    for user in ["runa", "nour", "eleni", "milena", "ivo"] {
        walk(&demo, Size::Phone, &format!("phone-{user}"), user);
    }
}

#[test]
fn every_page_is_labelled_at_a_desk() {
    let demo = Demo::begin();
    for user in ["nour", "milena", "soren"] {
        walk(&demo, Size::Desk, &format!("desk-{user}"), user);
    }
}
