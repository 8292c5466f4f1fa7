//! Labels and exports from a real ledger: on the record before they are handed out, refused to whoever may not, and
//! exports that the verifier accepts.

use std::path::Path;

use chrono::Utc;
use liftledger::app::papers::export::{self, ExportError, Target};
use liftledger::app::papers::label::{LabelKind, item_label, package_label, place, sheet};
use liftledger::app::papers::report::report;
use liftledger::app::papers::{By, Layout, PaperError};
use liftledger::app::reader::opened;
use liftledger::app::{ReadError, RecordError, Viewer};
use liftledger::custody::fact::Fact;
use liftledger::custody::{Act, amendment, case, item, person};
use liftledger::ids::{Digest, Piece, Subject};
use liftledger::ledger::event::{Attested, Event, Source};
use liftledger::ledger::verify::folder::{Files, part, whole};
use liftledger::people::{Action, Role};
use liftledger::reports::paper::{Card, Paper};
use sha2::{Digest as _, Sha256};

use super::boatyard::{Boatyard, act, recovery};

async fn event(b: &Boatyard, seq: u64) -> Event {
    opened(b.house.store.event(seq).await.unwrap().unwrap()).unwrap()
}

async fn size(b: &Boatyard) -> u64 {
    b.house.store.head().await.unwrap().size
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_print_is_on_the_record_with_the_digest_of_its_bytes() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let viewer = b.viewer(b.tech).await;
    let reader = b.house.reader(&viewer);
    let layout = Layout::default();
    let mut count = b
        .house
        .store
        .subject_count(&Subject::Item(b.items[0]).to_string())
        .await
        .unwrap();
    for kind in LabelKind::OF_ITEM {
        for card in [Card::ThreeByFive, Card::FourBySix] {
            let by = By::session();
            let printed = item_label(&reader, by, b.items[0], kind, card, &layout)
                .await
                .unwrap();
            assert_eq!(
                printed.digest,
                Digest(Sha256::digest(&printed.bytes).into())
            );
            assert!(printed.bytes.starts_with(b"%PDF"));
            let event = event(&b, printed.recorded.seq).await;
            let Ok(Fact::LabelPrinted(fact)) = Fact::from_fields(&event.header.kind, &event.fields)
            else {
                panic!("{}", event.header.kind)
            };
            assert_eq!(fact.digest, printed.digest);
            assert!(fact.label.starts_with(kind.word()), "{}", fact.label);
            assert_eq!(event.header.actor, Some(b.tech));
            assert_eq!(event.header.attested, Attested::Session);
            count += 1;
            assert_eq!(event.header.touches[0].n, count);
        }
    }
    let name = item_label(
        &reader,
        By::session(),
        b.items[0],
        LabelKind::Card,
        Card::FourBySix,
        &layout,
    )
    .await
    .unwrap()
    .file_name;
    assert_eq!(name, "HC-26-0117-item-1-card.pdf");
    for kind in LabelKind::OF_PACKAGE {
        let printed = package_label(&reader, By::session(), b.package, kind, &layout)
            .await
            .unwrap();
        assert_eq!(
            event(&b, printed.recorded.seq).await.header.touches[0].subject,
            Subject::Package(b.package)
        );
    }
    let shelf = place(&reader, By::token(), b.shelf, &layout).await.unwrap();
    let on_record = event(&b, shelf.recorded.seq).await;
    assert_eq!(on_record.header.attested, Attested::Token);
    assert_eq!(on_record.header.case, None);
    let wrong = package_label(
        &reader,
        By::session(),
        b.package,
        LabelKind::CardFront,
        &layout,
    )
    .await;
    assert!(matches!(wrong, Err(PaperError::Kind { .. })));
    b.house.close().await;
}

