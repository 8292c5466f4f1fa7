//! The knowledge of the trade where the step is taken: cautions, set time, card and film on the forms, and the rules in
//! force as pages. All tests of this file share one demo.

use std::sync::OnceLock;

use axum::http::StatusCode;
use liftledger::people::Role;
use liftledger::trade::Kind;

use super::browser::{Answer, Browser};
use super::world::{World, runtime};

fn world() -> &'static World {
    static WORLD: OnceLock<World> = OnceLock::new();
    WORLD.get_or_init(|| World::load("knowledge-demo"))
}

/// What the template writes as entities, read back.
fn plain(answer: &Answer) -> String {
    answer
        .html
        .replace("&#39;", "'")
        .replace("&#38;", "&")
        .replace("&#60;", "<")
        .replace("&#62;", ">")
        .replace("&#34;", "\"")
}

async fn technician() -> Browser {
    let mut people = world().demo.people.iter();
    let (user_name, _) = people
        .find(|(_, p)| p.roles.contains(&Role::Technician))
        .unwrap();
    Browser::of(world(), user_name).await
}

async fn get(browser: &Browser, path: &str) -> (StatusCode, String) {
    let answer = browser.get(path).await;
    (answer.status, plain(&answer))
}

#[test]
fn cautions_of_every_method_and_medium_stand_on_their_forms() {
    let _ = world();
    runtime().block_on(async {
        let browser = technician().await;
        let rules = &world().house.rules;
        let mark = world().demo.marks["hatch"];
        let mut seen = 0;
        let forms = rules
            .methods()
            .iter()
            .map(|m| {
                (
                    format!("/do/develop-mark?mark={mark}&method={}", m.id),
                    &m.cautions,
                )
            })
            .chain(rules.media().iter().map(|m| {
                (
                    format!("/do/recover?mark={mark}&medium={}", m.id),
                    &m.cautions,
                )
            }));
        for (path, cautions) in forms {
            let (status, html) = get(&browser, &path).await;
            assert_eq!(status, StatusCode::OK, "{path}");
            for caution in rules.cautions_of(cautions) {
                assert!(html.contains(&caution.shown()), "{path}: {}", caution.id);
                seen += 1;
            }
        }
        assert!(seen > 80, "{seen}");
        // Before a choice is made, one caution stands for all and defers to what knows better.
        for path in [
            format!("/do/develop-mark?mark={mark}"),
            format!("/do/recover?mark={mark}"),
        ] {
            let (_, html) = get(&browser, &path).await;
            assert!(
                html.contains("Caution.") && html.contains("safety data sheet"),
                "{path}"
            );
        }
    });
}

#[test]
fn a_look_shows_what_follows_and_records_nothing() {
    let _ = world();
    runtime().block_on(async {
        let browser = technician().await;
        let mark = world().demo.marks["hatch"].to_string();
        let path = "/do/recover";
        let empty = browser.get(&format!("{path}?mark={mark}")).await;
        let (csrf, id) = (empty.hidden("csrf"), empty.hidden("id"));
        let size = || async {
            world()
                .house
                .reader(&liftledger::app::Viewer::operator())
                .mark(world().demo.marks["hatch"])
                .await
                .unwrap()
                .items
                .len()
        };
        let before = size().await;
        let look = async |more: &[(&str, &str)]| {
            let mut fields = vec![
                ("csrf", csrf.as_str()),
                ("id", id.as_str()),
                ("sent", "1"),
                ("look", "1"),
                ("mark", mark.as_str()),
                ("lot", "B 77"),
            ];
            fields.extend(more);
            browser.post(path, &fields).await
        };
        let putty = [
            ("medium", "silicone-putty"),
            ("thickness", "4.5"),
            ("mark_mm", "60 x 25"),
            ("air_c", "18"),
        ];
        let answer = look(&putty).await;
        assert_eq!(answer.status, StatusCode::OK);
        let html = plain(&answer);
        for said in [
            "Not before 7 min 30 s (our assumption)",
            "Between 3 and 6 mm a straight line is drawn: our assumption",
            "Uncured casting material may irritate skin",
            "It will read MIRRORED",
            "About 8.5 ml: 6.8 ml for the cast",
            "value=\"B 77\"",
            "value=\"4.5\"",
        ] {
            assert!(html.contains(said), "{said}\n{html}");
        }
        let film = [
            ("medium", "film-forming-liquid"),
            ("mark_mm", "22 x 18"),
            ("card", "black"),
        ];
        let html = plain(&look(&film).await);
        assert!(html.contains("at least 28.4 by 24.4 mm"), "{html}");
        // Another way of looking, another reading.
        let face = [
            ("medium", "clear-pvs"),
            ("how_viewed", "contact-face"),
            ("air_c", "-5"),
        ];
        let html = plain(&look(&face).await);
        assert!(
            html.contains("It will read MIRRORED")
                && html.contains("At -5 °C the set time is not known"),
            "{html}"
        );
        assert_eq!(size().await, before);
        // What is no thickness is refused, and what was typed stays.
        let bad = [
            ("csrf", csrf.as_str()),
            ("id", id.as_str()),
            ("sent", "1"),
            ("mark", mark.as_str()),
            ("medium", "silicone-putty"),
            ("started_at", "2026-03-14T21:10"),
            ("description", "cast"),
            ("thickness", "a bit"),
        ];
        let answer = browser.post(path, &bad).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
        let html = plain(&answer);
        assert!(
            html.contains("The thickness is not understood") && html.contains("value=\"a bit\""),
            "{html}"
        );
    });
}

