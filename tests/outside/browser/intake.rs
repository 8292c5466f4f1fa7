//! Sixty packages at the intake counter, six of them wrong in different ways, by a scanner that types.

use std::collections::BTreeSet;
use std::path::Path;

use liftledger::app::Viewer;
use liftledger::app::house::House;
use liftledger::custody::hand_over::{Receive, Release};
use liftledger::custody::mark::MarkKind;
use liftledger::custody::package::{Pack, Seal};
use liftledger::custody::state::Holder;
use liftledger::custody::{Act, person};
use liftledger::ids::{Code, PackageId, PersonId, Piece, Subject};
use liftledger::people::Role;

use super::driver::{Browser, ENTER, Size};
use super::looks::{look, quiet};
use crate::boatyard::{Boatyard, act, noted, recovery};
use crate::photo::{Dice, Photo, drawn, plain, png};
use crate::served::Server;
use liftledger::imaging::raster::Raster;

pub(super) const SECRET: &str = "slipway lantern 42";
const RIGHT: usize = 54;

pub(super) struct Yard {
    packages: Vec<PackageId>,
    pub(super) custodian: PersonId,
}

fn seal(n: usize) -> String {
    format!("HC-8{n:03}")
}

fn code(package: PackageId) -> String {
    Code::of(Subject::Package(package)).unwrap().to_string()
}

async fn made(yard: &Boatyard, by: PersonId, what: Act) -> Subject {
    let recorded = act(&yard.house, Some(by), None, what).await.unwrap();
    recorded.created.unwrap()
}

/// Fifty-eight sealed packages on their way: one of them to somebody else, one received already.
pub(super) async fn begin(folder: &Path) -> Yard {
    let yard = Boatyard::begin(folder).await;
    let viewer = Viewer::operator();
    let scene = yard.house.reader(&viewer).case(yard.case).await.unwrap();
    let scene = scene.scenes[0].id;
    let add = Act::AddPerson(person::AddPerson {
        user_name: "dag".into(),
        name: "Dag Moen".into(),
        number: "C-008".into(),
        roles: [Role::Custodian].into(),
    });
    let Subject::Person(other) = made(&yard, yard.admin, add).await else {
        panic!("no person")
    };
    let mut packages = Vec::new();
    for n in 0..RIGHT + 4 {
        let note = Act::NoteMark(noted(yard.case, scene, MarkKind::Toolmark, 1));
        let Subject::Mark(mark) = made(&yard, yard.tech, note).await else {
            panic!("no mark")
        };
        let now = chrono::Utc::now().fixed_offset();
        let recover = Act::Recover(recovery(mark, "silicone-putty", now));
        let Subject::Item(item) = made(&yard, yard.tech, recover).await else {
            panic!("no item")
        };
        let pack = Act::Pack(Pack {
            case: yard.case,
            container: "box-rigid-small".into(),
            stock: None,
            inner_mm: None,
            contents: vec![Piece::Item(item)],
            note: String::new(),
        });
        let Subject::Package(package) = made(&yard, yard.tech, pack).await else {
            panic!("no package")
        };
        let number = seal(n);
        let tied = Act::Seal(Seal {
            package,
            number,
            initialled: true,
        });
        act(&yard.house, Some(yard.tech), None, tied).await.unwrap();
        let to = if n == RIGHT + 2 {
            other
        } else {
            yard.custodian
        };
        let piece = Piece::Package(package);
        let release = Act::Release(Release {
            piece,
            to,
            purpose: "to the storeroom".into(),
            authority: String::new(),
            due_at: None,
            unsealed_reason: None,
        });
        act(&yard.house, Some(yard.tech), None, release)
            .await
            .unwrap();
        if n == RIGHT + 1 {
            let receive = Act::Receive(Receive {
                piece,
                seal_seen: seal(n),
                condition: Default::default(),
                note: String::new(),
            });
            act(&yard.house, Some(to), None, receive).await.unwrap();
        }
        packages.push(package);
    }
    let cal = yard.house.person(yard.custodian).await.unwrap().unwrap();
    yard.house
        .set_password(&cal, SECRET, chrono::Utc::now())
        .await
        .unwrap();
    let custodian = yard.custodian;
    yard.house.close().await;
    Yard {
        packages,
        custodian,
    }
}

