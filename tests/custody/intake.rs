//! Intake under one signing: all lines or none, each by the rules of receiving and refusing it alone.

use liftledger::app::StageError;
use liftledger::custody::hand_over::Condition;
use liftledger::custody::intake::{Intake, IntakeLine, MAX_LINES};
use liftledger::custody::state::Holder;
use liftledger::custody::{Act, Refusal, Signed, decide};
use liftledger::ids::{PackageId, Piece};

use super::yard::{Yard, actor, command, receive, release, same};

fn line(code: &str, seal: &str) -> IntakeLine {
    IntakeLine {
        code: code.into(),
        seal_seen: seal.into(),
        ..IntakeLine::default()
    }
}

/// Lines of these codes, each with the seal of the yard's offered box.
pub fn intake(codes: &[&str]) -> Act {
    Act::Intake(Intake {
        lines: codes.iter().map(|c| line(c, "004217")).collect(),
    })
}

/// A code with another check character.
pub fn misread(code: &str) -> String {
    let (body, check) = code.split_at(11);
    format!("{body}{}", if check == "A" { "B" } else { "A" })
}

fn code(y: &Yard, id: PackageId) -> String {
    y.stage.state.packages[&id].code.to_string()
}

/// The second sealed box on its way to the custodian too.
fn two_offered() -> (Yard, String, String) {
    let mut y = Yard::new();
    let (tech, custodian, sealed) = (y.people.tech, y.people.custodian, y.things.box_sealed);
    y.act(tech, release(Piece::Package(sealed), custodian))
        .unwrap();
    let (first, second) = (code(&y, y.things.box_offered), code(&y, sealed));
    (y, first, second)
}

fn refusal(y: &mut Yard, act: Act) -> Refusal {
    let before = y.stage.state.clone();
    let size = y.stage.size();
    match y.act(y.people.custodian, act) {
        Err(StageError::Refused(r)) => {
            assert!(same(&before, &y.stage.state));
            assert_eq!(y.stage.size(), size);
            r
        }
        other => panic!("should be refused: {other:?}"),
    }
}

#[test]
fn many_are_received_and_one_goes_back_in_one_command() {
    let (mut y, first, second) = two_offered();
    let mut lines = vec![line(&first, "004217"), line(&second, "")];
    lines[0].condition = Condition::Wet;
    lines[0].note = "a damp corner".into();
    lines[1].refuse = Some("no space in the cold room".into());
    let before = y.events.len();
    let id = y
        .act(y.people.custodian, Act::Intake(Intake { lines }))
        .unwrap();
    let new = &y.events[before..];
    let kinds: Vec<&str> = new.iter().map(|e| e.header.kind.as_str()).collect();
    assert_eq!(kinds, ["custody.received", "custody.refused"]);
    for event in new {
        assert_eq!(event.fields["command"], id.to_string());
    }
    assert_eq!(new[0].fields["condition"], "wet");
    assert_eq!(new[1].fields["reason"], "no space in the cold room");
    let holder = |id| y.stage.state.packages[&id].custody.holder.clone();
    let (custodian, tech) = (y.people.custodian, y.people.tech);
    assert_eq!(
        holder(y.things.box_offered),
        Holder::Person { person: custodian }
    );
    assert_eq!(holder(y.things.box_sealed), Holder::Person { person: tech });
    assert!(
        y.stage.state.packages[&y.things.box_sealed]
            .custody
            .offer
            .is_none()
    );
}

#[test]
fn a_wrong_line_keeps_all_back_and_each_is_named() {
    let (mut y, first, second) = two_offered();
    let lines = vec![
        line(&first, "004217"),
        line(&second, "009999"),
        line(&misread(&first), ""),
        line("EV-77/1204", ""),
        line(&code(&y, y.things.envelope), ""),
        line(&y.stage.state.places[&y.things.shelf].code.to_string(), ""),
        line("P00000000000", ""),
        line(&first, "004217"),
        line("", ""),
    ];
    let all = refusal(&mut y, Act::Intake(Intake { lines }));
    assert_eq!(all.code, "lines-refused");
    assert!(all.sentence.starts_with("8 of 9 lines"), "{all}");
    let said: Vec<(usize, &str)> = all
        .lines
        .iter()
        .map(|l| (l.line, l.code.as_str()))
        .collect();
    let unknown = if "P00000000000".parse::<liftledger::ids::Code>().is_ok() {
        "not-found"
    } else {
        "label-misread"
    };
    let expected = [
        (2, "seal-differs"),
        (3, "label-misread"),
        (4, "label-not-ours"),
        (5, "no-open-offer"),
        (6, "bad-value"),
        (7, unknown),
        (8, "named-twice"),
        (9, "bad-text"),
    ];
    assert_eq!(said, expected);
    // No line says which seal is on record.
    assert!(!format!("{all:?}").contains("004218"));
    // What was received before is told so, and of one wrong line the answer is the line's own.
    y.act(
        y.people.custodian,
        receive(Piece::Package(y.things.box_offered), "004217"),
    )
    .unwrap();
    let again = refusal(&mut y, intake(&[&first]));
    assert_eq!(again.code, "no-open-offer");
    assert!(again.sentence.contains("you have it already"), "{again}");
    assert_eq!(again.lines.len(), 1);
}

#[test]
fn an_intake_has_a_bound_and_a_signature() {
    let (mut y, first, _) = two_offered();
    let none = refusal(&mut y, intake(&[]));
    assert_eq!(
        (none.code.as_str(), none.field.as_deref()),
        ("bad-value", Some("lines"))
    );
    let many = vec![first.as_str(); MAX_LINES + 1];
    assert_eq!(refusal(&mut y, intake(&many)).code, "bad-value");
    let mut me = actor(&y.stage.state, y.people.custodian);
    me.signed = Signed::Session;
    let c = command(intake(&[&first]));
    let unsigned = decide(&y.stage.state, &y.rules, &me, &c, y.now).unwrap_err();
    assert_eq!(unsigned.code, "not-signed");
}

#[test]
fn a_line_tells_nothing_of_a_restricted_case() {
    let mut y = Yard::new();
    let closed = y.stage.state.items[&y.things.closed_lift].code.to_string();
    let refused = refusal(&mut y, intake(&[&closed]));
    assert_eq!(refused.code, "case-restricted");
    assert!(!refused.sentence.contains("item"), "{refused}");
}