#[test]
fn the_rules_in_force_are_pages() {
    let _ = world();
    runtime().block_on(async {
        let browser = technician().await;
        let rules = &world().house.rules;
        let (status, html) = get(&browser, "/rules").await;
        assert_eq!(status, StatusCode::OK);
        assert!(html.contains(rules.version()), "{html}");
        for kind in Kind::ALL {
            let path = format!("/rules/{}", kind.word());
            assert!(html.contains(&path), "{path}");
            let (status, page) = get(&browser, &path).await;
            assert_eq!(status, StatusCode::OK, "{path}");
            for row in rules.shelf(*kind).rows {
                assert!(
                    page.contains(&row.id) && page.contains(&row.source),
                    "{path}: {}",
                    row.id
                );
            }
            // The same by program.
            let (status, json) = get(&browser, &format!("/api{path}")).await;
            assert_eq!(status, StatusCode::OK, "/api{path}");
            let json: serde_json::Value = serde_json::from_str(&json).unwrap();
            assert_eq!(
                json["rows"].as_array().unwrap().len(),
                rules.shelf(*kind).rows.len()
            );
        }
        assert_eq!(get(&browser, "/rules/tape").await.0, StatusCode::NOT_FOUND);
        assert_eq!(
            get(&browser, "/api/rules/tape").await.0,
            StatusCode::NOT_FOUND
        );
    });
}

#[test]
fn programs_ask_for_measures() {
    let _ = world();
    runtime().block_on(async {
        let browser = technician().await;
        let ask = async |path: &str| {
            let (status, body) = get(&browser, path).await;
            (
                status,
                serde_json::from_str::<serde_json::Value>(&body).unwrap(),
            )
        };
        let (_, film) =
            ask("/api/measure/film?medium=film-forming-liquid&length_mm=22&width_mm=18").await;
        assert_eq!(
            (film["length_tenths"].as_u64(), film["drops"].as_u64()),
            (Some(284), Some(2))
        );
        let (_, cast) = ask(
            "/api/measure/cast?length_mm=60&width_mm=25&thickness_mm=4&base_mm=8&hardener_mm=4",
        )
        .await;
        assert_eq!(
            (
                cast["with_allowance_mm3"].as_u64(),
                cast["strips_mm"].as_u64()
            ),
            (Some(7500), Some(120))
        );
        let (_, set) = ask("/api/measure/set?medium=clear-pvs&air_c=20").await;
        assert_eq!(set["window"]["earliest"]["seconds"], 150);
        assert_eq!(set["window"]["earliest"]["assumed"], true);
        let (_, none) = ask("/api/measure/set?medium=lifting-tape").await;
        assert!(none["window"].is_null());
        let (_, reading) = ask("/api/handedness?step=contact-face&step=cast&step=flip").await;
        assert_eq!(
            (reading["lateral"].as_str(), reading["relief"].as_str()),
            (Some("direct"), Some("inverted"))
        );
        let (_, reading) = ask("/api/handedness?step=sideways").await;
        assert_eq!(reading["lateral"], "unknown");
        for bad in [
            "/api/measure/film?medium=clear-pvs&length_mm=22&width_mm=18",
            "/api/measure/film?medium=film-forming-liquid&length_mm=22.25&width_mm=18",
            "/api/measure/cast?length_mm=60&width_mm=25",
            "/api/measure/cast?length_mm=60&width_mm=25&thickness_mm=4&base_mm=8",
            "/api/measure/set?medium=no-such",
            "/api/measure/set?medium=clear-pvs&air_c=warm",
            "/api/measure/set?medium=clear-pvs&air_c=99",
            "/api/measure/set?medium=clear-pvs&thickness=a+bit",
        ] {
            let (status, problem) = ask(bad).await;
            assert_eq!(status, StatusCode::BAD_REQUEST, "{bad}");
            assert_eq!(problem["code"], "cannot-be-read", "{bad}");
        }
        let many: Vec<&str> = vec!["step=flip"; 21];
        assert_eq!(
            ask(&format!("/api/handedness?{}", many.join("&"))).await.0,
            StatusCode::BAD_REQUEST
        );
    });
}
