//! The papers of the court file from a real ledger: the same bytes twice, on the record before they are handed out, known
//! again when they turn up, refused to whoever may not have them, and hand-overs entered from a sheet of paper.

use chrono::{DateTime, Duration, TimeZone, Utc};
use liftledger::app::papers::check::{Verdict, check};
use liftledger::app::papers::court::receipt::Receipt;
use liftledger::app::papers::court::sheet::Sheet;
use liftledger::app::papers::court::submission::Submission;
use liftledger::app::papers::court::{Asked, compose, print};
use liftledger::app::papers::label::{LabelKind, item_label, sheet as cards};
use liftledger::app::papers::printed::of_case;
use liftledger::app::papers::{By, Layout, PaperError};
use liftledger::app::reader::opened;
use liftledger::app::views::item_file;
use liftledger::app::{ReadError, RecordError, Sent, Viewer};
use liftledger::custody::{Act, Command, Fact, Signed, case, hand_over};
use liftledger::ids::{CommandId, Digest, ItemId, Piece, Subject};
use liftledger::ledger::event::{Attested, Event, Source};
use liftledger::people::Action;
use liftledger::reports::paper::{Card, Paper};

use super::boatyard::{Boatyard, act};
use super::court_file::{all, with_exhibits};

async fn event(b: &Boatyard, seq: u64) -> Event {
    opened(b.house.store.event(seq).await.unwrap().unwrap()).unwrap()
}

async fn size(b: &Boatyard) -> u64 {
    b.house.store.head().await.unwrap().size
}

fn pages(pdf: &[u8]) -> Vec<String> {
    let d = lopdf::Document::load_mem(pdf).unwrap();
    d.get_pages()
        .keys()
        .map(|&n| d.extract_text(&[n]).unwrap().replace('\n', " "))
        .collect()
}

fn layout(paper: Paper) -> Layout {
    Layout {
        paper: Some(paper),
        agency: Some("Harrow County Evidence Unit".into()),
    }
}