/// What goes to a hearing is labelled by whoever takes it there.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_court_liaison_prints_labels() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let viewer = b.viewer(b.liaison).await;
    let reader = b.house.reader(&viewer);
    let (by, layout, card) = (By::session(), Layout::default(), Card::ThreeByFive);
    let printed = [
        item_label(&reader, by, b.items[0], LabelKind::Card, card, &layout).await,
        package_label(&reader, by, b.package, LabelKind::OF_PACKAGE[0], &layout).await,
        sheet(&reader, by, b.case, &b.items[..1], card, &layout).await,
    ];
    for printed in printed {
        let printed = printed.unwrap();
        let event = event(&b, printed.recorded.seq).await;
        assert_eq!(event.header.kind, "paper.label-printed");
        assert_eq!(event.header.actor, Some(b.liaison));
        assert_eq!(
            event.fields["digest"],
            Digest::of(&printed.bytes).to_string()
        );
    }
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_sheet_is_on_the_record_of_each_of_its_items() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let viewer = b.viewer(b.custodian).await;
    let reader = b.house.reader(&viewer);
    let layout = Layout {
        paper: Some(Paper::A4),
        agency: Some("Harrow County Evidence Unit".into()),
    };
    let before = size(&b).await;
    let card = Card::ThreeByFive;
    let printed = sheet(&reader, By::session(), b.case, &[], card, &layout)
        .await
        .unwrap();
    assert_eq!(size(&b).await, before + 3);
    let mut of = Vec::new();
    for seq in before + 1..=before + 3 {
        let event = event(&b, seq).await;
        assert_eq!(
            event.field_str("digest").unwrap(),
            printed.digest.to_string()
        );
        of.push(event.header.touches[0].subject);
    }
    of.sort_unstable();
    let mut items: Vec<Subject> = b.items.iter().map(|i| Subject::Item(*i)).collect();
    items.sort_unstable();
    assert_eq!(of, items);
    let one = sheet(&reader, By::session(), b.case, &b.items[..1], card, &layout)
        .await
        .unwrap();
    assert_eq!(one.recorded.seq, before + 4);
    // An item of another case, or none at all, is not printed in silence.
    let stranger = liftledger::ids::ItemId::new();
    let none = sheet(&reader, By::session(), b.case, &[stranger], card, &layout).await;
    assert!(matches!(none, Err(PaperError::Count(_))));
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_may_not_gets_nothing_and_leaves_no_trace() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let layout = Layout::default();
    let before = size(&b).await;
    let kind = LabelKind::Card;
    let card = Card::ThreeByFive;
    for id in [b.auditor, b.admin] {
        let viewer = b.viewer(id).await;
        let reader = b.house.reader(&viewer);
        let refused = item_label(&reader, By::session(), b.items[0], kind, card, &layout).await;
        assert_eq!(
            refused.unwrap_err(),
            PaperError::Read(ReadError::Forbidden(Action::PrintLabel))
        );
    }
    assert_eq!(size(&b).await, before);
    // Restricted, and the custodian is not assigned.
    let restrict = case::Restrict {
        case: b.case,
        restricted: true,
        reason: "a minor is involved".into(),
    };
    act(&b.house, Some(b.supervisor), None, Act::Restrict(restrict))
        .await
        .unwrap();
    let before = size(&b).await;
    let viewer = b.viewer(b.custodian).await;
    let reader = b.house.reader(&viewer);
    let hidden = item_label(&reader, By::session(), b.items[0], kind, card, &layout).await;
    assert_eq!(hidden.unwrap_err(), PaperError::Read(ReadError::Restricted));
    let hidden = sheet(&reader, By::session(), b.case, &[], card, &layout).await;
    assert_eq!(hidden.unwrap_err(), PaperError::Read(ReadError::Restricted));
    assert_eq!(size(&b).await, before);
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_print_that_cannot_be_recorded_is_not_handed_out() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    // Signed in as a custodian; the role is taken away before the print is recorded.
    let viewer = b.viewer(b.custodian).await;
    let roles = person::SetRoles {
        person: b.custodian,
        roles: [Role::Auditor].into(),
    };
    act(&b.house, Some(b.admin), None, Act::SetRoles(roles))
        .await
        .unwrap();
    let before = size(&b).await;
    let reader = b.house.reader(&viewer);
    let refused = item_label(
        &reader,
        By::session(),
        b.items[0],
        LabelKind::Card,
        Card::ThreeByFive,
        &Layout::default(),
    )
    .await;
    assert!(
        matches!(&refused, Err(PaperError::Record(RecordError::Refused(r))) if r.code == "role-may-not"),
        "{refused:?}"
    );
    assert_eq!(size(&b).await, before);
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_operator_prints_in_nobodys_name() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let viewer = Viewer::operator();
    let reader = b.house.reader(&viewer);
    let printed = item_label(
        &reader,
        By::operator(),
        b.items[1],
        LabelKind::CardFront,
        Card::ThreeByFive,
        &Layout::default(),
    )
    .await
    .unwrap();
    let event = event(&b, printed.recorded.seq).await;
    assert_eq!(event.header.actor, None);
    assert_eq!(event.header.attested, Attested::None);
    assert_eq!(event.header.source, Source::CommandLine);
    // Printing is all that nobody may do.
    let amend = Act::Amend(amendment::Amend {
        event: 8,
        field: "object".into(),
        value: "another door".into(),
        reason: "mistyped".into(),
    });
    let refused = act(&b.house, None, None, amend).await;
    assert!(matches!(refused, Err(RecordError::Refused(r)) if r.code == "role-may-not"));
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_longest_texts_still_make_a_label() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let viewer = b.viewer(b.tech).await;
    let long = |most: usize| "between the third and the fourth rib ".repeat(20)[..most].to_owned();
    let reader = b.house.reader(&viewer);
    let mark = reader.history(Subject::Mark(b.marks[0])).await.unwrap()[0]
        .event
        .header
        .seq;
    let recovered = reader.history(Subject::Item(b.items[0])).await.unwrap()[0]
        .event
        .header
        .seq;
    for (event, field, most) in [
        (mark, "object", 199),
        (mark, "exact_place", 299),
        (mark, "up", 199),
        (recovered, "description", 499),
    ] {
        let amend = amendment::Amend {
            event,
            field: field.into(),
            value: long(most),
            reason: "measured again".into(),
        };
        act(&b.house, Some(b.tech), None, Act::Amend(amend))
            .await
            .unwrap();
    }
    // An item with every hazard, from the same mark: all the words that rules ask for stand on it.
    let hazards = Act::Recover(item::Recover {
        biological: true,
        fragile: true,
        sharp: true,
        wet: true,
        description: long(499),
        ..recovery(b.marks[0], "collected-object", Utc::now().fixed_offset())
    });
    let made = act(&b.house, Some(b.tech), None, hazards).await.unwrap();
    let Some(Subject::Item(hazardous)) = made.created else {
        panic!("no item")
    };
    for of in [b.items[0], hazardous] {
        for kind in LabelKind::OF_ITEM {
            for card in [Card::ThreeByFive, Card::FourBySix] {
                item_label(&reader, By::session(), of, kind, card, &Layout::default())
                    .await
                    .unwrap();
            }
        }
    }
    b.house.close().await;
}