/// The line of a code, and what of it has the focus.
fn focus(b: &Browser) -> (String, String) {
    let at = b.run(
        "const e = document.activeElement; const row = e.closest('tr');
         return {field: e.name || '', code: row ? row.dataset.code : ''};",
    );
    let text = |name: &str| at[name].as_str().unwrap().to_owned();
    (text("field"), text("code"))
}

fn set(b: &Browser, code: &str, what: &str) {
    b.press(&format!(
        "tr[data-code='{code}'] select[name=what] option[value='{what}']"
    ));
}

/// At the counter, from the storeroom's desk: fifty-four taken in, one refused, five found to be wrong. `whole_day` tells it.
pub(super) fn sixty(b: &Browser, yard: &Yard) {
    b.go("/desk/storeroom");
    b.press("main a[href='/intake']");
    b.must("[data-intake]");
    assert_eq!(b.all("[data-intake-lines] tr").len(), RIGHT + 2);

    // Wherever the focus is, also on nothing at all.
    b.run("document.activeElement.blur()");
    for n in 0..=RIGHT {
        let code = code(yard.packages[n]);
        // Printed in groups and scanned in one piece, or with what a keyboard makes of it.
        b.scan(&if n % 2 == 0 {
            code.clone()
        } else {
            code.to_lowercase()
        });
        assert_eq!(focus(b), ("seal".into(), code));
        // The last one is the first wrong one: another seal than the one on record.
        b.scan(&if n == RIGHT {
            "HC-9999".into()
        } else {
            seal(n)
        });
        assert_eq!(focus(b).0, "scan");
    }
    let here = b.text_of(&b.must("[data-intake-count]"));
    assert_eq!(here, format!("{} of {}", RIGHT + 1, RIGHT + 2));

    let sound = code(yard.packages[RIGHT + 3]);
    let (body, check) = sound.split_at(11);
    let misread = format!("{body}{}", if check == "A" { "B" } else { "A" });
    let received = code(yard.packages[RIGHT + 1]);
    let elsewhere = code(yard.packages[RIGHT + 2]);
    let unknown = code(PackageId::new());
    let foreign = "HX/77-120/B".to_owned();
    let others = [&received, &elsewhere, &unknown, &misread, &foreign];
    for text in others {
        b.scan(text);
        assert_eq!(focus(b), ("seal".into(), text.clone()));
        b.keys(&ENTER.to_string());
        assert_eq!(focus(b).0, "scan");
    }
    b.picture("intake-before");
    b.press("button[name=step][value=sign]");
    b.shows("6 of 60 lines cannot be recorded, so none was.");
    look(b, "intake-six-wrong");
    let named: BTreeSet<(String, String)> = b
        .all("[data-intake-lines] tr.wrong")
        .iter()
        .map(|row| {
            let code = b.attribute(row, "data-code");
            let rule = b.must(&format!("tr[data-code='{code}'] .error code"));
            (code, b.text_of(&rule))
        })
        .collect();
    let wrong_seal = code(yard.packages[RIGHT]);
    let expected = [
        (&wrong_seal, "seal-differs"),
        (&received, "no-open-offer"),
        (&elsewhere, "not-the-addressee"),
        (&unknown, "not-found"),
        (&misread, "label-misread"),
        (&foreign, "label-not-ours"),
    ];
    let expected = expected.map(|(code, rule)| (code.clone(), rule.to_owned()));
    assert_eq!(named, BTreeSet::from(expected));
    // What was typed is still there.
    for n in 0..RIGHT {
        let css = format!("tr[data-code='{}'] [name=seal]", code(yard.packages[n]));
        assert_eq!(b.property(&b.must(&css), "value"), seal(n));
    }

    for text in others {
        set(b, text, "");
    }
    b.scan(&wrong_seal);
    b.scan(&seal(RIGHT));
    let back = code(yard.packages[0]);
    set(b, &back, "refuse");
    let note = b.must(&format!("tr[data-code='{back}'] [name=note]"));
    b.type_into(&note, "its label hangs by a corner");
    b.press("button[name=step][value=sign]");
    b.shows("I received 54 and refused 1 of these things");
    look(b, "intake-sign");
    b.type_into(&b.must("#signing-password"), "not my password");
    b.press("fieldset.signing button");
    b.shows("This is not your password.");
    b.type_into(&b.must("#signing-password"), SECRET);
    b.press("fieldset.signing button");
    b.shows("54 received and 1 refused under one signing");
    // What is left: the one whose label could not be read.
    assert_eq!(b.all("[data-intake-lines] tr").len(), 1);
    look(b, "intake-done");
    quiet(b);
}

