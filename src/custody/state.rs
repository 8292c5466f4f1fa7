//! The state that decisions are made on: people, places, cases, marks, items and packages as the events left them.
//!
//! A [`State`] holds only what was loaded. [`State::wants`] says what a command still needs, so that a store can load it
//! first; what was asked for and does not exist is remembered as absent.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use chrono::{DateTime, FixedOffset};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::command::{Act, Actor, Command};
use super::count::Count;
use super::disposition::{Disposition, Method};
use super::expungement::Expunged;
use super::finding::{Answer, FindingKey};
use super::hold::{self, Hold};
use super::image;
use super::package::{MAX_DEPTH, seal_number};
use crate::ids::{
    CaseId, Code, CountId, Digest, ItemId, MarkId, PackageId, PersonId, Piece, PlaceId, SceneId,
    Seq, Subject,
};
use crate::imaging::recipe::Recipe;
use crate::imaging::resolution::Scale;
use crate::keeping::fitting::Sides;
use crate::keeping::{KeepNeeds, Moments, StockLine};
use crate::people::Role;

/// A person with an account.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Person {
    /// Identifier.
    pub id: PersonId,
    /// The name they sign in with.
    pub user_name: String,
    /// Full name.
    pub name: String,
    /// Staff or badge number.
    pub number: String,
    /// Roles.
    pub roles: BTreeSet<Role>,
    /// Whether the account is switched on.
    pub active: bool,
    /// What they carry, in the order in which it was put in.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub kit: Vec<super::kit::KitEntry>,
}

/// A scene of a case.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Scene {
    /// Identifier.
    pub id: SceneId,
    /// Short name.
    pub name: String,
    /// Address or description of the place.
    pub address: String,
}

/// A case.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Case {
    /// Identifier.
    pub id: CaseId,
    /// The agency's case number.
    pub number: String,
    /// Title.
    pub title: String,
    /// Offence.
    pub offence: String,
    /// Who opened it.
    pub opened_by: Option<PersonId>,
    /// When.
    pub opened_at: DateTime<FixedOffset>,
    /// Whether only those assigned may see it.
    pub restricted: bool,
    /// Who is assigned.
    pub assigned: BTreeSet<PersonId>,
    /// Scenes, in the order in which they were opened.
    pub scenes: Vec<Scene>,
    /// How many marks, items and packages were numbered so far.
    pub marks: u32,
    /// Items numbered so far.
    pub items: u32,
    /// Packages numbered so far.
    pub packages: u32,
    /// Every hold that was ever placed on the whole case.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<Hold>,
    /// How long its evidence is kept, once somebody has said so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retention: Option<super::retention::Retention>,
    /// Exhibit numbers that an item of it has or had, as they are compared.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub exhibits: BTreeMap<String, ItemId>,
    /// The hand-over sheets that were printed of it, oldest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sheets: Vec<super::sheet::PaperSheet>,
    /// Every order to expunge that was put on the record.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub expungements: Vec<super::expungement::Expungement>,
    /// That the whole case was expunged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expunged: Option<Expunged>,
}

impl Case {
    /// Whether this person may see the case: anybody with the role while it is open to all, only those assigned once it
    /// is restricted.
    #[must_use]
    pub fn seen_by(&self, person: Option<PersonId>) -> bool {
        !self.restricted || person.is_none_or(|p| self.assigned.contains(&p))
    }
}

