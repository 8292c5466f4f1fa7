//! The frame, the drawings and the assets: nothing inline, nothing from elsewhere, everything escaped, no text upon
//! another. Also leaves a sample page in `target/tmp/look` for the eye.

use std::fs;

use askama::Template;
use chrono::{DateTime, TimeDelta, TimeZone, Utc};
use liftledger::{
    custody::thread::{Knot, KnotKind, LayoutOptions, SealMark, Stretch, StretchKind, Thread},
    imaging::ridge::{Mirror, Picture, draw as picture},
    web::{
        assets::{POLICY, SCRIPT, STYLE},
        draw::{
            card::{self, Card, CardKind, CardPicture},
            steps::{self, ViewStep, reversed},
            thread,
        },
        form::Input,
        frame::*,
    },
};

fn t(hours: f64) -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2026, 3, 14, 8, 0, 0).unwrap()
        + TimeDelta::seconds((hours * 3600.0) as i64)
}

fn sample_thread() -> Thread {
    let stretch = |holder: &str, kind, from, to| Stretch {
        holder: holder.into(),
        kind,
        from: t(from),
        to: t(to),
    };
    let knot = |at, kind: KnotKind, label: &str, row| Knot {
        at: t(at),
        kind,
        filled: kind != KnotKind::Offer,
        label: label.into(),
        row,
        seq: 100 + row as u64,
        flagged: row == 8,
    };
    let late = 24.0 * 80.0;
    Thread {
        title: "Item 3, footwear impression <lift>".into(),
        from: t(0.0),
        to: t(late + 30.0),
        stretches: vec![
            stretch("N. Brandt", StretchKind::Person, 0.0, 4.0),
            stretch("", StretchKind::Break, 4.0, 7.2),
            stretch("T. Amsel", StretchKind::Person, 7.2, 20.0),
            stretch("Shelf D-12", StretchKind::Place, 20.0, late),
            stretch("Courier", StretchKind::Transit, late, late + 6.0),
            stretch(
                "Harbour Laboratory",
                StretchKind::Outside,
                late + 6.0,
                late + 30.0,
            ),
        ],
        knots: vec![
            knot(0.0, KnotKind::Start, "Lifted by N. Brandt", 1),
            knot(1.0, KnotKind::Packed, "Packed in box P7", 2),
            knot(1.0, KnotKind::Sealed, "Sealed 004217", 3),
            knot(3.9, KnotKind::Offer, "Offered to T. Amsel", 4),
            knot(7.2, KnotKind::Receipt, "Received by T. Amsel", 5),
            knot(20.0, KnotKind::Stored, "Stored on Shelf D-12", 6),
            knot(late, KnotKind::CheckedOut, "Checked out", 7),
            knot(
                late + 6.0,
                KnotKind::Receipt,
                "Received by Harbour Laboratory",
                8,
            ),
            knot(late + 8.0, KnotKind::Opened, "Opened", 9),
        ],
        seals: vec![
            SealMark {
                number: "004217".into(),
                at: t(1.0),
                cut_at: Some(t(late + 8.0)),
                mismatch: false,
            },
            SealMark {
                number: "004260".into(),
                at: t(late + 9.0),
                cut_at: None,
                mismatch: true,
            },
        ],
    }
}

fn sample_card() -> Card {
    let fact = |a: &str, b: &str| (a.to_owned(), b.to_owned());
    Card {
        kind: CardKind::Card,
        width_mm: 127.0,
        height_mm: 76.0,
        black: false,
        picture: Some(CardPicture {
            href: "mark.png".into(),
            alt: "Ridge pattern lifted from the \"cabin\" door".into(),
            width: 400,
            height: 580,
            px_per_mm: Some(20.0),
            reversed: Some(true),
            copy: false,
        }),
        up_marked: true,
        number: "2026-0117 / 3".into(),
        code: "I4K7 9Q2M XW3A".into(),
        back: vec![
            fact("Case", "2026-0117, boatyard at Quill Bay"),
            fact(
                "Object",
                "cabin door of a motor boat, inside, 40 cm above the sill, varnished plywood with a deep grain",
            ),
            fact("Method", "aluminium powder, black gelatin lifter"),
            fact("Lifted by", "N. Brandt"),
            fact("When", "14 Mar 2026, 08:00 UTC"),
        ],
    }
}

