//! A court liaison answers every finding of the demo's case, first on a phone, then at a desk, until it is ready for court.

use std::process::Command;

use super::Demo;
use super::driver::{Browser, Size};
use super::looks::{look, quiet};

const LEFT: &str = "section[aria-labelledby=left] a[href*='answer-finding']";

/// The address of the demo's case with flaws.
fn case(b: &Browser) -> String {
    b.go("/cases");
    let script = format!(
        "return [...document.querySelectorAll(\"main a[href^='/cases/']\")].filter((a) => a.textContent.includes('{}'))[0].getAttribute('href');",
        liftledger::app::demo::FLAWED_CASE
    );
    b.run(&script).as_str().unwrap().to_owned()
}

/// Answers at most so many of what is left; how many were.
fn answer(b: &Browser, case: &str, called: &str, most: usize) -> usize {
    let mut done = 0;
    b.go(&format!("{case}/ready"));
    while done < most {
        let Some(link) = b.find(LEFT) else { break };
        let left = b.all(LEFT).len();
        let form = b.attribute(&link, "href");
        b.go(&form);
        b.shows("What would answer it");
        b.fill(
            "text",
            "Asked of everybody who was there; their statements are with the file, volume 2, sheet 14.",
        );
        if done == 0 {
            look(b, &format!("{called}-form"));
        }
        b.send("answer-finding");
        assert!(
            b.path().starts_with(&format!("{case}/ready")),
            "{}",
            b.path()
        );
        assert_eq!(b.all(LEFT).len(), left - 1);
        done += 1;
    }
    look(b, &format!("{called}-left"));
    done
}

fn ready(demo: &Demo) -> (bool, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_liftledger"))
        .args([
            "case",
            "ready",
            liftledger::app::demo::FLAWED_CASE,
            "--data",
        ])
        .arg(demo.folder.path().join("demo"))
        .output()
        .unwrap();
    (out.status.success(), String::from_utf8(out.stdout).unwrap())
}

#[test]
fn every_finding_of_a_case_is_answered_until_it_is_ready() {
    let demo = Demo::begin();
    let all = liftledger::app::demo::PLANTED.len();
    let (is_ready, said) = ready(&demo);
    assert!(
        !is_ready && said.contains("No: 8 of 8 findings have no answer."),
        "{said}"
    );

    let phone = Browser::start(&demo.server.address, Size::Phone, true);
    phone.sign_in("eleni", &demo.passwords["eleni"]);
    let case = case(&phone);
    phone.go(&case);
    phone.shows("not ready for court");
    look(&phone, "answers-phone-case");
    assert_eq!(answer(&phone, &case, "answers-phone", 3), 3);
    phone.shows("No: 5 of 8 findings have no answer.");
    quiet(&phone);

    // Who carries evidence from hand to hand reads the findings, and answers none.
    let nour = Browser::start(&demo.server.address, Size::Desk, true);
    nour.sign_in("nour", &demo.passwords["nour"]);
    nour.go(&format!("{case}/ready"));
    nour.shows("What is left");
    assert!(nour.find("main a[href*='answer-finding']").is_none());
    quiet(&nour);

    let desk = Browser::start(&demo.server.address, Size::Desk, true);
    desk.sign_in("eleni", &demo.passwords["eleni"]);
    assert_eq!(answer(&desk, &case, "answers-desk", 100), all - 3);
    desk.shows("Yes: 8 findings are there, and each has an answer.");
    desk.go(&case);
    desk.shows("ready for court");
    desk.shows("all answered");
    look(&desk, "answers-desk-case");
    // The gravest comes first; on the page of its thing it stands with its answer, and can be answered again.
    let thing = desk.must("section[aria-labelledby=findings] li a[href^='/items/']");
    let thing = desk.attribute(&thing, "href");
    desk.go(&thing);
    desk.shows("Answer it again");
    desk.press("section[aria-labelledby=findings] a[href*='answer-finding']");
    desk.fill(
        "text",
        "The list of the roll was found: the number was written down wrongly.",
    );
    desk.fill("evidence", "187");
    desk.send("answer-finding");
    desk.shows("The list of the roll was found");
    desk.shows("answered before in event");
    look(&desk, "answers-desk-item");
    quiet(&desk);
    phone.go(&thing);
    look(&phone, "answers-phone-item");
    let (is_ready, said) = ready(&demo);
    assert!(is_ready, "{said}");
}