/// A photograph or scan: which bytes, and how it was taken.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ImageRef {
    /// SHA-256 of the original bytes.
    pub digest: Digest,
    /// The file's name as it came.
    pub name: String,
    /// Media type.
    pub media_type: String,
    /// Bytes.
    pub bytes: u64,
    /// Width in pixels, where it could be read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width: Option<u32>,
    /// Height in pixels.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub height: Option<u32>,
    /// View steps, by name.
    pub view: Vec<String>,
    /// `direct`, `reversed` or `unknown`.
    pub reads: String,
    /// Why, in a sentence.
    pub because: String,
    /// What the file says of itself.
    #[serde(
        default,
        skip_serializing_if = "crate::imaging::metadata::FileSays::is_silent"
    )]
    pub says: crate::imaging::metadata::FileSays,
    /// How the camera's clock differs from the time stated, where that is to be looked into.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock_note: Option<String>,
    /// When it was taken.
    pub taken_at: DateTime<FixedOffset>,
    /// How its density is known; none while it is not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<Scale>,
    /// Working copies made from it, oldest first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub copies: Vec<CopyRef>,
    /// What an examiner said last of its value; none while nobody did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub assessed: Option<Assessed>,
}

/// What an examiner said of a picture's value for comparison.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Assessed {
    /// The value.
    pub value: super::value::Value,
    /// Why.
    pub reason: String,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// By whom.
    pub by: PersonId,
    /// Their name, as it was then.
    pub examiner: String,
}

/// A working copy of a picture: which bytes, and how they were made from the original.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CopyRef {
    /// SHA-256 of the copy's bytes, a PNG.
    pub digest: Digest,
    /// What was done to the original.
    pub recipe: Recipe,
    /// The scale by which it was made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<Scale>,
    /// The picture's view steps when it was made.
    pub view: Vec<String>,
    /// Pixels across.
    pub width: u32,
    /// Pixels down.
    pub height: u32,
    /// Whether it has no colour.
    pub grey: bool,
    /// Pixels an inch at 1:1, where that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ppi: Option<u32>,
    /// `direct`, `reversed` or `unknown`, by the picture's view steps as they are now and the recipe.
    pub reads: String,
    /// Bytes.
    pub bytes: u64,
    /// SHA-256 of its pixels, whatever compressed them.
    pub pixels: Digest,
    /// When it was made.
    pub made_at: DateTime<FixedOffset>,
    /// By whom.
    pub by: Option<PersonId>,
}

/// How a mark was developed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Development {
    /// Processing code of the open standard, three characters.
    pub method: String,
    /// Note.
    pub note: String,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// By whom.
    pub by: Option<PersonId>,
}

/// A mark on a surface.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Mark {
    /// Identifier.
    pub id: MarkId,
    /// Case.
    pub case: CaseId,
    /// Number in the case: M1, M2 …
    pub number: u32,
    /// What was noted, as amended.
    pub noted: super::mark::MarkNoted,
    /// When it was noted.
    pub noted_at: DateTime<FixedOffset>,
    /// By whom.
    pub noted_by: Option<PersonId>,
    /// How it was developed, in order.
    pub developments: Vec<Development>,
    /// Photographs of the mark.
    pub images: Vec<ImageRef>,
    /// Items recovered from it.
    pub items: Vec<ItemId>,
    /// The answers that stand to its findings.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub answers: Vec<Answer>,
    /// That it was expunged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expunged: Option<Expunged>,
}

/// Who has a thing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Holder {
    /// A person with an account.
    Person {
        /// Who.
        person: PersonId,
    },
    /// A place in the storeroom.
    Place {
        /// Where.
        place: PlaceId,
    },
    /// Somebody without an account.
    Outside {
        /// Name.
        name: String,
        /// Organisation.
        organisation: String,
    },
    /// Nobody any more: it was disposed of.
    Disposed {
        /// How it ended.
        method: Method,
    },
}

impl Holder {
    /// The place, where it stands in one.
    #[must_use]
    pub fn place(&self) -> Option<PlaceId> {
        match self {
            Self::Place { place } => Some(*place),
            _ => None,
        }
    }

    /// `person:…`, `place:…` or `outside`, as an index column holds it.
    #[must_use]
    pub fn key(&self) -> String {
        match self {
            Self::Person { person } => Subject::Person(*person).to_string(),
            Self::Place { place } => Subject::Place(*place).to_string(),
            Self::Outside { .. } => "outside".into(),
            Self::Disposed { .. } => "disposed".into(),
        }
    }
}