fn step(words: &str, turns: Option<bool>) -> ViewStep {
    ViewStep {
        words: words.into(),
        turns,
    }
}

#[derive(Template)]
#[template(
    ext = "html",
    source = r##"{% extends "base.html" %}{% block title %}Item 3{% endblock %}{% block main %}
<h1>Item 3: lift from the cabin door</h1>
{{ refusal|safe }}
{{ desk|safe }}
<h2>Card</h2><div class="pair"><div>{{ card|safe }}</div><div>{{ facts|safe }}<h3>How the picture came about</h3>{{ steps|safe }}<p>Set time <span class="timer" data-seconds="360"></span></p></div></div>
<h2>Thread</h2>{{ thread|safe }}
<table class="stack"><caption>Custody</caption><thead><tr><th>Row</th><th>When</th><th>What</th></tr></thead><tbody>
{% for k in knots %}<tr id="row-{{ k.row }}"><td data-label="Row">{{ k.row }}</td><td data-label="When">{{ k.at.format("%-d %b %Y, %H:%M UTC").to_string() }}</td><td data-label="What">{{ k.label }}</td></tr>{% endfor %}
</tbody></table>
<h2>Receive</h2><form method="post" action="/x">{% let input = field.clone() %}{% include "parts/input.html" %}{{ signing|safe }}</form>
{% endblock %}"##
)]
struct Sample {
    frame: Frame,
    refusal: RefusalBlock,
    desk: DeskBlock,
    card: String,
    facts: FactsBlock,
    steps: String,
    thread: String,
    knots: Vec<Knot>,
    field: Input,
    signing: SigningBlock,
}

fn sample(theme: Theme) -> String {
    let fact = |a: &str, b: &str| (a.to_owned(), b.to_owned());
    let line = |n: u32, attention| DeskLine {
        what: Link::new(
            format!("/items/{n}"),
            format!("Item {n}: lift from the cabin door"),
        ),
        place: "offered by N. Brandt".into(),
        why: "since 14 Mar 2026, 16:20 UTC (3 h 12 min)".into(),
        badge: Some(("reads reversed".into(), attention)),
        act: Link::new("/hand-overs/1", "Receive"),
    };
    let thread = sample_thread();
    Sample {
        frame: Frame {
            me: Some(Me {
                name: "T. Amsel".into(),
                roles: "custodian".into(),
                desks: vec![
                    Link::new("/intake", "Intake desk"),
                    Link::new("/court", "Court desk"),
                ],
                finds: true,
            }),
            crumbs: vec![
                Link::new("/intake", "Intake"),
                Link::new("/cases/1", "Case 2026-0117"),
                Link::new("/items/3", "Item 3"),
            ],
            csrf: "\"><script>".into(),
            theme,
            notice: Some(Notice {
                kind: NoticeKind::Done,
                text: "Received from N. Brandt, seal 004217 intact.".into(),
                next: Some("put on a shelf that is dry and not frozen.".into()),
            }),
            path: "/items/3".into(),
        },
        refusal: RefusalBlock {
            code: "seal-differs".into(),
            rule: "the seal has to have the number on the record".into(),
            thing: "Box P7 carries seal 004260; the record says 004217".into(),
            next: "Compare the seal once more, or receive it as broken with a reason".into(),
            lines: Vec::new(),
        },
        desk: DeskBlock {
            now: vec![line(3, true), line(4, false)],
            soon: vec![line(5, false)],
            later: vec![],
        },
        card: card::draw(&sample_card()),
        facts: FactsBlock {
            facts: vec![
                fact("Holder", "T. Amsel"),
                fact("Seal", "004217, intact"),
                fact("Code", "I4K7 9Q2M XW3A"),
            ],
        },
        steps: steps::draw(&[
            step("lifted with a black gelatin lifter", Some(true)),
            step("photographed on the gel face", Some(false)),
        ]),
        thread: thread::draw(&thread, &LayoutOptions::default(), "item"),
        knots: thread.knots,
        field: Input {
            offers: Vec::new(),
            error: Some("the record says 004217".into()),
            ..Input::line("seal", "Number on the seal")
                .hint("As printed, with leading zeros")
                .value("004260")
        },
        signing: SigningBlock {
            facts: vec![fact("Item", "3"), fact("From", "N. Brandt")],
            sentence: "I received this item, seal intact.".into(),
            act: "Sign and receive".into(),
            own: true,
            error: None,
            second: None,
            second_error: None,
        },
    }
    .render()
    .unwrap()
}

