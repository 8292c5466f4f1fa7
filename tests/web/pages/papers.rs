//! The papers of a case on its page: the form of each by role, what is printed, what was printed, and what stays typed.

use super::*;
use liftledger::custody::Fact;
use liftledger::custody::paper::PaperKind;
use liftledger::ids::CaseId;

const REPORTS: [&str; 2] = ["exhibit-list", "certification"];
const FORMS: [&str; 4] = [
    "hand-over-sheet",
    "owner-receipt",
    "laboratory-submission",
    "witness-sheet",
];

fn boatyard() -> CaseId {
    world().demo.cases["boatyard"]
}

fn form_of(word: &str) -> String {
    format!("action=\"/cases/{}/papers/{word}\"", boatyard())
}

#[test]
fn the_page_has_the_forms_that_a_role_may_print() {
    on(async {
        let path = format!("/cases/{}/papers", boatyard());
        for (user, reports, forms) in [
            ("runa", false, true),
            ("soren", false, true),
            ("nour", true, true),
            ("eleni", true, true),
            ("milena", true, true),
        ] {
            let answer = signed_in(user).await.get(&path).await;
            is_a_page(&path, &answer);
            for word in REPORTS {
                assert_eq!(answer.says(&form_of(word)), reports, "{user} {word}");
            }
            for word in FORMS {
                assert_eq!(answer.says(&form_of(word)), forms, "{user} {word}");
            }
        }
        let auditor = newcomer(Role::Auditor).await.get(&path).await;
        is_a_page(&path, &auditor);
        assert!(!auditor.says("/papers/owner-receipt"));
        assert!(auditor.says("SHA-256 of the PDF") || auditor.says("Nothing was printed"));
        let admin = newcomer(Role::Administrator).await.get(&path).await;
        assert!(refused_by_role(&admin));
    });
}

#[test]
fn each_paper_is_printed_and_then_listed() {
    on(async {
        let w = world();
        let case = boatyard();
        let liaison = signed_in("eleni").await;
        let item = an_item_of("boatyard").await;
        // An exhibit number by its form, shown on the item's page.
        let give = format!(
            "item={item}&number=S-4&court=Harrow+County+Court&id={}",
            CommandId::new()
        );
        let given = liaison.submit("/do/set-exhibit", &give).await;
        assert_eq!(given.status, StatusCode::SEE_OTHER, "{}", given.html);
        let page = liaison.get(&format!("/items/{item}")).await;
        assert!(page.says("S-4, since") && page.says("Exhibit number given"));
        assert!(page.says("Give another exhibit number"));
        let tech = w.demo.people["runa"].id;
        let person = format!("witness-sheet-person={tech}");
        for (word, fields) in [
            ("exhibit-list", "exhibit-list-paper=letter"),
            ("owner-receipt", "owner-receipt-from=R.+Amsel"),
            (
                "laboratory-submission",
                "laboratory-submission-to=State+laboratory&laboratory-submission-examinations=Compare",
            ),
            (
                "hand-over-sheet",
                "hand-over-sheet-empty=2&hand-over-sheet-paper=a4",
            ),
            ("witness-sheet", person.as_str()),
            ("certification", ""),
        ] {
            let path = format!("/cases/{case}/papers/{word}");
            let before = count(Subject::Case(case)).await;
            let forged = forged(&liaison, &path, fields).await;
            assert_eq!(forged.status, StatusCode::FORBIDDEN, "{word}");
            assert_eq!(count(Subject::Case(case)).await, before, "{word}");
            let answer = liaison.submit(&path, fields).await;
            assert_eq!(answer.status, StatusCode::OK, "{word}: {}", answer.html);
            assert_eq!(answer.header(header::CONTENT_TYPE), "application/pdf");
            let (kind, fields) = last(Subject::Case(case)).await;
            assert_eq!(kind, "paper.report-printed");
            assert_eq!(fields["paper"], word);
            let digest = Digest(Sha256::digest(&answer.bytes).into());
            assert_eq!(fields["digest"], digest.to_string(), "{word}");
            let page = liaison.get(&format!("/cases/{case}/papers")).await;
            assert!(page.says(&digest.to_string()), "{word}");
            let title = PaperKind::from_word(word).unwrap().title();
            assert!(page.says(title), "{title}");
            let told = super::checked(&liaison, &answer.bytes).await;
            assert!(told.says("This is the paper that was printed"), "{word}");
        }
    });
}

