//! What examinations used up of items.

use liftledger::custody::consumed::Consume;
use liftledger::ids::Piece;
use liftledger::people::Role;
use serde_json::Value;

use super::{Before, Has, Shadow};

impl Shadow {
    pub(super) fn consumed(&mut self, who: usize, x: &Consume) -> Result<usize, String> {
        let item = self.thing(Piece::Item(x.item))?;
        must!(
            self.is(who, Role::Custodian) || self.is(who, Role::Examiner),
            "used up by neither custodian nor examiner"
        );
        must!(!self.held(item), "used up though held");
        must!(!self.frozen(item), "used up though disposed of");
        must!(
            self.things[self.top(item)].offer.is_none(),
            "used up while on offer"
        );
        let has = self.has(item);
        must!(
            has == Has::Outside || has == Has::Person(who),
            "used up in other hands"
        );
        let t = &mut self.things[item];
        t.used.push(x.whole);
        if x.whole {
            must!(t.inside.is_none(), "used up whole in a package");
            (t.has, t.ending) = (Has::Nobody, None);
        }
        Ok(item)
    }

    /// Whether its record says what was used up, and whether anybody saw what was before.
    pub(super) fn item_agrees(&self, item: usize, doc: &Value) -> Result<(), String> {
        let t = &self.things[item];
        let said = doc["consumed"].as_array().cloned().unwrap_or_default();
        let said: Vec<bool> = said.iter().map(|c| c["whole"] == true).collect();
        must!(
            said == t.used,
            "{}: used up {said:?} for {:?}",
            t.piece,
            t.used
        );
        let before = (doc["imported"].is_object(), doc["brought"].is_object());
        let expected = (
            t.before == Some(Before::Imported),
            t.before == Some(Before::Brought),
        );
        must!(
            before == expected,
            "{}: imported, brought {before:?}",
            t.piece
        );
        Ok(())
    }
}
