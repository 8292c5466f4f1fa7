//! Things that were somewhere before this ledger saw them.

use std::collections::BTreeSet;

use liftledger::custody::brought::BringIn;
use liftledger::custody::import::{Import, derived};
use liftledger::ids::{CaseId, ItemId, MarkId, PackageId, Piece, SceneId};
use liftledger::people::Role;

use super::{Has, Shadow, seal_form};

/// How something came that has a past.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Before {
    Imported,
    Brought,
}

impl Shadow {
    /// An item of a case, which is opened where it is not there, with the scene and the mark that it gets.
    fn arrived(
        &mut self,
        who: usize,
        (item, number): (ItemId, &str),
        scene: &str,
        before: Before,
    ) -> Result<usize, String> {
        must!(self.is(who, Role::Custodian), "taken over by no custodian");
        must!(
            self.find(Piece::Item(item)).is_none(),
            "taken over a second time"
        );
        let there = self.cases.iter().position(|c| c.number == number);
        let case = match there {
            Some(case) => case,
            None => self.opened(CaseId(derived(&format!("case of {item}"))), number, who),
        };
        must!(
            self.sees(who, case),
            "taken over into a case that they may not see"
        );
        let scene = SceneId(derived(&format!("{scene} of {}", self.cases[case].id)));
        if !self.cases[case].scenes.contains(&scene) {
            self.cases[case].scenes.push(scene);
        }
        let mark = MarkId(derived(&format!("mark of {item}")));
        self.cases[case].marks.push(mark);
        let thing = self.begin(Piece::Item(item), case, Some(mark), who);
        self.things[thing].before = Some(before);
        Ok(thing)
    }

    pub(super) fn brought_in(
        &mut self,
        who: usize,
        item: ItemId,
        x: &BringIn,
    ) -> Result<usize, String> {
        let number = x.case.trim();
        must!(
            !x.case_title.trim().is_empty() || self.cases.iter().any(|c| c.number == number),
            "a case opened without a title"
        );
        self.arrived(who, (item, number), "counter", Before::Brought)
    }

    /// Each row's item, and its package where it is packed.
    pub(super) fn imported(&mut self, who: usize, x: &Import) -> Result<BTreeSet<usize>, String> {
        must!(!x.rows.is_empty(), "an import of nothing");
        let mut made = BTreeSet::new();
        for row in &x.rows {
            let mut has = Has::Person(who);
            if !row.place.is_empty() {
                let place = self.places.iter().position(|p| p.name == row.place);
                let place = place.ok_or("taken over into no place")?;
                must!(row.holder.is_empty(), "taken over in two places");
                must!(
                    !self.for_two(place),
                    "taken over by one into a place for two"
                );
                self.room_for_one(place)?;
                has = Has::Place(place);
            } else if !row.holder.is_empty() {
                has = Has::Outside;
            }
            let item = (row.item, row.case.as_str());
            let thing = self.arrived(who, item, "scene", Before::Imported)?;
            made.insert(thing);
            let seal = seal_form(&row.seal);
            if seal.is_empty() && row.container.trim().is_empty() {
                self.things[thing].has = has;
                continue;
            }
            let id = PackageId(derived(&format!("package of {}", row.item)));
            let case = self.things[thing].case;
            let package = self.begin(Piece::Package(id), case, None, who);
            made.insert(package);
            self.things[thing].inside = Some(package);
            self.things[thing].ever_in.insert(package);
            self.things[package].has = has;
            if !seal.is_empty() {
                let before = self.seals.insert(seal.clone(), package);
                must!(before.is_none(), "a seal's number twice");
                self.things[package].seal = Some(seal);
            }
        }
        Ok(made)
    }
}