#[test]
fn what_is_missing_is_said_and_what_was_typed_stays() {
    on(async {
        let case = boatyard();
        let (me, tech) = known_newcomer(Role::Technician).await;
        let before = size().await;
        let path = format!("/cases/{case}/papers/laboratory-submission");
        let fields = "laboratory-submission-reference=LAB-7&laboratory-submission-to=State";
        let answer = tech.submit(&path, fields).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
        is_a_page_but_for_its_status(&answer);
        assert!(answer.says("Which examinations are asked for is not said"));
        assert!(answer.says("value=\"LAB-7\"") && answer.says("value=\"State\""));
        assert!(answer.says("<details id=\"laboratory-submission\" open>"));
        // Somebody else's doings are for whoever prints reports; a case that is not one's own is shut.
        let other = world().demo.people["nour"].id;
        let path = format!("/cases/{case}/papers/witness-sheet");
        let refused = tech.submit(&path, &format!("person={other}")).await;
        assert!(refused_by_role(&refused), "{}", refused.html);
        for wrong in ["person=nobody", "paper=a3", ""] {
            let refused = tech.submit(&path, wrong).await;
            assert!(refused.status.is_client_error(), "{wrong}");
        }
        let shut = world().demo.cases["outboard"];
        for path in [
            format!("/cases/{shut}/papers/hand-over-sheet"),
            format!("/cases/{shut}/papers/witness-sheet"),
        ] {
            let answer = tech.submit(&path, &format!("person={me}")).await;
            assert_eq!(answer.status, StatusCode::FORBIDDEN, "{path}");
            assert!(!answer.bytes.starts_with(b"%PDF"));
        }
        // Other tests record beside this one; nothing of it is by this person.
        let viewer = Viewer::operator();
        let reader = world().house.reader(&viewer);
        for seq in before + 1..=size().await {
            let header = reader.event(seq).await.unwrap().header;
            assert_ne!(header.actor, Some(me), "{header:?}");
        }
    });
}

fn is_a_page_but_for_its_status(answer: &Answer) {
    let as_page = Answer {
        status: StatusCode::OK,
        ..answer.clone()
    };
    is_a_page("papers", &as_page);
}

/// Printing a paper of a restricted case is a reading of it, before anything is drawn.
#[test]
fn a_paper_of_a_restricted_case_is_a_reading() {
    on(async {
        let shut = world().demo.cases["outboard"];
        let mine = signed_in("tomasz").await;
        let me = world().demo.people["tomasz"].id;
        let before = count(Subject::Case(shut)).await;
        let path = format!("/cases/{shut}/papers/witness-sheet");
        let answer = mine.submit(&path, &format!("person={me}")).await;
        assert_eq!(answer.status, StatusCode::OK, "{}", answer.html);
        let viewer = Viewer::operator();
        let reader = world().house.reader(&viewer);
        let past = reader.history(Subject::Case(shut)).await.unwrap();
        let new: Vec<&Fact> = past
            .iter()
            .filter(|p| p.n > before)
            .filter_map(|p| p.fact.as_ref())
            .collect();
        assert!(
            matches!(&new[..], [Fact::CaseRead(read), Fact::ReportPrinted(print)]
                if read.what == "Witness sheet" && print.person == Some(me)),
            "{new:?}"
        );
    });
}

/// Where a sheet was printed of the case, the forms of hand-overs offer it; no other form does.
#[test]
fn a_hand_over_names_its_sheet_by_its_form() {
    on(async {
        let case = boatyard();
        let keeper = signed_in("nour").await;
        let path = format!("/cases/{case}/papers/hand-over-sheet");
        let printed = keeper.submit(&path, "empty=1").await;
        assert_eq!(printed.status, StatusCode::OK, "{}", printed.html);
        let viewer = Viewer::operator();
        let reader = world().house.reader(&viewer);
        let sheet = reader
            .case(case)
            .await
            .unwrap()
            .sheets
            .last()
            .unwrap()
            .print;
        let item = an_item_of("boatyard").await;
        let piece = reader.item(item).await.unwrap().custody.inside.unwrap();
        let form = |word: &str| format!("/do/{word}?piece=package:{piece}");
        for word in [
            "release",
            "receive",
            "refuse",
            "withdraw",
            "hand-out",
            "take-back",
        ] {
            let page = keeper.get(&form(word)).await;
            assert!(page.says("From a hand-over sheet signed in ink"), "{word}");
            assert!(page.says(&sheet.to_string()), "{word}");
        }
        for word in ["open", "store", "fetch"] {
            let page = keeper.get(&form(word)).await;
            assert!(!page.says("hand-over sheet"), "{word}");
        }
        // What is wrong with it stands at its field.
        let fields = format!(
            "piece=package:{piece}&reason=x&id={}&claimed_at=2026-03-04T09:00&late_reason=x&paper_sheet={}",
            CommandId::new(),
            CommandId::new(),
        );
        let refused = keeper.submit("/do/refuse", &fields).await;
        assert_eq!(refused.status, StatusCode::NOT_FOUND, "{}", refused.html);
        assert!(refused.says("id=\"paper_sheet-error\""), "{}", refused.html);
    });
}