fn then() -> DateTime<Utc> {
    Utc.with_ymd_and_hms(2026, 11, 26, 14, 0, 0).unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_same_ledger_gives_the_same_bytes_of_each_paper() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    with_exhibits(&b).await;
    let viewer = b.viewer(b.liaison).await;
    let reader = b.house.reader(&viewer);
    let before = size(&b).await;
    for asked in all(&b) {
        let word = asked.kind().word();
        let mut sizes = Vec::new();
        for paper in [Paper::Letter, Paper::A4] {
            let id = CommandId::new();
            let layout = layout(paper);
            let made = async |id| {
                compose(&reader, b.case, &asked, &layout, id, then())
                    .await
                    .unwrap()
            };
            let (first, second) = (made(id).await, made(id).await);
            assert!(first.bytes == second.bytes, "{word} differs");
            assert_eq!(first.counts, second.counts);
            assert_eq!(first.ledger_size, before, "{word}");
            let other = made(CommandId::new()).await;
            assert!(first.bytes != other.bytes, "{word}: the print is not in it");
            let pages = pages(&first.bytes);
            for (n, page) in pages.iter().enumerate() {
                let foot = format!("page {} of {}", n + 1, pages.len());
                assert!(page.contains(&foot), "{word}: {page}");
                assert!(page.contains(&id.to_string()), "{word}, page {}", n + 1);
            }
            let whole = pages.concat();
            assert!(whole.contains("Harrow County Evidence Unit"), "{word}");
            assert!(whole.contains("HC-26-0117"), "{word}");
            let document = lopdf::Document::load_mem(&first.bytes).unwrap();
            let page = *document.get_pages().get(&1).unwrap();
            let page = document.get_dictionary(page).unwrap();
            let of = page.get(b"MediaBox").unwrap().as_array().unwrap()[3].as_float();
            sizes.push(of.unwrap().round() as u32);
        }
        assert_eq!(sizes, [792, 842], "{word}: Letter and A4 in points");
    }
    // Nothing was recorded by composing.
    assert_eq!(size(&b).await, before);
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn each_print_is_on_the_record_and_known_again() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    with_exhibits(&b).await;
    let viewer = b.viewer(b.liaison).await;
    let reader = b.house.reader(&viewer);
    let mut words = Vec::new();
    for asked in all(&b) {
        let word = asked.kind().word();
        let printed = print(&reader, By::session(), b.case, &asked, &Layout::default())
            .await
            .unwrap();
        assert_eq!(printed.digest, Digest::of(&printed.bytes));
        assert!(printed.file_name.contains(word), "{}", printed.file_name);
        let event = event(&b, printed.recorded.seq).await;
        let Ok(Fact::ReportPrinted(fact)) = Fact::from_fields(&event.header.kind, &event.fields)
        else {
            panic!("{}", event.header.kind)
        };
        assert_eq!(fact.paper, Some(asked.kind()));
        assert_eq!(fact.of, Subject::Case(b.case));
        assert_eq!(fact.digest, printed.digest);
        assert!(!fact.counts.is_empty(), "{word}");
        words.push(word);
        // The file itself, and the same with one letter changed.
        let told = check(&reader, printed.bytes.clone(), None).await.unwrap();
        assert!(told.is_printed(), "{word}");
        assert_eq!(told.prints()[0].seq, printed.recorded.seq);
        let mut altered = printed.bytes.clone();
        let at = altered.windows(5).rposition(|w| w == b"%%EOF").unwrap();
        altered[at] = b'#';
        let told = check(&reader, altered, None).await.unwrap();
        let Verdict::Altered { print, .. } = &told.verdict else {
            panic!("{word}: {:?}", told.verdict)
        };
        assert_eq!(print.seq, printed.recorded.seq, "{word}");
    }
    // The page of the case's papers has them all, the newest first.
    let case = reader.case(b.case).await.unwrap();
    let prints = of_case(&reader, &case).await.unwrap();
    let titles: Vec<&str> = prints.rows.iter().map(|p| p.paper.as_str()).collect();
    assert_eq!(
        titles,
        [
            "Certification of records",
            "Witness sheet",
            "Hand-over sheet",
            "Submission for examination",
            "Receipt for evidence taken",
            "Exhibit list",
        ]
    );
    assert!(
        prints
            .rows
            .iter()
            .all(|p| p.print.is_some() && p.by.contains("Lio Marchetti"))
    );
    assert_eq!(prints.rows[3].made_for, "State laboratory, latent prints");
    assert!(!prints.more);
    let audit =
        liftledger::app::audit::audit(b.house.store.as_ref(), &b.house.verifying, &[], |_| {})
            .await
            .unwrap();
    assert!(audit.is_clean(), "{:?}", audit.models);
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_label_bears_its_print_too() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let viewer = b.viewer(b.tech).await;
    let reader = b.house.reader(&viewer);
    let (size, layout) = (Card::ThreeByFive, Layout::default());
    for kind in LabelKind::OF_ITEM {
        let label = item_label(&reader, By::session(), b.items[0], kind, size, &layout)
            .await
            .unwrap();
        let mut altered = label.bytes.clone();
        let told = check(&reader, label.bytes, Some(1)).await.unwrap();
        assert!(told.is_printed(), "{kind}");
        let at = altered.windows(5).rposition(|w| w == b"%%EOF").unwrap();
        altered[at] = b'#';
        let told = check(&reader, altered, None).await.unwrap();
        assert!(matches!(told.verdict, Verdict::Altered { .. }), "{kind}");
    }
    // A sheet is the print of each of its items, found by its identifier alone.
    let sheet = cards(&reader, By::session(), b.case, &[], size, &layout)
        .await
        .unwrap();
    let told = check(&reader, sheet.bytes, Some(1)).await.unwrap();
    assert_eq!(told.prints().len(), 3);
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn papers_say_what_they_must_and_no_more() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let viewer = b.viewer(b.supervisor).await;
    let reader = b.house.reader(&viewer);
    let text = async |asked: Asked| {
        let id = CommandId::new();
        let made = compose(&reader, b.case, &asked, &layout(Paper::A4), id, then()).await;
        made.map(|m| pages(&m.bytes).join(" "))
    };
    // Without any exhibit there is no list.
    let none = text(Asked::ExhibitList).await;
    assert!(matches!(none, Err(PaperError::Count(_))));
    with_exhibits(&b).await;
    let list = text(Asked::ExhibitList).await.unwrap();
    let place = |word: &str| list.find(word).unwrap_or_else(|| panic!("{word}: {list}"));
    // By number, not by letter; the number that it had before stays beside it.
    assert!(place("S-2") < place("S-9"));
    assert!(list.contains("S-10, from"), "{list}");
    assert!(list.contains("without an exhibit number: 2."), "{list}");
    // A scene's address stands on a receipt only where somebody said so.
    let receipt = |with_address| {
        Asked::OwnerReceipt(Receipt {
            with_address,
            ..Receipt::default()
        })
    };
    let without = text(receipt(false)).await.unwrap();
    assert!(without.contains("Slipway shed") && !without.contains("Slip Road"));
    assert!(text(receipt(true)).await.unwrap().contains("4 Slip Road"));
    // Whoever receives reads the seal off the package: its number is not on the sheet.
    let sheet = text(Asked::HandOverSheet(Sheet::default())).await.unwrap();
    assert!(sheet.contains("Sealed by the record") && !sheet.contains("004217"));
    assert!(sheet.contains("Package P1") && sheet.contains("in it item 2"));
    // What goes to a laboratory says the seal, the hazard and which way round each picture reads.
    let asked = Asked::LaboratorySubmission(Submission {
        to: "State laboratory".into(),
        examinations: "Compare".into(),
        ..Submission::default()
    });
    let submission = text(asked).await.unwrap();
    for word in [
        "004217",
        "Before anything is opened",
        "IMG_0030.png",
        "reads reversed",
        "MIRRORED IMAGE: flip before comparison",
        "BLP",
    ] {
        assert!(submission.contains(word), "{word}: {submission}");
    }
    let unsaid = text(Asked::LaboratorySubmission(Submission::default())).await;
    assert!(matches!(unsaid, Err(PaperError::Count(_))));
    // A witness sheet has what that person did and nothing of anybody else.
    let witness = text(Asked::WitnessSheet(b.custodian)).await.unwrap();
    assert!(witness.contains("Received") && witness.contains("keeper of the storeroom"));
    assert!(!witness.contains("Mark noted"), "{witness}");
    let nothing = text(Asked::WitnessSheet(b.auditor)).await;
    assert!(matches!(nothing, Err(PaperError::Count(_))));
    // A certification has the checkpoint and the elements, and says that it claims nothing.
    let certification = text(Asked::Certification).await.unwrap();
    for word in [
        "803(6)(A)",
        "803(6)(B)",
        "803(6)(C)",
        "902(11)",
        "902(13)",
        "902(14)",
    ] {
        assert!(certification.contains(word), "{word}");
    }
    assert!(certification.contains("ledger.example/harrow-cove"));
    assert!(certification.contains("counsel and local law decide"));
    // Too many empty lines, and what is of another case or of none.
    let many = Sheet {
        empty: 61,
        ..Sheet::default()
    };
    assert!(matches!(
        text(Asked::HandOverSheet(many)).await,
        Err(PaperError::Count(_))
    ));
    let strange = Sheet {
        pieces: vec![Piece::Item(ItemId::new())],
        ..Sheet::default()
    };
    assert!(matches!(
        text(Asked::HandOverSheet(strange)).await,
        Err(PaperError::Read(ReadError::NotFound(_)))
    ));
    b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_may_not_gets_no_paper_and_leaves_no_trace() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    with_exhibits(&b).await;
    let before = size(&b).await;
    let layout = Layout::default();
    for (who, person) in [("tech", b.tech), ("auditor", b.auditor), ("admin", b.admin)] {
        let viewer = b.viewer(person).await;
        let reader = b.house.reader(&viewer);
        for asked in all(&b) {
            let is_form = asked.kind().is_form() || asked == Asked::WitnessSheet(person);
            if who == "tech" && is_form {
                continue;
            }
            let needs = if is_form {
                Action::PrintForm
            } else {
                Action::PrintReport
            };
            let refused = print(&reader, By::session(), b.case, &asked, &layout).await;
            assert_eq!(
                refused.unwrap_err(),
                PaperError::Read(ReadError::Forbidden(needs)),
                "{who}, {}",
                asked.kind().word()
            );
        }
    }
    assert_eq!(size(&b).await, before);
    // A technician prints forms, and what they did themselves.
    let viewer = b.viewer(b.tech).await;
    let reader = b.house.reader(&viewer);
    for asked in all(&b) {
        if asked.kind().is_form() || asked == Asked::WitnessSheet(b.tech) {
            print(&reader, By::session(), b.case, &asked, &layout)
                .await
                .unwrap();
        }
    }
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
    for asked in all(&b) {
        let hidden = print(&reader, By::session(), b.case, &asked, &layout).await;
        assert_eq!(
            hidden.unwrap_err(),
            PaperError::Read(ReadError::Restricted),
            "{}",
            asked.kind().word()
        );
    }
    assert_eq!(size(&b).await, before);
    b.house.close().await;
}

