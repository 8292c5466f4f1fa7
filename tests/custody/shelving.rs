//! Many things put on one shelf: all or none, each by its own keep rules.

use liftledger::app::StageError;
use liftledger::custody::intake::MAX_LINES;
use liftledger::custody::shelving::StoreMany;
use liftledger::custody::state::Holder;
use liftledger::custody::{Act, Refusal};
use liftledger::ids::Piece;

use super::intake::misread;
use super::yard::{Yard, same};

fn many(y: &Yard, codes: &[String]) -> Act {
    Act::StoreMany(StoreMany {
        place: y.things.shelf,
        codes: codes.to_vec(),
        unsealed_reason: Some("the seals have run out".into()),
    })
}

fn refusal(y: &mut Yard, act: Act) -> Refusal {
    let (before, size) = (y.stage.state.clone(), y.stage.size());
    match y.act(y.people.custodian, act) {
        Err(StageError::Refused(r)) => {
            assert!(same(&before, &y.stage.state));
            assert_eq!(y.stage.size(), size);
            r
        }
        other => panic!("should be refused: {other:?}"),
    }
}

/// Two lifts in the custodian's hands, with their codes.
fn two(y: &mut Yard) -> [String; 2] {
    let keeper = y.people.custodian;
    [y.things.lift, y.things.other_lift].map(|id| {
        y.give(Piece::Item(id), keeper);
        y.stage.state.items[&id].code.to_string()
    })
}

#[test]
fn each_line_is_stored_as_if_it_came_alone() {
    let mut y = Yard::new();
    let codes = two(&mut y);
    let act = many(&y, &codes);
    let before = y.events.len();
    let id = y.act(y.people.custodian, act).unwrap();
    let new = &y.events[before..];
    assert_eq!(new.len(), 2);
    for event in new {
        assert_eq!(event.header.kind, "custody.stored");
        assert_eq!(event.fields["command"], id.to_string());
    }
    let place = y.things.shelf;
    for id in [y.things.lift, y.things.other_lift] {
        assert_eq!(
            y.stage.state.items[&id].custody.holder,
            Holder::Place { place }
        );
    }
}

#[test]
fn a_wrong_line_keeps_all_back() {
    let mut y = Yard::new();
    let [first, second] = two(&mut y);
    // One by one: misread, another agency's, twice, there already, in a package, of a case that may not be seen.
    let there = y.stage.state.items[&y.things.shelved].code.to_string();
    let inside = y.stage.state.items[&y.things.inner].code.to_string();
    let closed = y.stage.state.items[&y.things.closed_lift].code.to_string();
    let codes = [
        first.clone(),
        misread(&first),
        "EV-77/1204".into(),
        second.clone(),
        second,
        there,
        inside,
        closed,
    ];
    let act = many(&y, &codes);
    let refused = refusal(&mut y, act);
    assert_eq!(
        (refused.code.as_str(), refused.field.as_deref()),
        ("lines-refused", Some("codes"))
    );
    let lines: Vec<(usize, &str)> = refused
        .lines
        .iter()
        .map(|l| (l.line, l.code.as_str()))
        .collect();
    let expected = [
        (2, "label-misread"),
        (3, "label-not-ours"),
        (5, "named-twice"),
        (6, "to-oneself"),
        (7, "inside-a-package"),
        (8, "case-restricted"),
    ];
    assert_eq!(lines, expected);
}

#[test]
fn keep_rules_hold_for_each_and_are_not_overridden_here() {
    let mut y = Yard::new();
    let codes = two(&mut y);
    let mut act = many(&y, &codes);
    if let Act::StoreMany(x) = &mut act {
        x.place = y.things.window;
    }
    let refused = refusal(&mut y, act);
    let rules: Vec<&str> = refused.lines.iter().map(|l| l.code.as_str()).collect();
    assert_eq!(rules, ["keep-rule", "keep-rule"]);
}

#[test]
fn the_lines_have_a_bound() {
    let mut y = Yard::new();
    let none = many(&y, &[]);
    assert_eq!(refusal(&mut y, none).code, "bad-value");
    let codes = vec!["EV-77/1204".to_owned(); MAX_LINES + 1];
    let act = many(&y, &codes);
    assert_eq!(refusal(&mut y, act).code, "bad-value");
}