fn check(folder: &Path) -> (usize, u64) {
    let read = |name: &str| std::fs::read(folder.join(name)).ok();
    let (events, checkpoint) = (
        read("events.jsonl").unwrap(),
        read("checkpoint.txt").unwrap(),
    );
    let (vkey, proofs, subjects) = (
        read("vkey.txt").unwrap(),
        read("proofs.jsonl"),
        read("subjects.json"),
    );
    let files = Files {
        events: &events,
        checkpoint: &checkpoint,
        vkey: &vkey,
        proofs: proofs.as_deref(),
        subjects: subjects.as_deref(),
    };
    let report = if proofs.is_some() {
        part(&files, None)
    } else {
        whole(&files, None)
    };
    (report.findings.len(), report.events)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_case_is_exported_whole_and_the_verifier_accepts_it() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(&dir.path().join("ledger")).await;
    let viewer = b.viewer(b.liaison).await;
    let reader = b.house.reader(&viewer);
    let target = |name: &str| Target {
        folder: dir.path().join(name),
        originals: true,
        overwrite: false,
    };
    let done = export::case(&reader, b.case, &target("case"), |_| {})
        .await
        .unwrap();
    assert_eq!(done.pictures, 3);
    assert_eq!(check(&dir.path().join("case")), (0, done.events));
    // Every event that names the case in its header is there: counted from the raw events, not by the export's own way.
    let raw = b.house.store.events(1, 5000).await.unwrap();
    let all = raw.len() as u64;
    let events: Vec<Event> = raw.into_iter().map(|r| opened(r).unwrap()).collect();
    let own = events
        .iter()
        .filter(|e| e.header.case == Some(b.case))
        .count() as u64;
    assert_eq!(own, 18);
    assert_eq!(done.events, own);
    assert_eq!(done.ledger_size, all);
    let whole = export::whole(&reader, &target("whole"), |_| {})
        .await
        .unwrap();
    assert_eq!((whole.events, whole.pictures), (all, 3));
    assert_eq!(check(&dir.path().join("whole")), (0, all));
    // The same folder again is refused, and is written over when told to.
    let again = export::case(&reader, b.case, &target("whole"), |_| {}).await;
    assert!(matches!(again, Err(ExportError::NotEmpty(_))));
    let over = Target {
        overwrite: true,
        ..target("whole")
    };
    export::case(&reader, b.case, &over, |_| {}).await.unwrap();
    assert_eq!(check(&dir.path().join("whole")), (0, own));
    // One letter of one event.
    let path = dir.path().join("case/events.jsonl");
    let text = std::fs::read_to_string(&path).unwrap();
    std::fs::write(&path, text.replacen("locker door", "locker doom", 1)).unwrap();
    assert!(check(&dir.path().join("case")).0 > 0);
    // A technician may not.
    let viewer = b.viewer(b.tech).await;
    let reader = b.house.reader(&viewer);
    let refused = export::whole(&reader, &target("nothing"), |_| {}).await;
    assert!(matches!(
        refused,
        Err(ExportError::Read(ReadError::Forbidden(Action::Prove)))
    ));
    assert!(!dir.path().join("nothing").exists());
    b.house.close().await;
}

