//! What a room holds, told a second time without the code that is checked: who has each thing, where it is, what it is in,
//! to whom it is on offer, which seal and which holds are on it, and how far its disposition is. It takes in what was
//! carried out and says what must never have been.

macro_rules! must {
    ($what:expr, $($said:tt)*) => { if !$what { return Err(format!($($said)*)); } };
}

mod before;
mod packs;
mod places;
mod used;

use std::collections::{BTreeMap, BTreeSet};

pub use before::Before;
use liftledger::custody::Act;
use liftledger::ids::{
    CaseId, Code, CountId, ItemId, MarkId, PackageId, PersonId, Piece, PlaceId, SceneId, Subject,
};
use liftledger::people::Role;
use liftledger::store::DocRow;
pub use places::{Figures, Place};
use serde_json::{Value, json};
use uuid::Uuid;

/// Who has a thing, by place in the lists below.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Has {
    Person(usize),
    Place(usize),
    Outside,
    /// Disposed of.
    Nobody,
}

/// How far a disposition is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    Authorised {
        by: usize,
    },
    Done {
        authorised: usize,
        by: usize,
        witness: usize,
    },
}

#[derive(Clone, Debug)]
pub struct Thing {
    pub piece: Piece,
    pub code: String,
    pub case: usize,
    pub mark: Option<MarkId>,
    pub has: Has,
    pub inside: Option<usize>,
    /// Every package that it ever was in.
    pub ever_in: BTreeSet<usize>,
    /// Who released it, to whom.
    pub offer: Option<(usize, usize)>,
    pub seal: Option<String>,
    /// Its holds, each standing or not.
    pub holds: Vec<bool>,
    pub ending: Option<Ending>,
    /// What was used up of it: each time, whether it was all.
    pub used: Vec<bool>,
    /// Packages that its contents came out of, and that they went into, by packing anew.
    pub made_of: BTreeSet<usize>,
    pub went_into: BTreeSet<usize>,
    /// Emptied by that: nothing goes in any more.
    pub closed: bool,
    /// It was somewhere before this ledger saw it.
    pub before: Option<Before>,
}

pub struct Person {
    pub id: PersonId,
    pub user_name: String,
    pub roles: BTreeSet<Role>,
    pub active: bool,
}

pub struct Case {
    pub id: CaseId,
    pub number: String,
    pub scenes: Vec<SceneId>,
    pub marks: Vec<MarkId>,
    pub holds: Vec<bool>,
    pub restricted: bool,
    pub assigned: BTreeSet<usize>,
    pub orders: u32,
}

pub struct Count {
    pub id: CountId,
    pub places: Vec<usize>,
    pub ended: bool,
}

#[derive(Default)]
pub struct Shadow {
    pub people: Vec<Person>,
    pub places: Vec<Place>,
    pub cases: Vec<Case>,
    pub things: Vec<Thing>,
    pub counts: Vec<Count>,
    /// Pictures: of what, which bytes.
    pub pictures: Vec<(Subject, String)>,
    pub seals: BTreeMap<String, usize>,
}

fn code_of(subject: Subject) -> String {
    Code::of(subject).unwrap().to_string()
}

/// A number of a seal in the one form in which it is compared.
fn seal_form(typed: &str) -> String {
    let words: Vec<&str> = typed.split_whitespace().collect();
    words.join(" ").to_uppercase()
}

impl Shadow {
    pub fn is(&self, who: usize, role: Role) -> bool {
        self.people[who].roles.contains(&role)
    }

    pub fn person(&self, id: PersonId) -> usize {
        self.people.iter().position(|p| p.id == id).unwrap()
    }

    pub fn place(&self, id: PlaceId) -> usize {
        self.places.iter().position(|p| p.id == id).unwrap()
    }

    pub fn case(&self, id: CaseId) -> usize {
        self.cases.iter().position(|c| c.id == id).unwrap()
    }