/// An open offer: released, not yet received.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Offer {
    /// Who released.
    pub by: PersonId,
    /// To whom.
    pub to: PersonId,
    /// When.
    pub at: DateTime<FixedOffset>,
    /// Why.
    pub purpose: String,
    /// By whose authority; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub authority: String,
    /// Due back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_at: Option<DateTime<FixedOffset>>,
    /// Whether it leaves the storeroom by this offer.
    pub from_place: bool,
}

/// Something is out of the storeroom. The loan stands on the outermost piece: what goes into a package brings its loan
/// to it, and what comes out takes it along.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Loan {
    /// Why.
    pub purpose: String,
    /// By whose authority it went to a colleague; empty for none, and for what is outside (see [`Out::authority`]).
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub authority: String,
    /// Due back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_at: Option<DateTime<FixedOffset>>,
    /// Since when.
    pub since: DateTime<FixedOffset>,
    /// Lent by a hand-out to somebody outside alone; taking it back ends it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub outside: bool,
}

/// How something went to somebody without an account.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Out {
    /// When.
    pub at: DateTime<FixedOffset>,
    /// By whose authority; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub authority: String,
    /// The carrier's tracking number; empty for none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub tracking: String,
    /// Its weight in milligrams, where it was weighed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weight_mg: Option<u64>,
    /// The scale.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<String>,
}

/// Where custody stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Custody {
    /// Who has it, while it is not inside a package.
    pub holder: Holder,
    /// The package it is in; then the outermost package's holder has it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inside: Option<PackageId>,
    /// The open offer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offer: Option<Offer>,
    /// Out of the storeroom.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loan: Option<Loan>,
    /// What is known of how it went outside, while it is there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub out: Option<Out>,
    /// How far its disposition is, once it is authorised.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub disposition: Option<Disposition>,
    /// The claimed time of the last custody event.
    pub last_at: DateTime<FixedOffset>,
}

impl Custody {
    /// Custody begins: with whoever recovered an item or made a package.
    #[must_use]
    pub fn begin(person: PersonId, at: DateTime<FixedOffset>) -> Self {
        Self {
            holder: Holder::Person { person },
            inside: None,
            offer: None,
            loan: None,
            out: None,
            disposition: None,
            last_at: at,
        }
    }
}

/// An item of evidence.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Item {
    /// Identifier.
    pub id: ItemId,
    /// Case.
    pub case: CaseId,
    /// The mark it was recovered from.
    pub mark: MarkId,
    /// Number in the case.
    pub number: u32,
    /// The code on its label.
    pub code: Code,
    /// The recovery, as amended.
    pub recovered: super::item::ItemRecovered,
    /// When it was recovered.
    pub recovered_at: DateTime<FixedOffset>,
    /// By whom.
    pub recovered_by: Option<PersonId>,
    /// Pictures of the item.
    pub images: Vec<ImageRef>,
    /// Since when it is dry, where it was recovered wet.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dried: Option<super::drying::Dried>,
    /// Every hold that was ever placed on it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub holds: Vec<Hold>,
    /// What was taken from it, each an item of its own.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub samples: Vec<ItemId>,
    /// What examinations used up of it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub consumed: Vec<super::consumed::Consumed>,
    /// The answers that stand to its findings.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub answers: Vec<Answer>,
    /// Every exhibit number that it ever had; the last one holds.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub exhibits: Vec<super::exhibit::Exhibit>,
    /// What the former record said, where it was taken over from one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub imported: Option<Box<super::import::ItemImported>>,
    /// What was said at the counter, where it was brought in without a record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub brought: Option<Box<super::brought::Brought>>,
    /// Where custody stands.
    pub custody: Custody,
    /// When it first came onto a shelf, by itself or in a package; none of what was imported.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shelved_at: Option<DateTime<FixedOffset>>,
    /// That it was expunged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expunged: Option<Expunged>,
}