/// A hand-over on the day without a network: the sheet is printed, signed in ink, and entered the next morning by both.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_hand_over_on_paper_is_entered_afterwards() {
    let dir = tempfile::tempdir().unwrap();
    let b = Boatyard::begin(dir.path()).await;
    let viewer = b.viewer(b.tech).await;
    let reader = b.house.reader(&viewer);
    let piece = Piece::Item(b.items[0]);
    let asked = Asked::HandOverSheet(Sheet {
        pieces: vec![piece],
        reason: "intake".into(),
        ..Sheet::default()
    });
    let printed = print(&reader, By::session(), b.case, &asked, &Layout::default())
        .await
        .unwrap();
    let sheet = reader.case(b.case).await.unwrap().sheets[0].print;
    let on_record = event(&b, printed.recorded.seq).await;
    assert_eq!(
        on_record.field_str("print"),
        Some(sheet.to_string().as_str())
    );
    let enter = async |person, act, late: bool| {
        let command = Command {
            id: CommandId::new(),
            claimed_at: Some(Utc::now().fixed_offset()),
            late_reason: late.then(|| "the network was down".to_owned()),
            paper_sheet: Some(sheet),
            act,
        };
        let sent = Sent {
            person: Some(person),
            signed: Signed::Password,
            beside: None,
            source: Source::Desk,
            command,
        };
        b.house.recorder.record(sent).await
    };
    let release = Act::Release(hand_over::Release {
        piece,
        to: b.custodian,
        purpose: "intake".into(),
        authority: String::new(),
        due_at: None,
        unsealed_reason: Some("for photographs".into()),
    });
    let released = enter(b.tech, release, true).await.unwrap();
    let receive = Act::Receive(hand_over::Receive {
        piece,
        seal_seen: String::new(),
        condition: hand_over::Condition::Intact,
        note: String::new(),
    });
    enter(b.custodian, receive.clone(), true).await.unwrap();
    let on_record = event(&b, released.seq).await;
    assert_eq!(on_record.header.attested, Attested::Paper);
    // The thing's table says which sheet it was entered from, and that it was signed on paper.
    let operator = Viewer::operator();
    let reader = b.house.reader(&operator);
    let file = item_file::load(&reader, b.items[0]).await.unwrap();
    let said = format!("Entered from a paper sheet, print {sheet}.");
    let rows: Vec<_> = file
        .rows
        .iter()
        .filter(|r| r.note.contains(&said))
        .collect();
    let acts: Vec<&str> = rows.iter().map(|r| r.act.as_str()).collect();
    assert_eq!(acts, ["Released", "Received"]);
    assert!(rows.iter().all(|r| r.attested == "on paper" && r.late));
    // So does the custody report, and the witness sheet.
    let report = liftledger::app::papers::report::compose(
        &reader,
        Subject::Item(b.items[0]),
        &layout(Paper::A4),
        CommandId::new(),
        Utc::now() + Duration::seconds(1),
        |_, _| {},
    )
    .await
    .unwrap();
    // The identifier is broken over lines in the narrow column of notes.
    let text = pages(&report.bytes).concat().replace(' ', "");
    assert!(text.contains("Enteredfromapapersheet"), "{text}");
    assert!(text.contains(&sheet.to_string()[..13]), "{text}");
    // A sheet that was not printed of this case is refused, and nothing is changed.
    let before = size(&b).await;
    let unknown = Command {
        id: CommandId::new(),
        claimed_at: Some(Utc::now().fixed_offset()),
        late_reason: None,
        paper_sheet: Some(CommandId::new()),
        act: receive,
    };
    let sent = Sent {
        person: Some(b.custodian),
        signed: Signed::Password,
        beside: None,
        source: Source::Desk,
        command: unknown,
    };
    let refused = b.house.recorder.record(sent).await;
    assert!(
        matches!(&refused, Err(RecordError::Refused(r)) if r.code == "not-found" && r.field.as_deref() == Some("paper_sheet")),
        "{refused:?}"
    );
    assert_eq!(size(&b).await, before);
    b.house.close().await;
}