    pub fn find(&self, piece: Piece) -> Option<usize> {
        self.things.iter().position(|t| t.piece == piece)
    }

    fn named(&self, code: &str) -> Result<usize, String> {
        let found = self.things.iter().position(|t| t.code == code);
        found.ok_or_else(|| format!("{code} is no thing's code"))
    }

    fn thing(&self, piece: Piece) -> Result<usize, String> {
        self.find(piece)
            .ok_or_else(|| format!("{piece} is no thing"))
    }

    /// The outermost package, or the thing itself.
    pub fn top(&self, thing: usize) -> usize {
        let mut at = thing;
        while let Some(outer) = self.things[at].inside {
            at = outer;
        }
        at
    }

    pub fn has(&self, thing: usize) -> Has {
        self.things[self.top(thing)].has
    }

    pub fn contents(&self, package: usize) -> Vec<usize> {
        let all = self.things.iter().enumerate();
        all.filter(|(_, t)| t.inside == Some(package))
            .map(|(i, _)| i)
            .collect()
    }

    pub fn held(&self, thing: usize) -> bool {
        let t = &self.things[thing];
        t.holds.contains(&true)
            || self.cases[t.case].holds.contains(&true)
            || self.contents(thing).into_iter().any(|c| self.held(c))
    }

    pub fn gone(&self, thing: usize) -> bool {
        self.has(thing) == Has::Nobody
    }

    /// Disposed of, or waiting for the witness.
    pub fn frozen(&self, thing: usize) -> bool {
        let done = matches!(
            self.things[self.top(thing)].ending,
            Some(Ending::Done { .. })
        );
        self.gone(thing) || done
    }

    pub fn in_hand(&self, thing: usize, who: usize) -> bool {
        let t = &self.things[thing];
        t.inside.is_none() && t.offer.is_none() && t.has == Has::Person(who)
    }

    fn in_hand_or_kept(&self, thing: usize, who: usize) -> bool {
        let t = &self.things[thing];
        let kept = matches!(t.has, Has::Place(_)) && self.is(who, Role::Custodian);
        t.inside.is_none() && t.offer.is_none() && (kept || t.has == Has::Person(who))
    }

    /// Whether this package or one around it is sealed.
    fn shut(&self, package: usize) -> bool {
        let mut at = Some(package);
        while let Some(p) = at {
            if self.things[p].seal.is_some() {
                return true;
            }
            at = self.things[p].inside;
        }
        false
    }

    fn hand_package(&self, package: usize, who: usize) -> bool {
        let top = self.top(package);
        self.things[top].offer.is_none() && self.things[top].has == Has::Person(who)
    }

    fn begin(&mut self, piece: Piece, case: usize, mark: Option<MarkId>, who: usize) -> usize {
        self.things.push(Thing {
            piece,
            code: code_of(piece.into()),
            case,
            mark,
            has: Has::Person(who),
            inside: None,
            ever_in: BTreeSet::new(),
            offer: None,
            seal: None,
            holds: vec![],
            ending: None,
            used: vec![],
            made_of: BTreeSet::new(),
            went_into: BTreeSet::new(),
            closed: false,
            before: None,
        });
        self.things.len() - 1
    }

    fn opened(&mut self, id: CaseId, number: &str, who: usize) -> usize {
        self.cases.push(Case {
            id,
            number: number.to_owned(),
            scenes: vec![],
            marks: vec![],
            holds: vec![],
            restricted: false,
            assigned: [who].into(),
            orders: 0,
        });
        self.cases.len() - 1
    }

    /// Whether this person may see the case.
    fn sees(&self, who: usize, case: usize) -> bool {
        !self.cases[case].restricted || self.cases[case].assigned.contains(&who)
    }

