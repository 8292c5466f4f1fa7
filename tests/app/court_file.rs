//! One paper of each kind of the court file, asked of the boatyard.

use liftledger::app::papers::court::Asked;
use liftledger::app::papers::court::receipt::Receipt;
use liftledger::app::papers::court::sheet::Sheet;
use liftledger::app::papers::court::submission::Submission;
use liftledger::custody::Act;
use liftledger::custody::exhibit::SetExhibit;
use liftledger::ids::ItemId;

use super::boatyard::{Boatyard, act};

/// One of each, of a boatyard whose first and third item are exhibits.
pub fn all(b: &Boatyard) -> Vec<Asked> {
    vec![
        Asked::ExhibitList,
        Asked::OwnerReceipt(Receipt {
            from: "R. Amsel, boatyard".into(),
            authority: "consent of the owner, 4 March".into(),
            ..Receipt::default()
        }),
        Asked::LaboratorySubmission(Submission {
            to: "State laboratory, latent prints".into(),
            examinations:
                "Say whether the lifts are of value; compare them with the exemplars of item 9."
                    .into(),
            ..Submission::default()
        }),
        Asked::HandOverSheet(Sheet::default()),
        Asked::WitnessSheet(b.tech),
        Asked::Certification,
    ]
}

pub async fn with_exhibits(b: &Boatyard) {
    for (item, number) in [(b.items[2], "S-10"), (b.items[0], "S-9")] {
        give(b, item, number, "").await;
    }
    give(b, b.items[2], "S-2", "renumbered at the hearing").await;
}

async fn give(b: &Boatyard, item: ItemId, number: &str, reason: &str) {
    let set = Act::SetExhibit(SetExhibit {
        item,
        number: number.into(),
        court: "Harrow County Court, 26-CR-0044".into(),
        reason: reason.into(),
    });
    act(&b.house, Some(b.liaison), None, set).await.unwrap();
}
