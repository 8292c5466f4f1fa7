//! Amendments keep to the rules of the act that they correct, and quote what stood there.

use liftledger::custody::Act;
use liftledger::custody::amendment::{AMENDABLE, Amend};
use liftledger::custody::{item, mark};

use super::yard::Yard;

fn amend(event: u64, field: &str, value: &str) -> Act {
    Act::Amend(Amend {
        event,
        field: field.into(),
        value: value.into(),
        reason: "written down wrongly".into(),
    })
}

#[test]
fn a_second_amendment_quotes_the_first() {
    let mut y = Yard::new();
    let me = y.people.tech;
    let seq = y.first("mark.noted");
    y.act(me, amend(seq, "object", "left locker door")).unwrap();
    let first = y.events.last().unwrap();
    assert_eq!(first.field_str("was"), Some("locker door"));
    y.act(me, amend(seq, "object", "right locker door"))
        .unwrap();
    let second = y.events.last().unwrap();
    assert_eq!(second.field_str("was"), Some("left locker door"));
    assert_eq!(second.field_str("value"), Some("right locker door"));
    let noted = &y.stage.state.marks[&y.things.mark].noted;
    assert_eq!(noted.object, "right locker door");
    // The event itself stays as it was recorded.
    let event = y.events.iter().find(|e| e.header.seq == seq).unwrap();
    assert_eq!(event.field_str("object"), Some("locker door"));
}

#[test]
fn an_amendment_keeps_to_the_rules_of_the_act() {
    let mut y = Yard::new();
    let me = y.people.tech;
    for (kind, fields) in AMENDABLE {
        let seq = y.first(kind);
        let texts = match *kind {
            "mark.noted" => mark::TEXTS,
            _ => item::TEXTS,
        };
        for field in *fields {
            let (_, max, required) = texts.iter().find(|(name, ..)| name == field).unwrap();
            for empty in ["", " \n "] {
                let answer = y.act(me, amend(seq, field, empty));
                assert_eq!(answer.is_err(), *required, "{kind} {field}");
            }
            let longest = "é".repeat(*max);
            y.act(me, amend(seq, field, &longest)).unwrap();
            let longer = amend(seq, field, &(longest + "é"));
            assert_eq!(y.refused(me, longer), "bad-text", "{kind} {field}");
        }
    }
    let seq = y.first("mark.noted");
    assert_eq!(
        y.refused(me, amend(seq, "texture", "rough")),
        "not-amendable"
    );
    assert_eq!(y.refused(me, amend(seq, "no_such", "x")), "not-amendable");
}