/// What the ledger says of it afterwards.
pub(super) async fn taken_in(house: &House, yard: &Yard) {
    let viewer = Viewer::operator();
    let reader = house.reader(&viewer);
    for n in 0..RIGHT + 4 {
        let mine = (1..=RIGHT + 1).contains(&n);
        let package = reader.package(yard.packages[n]).await.unwrap();
        let custodian = Holder::Person {
            person: yard.custodian,
        };
        assert_eq!(package.custody.holder == custodian, mine, "package {n}");
    }
}

#[test]
fn the_counter_goes_without_script_and_on_a_phone() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let runtime = tokio::runtime::Runtime::new().unwrap();
    let yard = runtime.block_on(begin(&data));
    let server = Server::start("serve", &data);
    let b = Browser::start(&server.address, Size::Desk, false);
    b.sign_in("cal", SECRET);
    b.go("/intake");
    for n in 0..2 {
        // The field has the focus, once the page is there; Enter presses the first button.
        b.must("#scan:focus");
        b.keys(&format!("{}{ENTER}", code(yard.packages[n])));
        b.shows("It is at the counter: read its seal.");
        b.must("[name=seal]:focus");
        b.keys(&seal(n));
        b.press("button[name=step][value=add]");
    }
    b.must("#scan:focus");
    b.fill("scan", "HX/77-120/B");
    b.press("button[name=step][value=add]");
    b.shows("another agency or a shop made this label");
    b.picture("intake-no-script");
    b.press("tr[data-code='HX/77-120/B'] select[name=what] option[value='']");
    b.press("button[name=step][value=check]");
    b.shows("All 2 lines can be signed.");
    b.press("button[name=step][value=sign]");
    b.type_into(&b.must("#signing-password"), SECRET);
    b.press("fieldset.signing button");
    b.shows("2 received and 0 refused under one signing");

    let phone = Browser::start(&server.address, Size::Phone, true);
    phone.sign_in("cal", SECRET);
    phone.go("/intake");
    look(&phone, "intake-phone");

    // A phone is the scanner: a photograph of a label, here with script, below without.
    let photo = folder.path().join("label.png");
    let file = photo.to_str().unwrap();
    let take = |b: &Browser, text: &str| {
        std::fs::write(&photo, png(&taken(text))).unwrap();
        b.press("details:not([open]) summary");
        b.type_into(&b.must("#photo"), file);
        b.press("button[formaction='/intake/photograph']");
    };
    let ours = code(yard.packages[4]);
    take(&phone, &ours);
    phone.shows("It is at the counter: read its seal.");
    assert_eq!(
        phone.property(
            &phone.must(&format!("tr[data-code='{ours}'] [name=what]")),
            "value"
        ),
        "receive"
    );
    look(&phone, "intake-photo-phone");
    b.go("/intake");
    take(&b, "HX/77-120/B");
    b.shows("another agency or a shop made this label");
    std::fs::write(&photo, png(&plain(640, 480, 170))).unwrap();
    b.press("details:not([open]) summary");
    b.type_into(&b.must("#photo"), file);
    b.press("button[formaction='/intake/photograph']");
    b.shows("No code was seen on the photograph.");
    b.shows("light from the side");
    look(&b, "intake-photo-none");
    b.go("/find");
    std::fs::write(&photo, png(&taken(&ours))).unwrap();
    b.type_into(&b.must("#photo"), file);
    look(&b, "find-photo");
    b.press("form[action='/find/photograph'] button");
    b.must(&format!(
        "a[href^='/do/receive?piece=package:{}'], h1",
        yard.packages[4].0
    ));
    assert!(b.path().starts_with("/packages/"), "{}", b.path());
}

