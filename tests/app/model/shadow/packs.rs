//! Packages whose contents go into a new one.

use std::collections::BTreeSet;

use liftledger::custody::repack::{Repack, Why};
use liftledger::ids::{PackageId, Piece};
use serde_json::{Value, json};

use super::{Has, Shadow, seal_form};

impl Shadow {
    /// The things whose record it must have changed.
    pub(super) fn repacked(
        &mut self,
        who: usize,
        new: PackageId,
        x: &Repack,
    ) -> Result<BTreeSet<usize>, String> {
        let mut sources = BTreeSet::new();
        for source in &x.sources {
            let package = self.thing(Piece::Package(source.package))?;
            must!(sources.insert(package), "a package twice");
            must!(self.in_hand(package, who), "packed anew in other hands");
            must!(!self.frozen(package), "packed anew though disposed of");
            if let Some(seal) = &self.things[package].seal {
                let seen = seal_form(&source.seal_seen);
                must!(
                    seen == *seal,
                    "an intact seal {seal} cut that was read as {seen}"
                );
            }
        }
        let first = sources.first().ok_or("packed anew out of nothing")?;
        let case = self.things[*first].case;
        let inside: BTreeSet<usize> = sources.iter().flat_map(|p| self.contents(*p)).collect();
        let mut over = BTreeSet::new();
        for piece in &x.contents {
            must!(over.insert(self.thing(*piece)?), "{piece} twice");
        }
        if over.is_empty() {
            over.clone_from(&inside);
        }
        must!(over.is_subset(&inside), "packed anew what is not in them");
        let stay = inside.len() - over.len();
        let fits = match x.why {
            Why::Split => sources.len() == 1 && stay > 0,
            Why::Merge => sources.len() > 1,
            Why::Damaged | Why::Wet | Why::WrongContainer => stay == 0,
            Why::Other => true,
        };
        must!(fits, "{:?} of {sources:?}, and {stay} stay", x.why);
        let made = self.begin(Piece::Package(new), case, None, who);
        for package in &sources {
            self.things[*package].seal = None;
            let here = self.contents(*package);
            let (goes, stays): (Vec<usize>, Vec<usize>) =
                here.into_iter().partition(|t| over.contains(t));
            must!(!goes.is_empty(), "opened though nothing goes over");
            for thing in goes {
                (self.things[thing].inside, self.things[thing].has) = (None, Has::Person(who));
                self.put(thing, made, who)?;
            }
            let old = &mut self.things[*package];
            old.closed |= stays.is_empty();
            old.went_into.insert(made);
        }
        if !x.seal.trim().is_empty() {
            let number = seal_form(&x.seal);
            let before = self.seals.insert(number.clone(), made);
            must!(before.is_none(), "a seal's number twice");
            self.things[made].seal = Some(number);
        }
        self.things[made].made_of.clone_from(&sources);
        let mut changed = sources;
        changed.extend(over);
        changed.insert(made);
        Ok(changed)
    }

    /// Whether its record says where its contents came from and went.
    pub(super) fn package_agrees(&self, package: usize, doc: &Value) -> Result<(), String> {
        let t = &self.things[package];
        for (field, expected) in [
            ("repacked_from", &t.made_of),
            ("repacked_into", &t.went_into),
        ] {
            let said = doc[field].as_array().cloned().unwrap_or_default();
            let said: BTreeSet<String> = said.iter().map(Value::to_string).collect();
            let id = |p: &usize| match self.things[*p].piece {
                Piece::Package(id) => json!(id).to_string(),
                Piece::Item(_) => unreachable!("items hold nothing"),
            };
            let expected: BTreeSet<String> = expected.iter().map(id).collect();
            must!(said == expected, "{}: {field} {said:?}", t.piece);
        }
        must!(
            doc["closed_at"].is_string() == t.closed,
            "{}: closed {}",
            t.piece,
            doc["closed_at"]
        );
        must!(
            !t.closed || self.contents(package).is_empty(),
            "{}: emptied, and something is in it",
            t.piece
        );
        Ok(())
    }
}
