//! Hand-over sheets: printed of a case, signed in ink, and entered afterwards by the acts that it would have been.

use chrono::Duration;
use liftledger::app::StageError;
use liftledger::custody::paper::{PaperKind, ReportPrinted};
use liftledger::custody::state::Holder;
use liftledger::custody::{Act, Command, Refusal};
use liftledger::ids::{CaseId, CommandId, Digest, PersonId, Piece, Subject};
use liftledger::ledger::event::Attested;

use super::intake::intake;
use super::yard::{Yard, command, receive, release, seal};

/// The print of a paper of a case.
pub fn printed(case: CaseId, paper: PaperKind, print: CommandId) -> ReportPrinted {
    ReportPrinted {
        of: Subject::Case(case),
        digest: Digest([3; 32]),
        ledger_size: 9,
        counts: vec![],
        print: Some(print),
        paper: Some(paper),
        person: None,
        made_for: None,
        withheld: vec![],
        certificate: None,
        timestamp: None,
        warning: None,
    }
}

fn with_sheet(case: CaseId, y: &mut Yard) -> CommandId {
    let print = CommandId::new();
    let sheet = printed(case, PaperKind::HandOverSheet, print);
    y.act(y.people.tech, Act::FormPrinted(sheet)).unwrap();
    print
}

/// An act that happened half an hour ago, entered from a sheet.
fn on_paper(y: &Yard, act: Act, sheet: CommandId) -> Command {
    Command {
        claimed_at: Some((y.now - Duration::minutes(30)).fixed_offset()),
        paper_sheet: Some(sheet),
        ..command(act)
    }
}

fn refused(y: &mut Yard, who: PersonId, command: &Command) -> Refusal {
    match y.send(who, command) {
        Err(StageError::Refused(r)) => r,
        other => panic!("should be refused: {other:?}"),
    }
}

#[test]
fn a_hand_over_is_entered_from_its_sheet() {
    let mut y = Yard::new();
    let (tech, custodian) = (y.people.tech, y.people.custodian);
    let piece = Piece::Package(y.things.box_sealed);
    let sheet = with_sheet(y.things.case, &mut y);
    let kept = &y.stage.state.cases[&y.things.case].sheets;
    assert_eq!(kept.len(), 1);
    assert_eq!((kept[0].print, kept[0].by), (sheet, Some(tech)));
    y.now += Duration::hours(1);
    let give = on_paper(&y, release(piece, custodian), sheet);
    y.send(tech, &give).unwrap();
    let mut take = on_paper(&y, receive(piece, "004218"), sheet);
    take.claimed_at = take.claimed_at.map(|t| t + Duration::minutes(2));
    y.send(custodian, &take).unwrap();
    assert_eq!(
        y.stage.state.holder(piece),
        Some(&Holder::Person { person: custodian })
    );
    for event in &y.events[y.events.len() - 2..] {
        assert_eq!(
            event.header.attested,
            Attested::Paper,
            "{}",
            event.header.kind
        );
        assert_eq!(
            event.field_str("paper_sheet"),
            Some(sheet.to_string().as_str())
        );
    }
    // What is entered without a sheet says how it was signed, as before.
    y.act(custodian, release(piece, tech)).unwrap();
    let last = y.events.last().unwrap();
    assert_eq!(last.header.attested, Attested::Password);
    assert_eq!(last.field_str("paper_sheet"), None);
}

#[test]
fn many_are_entered_from_one_sheet_under_one_signing() {
    let mut y = Yard::new();
    let custodian = y.people.custodian;
    let sheet = with_sheet(y.things.case, &mut y);
    y.now += Duration::hours(1);
    let code = y.stage.state.packages[&y.things.box_offered]
        .code
        .to_string();
    let take = on_paper(&y, intake(&[&code]), sheet);
    y.send(custodian, &take).unwrap();
    let last = y.events.last().unwrap();
    assert_eq!(last.header.kind, "custody.received");
    assert_eq!(last.header.attested, Attested::Paper);
}