/// A server holds the folder while the command line prints from it: two writers on one file, each with its own memory of
/// the head. Both record in turns and at once; the ledger stays whole and nothing is lost.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_processes_record_on_one_folder_without_harm() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let other = liftledger::app::house::House::open(dir.path())
        .await
        .unwrap();
    let operator = Viewer::operator();
    let (here, there) = (b.house.reader(&operator), other.reader(&operator));
    let print = async |reader: &liftledger::app::Reader<'_>, n: usize| {
        item_label(
            reader,
            By::operator(),
            b.items[n % 3],
            LabelKind::CardFront,
            Card::ThreeByFive,
            &Layout::default(),
        )
        .await
    };
    let before = size(&b).await;
    let mut seqs = Vec::new();
    for n in 0..6 {
        let reader = if n % 2 == 0 { &here } else { &there };
        seqs.push(print(reader, n).await.unwrap().recorded.seq);
    }
    let wanted: Vec<u64> = (before + 1..=before + 6).collect();
    assert_eq!(seqs, wanted);
    // At once: each waits for the other's transaction.
    for n in 0..5 {
        let (a, b) = tokio::join!(print(&here, n), print(&there, n));
        seqs.extend([a.unwrap().recorded.seq, b.unwrap().recorded.seq]);
    }
    seqs.sort_unstable();
    let wanted: Vec<u64> = (before + 1..=before + 16).collect();
    assert_eq!(seqs, wanted);
    // A decision of the one stands on what the other recorded: a role taken away there counts here.
    let roles = person::SetRoles {
        person: b.tech,
        roles: [Role::Auditor].into(),
    };
    act(&other, Some(b.admin), None, Act::SetRoles(roles))
        .await
        .unwrap();
    let open = case::OpenCase {
        number: "HC-26-0200".into(),
        title: "Another".into(),
        offence: String::new(),
    };
    let refused = act(&b.house, Some(b.tech), None, Act::OpenCase(open)).await;
    assert!(matches!(refused, Err(RecordError::Refused(r)) if r.code == "role-may-not"));
    other.close().await;
    let audit =
        liftledger::app::audit::audit(b.house.store.as_ref(), &b.house.verifying, &[], |_| {})
            .await
            .unwrap();
    assert!(
        audit.is_clean(),
        "{:?} {:?}",
        audit.ledger.findings,
        audit.models
    );
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_report_is_on_the_record_with_the_counts_it_speaks_of() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let viewer = b.viewer(b.liaison).await;
    let reader = b.house.reader(&viewer);
    for of in [
        Subject::Item(b.items[1]),
        Subject::Package(b.package),
        Subject::Case(b.case),
    ] {
        let before = size(&b).await;
        let printed = report(&reader, By::session(), of, &Layout::default(), |_, _| {})
            .await
            .unwrap();
        assert_eq!(
            printed.digest,
            Digest(Sha256::digest(&printed.bytes).into())
        );
        let event = event(&b, printed.recorded.seq).await;
        assert_eq!(event.header.actor, Some(b.liaison));
        assert_eq!(event.header.touches[0].subject, of);
        let Ok(Fact::ReportPrinted(fact)) = Fact::from_fields(&event.header.kind, &event.fields)
        else {
            panic!("{}", event.header.kind)
        };
        assert_eq!((fact.digest, fact.ledger_size), (printed.digest, before));
        // The counts are those of the raw events up to that size.
        let raw = b.house.store.events(1, 5000).await.unwrap();
        let events: Vec<Event> = raw.into_iter().map(|r| opened(r).unwrap()).collect();
        for line in &fact.counts {
            let (subject, n) = line.split_once('=').unwrap();
            let have = events
                .iter()
                .filter(|e| e.header.seq <= before)
                .flat_map(|e| &e.header.touches)
                .filter(|t| t.subject.to_string() == subject)
                .count();
            assert_eq!(have.to_string(), n, "{subject}");
        }
        let items = fact
            .counts
            .iter()
            .filter(|c| c.starts_with("item:"))
            .count();
        assert_eq!(items, if of == Subject::Case(b.case) { 3 } else { 1 });
        // The print names itself by the command that recorded it, and the paper has its pictures.
        assert!(event.field_str("command").is_some());
        let pdf = lopdf::Document::load_mem(&printed.bytes).unwrap();
        assert!(pdf.get_pages().len() >= items);
    }
    // Only a custodian, a court liaison and a supervisor print reports.
    let before = size(&b).await;
    for id in [b.tech, b.auditor, b.admin] {
        let viewer = b.viewer(id).await;
        let reader = b.house.reader(&viewer);
        let refused = report(
            &reader,
            By::session(),
            Subject::Case(b.case),
            &Layout::default(),
            |_, _| {},
        )
        .await;
        assert_eq!(
            refused.unwrap_err(),
            PaperError::Read(ReadError::Forbidden(Action::PrintReport))
        );
    }
    let nothing = report(
        &reader,
        By::session(),
        Subject::Place(b.shelf),
        &Layout::default(),
        |_, _| {},
    )
    .await;
    assert!(matches!(nothing, Err(PaperError::Count(_))));
    assert_eq!(size(&b).await, before);
    b.house.close().await;
}

