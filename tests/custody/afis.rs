//! What pictures are worth, and pictures handed off, on the record.

use liftledger::custody::afis::AfisExported;
use liftledger::custody::value::{AssessValue, Value};
use liftledger::custody::{Act, Actor, Signed, decide};
use liftledger::ids::{Digest, Subject};
use liftledger::imaging::recipe::Recipe;

use super::yard::{Yard, actor, add_copy, assess, command, exported};

#[test]
fn a_value_is_recorded_with_its_reason_and_what_was_said_before() {
    let mut y = Yard::new();
    let (examiner, mark) = (y.people.examiner, Subject::Mark(y.things.mark));
    y.act(examiner, assess(mark, 1)).unwrap();
    let said = y.stage.state.marks[&y.things.mark].images[0]
        .assessed
        .clone()
        .unwrap();
    assert_eq!(said.value, Value::Limited);
    assert_eq!(said.by, examiner);
    assert_eq!(said.examiner, y.stage.state.people[&examiner].name);
    let event = y.events.last().unwrap();
    assert_eq!(event.header.kind, "image.value-assessed");
    assert_eq!(event.field_str("value"), Some("limited"));
    assert!(!event.fields.contains_key("was"));

    // Exactly the same again says nothing; another word names the one before.
    assert_eq!(y.refused(examiner, assess(mark, 1)), "bad-value");
    let Act::AssessValue(first) = assess(mark, 1) else {
        unreachable!()
    };
    let none = AssessValue {
        value: Value::NoValue,
        ..first.clone()
    };
    y.act(examiner, Act::AssessValue(none)).unwrap();
    assert_eq!(y.events.last().unwrap().field_str("was"), Some("limited"));

    let silent = AssessValue {
        reason: " ".into(),
        ..first
    };
    assert_eq!(y.refused(examiner, Act::AssessValue(silent)), "bad-text");
    assert_eq!(y.refused(examiner, assess(mark, 77)), "not-found");
    let case = Subject::Case(y.things.case);
    assert_eq!(y.refused(examiner, assess(case, 1)), "not-found");
    // A supervisor leads, and does not examine.
    assert_eq!(
        y.refused(y.people.supervisor, assess(mark, 1)),
        "role-may-not"
    );
}

#[test]
fn a_hand_off_touches_what_it_was_asked_of_and_what_it_shows() {
    let mut y = Yard::new();
    let (supervisor, examiner) = (y.people.supervisor, y.people.examiner);
    let (item, mark) = (Subject::Item(y.things.lift), Subject::Mark(y.things.mark));
    y.act(supervisor, exported(item, mark, 1)).unwrap();
    let header = &y.events.last().unwrap().header;
    assert_eq!(header.kind, "paper.afis-exported");
    let touched: Vec<Subject> = header.touches.iter().map(|t| t.subject).collect();
    assert_eq!(touched, [item, mark]);
    y.act(examiner, exported(mark, mark, 1)).unwrap();
    assert_eq!(y.events.last().unwrap().header.touches.len(), 1);

    // A picture of something else, one that is not there, a copy that nobody made.
    let other = Subject::Mark(y.things.closed_mark);
    assert_eq!(y.refused(supervisor, exported(item, other, 1)), "not-found");
    assert_eq!(y.refused(supervisor, exported(mark, item, 1)), "not-found");
    assert_eq!(y.refused(supervisor, exported(mark, mark, 66)), "not-found");
    let of_copy = |copy| {
        let Act::AfisExported(x) = exported(mark, mark, 1) else {
            unreachable!()
        };
        Act::AfisExported(AfisExported {
            copy: Some(Digest([copy; 32])),
            ..x
        })
    };
    assert_eq!(y.refused(supervisor, of_copy(9)), "not-found");
    y.act(examiner, add_copy(mark, 1, 9, Recipe::new(vec![])))
        .unwrap();
    y.act(supervisor, of_copy(9)).unwrap();
    // A technician takes pictures; who hands them off is another question.
    assert_eq!(
        y.refused(y.people.tech, exported(mark, mark, 1)),
        "role-may-not"
    );
}

#[test]
fn the_operator_hands_off_and_says_no_value() {
    let y = Yard::new();
    let operator = Actor {
        signed: Signed::System,
        ..Actor::system()
    };
    let mark = Subject::Mark(y.things.mark);
    let ask = |act| decide(&y.stage.state, &y.rules, &operator, &command(act), y.now);
    ask(exported(mark, mark, 1)).unwrap();
    assert_eq!(ask(assess(mark, 1)).unwrap_err().code, "role-may-not");
    let me = actor(&y.stage.state, y.people.examiner);
    decide(
        &y.stage.state,
        &y.rules,
        &me,
        &command(assess(mark, 1)),
        y.now,
    )
    .unwrap();
}