    fn received(&mut self, thing: usize, who: usize) -> Result<(), String> {
        must!(!self.frozen(thing), "received though disposed of");
        let t = &mut self.things[thing];
        must!(
            matches!(t.offer, Some((_, to)) if to == who),
            "received by whom it is not offered to"
        );
        (t.offer, t.has) = (None, Has::Person(who));
        Ok(())
    }

    fn stored(
        &mut self,
        thing: usize,
        (who, beside): (usize, Option<usize>),
        place: usize,
    ) -> Result<(), String> {
        must!(!self.frozen(thing), "stored though disposed of");
        must!(self.is(who, Role::Custodian), "stored by no custodian");
        must!(
            self.in_hand_or_kept(thing, who),
            "stored out of other hands"
        );
        let mut places = vec![place];
        if let Has::Place(from) = self.things[thing].has {
            must!(from != place, "stored where it stood");
            places.push(from);
        }
        self.second((who, beside), &places, self.things[thing].case)?;
        self.room_for_one(place)?;
        self.things[thing].has = Has::Place(place);
        Ok(())
    }

    fn put(&mut self, thing: usize, package: usize, who: usize) -> Result<(), String> {
        must!(
            !self.frozen(thing) && !self.frozen(package),
            "packed though disposed of"
        );
        must!(self.in_hand(thing, who), "packed out of other hands");
        must!(!self.shut(package), "put through a seal");
        must!(!self.things[package].closed, "put into what was emptied");
        let mut at = Some(package);
        while let Some(p) = at {
            must!(p != thing, "put into itself");
            at = self.things[p].inside;
        }
        must!(
            self.things[thing].case == self.things[package].case,
            "packed with another case"
        );
        self.things[thing].inside = Some(package);
        self.things[thing].ever_in.insert(package);
        Ok(())
    }

