//! The room in pictures, how much a place takes, and a place for two people, by their pages.

use serde_json::Value;

use super::*;

/// Every address in a piece of HTML.
fn links(html: &str) -> Vec<String> {
    html.split("href=\"")
        .skip(1)
        .filter_map(|rest| rest.split_once('"'))
        .map(|(href, _)| href.replace("&amp;", "&").replace("&#38;", "&"))
        .filter(|href| href.starts_with('/'))
        .collect()
}

/// The number that a column of a figure says.
fn number(html: &str, figure: &str, column: usize) -> usize {
    let href = format!("<a class=\"tap\" href=\"/room/list?of={figure}&amp;column={column}\">");
    let href = href.replace(
        "&amp;",
        if html.contains(&href) {
            "&amp;"
        } else {
            "&#38;"
        },
    );
    let (_, rest) = html
        .split_once(&href)
        .unwrap_or_else(|| panic!("{href}: {html}"));
    let (_, rest) = rest.split_once("<td>").unwrap();
    rest.split_once('<').unwrap().0.trim().parse().unwrap()
}

#[test]
fn every_number_of_the_pictures_leads_to_its_list() {
    on(async {
        for user in ["nour", "milena"] {
            let browser = signed_in(user).await;
            let home = browser.get("/cases").await.html;
            assert!(home.contains("<a href=\"/room\">The room in pictures</a>"));
            let page = browser.get("/room").await;
            assert_eq!(page.status, StatusCode::OK, "{}", page.html);
            let html = page.html;
            assert!(!html.contains("style=") && !html.contains("<script>"));
            // Five pictures, each with a table of as many rows as it has bars.
            assert_eq!(html.matches("<svg class=\"bars\"").count(), 5);
            let bars = html.matches("<a class=\"bar-link\"").count();
            assert_eq!(html.matches("<th scope=\"row\">").count(), bars);
            for href in links(&html) {
                if href.starts_with("/room") || href.starts_with("/places/") {
                    let answer = browser.get(&href).await;
                    assert_eq!(answer.status, StatusCode::OK, "{href}");
                }
            }
            // A list has as many rows as its number says.
            for (figure, columns) in [
                ("to-shelf", 7),
                ("waiting", 7),
                ("overdue", 5),
                ("findings", 5),
            ] {
                for column in 1..=columns {
                    let list = browser
                        .get(&format!("/room/list?of={figure}&column={column}"))
                        .await
                        .html;
                    let rows = list.matches("<th scope=\"row\"").count();
                    assert_eq!(rows, number(&html, figure, column), "{figure} {column}");
                }
            }
            assert_eq!(number(&html, "overdue", 2), 1, "the cast is two days late");
        }
        let browser = signed_in("nour").await;
        let none = browser.get("/room/list?of=nothing").await;
        assert_eq!(none.status, StatusCode::NOT_FOUND);
        let json = browser.get("/api/room").await.json();
        let list = browser.get("/room/list?of=to-shelf").await.html;
        assert_eq!(
            json["to_shelf"]["count"],
            list.matches("<th scope=\"row\"").count()
        );
    });
}

#[test]
fn a_restricted_case_is_counted_for_those_who_may_see_it_and_its_words_stay_on_its_page() {
    on(async {
        let number = "HR-26-0433";
        let nour = signed_in("nour")
            .await
            .get("/room/list?of=to-shelf")
            .await
            .html;
        assert!(nour.contains(number));
        let eleni = signed_in("eleni")
            .await
            .get("/room/list?of=to-shelf")
            .await
            .html;
        assert!(!eleni.contains(number) && eleni.contains("HR-26-0417"));
    });
}