/// An original that was altered on disk does not stop the paper: the paper says so.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_report_with_a_missing_original_is_printed_all_the_same() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let viewer = b.viewer(b.supervisor).await;
    let reader = b.house.reader(&viewer);
    let print = async || {
        let of = Subject::Item(b.items[0]);
        report(&reader, By::session(), of, &Layout::default(), |_, _| {})
            .await
            .unwrap()
            .bytes
    };
    let pictures = |pdf: &[u8]| {
        lopdf::Document::load_mem(pdf)
            .unwrap()
            .objects
            .values()
            .filter(|o| {
                let subtype = o.as_stream().and_then(|s| s.dict.get(b"Subtype"));
                subtype.is_ok_and(|n| n.as_name().is_ok_and(|n| n == b"Image"))
            })
            .count()
    };
    assert_eq!(pictures(&print().await), 1);
    let mark = reader.mark(b.marks[0]).await.unwrap();
    std::fs::remove_file(b.house.originals.path(mark.images[0].digest)).unwrap();
    assert_eq!(pictures(&print().await), 0);
    b.house.close().await;
}

/// The label of a package says what the rules ask for, in words: FBI handbook of forensic services for latent prints,
/// biohazards and fragile things, NISTIR 7928 recommendation I-2 for biological evidence, common practice for sharp ones.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_box_label_bears_the_words_that_the_rules_ask_for() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let viewer = b.viewer(b.tech).await;
    let reader = b.house.reader(&viewer);
    let all = [
        "DO NOT OPEN: LATENT PRINTS",
        "BIOLOGICAL EVIDENCE",
        "BIOHAZARD",
        "FRAGILE",
        "SHARP",
    ];
    let now = Utc::now().fixed_offset();
    // Everything at once from a mark of friction ridges; nothing from the toolmark.
    for (mark, hazards, words) in [(b.marks[0], true, &all[..]), (b.marks[1], false, &[])] {
        let mut asked = recovery(mark, "collected-object", now);
        asked.biological = hazards;
        asked.fragile = hazards;
        asked.sharp = hazards;
        let found = act(&b.house, Some(b.tech), None, Act::Recover(asked)).await;
        let Some(Subject::Item(item)) = found.unwrap().created else {
            panic!("no item")
        };
        let pack = liftledger::custody::package::Pack {
            case: b.case,
            container: "box-rigid-medium".into(),
            stock: None,
            inner_mm: None,
            contents: vec![Piece::Item(item)],
            note: String::new(),
        };
        let made = act(&b.house, Some(b.tech), None, Act::Pack(pack)).await;
        let Some(Subject::Package(package)) = made.unwrap().created else {
            panic!("no package")
        };
        for kind in [LabelKind::Box, LabelKind::Envelope] {
            let printed = package_label(&reader, By::session(), package, kind, &Layout::default())
                .await
                .unwrap();
            let pdf = lopdf::Document::load_mem(&printed.bytes).unwrap();
            let text = pdf.extract_text(&[1]).unwrap().replace('\n', " ");
            for word in all {
                assert_eq!(
                    text.contains(word),
                    words.contains(&word),
                    "{word} on the {}: {text}",
                    kind.word()
                );
            }
        }
    }
    b.house.close().await;
}