fn taken(text: &str) -> Raster {
    let mut dice = Dice(3);
    let photo = Photo::of(&mut dice, 0.3);
    photo.take(&drawn(text, 8), 640, 480, &mut dice)
}

/// What is brought without a record, and a room that is imported: on a phone with script, at a desk without.
#[test]
fn what_has_no_record_is_taken_in_and_a_room_imported() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(begin(&data));
    let server = Server::start("serve", &data);
    let b = Browser::start(&server.address, Size::Phone, true);
    b.sign_in("cal", SECRET);
    b.go("/intake");
    b.press("a[href='/do/bring-in']");
    look(&b, "bring-in-form-phone");
    for (name, value) in [
        ("case", "FP-26-0001"),
        ("brought_by", "Ole Brandt"),
        ("agency", "Port Office"),
        ("identification", "identity card of the port"),
        ("description", "ring, yellow metal, clear stone"),
        ("found_where", "under the bench at Weir Street"),
        ("found_when", "about noon on the 24th"),
        ("condition", "scratched, stone loose"),
        ("packaging", "a jam jar with a paper seal, Port Office 7"),
    ] {
        b.fill(name, value);
    }
    b.choose("origin", "Found property");
    b.press("main form[action='/do/bring-in'] .acts button");
    b.shows("no title to open one with");
    b.fill("case_title", "Found property, Weir Street");
    b.sign("bring-in", SECRET);
    b.shows("is not witnessed by this ledger");
    b.shows("Ole Brandt, Port Office");
    look(&b, "brought-in-phone");
    let item = b.path();

    let desk = Browser::start(&server.address, Size::Desk, false);
    desk.sign_in("cal", SECRET);
    desk.go(&item);
    desk.shows("Brought by: Ole Brandt, Port Office");
    look(&desk, "brought-in-desk");
    desk.go("/desk/storeroom");
    desk.press("main a[href='/import']");
    look(&desk, "import-form");
    let table = folder.path().join("room.csv");
    let mut text = String::from("Case No,Item No,What,Shelf\n");
    for n in 1..=300 {
        let shelf = if n % 60 == 0 { "Attic" } else { "" };
        text.push_str(&format!("OLD-1,{n},brass hinge,{shelf}\n"));
    }
    std::fs::write(&table, text).unwrap();
    desk.type_into(&desk.must("#file"), table.to_str().unwrap());
    desk.press("main form button");
    desk.shows("The file was looked through.");
    desk.shows("There is no place Attic.");
    look(&desk, "import-wrong");
    desk.clear(&desk.must("#batch"));
    desk.type_into(&desk.must("#batch"), "50");
    desk.press("form[action$='/record'] button");
    desk.shows("not witnessed by this ledger");
    desk.type_into(&desk.must("#signing-password"), SECRET);
    desk.press("fieldset.signing button");
    // The page asks for itself until it is done.
    desk.shows("It is done.");
    desk.shows("50");
    look(&desk, "import-done");
    b.go("/import");
    look(&b, "import-phone");
}