#[test]
fn a_page_has_nothing_inline_and_nothing_from_elsewhere() {
    let page = sample(Theme::Day);
    assert!(!page.contains(" style="));
    assert!(!page.contains("<style"));
    for script in page.split("<script").skip(1) {
        assert!(script.starts_with(" src=\"/"), "{}", &script[..40]);
    }
    for handler in [" onclick", " onload", " onerror", "javascript:"] {
        assert!(!page.contains(handler));
    }
    for from in [&page, STYLE, SCRIPT] {
        assert!(!from.contains("http:") && !from.contains("https:") && !from.contains("@import"));
    }
    assert!(POLICY.contains("default-src 'self'") && !POLICY.contains("unsafe"));
}

#[test]
fn what_people_typed_is_escaped_everywhere() {
    let page = sample(Theme::Day);
    assert!(!page.contains("<lift>"));
    assert!(page.contains("&lt;lift&gt;"));
    assert!(page.contains("the &quot;cabin&quot; door"));
    // A token can't break out of its field either.
    assert!(!page.contains("value=\"\"><script>"));
}

#[test]
fn every_knot_leads_to_a_row() {
    let page = sample(Theme::Day);
    for row in 1..=9 {
        assert_eq!(
            page.matches(&format!("href=\"#row-{row}\"")).count(),
            2,
            "{row}"
        );
        assert_eq!(
            page.matches(&format!("id=\"row-{row}\"")).count(),
            1,
            "{row}"
        );
    }
    assert!(page.contains("3 h 12 min not accounted for"));
    assert!(page.contains("folded: 79 days"));
}

/// Texts of an SVG: the middle (or start), the baseline and the words.
fn texts(svg: &str) -> Vec<(f64, f64, String)> {
    svg.split("<text ")
        .skip(1)
        .map(|s| {
            let number = |name: &str| -> f64 {
                let from = s.find(&format!(" {name}=\"")).unwrap() + name.len() + 3;
                s[from..].split('"').next().unwrap().parse().unwrap()
            };
            let words = s.split('>').nth(1).unwrap().split('<').next().unwrap();
            (number("x"), number("y"), words.to_owned())
        })
        .collect()
}

#[test]
fn no_text_of_the_thread_lies_upon_another() {
    let both = thread::draw(&sample_thread(), &LayoutOptions::default(), "x");
    let (across, down) = both.split_at(both.find("<svg class=\"down\"").unwrap());
    let across = texts(across);
    assert!(across.len() > 15);
    for (i, a) in across.iter().enumerate() {
        for b in &across[i + 1..] {
            let apart = (a.0 - b.0).abs() >= (a.2.len() + b.2.len()) as f64 * 3.4;
            assert!(apart || (a.1 - b.1).abs() >= 14.0, "{a:?} {b:?}");
        }
    }
    let mut down: Vec<f64> = texts(down).iter().map(|t| t.1).collect();
    down.sort_by(f64::total_cmp);
    assert!(down.windows(2).all(|w| w[1] - w[0] >= 17.9));
}

#[test]
fn a_reversed_picture_is_turned_and_says_so() {
    let turned = card::draw(&sample_card());
    assert!(turned.contains("transform=\"matrix(-1 0 0 1"));
    assert!(turned.contains("Reads reversed."));
    for (reversed, words) in [
        (Some(false), "reads as on the surface"),
        (None, "Not known which way round"),
    ] {
        let mut card = sample_card();
        card.picture.as_mut().unwrap().reversed = reversed;
        let drawn = card::draw(&card);
        assert!(!drawn.contains("transform="));
        assert!(drawn.contains(words));
    }
}

