//! A release in one window shows on the desk and at the counter in another, and nobody loses the focus or what they type.

use std::time::Duration;

use liftledger::ids::Subject;

use super::driver::{Browser, Size};
use super::looks::{look, quiet};
use crate::load::{SECRET, Yard, release, withdraw};
use crate::served::{Answer, Notes, Server, Visit};

/// The release form, filled in and signed.
fn hand_over(b: &Browser, yard: &Yard, pair: usize) {
    let pair = &yard.pairs[pair];
    let to = Subject::Person(yard.pairs[0].people[1].0).to_string();
    b.go(&format!("/do/release?piece={}", pair.piece));
    b.fill("to", to.strip_prefix("person:").unwrap());
    b.fill("purpose", "intake");
    b.sign("release", SECRET);
}

fn live(b: &Browser, state: &str) {
    b.must(&format!("[data-live][data-live-state='{state}']"));
}

#[test]
fn a_release_in_one_window_shows_in_the_other() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("ledger");
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let yard = runtime.block_on(Yard::begin(&data));
    let server = Server::start("serve", &data);
    let piece = yard.pairs[0].piece;
    let offered = format!("main a[href*='/do/receive?piece={piece}']");

    let desk = Browser::start(&server.address, Size::Desk, true);
    desk.sign_in("cust0", SECRET);
    desk.go("/desk/storeroom");
    live(&desk, "stream");
    assert!(desk.find(&offered).is_none());
    // The focus is on something that is drawn anew, and comes back to it.
    desk.run("document.querySelector(\"[data-live] a[href='/places']\").focus()");
    let tech = Browser::start(&server.address, Size::Phone, true);
    tech.sign_in("tech0", SECRET);
    hand_over(&tech, &yard, 0);
    desk.must(&offered);
    desk.shows("1 line more.");
    let focus = "return document.activeElement.getAttribute('href') ?? document.activeElement.id";
    assert_eq!(desk.run(focus), "/places");
    look(&desk, "live-desk");

    // What is half typed stays, with the cursor in it.
    let find = desk.must("#find");
    desk.type_into(&find, "HC-26");
    let visit = |user: &str| {
        let page = format!("/do/receive?piece={piece}");
        Visit::begin(&server.address, user, SECRET, &page)
    };
    let sender = visit("tech0");
    let done = |sheet| {
        let answer = sender.send(&server.address, &sheet);
        assert!(matches!(answer, Answer::Done(_)), "{answer:?}");
    };
    done(withdraw(piece));
    desk.shows("1 line gone.");
    assert_eq!(desk.property(&find, "value"), "HC-26");
    assert_eq!(desk.run(focus), "find");

    // Held still, nothing moves until it is let go.
    desk.press(".live-bar button");
    live(&desk, "held");
    done(release(piece, yard.pairs[0].people[1].0));
    std::thread::sleep(Duration::from_secs(4));
    assert!(desk.find(&offered).is_none());
    desk.press(".live-bar button");
    desk.must(&offered);
    quiet(&desk);

    // At the counter: a line comes while another one is being filled in.
    desk.go("/intake");
    live(&desk, "stream");
    assert_eq!(desk.all("[data-intake-lines] tr").len(), 1);
    desk.type_into(&desk.must("[data-intake-lines] [name=seal]"), "HC-7");
    let second = Browser::start(&server.address, Size::Phone, true);
    second.sign_in("tech1", SECRET);
    hand_over(&second, &yard, 1);
    desk.must("[data-intake-lines] tr:nth-child(2)");
    desk.shows("1 more on the way to you.");
    let seal = desk.must("[data-intake-lines] tr:first-child [name=seal]");
    assert_eq!(desk.property(&seal, "value"), "HC-7");
    let at = "return document.activeElement.name";
    assert_eq!(desk.run(at), "seal");
    // Taken back while its line is being filled in: the line stays and says so; the other one goes.
    done(withdraw(piece));
    desk.shows("is no longer on its way to you");
    assert_eq!(desk.property(&seal, "value"), "HC-7");
    assert_eq!(desk.all("[data-intake-lines] tr").len(), 2);
    look(&desk, "live-counter");
    quiet(&desk);

    // No stream is to be had: the desk asks every few seconds instead.
    let custodian = visit("cust0");
    desk.go("/account");
    std::thread::sleep(Duration::from_millis(500));
    let _all: Vec<Notes> = (0..liftledger::web::live::OF_ONE)
        .map(|_| Notes::open(&server.address, &custodian.cookie, "storeroom"))
        .collect();
    desk.go("/desk/storeroom");
    live(&desk, "poll");
    assert!(desk.find(&offered).is_none());
    done(release(piece, yard.pairs[0].people[1].0));
    desk.must(&offered);
}