impl Item {
    /// How it came, where this ledger saw nothing of what was before: `imported`, `brought in`.
    #[must_use]
    pub fn came(&self) -> Option<&'static str> {
        let imported = self.imported.is_some().then_some("imported");
        imported.or(self.brought.is_some().then_some("brought in"))
    }

    /// What it asks for, by its record: since it is dry, or since its recovery. None on old records.
    #[must_use]
    pub fn needs(&self) -> Option<&KeepNeeds> {
        let dried = self.dried.as_ref().and_then(|d| d.needs.as_deref());
        dried.or(self.recovered.needs.as_deref())
    }

    /// Whether it is wet by its record.
    #[must_use]
    pub fn is_wet(&self) -> bool {
        self.recovered.wet && self.dried.is_none()
    }

    /// The times of it that rules ask about, as claimed.
    #[must_use]
    pub fn moments(&self) -> Moments {
        Moments {
            since: self.recovered.set_at.unwrap_or(self.recovered_at),
            recovered: self.recovered_at,
            photographed: self.images.iter().map(|i| i.taken_at).min(),
            dry: self.dried.as_ref().map(|d| d.at),
        }
    }
}

/// A seal on a package.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SealOn {
    /// Number.
    pub number: String,
    /// Applied.
    pub at: DateTime<FixedOffset>,
    /// By whom.
    pub by: Option<PersonId>,
    /// Cut, when it was opened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cut_at: Option<DateTime<FixedOffset>>,
    /// Why it was opened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cut_reason: Option<String>,
}

/// A package.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Package {
    /// Identifier.
    pub id: PackageId,
    /// Case.
    pub case: CaseId,
    /// Number in the case: P1, P2 …
    pub number: u32,
    /// The code on its label.
    pub code: Code,
    /// Kind of container, by the trade rules' identifier.
    pub container: String,
    /// Inside length, width and height in millimetres, where they are on record.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inner_mm: Option<Sides>,
    /// What is in it now.
    pub contents: Vec<Piece>,
    /// Every seal it ever had; the last one without a cut is on it now.
    pub seals: Vec<SealOn>,
    /// The answers that stand to its findings.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub answers: Vec<Answer>,
    /// Where custody stands.
    pub custody: Custody,
    /// The packages whose contents it was made of, where it was made by packing anew.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub repacked_from: Vec<PackageId>,
    /// The packages into which its contents went.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub repacked_into: Vec<PackageId>,
    /// Since when nothing goes into it any more: it was emptied by packing anew.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub closed_at: Option<DateTime<FixedOffset>>,
    /// That it was expunged.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub expunged: Option<Expunged>,
}

impl Package {
    /// The seal that is on it now.
    #[must_use]
    pub fn seal(&self) -> Option<&SealOn> {
        self.seals.last().filter(|s| s.cut_at.is_none())
    }
}

/// A piece as the keep rules see it: what stands in what.
#[derive(Clone, Debug)]
pub enum Thing<'a> {
    /// An item.
    Item(&'a Item),
    /// A package, with what is in it.
    Package {
        /// Kind of container.
        container: &'a str,
        /// Its inside in millimetres, where it is on record.
        inner_mm: Option<Sides>,
        /// What is in it.
        contents: Vec<Thing<'a>>,
    },
}

/// A place in the storeroom.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Place {
    /// Identifier.
    pub id: PlaceId,
    /// The code on its label.
    pub code: Code,
    /// What was added.
    pub added: super::place::PlaceAdded,
    /// The boxes in stock there, by kind.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stock: Vec<StockLine>,
    /// The ranges of seals that were delivered there, in the order in which they came.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub seals: Vec<super::seal_stock::SealRange>,
    /// What loggers there have shown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub climate_log: Option<Box<super::climate_log::ClimateLog>>,
    /// How many packages and loose items it takes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub capacity: Option<u32>,
    /// That two people are needed there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub two_person: Option<super::two_person::TwoPerson>,
    /// How many packages and loose items stand there, those in the places in it left out.
    #[serde(default, skip_serializing_if = "super::capacity::is_none")]
    pub standing: u32,
    /// What stands there and in the places in it.
    #[serde(default, skip_serializing_if = "super::capacity::Fill::is_empty")]
    pub fill: super::capacity::Fill,
}