#[test]
fn a_place_for_two_people_asks_for_the_second_ones_password_on_the_same_form() {
    on(async {
        let w = world();
        let person = helper_named("keeps-two").await;
        let (_, marks) = marks(person, "HR-26-0702", 1).await;
        let item = lift(person, marks[0]).await;
        let (open, vault) = (
            shelf(person, "Two-1", None).await,
            shelf(person, "Two-2", None).await,
        );
        put(person, item, open).await;
        let place = vault.to_string();
        let (nour, milena) = (signed_in("nour").await, signed_in("milena").await);
        // The supervisor marks it and signs.
        let mark = [
            ("place", place.as_str()),
            ("reason", "sought after"),
            ("password", milena.password.as_str()),
        ];
        milena.done("mark-two-person", &mark).await;
        let takes = [("place", place.as_str()), ("capacity", "1")];
        nour.done("set-capacity", &takes).await;
        let page = nour.get(&format!("/places/{vault}")).await.html;
        assert!(page.contains("0 of 1") && page.contains("needed to store and to take out"));

        let piece = Piece::Item(item).to_string();
        let second = w.demo.people["milena"].id.to_string();
        let store = [
            ("piece", piece.as_str()),
            ("place", place.as_str()),
            ("unsealed_reason", "counted next"),
        ];
        assert_eq!(nour.refused("store", &store).await, "second-person-missing");
        let with = |password: &'static str| {
            let mut fields = store.to_vec();
            fields.push(("beside", second.as_str()));
            if !password.is_empty() {
                fields.push(("beside_password", password));
            }
            fields
        };
        // The step asks for the other one's password, and not for one's own.
        let step = nour.act("store", &with("")).await;
        assert_eq!(step.status, StatusCode::OK);
        assert!(step.html.contains("name=\"beside_password\""));
        assert!(!step.html.contains("name=\"password\""));
        let wrong = nour.act("store", &with("not their password")).await;
        assert_eq!(wrong.status, StatusCode::UNAUTHORIZED);
        assert!(wrong.html.contains("This is not their password."));
        assert!(!wrong.html.contains("not their password\""));
        // One's own does not do for the other.
        let mut own = with("");
        own.push(("beside_password", &nour.password));
        let own = nour.act("store", &own).await;
        assert_eq!(own.status, StatusCode::UNAUTHORIZED);
        let mut right = with("");
        right.push(("beside_password", &milena.password));
        let to = nour.done("store", &right).await;
        let page = nour.get(&to).await.html;
        assert!(page.contains("Second person: Милена Дражева"), "{page}");
        // Full now; and out again only by two.
        let page = nour.get(&format!("/places/{vault}")).await.html;
        assert!(page.contains("1 of 1"));
        let fetch = [("piece", piece.as_str()), ("purpose", "to look at it")];
        assert_eq!(nour.refused("fetch", &fetch).await, "second-person-missing");
        let form = nour.get(&format!("/do/fetch?piece={piece}")).await.html;
        assert!(form.contains("The second person"));

        // A program does the same in one call.
        let command = serde_json::json!({
            "command": {"act": {"do": "fetch", "piece": piece, "purpose": "to look at it"}},
            "second": {"person": second, "password": "wrong"},
        });
        let call = async |body: &Value| {
            let (path, kind) = ("/api/commands", "application/json");
            nour.call(path, kind, body.to_string()).await
        };
        assert_eq!(call(&command).await.status, StatusCode::UNAUTHORIZED);
        let mut right = command.clone();
        right["second"]["password"] = milena.password.as_str().into();
        let done = call(&right).await;
        assert_eq!(done.status, StatusCode::OK, "{}", done.html);
    });
}

#[test]
fn while_a_place_is_counted_blindly_no_page_says_how_many_stand_there() {
    on(async {
        let person = helper_named("keeps-blind").await;
        let (_, marks) = marks(person, "HR-26-0703", 1).await;
        let room = shelf(person, "Blind room", None).await;
        let place = shelf(person, "Blind shelf", Some(room)).await;
        put(person, lift(person, marks[0]).await, place).await;
        let nour = signed_in("nour").await;
        let of = format!("/room?of={room}");
        assert!(nour.get(&of).await.html.contains("1 thing"));
        let id = place.to_string();
        nour.done("begin-count", &[("place", id.as_str())]).await;
        // Neither the place nor what sums it up.
        for path in [of.clone(), format!("/places/{place}")] {
            let html = nour.get(&path).await.html;
            assert!(!html.contains("1 thing"), "{path}");
            assert!(html.contains("being counted"), "{path}");
        }
        let json = nour.get("/api/places").await.json();
        let rows = json["rows"].as_array().unwrap();
        for row in rows {
            let hidden = [place.to_string(), room.to_string()];
            if hidden.iter().any(|id| row["id"] == id.as_str()) {
                assert!(row.get("standing").is_none() && row.get("fill").is_none());
            }
        }
        // Whoever does not count may know.
        let milena = signed_in("milena").await;
        assert!(milena.get(&of).await.html.contains("1 thing"));
    });
}