#[test]
fn what_does_not_stand_on_the_sheet_is_refused() {
    let mut y = Yard::new();
    let (tech, custodian) = (y.people.tech, y.people.custodian);
    let piece = Piece::Package(y.things.box_sealed);
    let of_other = Piece::Item(y.things.of_other);
    let sheet = with_sheet(y.things.case, &mut y);
    let said = |r: Refusal| (r.code, r.field.unwrap_or_default());
    let on = |code: &str, field: &str| (code.to_owned(), field.to_owned());
    // No such sheet; another case's; another paper.
    let unknown = on_paper(&y, release(piece, custodian), CommandId::new());
    assert_eq!(
        said(refused(&mut y, tech, &unknown)),
        on("not-found", "paper_sheet")
    );
    let strange = on_paper(&y, release(of_other, custodian), sheet);
    assert_eq!(
        said(refused(&mut y, tech, &strange)),
        on("not-found", "paper_sheet")
    );
    let print = CommandId::new();
    let list = printed(y.things.case, PaperKind::ExhibitList, print);
    y.act(y.people.supervisor, Act::ReportPrinted(list))
        .unwrap();
    let no_sheet = on_paper(&y, release(piece, custodian), print);
    assert_eq!(
        said(refused(&mut y, tech, &no_sheet)),
        on("not-found", "paper_sheet")
    );
    // It happened before the sheet was printed, or nobody says when.
    let early = on_paper(&y, release(piece, custodian), sheet);
    assert_eq!(
        said(refused(&mut y, tech, &early)),
        on("bad-value", "claimed_at")
    );
    y.now += Duration::hours(1);
    let mut when = on_paper(&y, release(piece, custodian), sheet);
    when.claimed_at = None;
    assert_eq!(
        said(refused(&mut y, tech, &when)),
        on("bad-value", "claimed_at")
    );
    // No hand-over.
    let empty = y.things.empty;
    let sealing = on_paper(&y, seal(empty, "99"), sheet);
    assert_eq!(
        said(refused(&mut y, tech, &sealing)),
        on("bad-value", "paper_sheet")
    );
    // Still signed by whoever enters it.
    let give = on_paper(&y, release(piece, custodian), sheet);
    let mut me = super::yard::actor(&y.stage.state, tech);
    me.signed = liftledger::custody::Signed::Session;
    let unsigned =
        liftledger::custody::decide(&y.stage.state, &y.rules, &me, &give, y.now).unwrap_err();
    assert_eq!(unsigned.code, "not-signed");
}

#[test]
fn whoever_handles_evidence_prints_forms_and_their_own_witness_sheet() {
    let mut y = Yard::new();
    let (tech, custodian, case) = (y.people.tech, y.people.custodian, y.things.case);
    let form = |paper| Act::FormPrinted(printed(case, paper, CommandId::new()));
    for paper in PaperKind::ALL.iter().copied().filter(|k| k.is_form()) {
        y.act(tech, form(paper)).unwrap();
    }
    // Reports stay with those who print reports, also under the other act.
    for paper in PaperKind::ALL.iter().copied().filter(|k| !k.is_form()) {
        assert_eq!(
            y.refused(tech, form(paper)),
            "bad-value",
            "{}",
            paper.word()
        );
        let report = Act::ReportPrinted(printed(case, paper, CommandId::new()));
        assert_eq!(y.refused(tech, report), "role-may-not");
    }
    let of = |person| {
        let mut sheet = printed(case, PaperKind::WitnessSheet, CommandId::new());
        sheet.person = Some(person);
        Act::FormPrinted(sheet)
    };
    y.act(tech, of(tech)).unwrap();
    assert_eq!(y.refused(tech, of(custodian)), "bad-value");
    assert_eq!(
        y.refused(y.people.auditor, of(y.people.auditor)),
        "role-may-not"
    );
    // The custodian prints reports, and so anybody's.
    let Act::FormPrinted(anybodys) = of(tech) else {
        unreachable!()
    };
    y.act(custodian, Act::ReportPrinted(anybodys)).unwrap();
}