#[test]
fn a_card_keeps_its_proportion_and_shows_the_picture_at_its_size() {
    let drawn = card::draw(&sample_card());
    assert!(drawn.contains("viewBox=\"0 0 1270 760\""));
    // 20 mm wide on a card that is drawn with ten units a millimetre.
    assert!(drawn.contains("width=\"200.0\" height=\"290.0\""));
}

#[test]
fn steps_count_turns_and_one_unknown_makes_all_unknown() {
    let (turn, stay, unknown) = (
        step("a", Some(true)),
        step("b", Some(false)),
        step("c", None),
    );
    assert_eq!(reversed(&[]), Some(false));
    assert_eq!(reversed(&[turn.clone(), stay.clone()]), Some(true));
    assert_eq!(reversed(&[turn.clone(), stay, turn.clone()]), Some(false));
    assert_eq!(reversed(&[turn, unknown]), None);
}

/// Relative luminance and contrast ratio as WCAG 2.2 defines them (from memory).
fn contrast(a: &str, b: &str) -> f64 {
    let luminance = |hex: &str| {
        let hex: String = match hex.len() {
            4 => hex[1..].chars().flat_map(|c| [c, c]).collect(),
            _ => hex[1..].to_owned(),
        };
        let channel = |i: usize| {
            let v = f64::from(u8::from_str_radix(&hex[i..i + 2], 16).unwrap()) / 255.0;
            if v <= 0.040_45 {
                v / 12.92
            } else {
                ((v + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * channel(0) + 0.7152 * channel(2) + 0.0722 * channel(4)
    };
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn text_stands_out_in_both_themes() {
    // White on black is 21:1 by definition.
    assert!((contrast("#fff", "#000") - 21.0).abs() < 0.01);
    let theme = |marker: &str| -> Box<dyn Fn(&str) -> String> {
        let block = STYLE
            .split(marker)
            .nth(1)
            .unwrap()
            .split('}')
            .next()
            .unwrap()
            .to_owned();
        Box::new(move |name: &str| {
            let from = block.find(&format!("--{name}: ")).unwrap() + name.len() + 4;
            block[from..].split(';').next().unwrap().to_owned()
        })
    };
    let day = theme(":root {");
    let dark = theme("[data-theme=\"dark\"] {");
    for (of, pairs) in [
        (
            &day,
            &[
                ("ink", "ground"),
                ("ink", "card"),
                ("faint", "ground"),
                ("faint", "card"),
                ("thread", "ground"),
                ("on-thread", "thread"),
                ("look", "look-ground"),
                ("break", "break-ground"),
                ("break", "ground"),
            ][..],
        ),
        // The faint red of the dark room carries no small print: those take full ink there.
        (
            &dark,
            &[
                ("ink", "ground"),
                ("ink", "card"),
                ("thread", "card"),
                ("on-thread", "thread"),
                ("look", "look-ground"),
                ("break", "break-ground"),
            ][..],
        ),
    ] {
        for (front, behind) in pairs {
            let ratio = contrast(&of(front), &of(behind));
            assert!(ratio >= 4.5, "{front} on {behind}: {ratio:.2}");
        }
    }
}

#[test]
fn the_sample_is_left_for_the_eye() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("look");
    fs::create_dir_all(&folder).unwrap();
    let mark = Picture {
        mirror: Mirror::Mark,
        ..Picture::ridges(11)
    };
    fs::write(folder.join("mark.png"), picture(&mark).unwrap()).unwrap();
    fs::write(folder.join("style.css"), STYLE).unwrap();
    fs::write(folder.join("script.js"), SCRIPT).unwrap();
    for theme in [Theme::Day, Theme::Dark] {
        let page = sample(theme)
            .replace("\"/style.css", "\"style.css")
            .replace("\"/script.js", "\"script.js");
        assert!(page.contains(&format!("data-theme=\"{}\"", theme.as_str())));
        fs::write(folder.join(format!("{}.html", theme.as_str())), page).unwrap();
    }
}