/// What a state can be asked for.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Key {
    /// A subject's own record.
    Subject(Subject),
    /// A person by user name.
    UserName(String),
    /// A case by number.
    CaseNumber(String),
    /// A place by name.
    PlaceName(String),
    /// A package by a seal it has or had.
    Seal(String),
    /// An event, for an amendment.
    Event(Seq),
    /// What bears a code.
    Code(Code),
    /// What stands in a place, for a count.
    StoredIn(PlaceId),
    /// The places beside a place, for whoever finds no room in it.
    Near(PlaceId),
    /// The findings of an item, a package or a mark, for an answer to one of them.
    Findings(Subject),
    /// Every event of a case, for an expungement.
    Record(CaseId),
}

/// An event as an amendment needs it.
#[derive(Clone, Debug, PartialEq)]
pub struct PastEvent {
    /// Kind.
    pub kind: String,
    /// Who recorded it.
    pub actor: Option<PersonId>,
    /// Its case.
    pub case: Option<CaseId>,
    /// What it is about.
    pub subjects: Vec<Subject>,
    /// Its payload; what is left of it where it was expunged.
    pub fields: BTreeMap<String, serde_json::Value>,
    /// Whether it was expunged.
    pub expunged: bool,
}

impl Key {
    /// Whether what it tells is not carried on by events, so that it has to be asked for again.
    #[must_use]
    pub fn is_fleeting(&self) -> bool {
        matches!(
            self,
            Self::Event(_)
                | Self::StoredIn(_)
                | Self::Near(_)
                | Self::Findings(_)
                | Self::Record(_)
        )
    }
}

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
    pub marks: HashMap<MarkId, Mark>,
    /// Items.
    pub items: HashMap<ItemId, Item>,
    /// Packages.
    pub packages: HashMap<PackageId, Package>,
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

    /// What this command still needs. Ask again after loading, until the answer is empty: what a package is in and what
    /// is in it are found step by step. The depth of packages bounds the rounds.
    #[must_use]
    pub fn wants(&self, actor: &Actor, command: &Command) -> Vec<Key> {
        let mut all = BTreeSet::new();
        for id in actor.id.into_iter().chain(actor.beside) {
            all.insert(Key::Subject(Subject::Person(id)));
        }
        let mut pieces: Vec<Piece> = command.act.pieces();
        // Whether custody of an item has ended is asked of what is around it.
        if let Act::AddImage(image::AddImage { of, .. })
        | Act::PlaceHold(hold::PlaceHold { of, .. })
        | Act::LiftHold(hold::LiftHold { of, .. }) = &command.act
            && let Subject::Item(id) = of
        {
            pieces.push(Piece::Item(*id));
        }
        let mut ask = |s: Subject| {
            all.insert(Key::Subject(s));
        };
        match &command.act {
            Act::AddPerson(x) => {
                all.insert(Key::UserName(x.user_name.clone()));
            }
            Act::SetRoles(x) => ask(Subject::Person(x.person)),
            Act::SetActive(x) => ask(Subject::Person(x.person)),
            Act::OpenCase(x) => {
                all.insert(Key::CaseNumber(x.number.clone()));
            }
            Act::OpenScene(x) => ask(Subject::Case(x.case)),
            Act::Assign(x) => {
                ask(Subject::Case(x.case));
                ask(Subject::Person(x.person));
            }
            Act::Restrict(x) => ask(Subject::Case(x.case)),
            Act::NoteMark(x) => ask(Subject::Case(x.case)),
            Act::DevelopMark(x) => ask(Subject::Mark(x.mark)),
            Act::AddImage(x) => ask(x.of),
            Act::SetView(x) => ask(x.of),
            Act::SetScale(x) => ask(x.of),
            Act::AddCopy(x) => ask(x.of),
            Act::AssessValue(x) => ask(x.of),
            Act::AfisExported(x) => {
                ask(x.of);
                ask(x.shown);
            }
            Act::Recover(x) => ask(Subject::Mark(x.mark)),
            Act::Pack(x) => {
                ask(Subject::Case(x.case));
                if let Some(from) = &x.stock {
                    ask(Subject::Place(from.place));
                }
            }
            Act::Repack(x) => {
                if let Some(from) = &x.stock {
                    ask(Subject::Place(from.place));
                }
                for piece in x.contents.iter().take(super::package::MAX_CONTENTS) {
                    ask((*piece).into());
                }
                let seal = seal_number(&x.seal);
                if !seal.is_empty() {
                    all.insert(Key::Seal(seal));
                }
            }
            Act::NoteDry(x) => {
                ask(Subject::Item(x.item));
                if let Some(item) = self.items.get(&x.item) {
                    ask(Subject::Mark(item.mark));
                }
            }
            Act::StockSet(x) => ask(Subject::Place(x.place)),
            Act::StockTake(x) => ask(Subject::Place(x.place)),
            Act::SealsDeliver(x) => ask(Subject::Place(x.place)),
            Act::SealsIssue(x) => {
                ask(Subject::Place(x.place));
                ask(Subject::Person(x.to));
            }
            Act::SealsSpoil(x) => {
                ask(Subject::Place(x.place));
                all.extend(super::seal_stock::looked_up(x).into_iter().map(Key::Seal));
            }
            Act::LogClimate(x) => ask(Subject::Place(x.place)),
            Act::Seal(x) => {
                all.insert(Key::Seal(seal_number(&x.number)));
            }
            Act::Release(x) => ask(Subject::Person(x.to)),
            Act::PutIn(_) | Act::TakeOut(_) | Act::Open(_) | Act::Withdraw(_) => {}
            Act::Receive(_) | Act::Refuse(_) | Act::HandOut(_) | Act::Consume(_) => {}
            Act::TakeBack(x) => {
                for absent in x.absent.iter().take(super::package::MAX_CONTENTS) {
                    ask(absent.piece.into());
                }
            }
            Act::TakeCharge(_) | Act::Fetch(_) | Act::KitAdd(_) | Act::KitRemove(_) => {}
            Act::Intake(x) => {
                for line in x.lines.iter().take(super::intake::MAX_LINES) {
                    pieces.extend(line.piece(self));
                    all.extend(line.code().map(Key::Code));
                }
            }
            Act::Import(x) => {
                for row in x.rows.iter().take(super::import::MAX_ROWS) {
                    ask(Subject::Item(row.item));
                    if let Some(case) = self.case_numbers.get(&row.case) {
                        ask(Subject::Case(*case));
                    }
                    if let Some(place) = self.place_names.get(&row.place) {
                        ask(Subject::Place(*place));
                    }
                }
                for row in x.rows.iter().take(super::import::MAX_ROWS) {
                    all.insert(Key::CaseNumber(row.case.clone()));
                    if !row.place.is_empty() {
                        all.insert(Key::PlaceName(row.place.clone()));
                    }
                    let seal = seal_number(&row.seal);
                    if !seal.is_empty() {
                        all.insert(Key::Seal(seal));
                    }
                }
            }
            Act::BringIn(x) => {
                let number = x.case.trim();
                if let Some(case) = self.case_numbers.get(number) {
                    ask(Subject::Case(*case));
                }
                all.insert(Key::CaseNumber(number.to_owned()));
            }
            Act::AddPlace(x) => {
                all.insert(Key::PlaceName(x.name.clone()));
                if let Some(parent) = x.parent {
                    all.insert(Key::Subject(Subject::Place(parent)));
                }
            }
            Act::SetCapacity(x) => ask(Subject::Place(x.place)),
            Act::MarkTwoPerson(x) => ask(Subject::Place(x.place)),
            Act::Store(x) => {
                ask(Subject::Place(x.place));
                if let Some(over) = &x.overridden {
                    ask(Subject::Person(over.by));
                }
                all.extend(self.near_wanted(x.place, 1));
            }
            Act::StoreMany(x) => {
                ask(Subject::Place(x.place));
                all.extend(self.near_wanted(x.place, x.codes.len()));
                pieces.extend(x.pieces(self));
                all.extend(x.codes().map(Key::Code));
            }
            Act::BeginCount(x) => {
                for place in x.places.iter().take(super::count::MAX_PLACES) {
                    ask(Subject::Place(*place));
                    // What the record says stands there must be known whole.
                    for piece in self.stored.get(place).into_iter().flatten() {
                        ask((*piece).into());
                    }
                }
                let places = x.places.iter().take(super::count::MAX_PLACES);
                all.extend(places.map(|p| Key::StoredIn(*p)));
            }
            Act::ScanCodes(x) => {
                ask(Subject::Count(x.count));
                let codes = x.codes.iter().take(super::count::MAX_BATCH);
                all.extend(codes.filter_map(|c| c.parse().ok()).map(Key::Code));
            }
            Act::EndCount(x) => {
                ask(Subject::Count(x.count));
                if let Some(count) = self.counts.get(&x.count) {
                    for piece in count.expected.iter().chain(&count.seen) {
                        self.ask_outward(*piece, &mut ask);
                    }
                }
            }
            Act::ResolveDifference(x) => {
                ask(Subject::Count(x.count));
                if let Some(piece) = self.counts.get(&x.count).and_then(|c| c.piece(x.number)) {
                    ask(piece.into());
                }
            }
            Act::PlaceHold(x) => ask(x.of),
            Act::LiftHold(x) => ask(x.of),
            Act::SetExhibit(x) => {
                pieces.push(Piece::Item(x.item));
                // A refusal names the item that has the number.
                let case = self
                    .items
                    .get(&x.item)
                    .and_then(|i| self.cases.get(&i.case));
                let other = case.and_then(|c| c.exhibits.get(&super::exhibit::key(&x.number)));
                if let Some(other) = other {
                    ask(Subject::Item(*other));
                }
            }
            Act::SetRetention(x) => ask(Subject::Case(x.case)),
            Act::Dispose(x) => ask(Subject::Person(x.witness)),
            Act::AuthoriseDisposition(_) | Act::RevokeDisposition(_) => {}
            Act::WitnessDisposition(_) | Act::DeclineDisposition(_) => {}
            Act::Amend(x) => {
                all.insert(Key::Event(x.event));
            }
            Act::AnswerFinding(x) => {
                ask(x.finding.of);
                all.insert(Key::Findings(x.finding.of));
                all.extend(x.evidence.map(Key::Event));
            }
            Act::LabelPrinted(x) => ask(x.of),
            Act::ReportPrinted(x) | Act::FormPrinted(x) => ask(x.of),
            Act::Disclose(x) => ask(Subject::Case(x.case)),
            Act::CaseRead(x) => ask(Subject::Case(x.case)),
            Act::WithdrawExpungement(x) => ask(Subject::Case(x.case)),
            Act::OrderExpungement(x) => {
                ask(x.of);
                if let Subject::Case(case) = x.of
                    && !x.events.is_empty()
                {
                    all.insert(Key::Record(case));
                }
            }
            Act::CarryOutExpungement(x) => {
                ask(Subject::Case(x.case));
                // What each event is about, and what is around that: whether its custody has ended.
                let record = self.records.get(&x.case).into_iter().flatten();
                for past in record.filter_map(|seq| self.events.get(seq)) {
                    for subject in &past.subjects {
                        match subject {
                            Subject::Item(id) => pieces.push(Piece::Item(*id)),
                            Subject::Package(id) => pieces.push(Piece::Package(*id)),
                            Subject::Mark(_) => ask(*subject),
                            _ => {}
                        }
                    }
                }
                all.insert(Key::Record(x.case));
            }
        }
        // A new thing must not exist yet under the command's identifier.
        if let Some(new) = command.creates() {
            all.insert(Key::Subject(new));
        }
        if let Act::AnswerFinding(x) = &command.act
            && let Some(past) = x.evidence.and_then(|seq| self.events.get(&seq))
        {
            all.extend(past.case.map(|c| Key::Subject(Subject::Case(c))));
        }
        if let Act::Amend(x) = &command.act
            && let Some(past) = self.events.get(&x.event)
        {
            all.extend(past.subjects.iter().map(|s| Key::Subject(*s)));
            all.extend(past.case.map(|c| Key::Subject(Subject::Case(c))));
        }
        // Close over packages: what holds them, and what they hold.
        let mut seen: HashSet<Piece> = HashSet::new();
        while let Some(piece) = pieces.pop() {
            if !seen.insert(piece) {
                continue;
            }
            all.insert(Key::Subject(piece.into()));
            // Facts and refusals name who has it and who released it to whom.
            if let Some(custody) = self.custody(piece) {
                match &custody.holder {
                    Holder::Person { person } => {
                        all.insert(Key::Subject(Subject::Person(*person)));
                    }
                    Holder::Place { place } => {
                        all.insert(Key::Subject(Subject::Place(*place)));
                    }
                    Holder::Outside { .. } | Holder::Disposed { .. } => {}
                }
                if let Some(disposition) = &custody.disposition {
                    let done = disposition.executed.iter().flat_map(|e| [e.by, e.witness]);
                    for person in done.chain([disposition.by]) {
                        all.insert(Key::Subject(Subject::Person(person)));
                    }
                }
                for person in custody.offer.iter().flat_map(|o| [o.by, o.to]) {
                    all.insert(Key::Subject(Subject::Person(person)));
                }
            }
            match piece {
                Piece::Item(id) => {
                    if let Some(item) = self.items.get(&id) {
                        pieces.extend(item.custody.inside.map(Piece::Package));
                    }
                }
                Piece::Package(id) => {
                    if let Some(package) = self.packages.get(&id) {
                        pieces.extend(package.custody.inside.map(Piece::Package));
                        pieces.extend(&package.contents);
                    }
                }
            }
        }
        let subjects: Vec<Key> = all.iter().cloned().collect();
        for key in &subjects {
            // What a place sums up, and whether two people are needed there, stands on those around it.
            if let Key::Subject(Subject::Place(id)) = key {
                for parent in self.places_around(*id).filter_map(|p| p.added.parent) {
                    all.insert(Key::Subject(Subject::Place(parent)));
                }
            }
            if let Key::Subject(s) = key
                && let Some(case) = self.case_of(*s)
            {
                all.insert(Key::Subject(Subject::Case(case)));
            }
        }
        all.retain(|k| !self.known.contains(k));
        all.into_iter().collect()
    }

    /// Where so many things find no room in a place: the places beside it.
    fn near_wanted(&self, place: PlaceId, more: usize) -> Vec<Key> {
        let more = u32::try_from(more).unwrap_or(u32::MAX);
        let full = self.places.get(&place).is_some_and(|p| !p.takes(more));
        if !full {
            return Vec::new();
        }
        let near = self.near.get(&place).into_iter().flatten();
        near.map(|p| Key::Subject(Subject::Place(*p)))
            .chain([Key::Near(place)])
            .collect()
    }

    /// A piece, what it is in, and who has that: what a count holds against the record.
    fn ask_outward(&self, piece: Piece, ask: &mut impl FnMut(Subject)) {
        let mut at = piece;
        for _ in 0..=MAX_DEPTH {
            ask(at.into());
            let Some(custody) = self.custody(at) else {
                return;
            };
            match (custody.inside, &custody.holder) {
                (Some(package), _) => at = Piece::Package(package),
                (None, Holder::Person { person }) => return ask(Subject::Person(*person)),
                (None, Holder::Place { place }) => return ask(Subject::Place(*place)),
                (None, _) => return,
            }
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
