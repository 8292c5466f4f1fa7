//! What is brought to the counter without a record: what becomes of it, and that every place says that nobody witnessed what
//! was before.

use chrono::Utc;
use liftledger::app::audit::audit;
use liftledger::app::papers::court::receipt::Receipt;
use liftledger::app::papers::court::{Asked, compose};
use liftledger::app::papers::{By, Layout};
use liftledger::app::views::findings::Finding;
use liftledger::app::views::item_file;
use liftledger::app::{RecordError, Viewer};
use liftledger::custody::brought::{BringIn, NOT_WITNESSED, Origin};
use liftledger::custody::state::Holder;
use liftledger::custody::{Act, Fact, case};
use liftledger::ids::{CommandId, ItemId, PersonId, Subject};

use super::boatyard::{Boatyard, CASE, act};

fn ring(case: &str, title: &str) -> BringIn {
    BringIn {
        case: case.into(),
        case_title: title.into(),
        origin: Origin::Found,
        brought_by: " Ole Brandt ".into(),
        agency: "Port Office".into(),
        identification: "identity card of the port, seen".into(),
        contact: "by the Port Office".into(),
        description: "ring, yellow metal, clear stone".into(),
        form: String::new(),
        found_where: "under the bench at Weir Street".into(),
        found_when: "about noon on the 24th".into(),
        condition: "scratched, stone loose".into(),
        packaging: "a jam jar with a paper seal, Port Office 7".into(),
        wet: false,
        biological: false,
        fragile: true,
        sharp: false,
        note: "says that somebody asked for it".into(),
    }
}

async fn refused(b: &Boatyard, who: PersonId, what: BringIn) -> (String, Option<String>) {
    let before = b.house.store.head().await.unwrap().size;
    let code = match act(&b.house, Some(who), None, Act::BringIn(what)).await {
        Err(RecordError::Refused(r)) => (r.code, r.field),
        other => panic!("{other:?}"),
    };
    assert_eq!(b.house.store.head().await.unwrap().size, before);
    code
}

async fn taken_in(b: &Boatyard, what: BringIn) -> ItemId {
    let recorded = act(&b.house, Some(b.custodian), None, Act::BringIn(what)).await;
    match recorded.unwrap().created {
        Some(Subject::Item(id)) => id,
        other => panic!("{other:?}"),
    }
}

fn legacy(findings: &[Finding]) -> &Finding {
    findings
        .iter()
        .find(|f| f.code == "legacy-history")
        .unwrap()
}

