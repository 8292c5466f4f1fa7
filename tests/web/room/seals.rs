//! Seals in stock, by their pages: delivered, issued, used on a package, written off.

use liftledger::custody::hand_over::Condition;
use liftledger::custody::package::{Open, Pack, Seal};
use liftledger::ids::PackageId;

use super::*;

#[test]
fn the_page_of_a_place_says_which_issued_seals_were_used_and_which_nobody_accounts_for() {
    on(async {
        let person = helper_named("keeps-seals").await;
        let cupboard = shelf(person, "Seal cupboard", None).await;
        let (case, marks) = marks(person, "HR-26-0779", 1).await;
        let item = lift(person, marks[0]).await;
        let nour = signed_in("nour").await;
        let (place, to) = (cupboard.to_string(), person.to_string());
        let nours = world().demo.people["nour"].id.to_string();
        let span = |first, last| [("place", place.as_str()), ("first", first), ("last", last)];
        nour.done("seals-deliver", &span("zk-0001", "zk-0100"))
            .await;
        assert_eq!(
            nour.refused("seals-deliver", &span("ZK-0100", "ZK-0120"))
                .await,
            "already-in-use"
        );
        // The form of issuing begins with the next number that nobody has.
        let form = nour
            .get(&format!("/do/seals-issue?place={place}"))
            .await
            .html;
        assert!(form.contains("value=\"ZK-0001\""), "{form}");
        let issue = |first, last, to| [span(first, last).to_vec(), vec![("to", to)]].concat();
        nour.done("seals-issue", &issue("ZK-0001", "ZK-0010", &to))
            .await;
        nour.done("seals-issue", &issue("ZK-0011", "ZK-0020", &nours))
            .await;
        // Seal 3 goes onto a package; 1 is spoiled, and of 2 nobody says anything.
        let package = PackageId(
            record(
                person,
                Act::Pack(Pack {
                    case,
                    container: "envelope-paper".into(),
                    stock: None,
                    inner_mm: None,
                    contents: vec![Piece::Item(item)],
                    note: String::new(),
                }),
            )
            .await,
        );
        let seal = Seal {
            package,
            number: "ZK-0003".into(),
            initialled: true,
        };
        record(person, Act::Seal(seal)).await;
        let torn = [
            span("ZK-0001", "ZK-0001").to_vec(),
            vec![("reason", "torn")],
        ]
        .concat();
        nour.done("seals-spoil", &torn).await;
        let used = [
            span("ZK-0003", "ZK-0003").to_vec(),
            vec![("reason", "torn")],
        ]
        .concat();
        assert_eq!(nour.refused("seals-spoil", &used).await, "already-in-use");

        let page = nour.get(&format!("/places/{place}")).await.html;
        for says in [
            "<h3>ZK-0001 to ZK-0100</h3>",
            "100 delivered; 80 not issued, the next is <b>ZK-0021</b>.",
            "<td data-label=\"Used\">1</td><td data-label=\"Left\">7</td><td data-label=\"Next unused\">ZK-0004</td><td data-label=\"Written off\">1</td><td data-label=\"Unaccounted for\"><b>1</b>: ZK-0002</td>",
            "<td data-label=\"Used\">0</td><td data-label=\"Left\">10</td><td data-label=\"Next unused\">ZK-0011</td>",
            "Written off: ZK-0001 (torn).",
        ] {
            assert!(page.contains(says), "{says}: {page}");
        }
        assert!(!page.contains("on a package nevertheless"), "{page}");
        // A seal that was written off stands on a package: it is not refused, for it is there, and it is told.
        let opened = Open {
            package,
            seal_seen: "ZK-0003".into(),
            condition: Condition::Intact,
            reason: "to be sealed anew".into(),
            note: String::new(),
        };
        record(person, Act::Open(opened)).await;
        let seal = Seal {
            package,
            number: "ZK-0001".into(),
            initialled: true,
        };
        record(person, Act::Seal(seal)).await;
        let page = nour.get(&format!("/places/{place}")).await.html;
        assert!(
            page.contains("on a package nevertheless: <b>ZK-0001</b>."),
            "{page}"
        );
        // Whoever seals is told the next one that they were issued.
        let form = nour.get(&format!("/do/seal?package={package}")).await.html;
        assert!(form.contains("you were issued is ZK-0011"), "{form}");
    });
}
