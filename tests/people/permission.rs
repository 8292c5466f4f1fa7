//! The permission table, written out a second time.

use liftledger::people::permission::allows;
use liftledger::people::{Action, Role};

/// One row an action; columns in the order of `Role::ALL`: technician, custodian, examiner, court liaison, supervisor,
/// auditor, administrator.
const TABLE: [(Action, &str); 32] = [
    (Action::ManagePeople, "......x"),
    (Action::ReadEvidence, "xxxxxx."),
    (Action::OpenCase, "x...x.."),
    (Action::AssignCase, "....x.."),
    (Action::RecordScene, "x.x...."),
    (Action::WorkImages, "x.x.x.."),
    (Action::AssessValue, "..x...."),
    (Action::HandOff, "..xxx.."),
    (Action::Pack, "xxx...."),
    (Action::HandOver, "xxxx..."),
    (Action::HandOutside, "xx.x..."),
    (Action::Consume, ".xx...."),
    (Action::Keep, ".x....."),
    (Action::StandBeside, ".x..x.."),
    (Action::MarkTwoPerson, "....x.."),
    (Action::TakeCharge, ".x....."),
    (Action::OverrideKeeping, "....x.."),
    (Action::ResolveCount, ".x..x.."),
    (Action::Hold, "...xx.."),
    (Action::SetExhibit, "...xx.."),
    (Action::AuthoriseDisposition, "....x.."),
    (Action::Dispose, ".x....."),
    (Action::Witness, "xxxxx.."),
    (Action::Amend, "xxxxx.."),
    (Action::PrintLabel, "xxxx..."),
    (Action::PrintReport, ".x.xx.."),
    (Action::PrintForm, "xxxxx.."),
    (Action::Prove, "...xxx."),
    (Action::Disclose, "...xx.."),
    (Action::AnswerFindings, "..xxx.."),
    (Action::OrderExpungement, "...xx.."),
    (Action::CarryOutExpungement, "....x.x"),
];

#[test]
fn each_role_may_do_what_the_table_says_and_no_more() {
    assert_eq!(TABLE.map(|(action, _)| action), Action::ALL);
    for (action, row) in TABLE {
        assert!(!allows(&[], action), "nobody may {}", action.words());
        for (role, mark) in Role::ALL.into_iter().zip(row.chars()) {
            assert_eq!(
                allows(&[role], action),
                mark == 'x',
                "{role}: {}",
                action.words()
            );
        }
    }
}