fn words(pdf: &[u8]) -> String {
    let d = lopdf::Document::load_mem(pdf).unwrap();
    let pages: Vec<u32> = d.get_pages().keys().copied().collect();
    d.extract_text(&pages)
        .unwrap()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn found_property_is_taken_in_and_its_past_is_nobodys() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    // A case that is not there is opened only where it was meant.
    let none = refused(&b, b.custodian, ring("FP-26-0001", " ")).await;
    assert_eq!(none, ("bad-text".into(), Some("case_title".into())));
    let item = taken_in(&b, ring("FP-26-0001", "Found property")).await;
    let viewer = Viewer::operator();
    let reader = b.house.reader(&viewer);
    let file = item_file::load(&reader, item).await.unwrap();
    assert_eq!(file.case.number, "FP-26-0001");
    assert_eq!(file.number, 1);
    assert_eq!(file.recovery.by_name, "recovery not on record");
    assert!(
        file.recovery.when.starts_with("brought in "),
        "{}",
        file.recovery.when
    );
    assert!(
        file.recovery
            .warnings
            .iter()
            .any(|w| w.starts_with(NOT_WITNESSED))
    );
    let finding = legacy(&file.findings);
    for part in [
        NOT_WITNESSED,
        "found property",
        "Ole Brandt, Port Office",
        "identity card of the port, seen",
        "under the bench at Weir Street",
        "about noon on the 24th",
    ] {
        assert!(
            finding.sentence.contains(part),
            "{part}: {}",
            finding.sentence
        );
    }
    // Custody begins with whoever took it in, and goes on from there.
    let held = reader.item(item).await.unwrap();
    assert_eq!(
        held.custody.holder,
        Holder::Person {
            person: b.custodian
        }
    );
    assert_eq!(held.recovered_by, None);
    let model = serde_json::to_string(&file).unwrap();
    assert!(
        model.contains("not witnessed by this ledger before"),
        "{model}"
    );
    assert!(model.contains("a jam jar with a paper seal, Port Office 7"));

    // A second thing, of nobody known, into a case that is there.
    let mut scarf = ring(CASE, "");
    scarf.origin = Origin::Public;
    scarf.brought_by = "unknown".into();
    for text in [
        &mut scarf.agency,
        &mut scarf.identification,
        &mut scarf.found_where,
        &mut scarf.found_when,
        &mut scarf.packaging,
    ] {
        text.clear();
    }
    let second = taken_in(&b, scarf).await;
    let file = item_file::load(&reader, second).await.unwrap();
    let sentence = &legacy(&file.findings).sentence;
    assert!(
        sentence.contains("by unknown (no identification seen)"),
        "{sentence}"
    );
    assert!(sentence.contains("nobody says where") && sentence.contains("nobody says when"));

    // Papers: the receipt is for who brought it, and the report says what it does not know.
    let custodian = b.viewer(b.custodian).await;
    let printing = b.house.reader(&custodian);
    let asked = Asked::OwnerReceipt(Receipt::default());
    let layout = Layout::default();
    let made = compose(
        &printing,
        held.case,
        &asked,
        &layout,
        CommandId::new(),
        Utc::now(),
    );
    let receipt = words(&made.await.unwrap().bytes);
    for part in [
        "Ole Brandt, Port Office",
        "taken in at the counter",
        "What was taken in",
        "Brought by",
    ] {
        assert!(receipt.contains(part), "{part}: {receipt}");
    }
    assert!(!receipt.contains("Taken from"), "{receipt}");
    let report = liftledger::app::papers::report::report(
        &reader,
        By::operator(),
        Subject::Item(item),
        &layout,
        |_, _| {},
    );
    let report = words(&report.await.unwrap().bytes);
    assert!(
        report.contains("is not witnessed by this ledger"),
        "{report}"
    );

    // Found again by the words of what was said.
    let found = liftledger::app::views::find::find(&reader, "brandt", 10)
        .await
        .unwrap();
    assert!(
        found.hits.iter().any(|h| h.subject == Subject::Item(item)),
        "{found:?}"
    );
    let audit = audit(b.house.store.as_ref(), &b.house.verifying, &[], |_| {})
        .await
        .unwrap();
    assert!(audit.is_clean(), "{audit:?}");
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_cannot_be_taken_in_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let ok = || ring(CASE, "");
    let code = async |what: BringIn| refused(&b, b.custodian, what).await;
    assert_eq!(refused(&b, b.tech, ok()).await.0, "role-may-not");
    for (field, empty) in [
        (
            "brought_by",
            BringIn {
                brought_by: " ".into(),
                ..ok()
            },
        ),
        (
            "description",
            BringIn {
                description: String::new(),
                ..ok()
            },
        ),
        (
            "condition",
            BringIn {
                condition: String::new(),
                ..ok()
            },
        ),
        (
            "case",
            BringIn {
                case: String::new(),
                ..ok()
            },
        ),
        (
            "note",
            BringIn {
                note: "n".repeat(1001),
                ..ok()
            },
        ),
    ] {
        assert_eq!(code(empty).await, ("bad-text".into(), Some(field.into())));
    }
    let form = BringIn {
        form: "treasure".into(),
        ..ok()
    };
    assert_eq!(code(form).await, ("bad-value".into(), Some("form".into())));
    let restrict = Act::Restrict(case::Restrict {
        case: b.case,
        restricted: true,
        reason: "a witness is in it".into(),
    });
    act(&b.house, Some(b.supervisor), None, restrict)
        .await
        .unwrap();
    assert_eq!(code(ok()).await.0, "case-restricted");
    b.house.close().await;
}

/// A kind of event of its own, which reads back from its fields.
#[test]
fn the_event_is_named() {
    assert!(Fact::KINDS.contains(&"item.brought-in"));
}