    /// Takes in what was carried out; the things whose record it must have changed.
    pub fn took(
        &mut self,
        who: usize,
        beside: Option<usize>,
        id: Uuid,
        act: &Act,
    ) -> Result<BTreeSet<usize>, String> {
        must!(
            beside.is_none() || act.takes_second(),
            "signed by two though the act knows one"
        );
        must!(self.people[who].active, "by somebody whose account is off");
        let mut changed = BTreeSet::new();
        match act {
            Act::AddPerson(x) => self.people.push(Person {
                id: PersonId(id),
                user_name: x.user_name.clone(),
                roles: x.roles.clone(),
                active: true,
            }),
            Act::SetRoles(x) => {
                let at = self.person(x.person);
                self.people[at].roles = x.roles.clone();
            }
            Act::SetActive(x) => {
                let at = self.person(x.person);
                self.people[at].active = x.active;
            }
            Act::OpenCase(x) => {
                must!(
                    self.cases.iter().all(|c| c.number != x.number),
                    "a case number twice"
                );
                self.opened(CaseId(id), &x.number, who);
            }
            Act::Assign(x) => {
                let (case, person) = (self.case(x.case), self.person(x.person));
                if x.assigned {
                    self.cases[case].assigned.insert(person);
                } else {
                    self.cases[case].assigned.remove(&person);
                }
            }
            Act::OpenScene(x) => {
                let at = self.case(x.case);
                self.cases[at].scenes.push(SceneId(id));
            }
            Act::Restrict(x) => {
                let at = self.case(x.case);
                self.cases[at].restricted = x.restricted;
                if x.restricted {
                    self.cases[at].assigned.insert(who);
                }
            }
            Act::NoteMark(x) => {
                let at = self.case(x.case);
                self.cases[at].marks.push(MarkId(id));
            }
            Act::AddImage(x) => {
                self.pictures.push((x.of, x.digest.to_string()));
                if let Subject::Item(item) = x.of {
                    changed.insert(self.thing(Piece::Item(item))?);
                }
            }
            Act::Recover(x) => {
                let of = |c: &Case| c.marks.contains(&x.mark);
                let case = self.cases.iter().position(of).unwrap();
                let piece = Piece::Item(ItemId(id));
                changed.insert(self.begin(piece, case, Some(x.mark), who));
                if let Some(from) = x.from_item {
                    let from = self.thing(Piece::Item(from))?;
                    must!(!self.gone(from), "taken from what was disposed of");
                    changed.insert(from);
                }
            }
            Act::Pack(x) => {
                let case = self.case(x.case);
                let package = self.begin(Piece::Package(PackageId(id)), case, None, who);
                changed.insert(package);
                for piece in &x.contents {
                    let thing = self.thing(*piece)?;
                    self.put(thing, package, who)?;
                    changed.insert(thing);
                }
            }
            Act::PutIn(x) => {
                let (thing, package) =
                    (self.thing(x.piece)?, self.thing(Piece::Package(x.package))?);
                must!(
                    self.hand_package(package, who),
                    "put into a package in other hands"
                );
                self.put(thing, package, who)?;
                changed.extend([thing, package]);
            }
            Act::TakeOut(x) => {
                let (thing, package) =
                    (self.thing(x.piece)?, self.thing(Piece::Package(x.package))?);
                must!(!self.frozen(thing), "taken out though disposed of");
                must!(
                    self.things[thing].inside == Some(package),
                    "taken out of what it is not in"
                );
                must!(
                    self.hand_package(package, who),
                    "taken out of a package in other hands"
                );
                must!(!self.shut(package), "taken out through a seal");
                (self.things[thing].inside, self.things[thing].has) = (None, Has::Person(who));
                changed.extend([thing, package]);
            }
            Act::Seal(x) => {
                let package = self.thing(Piece::Package(x.package))?;
                must!(!self.frozen(package), "sealed though disposed of");
                must!(self.in_hand(package, who), "sealed in other hands");
                must!(self.things[package].seal.is_none(), "sealed twice");
                must!(!self.contents(package).is_empty(), "sealed empty");
                let number = seal_form(&x.number);
                let before = self.seals.insert(number.clone(), package);
                must!(before.is_none(), "a seal's number twice");
                self.things[package].seal = Some(number);
                changed.insert(package);
            }
            Act::Open(x) => {
                let package = self.thing(Piece::Package(x.package))?;
                must!(!self.frozen(package), "opened though disposed of");
                must!(self.in_hand(package, who), "opened in other hands");
                must!(
                    self.things[package].seal.take().is_some(),
                    "opened without a seal"
                );
                changed.insert(package);
            }
            Act::Release(x) => {
                let (thing, to) = (self.thing(x.piece)?, self.person(x.to));
                must!(!self.frozen(thing), "released though disposed of");
                must!(
                    self.in_hand_or_kept(thing, who),
                    "released out of other hands"
                );
                must!(
                    to != who && self.people[to].active,
                    "released to oneself or to nobody"
                );
                self.second_at(thing, (who, beside))?;
                self.things[thing].offer = Some((who, to));
                changed.insert(thing);
            }
            Act::Withdraw(x) => {
                let thing = self.thing(x.piece)?;
                let offer = self.things[thing].offer.take();
                must!(
                    matches!(offer, Some((by, _)) if by == who),
                    "another's offer withdrawn"
                );
                changed.insert(thing);
            }
            Act::Receive(x) => {
                let thing = self.thing(x.piece)?;
                self.received(thing, who)?;
                changed.insert(thing);
            }
            Act::Refuse(x) => {
                let thing = self.thing(x.piece)?;
                let offer = self.things[thing].offer.take();
                must!(
                    matches!(offer, Some((_, to)) if to == who),
                    "another's offer refused"
                );
                changed.insert(thing);
            }
            Act::Intake(x) => {
                for line in &x.lines {
                    let thing = self.named(&line.code)?;
                    if line.refuse.is_some() {
                        let offer = self.things[thing].offer.take();
                        must!(
                            matches!(offer, Some((_, to)) if to == who),
                            "another's offer refused"
                        );
                    } else {
                        self.received(thing, who)?;
                    }
                    changed.insert(thing);
                }
            }
            Act::HandOut(x) => {
                let thing = self.thing(x.piece)?;
                must!(!self.frozen(thing), "handed out though disposed of");
                must!(!self.held(thing), "handed out though held");
                must!(self.in_hand(thing, who), "handed out of other hands");
                self.things[thing].has = Has::Outside;
                changed.insert(thing);
            }
            Act::TakeBack(x) => {
                let thing = self.thing(x.piece)?;
                let t = &mut self.things[thing];
                must!(
                    t.inside.is_none() && t.has == Has::Outside,
                    "taken back though not out"
                );
                t.has = Has::Person(who);
                changed.insert(thing);
            }
            Act::TakeCharge(x) => {
                let thing = self.thing(x.piece)?;
                must!(!self.frozen(thing), "taken charge of though disposed of");
                must!(
                    self.is(who, Role::Custodian),
                    "taken charge of by no custodian"
                );
                let t = &mut self.things[thing];
                must!(
                    t.inside.is_none() && t.has != Has::Person(who),
                    "taken charge of by whoever has it"
                );
                (t.offer, t.has) = (None, Has::Person(who));
                changed.insert(thing);
            }
            Act::AddPlace(x) => {
                self.placed(PlaceId(id), x)?;
            }
            Act::SetCapacity(x) => self.set_capacity(who, x)?,
            Act::MarkTwoPerson(x) => self.mark_two_person(who, x)?,
            Act::Repack(x) => changed.extend(self.repacked(who, PackageId(id), x)?),
            Act::Consume(x) => {
                changed.insert(self.consumed(who, x)?);
            }
            Act::BringIn(x) => {
                changed.insert(self.brought_in(who, ItemId(id), x)?);
            }
            Act::Import(x) => changed.extend(self.imported(who, x)?),
            Act::Store(x) => {
                let (thing, place) = (self.thing(x.piece)?, self.place(x.place));
                self.stored(thing, (who, beside), place)?;
                changed.insert(thing);
            }
            Act::StoreMany(x) => {
                let place = self.place(x.place);
                for code in &x.codes {
                    let thing = self.named(code)?;
                    self.stored(thing, (who, beside), place)?;
                    changed.insert(thing);
                }
            }
            Act::Fetch(x) => {
                let thing = self.thing(x.piece)?;
                must!(!self.frozen(thing), "fetched though disposed of");
                must!(self.is(who, Role::Custodian), "fetched by no custodian");
                self.second_at(thing, (who, beside))?;
                let t = &mut self.things[thing];
                must!(
                    t.inside.is_none() && t.offer.is_none(),
                    "fetched out of a package or an offer"
                );
                must!(matches!(t.has, Has::Place(_)), "fetched from no shelf");
                t.has = Has::Person(who);
                changed.insert(thing);
            }
            Act::BeginCount(x) => {
                let places = x.places.iter().map(|p| self.place(*p)).collect();
                self.counts.push(Count {
                    id: CountId(id),
                    places,
                    ended: false,
                });
            }
            Act::EndCount(x) => {
                let count = self.counts.iter_mut().find(|c| c.id == x.count).unwrap();
                must!(!count.ended, "ended twice");
                count.ended = true;
            }
            Act::PlaceHold(x) => {
                if let Subject::Case(case) = x.of {
                    let at = self.case(case);
                    self.cases[at].holds.push(true);
                } else {
                    let Subject::Item(item) = x.of else {
                        return Err("a hold on no item".into());
                    };
                    let thing = self.thing(Piece::Item(item))?;
                    must!(!self.gone(thing), "held though disposed of");
                    self.things[thing].holds.push(true);
                    changed.insert(thing);
                }
            }
            Act::LiftHold(x) => {
                let at = usize::try_from(x.number).unwrap() - 1;
                let holds = if let Subject::Case(case) = x.of {
                    let case = self.case(case);
                    &mut self.cases[case].holds
                } else {
                    let Subject::Item(item) = x.of else {
                        return Err("a hold on no item".into());
                    };
                    let thing = self.thing(Piece::Item(item))?;
                    changed.insert(thing);
                    &mut self.things[thing].holds
                };
                must!(
                    holds.get(at) == Some(&true),
                    "a hold lifted that does not stand"
                );
                holds[at] = false;
            }
            Act::AuthoriseDisposition(x) => {
                let thing = self.thing(x.piece)?;
                must!(
                    self.is(who, Role::Supervisor),
                    "authorised by no supervisor"
                );
                must!(
                    !self.frozen(thing) && !self.held(thing),
                    "authorised though held or gone"
                );
                must!(self.things[thing].ending.is_none(), "authorised twice");
                self.things[thing].ending = Some(Ending::Authorised { by: who });
                changed.insert(thing);
            }
            Act::RevokeDisposition(x) => {
                let thing = self.thing(x.piece)?;
                let ending = self.things[thing].ending.take();
                must!(
                    matches!(ending, Some(Ending::Authorised { .. })),
                    "revoked though not waiting"
                );
                changed.insert(thing);
            }
            Act::Dispose(x) => {
                let (thing, witness) = (self.thing(x.piece)?, self.person(x.witness));
                let Some(Ending::Authorised { by }) = self.things[thing].ending else {
                    return Err("disposed of without authority".into());
                };
                must!(self.in_hand(thing, who), "disposed of out of other hands");
                must!(!self.held(thing), "disposed of though held");
                let people = BTreeSet::from([by, who, witness]);
                must!(people.len() == 3, "disposed of by fewer than three people");
                self.things[thing].ending = Some(Ending::Done {
                    authorised: by,
                    by: who,
                    witness,
                });
                changed.insert(thing);
            }
            Act::WitnessDisposition(x) => {
                let thing = self.thing(x.piece)?;
                let ending = self.things[thing].ending;
                must!(
                    matches!(ending, Some(Ending::Done { witness, .. }) if witness == who),
                    "witnessed by somebody else"
                );
                must!(
                    !self.held(thing) && !self.gone(thing),
                    "witnessed though held or gone"
                );
                self.things[thing].has = Has::Nobody;
                changed.insert(thing);
            }
            Act::DeclineDisposition(x) => {
                let thing = self.thing(x.piece)?;
                let Some(Ending::Done {
                    authorised,
                    by,
                    witness,
                }) = self.things[thing].ending
                else {
                    return Err("declined though not carried out".into());
                };
                must!(who == by || who == witness, "declined by somebody else");
                must!(!self.gone(thing), "declined though witnessed");
                self.things[thing].ending = Some(Ending::Authorised { by: authorised });
                changed.insert(thing);
            }
            Act::OrderExpungement(x) => {
                let case = match x.of {
                    Subject::Case(case) => self.case(case),
                    Subject::Item(item) => self.things[self.thing(Piece::Item(item))?].case,
                    other => return Err(format!("an order on {other}")),
                };
                self.cases[case].orders += 1;
            }
            // These move nothing.
            _ => {
                for of in act.about() {
                    // An answer to a finding stands on a package too.
                    let piece = match of {
                        Subject::Item(item) => Piece::Item(item),
                        Subject::Package(package) => Piece::Package(package),
                        _ => continue,
                    };
                    changed.insert(self.thing(piece)?);
                }
                if let Act::SetExhibit(x) = act {
                    changed.insert(self.thing(Piece::Item(x.item))?);
                }
                for piece in act.pieces() {
                    let thing = self.thing(piece)?;
                    must!(!self.gone(thing), "{} though disposed of", act.word());
                    changed.insert(thing);
                }
            }
        }
        Ok(changed)
    }

