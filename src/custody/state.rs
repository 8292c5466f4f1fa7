//! The state that decisions are made on: people, places, cases, marks, items and packages as the events left them.
//!
//! A [`State`] holds only what was loaded. [`State::wants`] says what a command still needs, so that a store can load it
//! first; what was asked for and does not exist is remembered as absent.

mod case;
mod custody;
mod holder;
mod image;
mod item;
mod key;
mod mark;
mod package;
mod past_event;
mod person;
mod place;
mod records;
mod wants;

use std::collections::{BTreeSet, HashMap, HashSet};

use super::count::Count;
use super::finding::FindingKey;
use super::package::MAX_DEPTH;
use crate::ids::{
    CaseId, Code, CountId, ItemId, MarkId, PackageId, PersonId, Piece, PlaceId, Seq, Subject,
};

pub use self::case::{Case, Scene};
pub use self::custody::{Custody, Loan, Offer, Out};
pub use self::holder::Holder;
pub use self::image::{Assessed, CopyRef, ImageRef};
pub use self::item::Item;
pub use self::key::Key;
pub use self::mark::{Development, Mark};
pub use self::package::{Package, SealOn, Thing};
pub use self::past_event::PastEvent;
pub use self::person::Person;
pub use self::place::Place;
pub use self::records::Records;

/// What was loaded.
#[derive(Clone, Debug, Default)]
pub struct State {
    /// People.
    pub people: HashMap<PersonId, Person>,
    /// Places.
    pub places: HashMap<PlaceId, Place>,
    /// Cases.
    pub cases: HashMap<CaseId, Case>,
    /// Marks.
    pub marks: Records<MarkId, Mark>,
    /// Items.
    pub items: Records<ItemId, Item>,
    /// Packages.
    pub packages: Records<PackageId, Package>,
    /// User names in use.
    pub user_names: HashMap<String, PersonId>,
    /// Case numbers in use.
    pub case_numbers: HashMap<String, CaseId>,
    /// Place names in use.
    pub place_names: HashMap<String, PlaceId>,
    /// Seal numbers in use, ever.
    pub seals: HashMap<String, PackageId>,
    /// Counts.
    pub counts: HashMap<CountId, Count>,
    /// What bears a code.
    pub codes: HashMap<Code, Subject>,
    /// What stands in a place, as the store listed it: only to know what has to be loaded.
    pub stored: HashMap<PlaceId, Vec<Piece>>,
    /// The places beside a place, by name, as the store listed them: only to know what has to be loaded.
    pub near: HashMap<PlaceId, Vec<PlaceId>>,
    /// What changed beside what the events so far name: sums of places around others, items in a package that was stored.
    pub also: BTreeSet<Subject>,
    /// The findings of a subject as they were found a moment ago: only to know whether there is one to answer.
    pub findings: HashMap<Subject, BTreeSet<FindingKey>>,
    /// Events asked for.
    pub events: HashMap<Seq, PastEvent>,
    /// Which events a case has, in order.
    pub records: HashMap<CaseId, Vec<Seq>>,
    /// What was asked for and is now either here or known to be absent.
    pub known: HashSet<Key>,
    /// Which of these hold for the commands that are decided together only, since what they tell is not carried on by
    /// events.
    pub fleeting: Vec<Key>,
}

impl State {
    /// Forgets what was asked for and may be another at the next moment. Takes as long as there was of it, however much else
    /// is known.
    pub fn forget_fleeting(&mut self) {
        self.events.clear();
        self.stored.clear();
        self.near.clear();
        self.findings.clear();
        self.records.clear();
        for key in std::mem::take(&mut self.fleeting) {
            self.known.remove(&key);
        }
    }

    /// The case of a subject that was loaded.
    #[must_use]
    pub fn case_of(&self, subject: Subject) -> Option<CaseId> {
        match subject {
            Subject::Case(id) => Some(id),
            Subject::Mark(id) => self.marks.get(&id).map(|x| x.case),
            Subject::Item(id) => self.items.get(&id).map(|x| x.case),
            Subject::Package(id) => self.packages.get(&id).map(|x| x.case),
            Subject::Person(_) | Subject::Place(_) | Subject::Count(_) => None,
        }
    }

    /// Custody of a piece.
    #[must_use]
    pub fn custody(&self, piece: Piece) -> Option<&Custody> {
        match piece {
            Piece::Item(id) => self.items.get(&id).map(|x| &x.custody),
            Piece::Package(id) => self.packages.get(&id).map(|x| &x.custody),
        }
    }

    /// Custody of a piece, to change it.
    pub fn custody_mut(&mut self, piece: Piece) -> Option<&mut Custody> {
        match piece {
            Piece::Item(id) => self.items.get_mut(&id).map(|x| &mut x.custody),
            Piece::Package(id) => self.packages.get_mut(&id).map(|x| &mut x.custody),
        }
    }

    /// The outermost package around a piece, or the piece itself.
    #[must_use]
    pub fn outermost(&self, piece: Piece) -> Piece {
        let mut at = piece;
        for _ in 0..=MAX_DEPTH {
            match self.custody(at).and_then(|c| c.inside) {
                Some(package) => at = Piece::Package(package),
                None => break,
            }
        }
        at
    }

    /// Who has a piece: the holder of the outermost package.
    #[must_use]
    pub fn holder(&self, piece: Piece) -> Option<&Holder> {
        self.custody(self.outermost(piece)).map(|c| &c.holder)
    }

    /// Every item in a piece, through all packages.
    #[must_use]
    pub fn items_in(&self, piece: Piece) -> Vec<&Item> {
        let mut out = Vec::new();
        let mut todo = vec![piece];
        let mut seen = HashSet::new();
        while let Some(at) = todo.pop() {
            if !seen.insert(at) {
                continue;
            }
            match at {
                Piece::Item(id) => out.extend(self.items.get(&id)),
                Piece::Package(id) => {
                    todo.extend(self.packages.get(&id).iter().flat_map(|p| &p.contents))
                }
            }
        }
        out.sort_by_key(|i| i.number);
        out
    }

    /// A piece with everything in it, as the keep rules see it; none where it was not loaded.
    #[must_use]
    pub fn thing(&self, piece: Piece) -> Option<Thing<'_>> {
        self.thing_within(piece, MAX_DEPTH)
    }

    fn thing_within(&self, piece: Piece, depth: usize) -> Option<Thing<'_>> {
        match piece {
            Piece::Item(id) => self.items.get(&id).map(Thing::Item),
            Piece::Package(id) => {
                let package = self.packages.get(&id)?;
                let inner = depth.checked_sub(1)?;
                let contents = package.contents.iter();
                Some(Thing::Package {
                    container: &package.container,
                    inner_mm: package.inner_mm,
                    contents: contents
                        .filter_map(|p| self.thing_within(*p, inner))
                        .collect(),
                })
            }
        }
    }

    /// How people call a piece: "item 3", "package P2".
    #[must_use]
    pub fn name(&self, piece: Piece) -> String {
        match piece {
            Piece::Item(id) => self
                .items
                .get(&id)
                .map_or_else(|| "this item".into(), |x| format!("item {}", x.number)),
            Piece::Package(id) => self.packages.get(&id).map_or_else(
                || "this package".into(),
                |x| format!("package P{}", x.number),
            ),
        }
    }

    /// A person's name.
    #[must_use]
    pub fn person_name(&self, id: PersonId) -> String {
        self.people
            .get(&id)
            .map_or_else(|| "somebody".into(), |p| p.name.clone())
    }
}