    /// Whether the record of a thing says what is so.
    pub fn agrees(&self, thing: usize, row: &DocRow) -> Result<(), String> {
        let t = &self.things[thing];
        let doc: Value = serde_json::from_str(&row.doc).unwrap();
        let custody = &doc["custody"];
        let person = |i: usize| json!(self.people[i].id);
        let inside = t.inside.map(|p| match self.things[p].piece {
            Piece::Package(id) => id,
            Piece::Item(_) => unreachable!("items hold nothing"),
        });
        must!(
            custody.get("inside").cloned().unwrap_or(Value::Null) == json!(inside),
            "{}: inside {} for {inside:?}",
            t.piece,
            custody["inside"]
        );
        must!(
            row.inside == inside.map(|p| Subject::Package(p).to_string()),
            "{}: its row says inside {:?}",
            t.piece,
            row.inside
        );
        if t.inside.is_none() {
            // One holder; a place or none.
            let holder = &custody["holder"];
            let (key, place) = match t.has {
                Has::Person(p) => {
                    must!(
                        holder["person"] == person(p),
                        "{}: held by {holder}",
                        t.piece
                    );
                    (Subject::Person(self.people[p].id).to_string(), None)
                }
                Has::Place(p) => {
                    let id = self.places[p].id;
                    must!(
                        holder["place"] == json!(id),
                        "{}: held by {holder}",
                        t.piece
                    );
                    let key = Subject::Place(id).to_string();
                    (key.clone(), Some(key))
                }
                Has::Outside => ("outside".into(), None),
                Has::Nobody => ("disposed".into(), None),
            };
            let said = (row.holder.clone(), row.place.clone());
            must!(
                said == (Some(key), place),
                "{}: {said:?} for {:?}",
                t.piece,
                t.has
            );
        } else {
            must!(
                row.holder.is_none() && row.place.is_none(),
                "{}: two holders",
                t.piece
            );
        }
        let offer = custody
            .get("offer")
            .map(|o| (o["by"].clone(), o["to"].clone()));
        let expected = t.offer.map(|(by, to)| (person(by), person(to)));
        must!(
            offer == expected,
            "{}: offer {offer:?} for {expected:?}",
            t.piece
        );
        must!(
            row.active == (t.has != Has::Nobody),
            "{}: active {}",
            t.piece,
            row.active
        );
        let ending = custody
            .get("disposition")
            .map(|d| d.get("executed").is_some());
        let expected = t.ending.map(|e| matches!(e, Ending::Done { .. }));
        must!(
            ending == expected,
            "{}: disposition {ending:?} for {expected:?}",
            t.piece
        );
        let list = |name: &str| doc[name].as_array().cloned().unwrap_or_default();
        match t.piece {
            Piece::Item(_) => {
                let standing = list("holds")
                    .iter()
                    .filter(|h| h.get("lifted_at").is_none())
                    .count();
                let expected = t.holds.iter().filter(|h| **h).count();
                must!(
                    standing == expected,
                    "{}: {standing} holds for {expected}",
                    t.piece
                );
                self.item_agrees(thing, &doc)?;
            }
            Piece::Package(_) => {
                let last = list("seals").pop().filter(|s| s.get("cut_at").is_none());
                let seal = last.map(|s| s["number"].as_str().unwrap().to_owned());
                must!(
                    seal == t.seal,
                    "{}: seal {seal:?} for {:?}",
                    t.piece,
                    t.seal
                );
                let said = list("contents");
                let contents: BTreeSet<String> = said.iter().map(Value::to_string).collect();
                must!(
                    contents.len() == said.len(),
                    "{}: something twice in it",
                    t.piece
                );
                let expected = self.contents(thing);
                let expected = expected
                    .into_iter()
                    .map(|c| json!(self.things[c].piece).to_string());
                must!(
                    contents == expected.collect(),
                    "{}: holds {contents:?}",
                    t.piece
                );
                self.package_agrees(thing, &doc)?;
            }
        }
        Ok(())
    }
}
