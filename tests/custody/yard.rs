//! A ledger in memory with one of everything: people of every role, three cases, things in every state of custody. It
//! is decided on by the trade rules compiled into the program.

use std::collections::BTreeSet;

use chrono::{DateTime, Duration, TimeZone, Utc};
use liftledger::app::{Stage, StageError};
use liftledger::custody::afis::AfisExported;
use liftledger::custody::capacity::SetCapacity;
use liftledger::custody::copy::AddCopy;
use liftledger::custody::finding::{AnswerFinding, FindingKey};
use liftledger::custody::item::Recover;
use liftledger::custody::kit::KitAdd;
use liftledger::custody::mark::{DevelopMark, MarkKind, NoteMark};
use liftledger::custody::package::{Pack, Seal};
use liftledger::custody::place::{AddPlace, PlaceKind, Store};
use liftledger::custody::state::{Key, PastEvent};
use liftledger::custody::stock::{StockSet, StockTake};
use liftledger::custody::two_person::MarkTwoPerson;
use liftledger::custody::value::{AssessValue, Value};
use liftledger::custody::{Act, Actor, Command, Signed, State, case, hand_over, image, person};
use liftledger::ids::{
    CaseId, Digest, ItemId, MarkId, PackageId, PersonId, Piece, PlaceId, SceneId, Subject,
};
use liftledger::imaging::recipe::Recipe;
use liftledger::imaging::resolution::{Scale, Span};
use liftledger::ledger::event::{Event, Source};
use liftledger::ledger::merkle::Frontier;
use liftledger::people::Role;
use liftledger::trade::TradeRules;
use uuid::Uuid;

/// Who is who.
pub struct People {
    pub admin: PersonId,
    pub tech: PersonId,
    pub custodian: PersonId,
    pub second: PersonId,
    pub examiner: PersonId,
    pub supervisor: PersonId,
    pub auditor: PersonId,
    pub off: PersonId,
}

/// What lies where.
pub struct Things {
    pub case: CaseId,
    pub scene: SceneId,
    pub mark: MarkId,
    /// Lifts in the technician's hands.
    pub lift: ItemId,
    pub other_lift: ItemId,
    /// A cast in `box_offered`.
    pub cast: ItemId,
    /// A lift in `envelope`.
    pub inner: ItemId,
    /// A lift on the shelf.
    pub shelved: ItemId,
    /// A lift outside.
    pub outside: ItemId,
    /// A cast of 90 by 30 by 12 mm, a stone cast that set a moment ago, and a wet thing, in the technician's hands.
    pub measured: ItemId,
    pub stone: ItemId,
    pub wet: ItemId,
    /// A lift of the second case, in the technician's hands.
    pub of_other: ItemId,
    /// The restricted case and a lift of it; only the technician and the supervisor are assigned.
    pub closed_case: CaseId,
    pub closed_mark: MarkId,
    pub closed_lift: ItemId,
    /// A box sealed with 004217, on offer from the technician to the custodian.
    pub box_offered: PackageId,
    /// A box sealed with 004218, in the technician's hands.
    pub box_sealed: PackageId,
    /// An open envelope with `inner` in it, in the technician's hands.
    pub envelope: PackageId,
    /// An empty box in the technician's hands.
    pub empty: PackageId,
    pub shelf: PlaceId,
    pub window: PlaceId,
    pub marked_fridge: PlaceId,
    /// A bin that takes one thing, with `binned` in it; and beside it one that takes two, empty. Both stand in a rack.
    pub rack: PlaceId,
    pub full_bin: PlaceId,
    pub free_bin: PlaceId,
    pub binned: ItemId,
    /// A cage for two people, and a shelf in it.
    pub cage: PlaceId,
    pub cage_shelf: PlaceId,
}

pub struct Yard {
    pub stage: Stage,
    pub rules: TradeRules,
    pub events: Vec<Event>,
    pub now: DateTime<Utc>,
    pub people: People,
    pub things: Things,
}

/// A command of now.
pub fn command(act: Act) -> Command {
    Command::now(act)
}

pub fn actor(state: &State, id: PersonId) -> Actor {
    Actor {
        id: Some(id),
        roles: state.people[&id].roles.clone(),
        signed: Signed::Password,
        beside: None,
    }
}

/// Everything that was loaded, and nothing else, is the same.
pub fn same(a: &State, b: &State) -> bool {
    a.people == b.people
        && a.places == b.places
        && a.cases == b.cases
        && a.marks == b.marks
        && a.items == b.items
        && a.packages == b.packages
        && a.counts == b.counts
        && a.seals == b.seals
        && a.user_names == b.user_names
        && a.case_numbers == b.case_numbers
        && a.place_names == b.place_names
}

/// A recovery with nothing special about it.
pub fn recover(mark: MarkId, medium: &str, at: DateTime<Utc>) -> Recover {
    Recover {
        mark,
        medium: medium.into(),
        lot: "A7".into(),
        started_at: at.fixed_offset(),
        set_at: None,
        air_c: None,
        card: String::new(),
        description: "from the locker door".into(),
        wet: false,
        biological: false,
        fragile: false,
        sharp: false,
        from_item: None,
        advice: None,
        size_mm: None,
        thickness: None,
        how_viewed: String::new(),
    }
}

pub fn place(name: &str, climate: &str) -> AddPlace {
    AddPlace {
        name: name.into(),
        kind: PlaceKind::Shelf,
        parent: None,
        climate: climate.into(),
        damp: false,
        lit: false,
        hot: false,
        dusty: false,
        on_edge: false,
        stacked: false,
        biohazard_marked: false,
    }
}

pub fn pack(case: CaseId, container: &str, contents: &[Piece]) -> Act {
    Act::Pack(Pack {
        case,
        container: container.into(),
        stock: None,
        inner_mm: None,
        contents: contents.to_vec(),
        note: String::new(),
    })
}

pub fn seal(package: PackageId, number: &str) -> Act {
    Act::Seal(Seal {
        package,
        number: number.into(),
        initialled: true,
    })
}

pub fn release(piece: Piece, to: PersonId) -> Act {
    Act::Release(hand_over::Release {
        piece,
        to,
        purpose: "to the storeroom".into(),
        authority: String::new(),
        due_at: None,
        unsealed_reason: None,
    })
}

pub fn store(piece: Piece, place: PlaceId) -> Store {
    Store {
        piece,
        place,
        overridden: None,
        unsealed_reason: Some("photographed next".into()),
    }
}

pub fn party() -> hand_over::Party {
    hand_over::Party {
        name: "Oda Lunn".into(),
        organisation: "Courier".into(),
        identification: "staff card".into(),
        reference: String::new(),
    }
}

pub fn hand_out(piece: Piece) -> Act {
    Act::HandOut(hand_over::HandOut {
        piece,
        party: party(),
        purpose: "to the laboratory".into(),
        due_at: None,
        unsealed_reason: Some("no seal at hand".into()),
        authority: String::new(),
        tracking: String::new(),
        weighed: None,
    })
}

pub fn add_image(of: impl Into<liftledger::ids::Subject>, digest: u8) -> image::AddImage {
    image::AddImage {
        of: of.into(),
        digest: Digest([digest; 32]),
        name: "IMG_0001.jpg".into(),
        media_type: "image/jpeg".into(),
        bytes: 1000,
        width: None,
        height: None,
        view: vec![],
        says: liftledger::imaging::metadata::FileSays::default(),
    }
}

/// A scale from two points, in tenths of a pixel.
pub fn span(x1: u32, y1: u32, x2: u32, y2: u32, length: &str) -> Scale {
    Scale::Picked {
        first: Span {
            x1,
            y1,
            x2,
            y2,
            length: length.parse().unwrap(),
        },
        second: None,
        picking_tenths: 10,
    }
}

pub fn assess(of: impl Into<liftledger::ids::Subject>, digest: u8) -> Act {
    Act::AssessValue(AssessValue {
        of: of.into(),
        digest: Digest([digest; 32]),
        value: Value::Limited,
        reason: "a third of the core is smudged".into(),
    })
}

pub fn answer(finding: FindingKey) -> Act {
    Act::AnswerFinding(AnswerFinding {
        finding,
        text: "the envelope lay in the locked drawer of the counter".into(),
        evidence: None,
    })
}

/// A hand-off of a picture of `shown`, asked of `of`.
pub fn exported(of: liftledger::ids::Subject, shown: liftledger::ids::Subject, digest: u8) -> Act {
    Act::AfisExported(AfisExported {
        of,
        shown,
        image: Digest([digest; 32]),
        copy: None,
        context: None,
        edition: "2015".into(),
        receiver: "bureau".into(),
        receiver_name: "An invented bureau".into(),
        control: "C-1".into(),
        digest: Digest([0xa5; 32]),
        bytes: 868,
        reads: "direct".into(),
        statement: "The image in the file reads direct.".into(),
        left_out: vec![],
    })
}

pub fn set_view(of: impl Into<liftledger::ids::Subject>, digest: u8, view: &[&str]) -> Act {
    Act::SetView(image::SetView {
        of: of.into(),
        digest: Digest([digest; 32]),
        view: view.iter().map(|s| (*s).to_owned()).collect(),
        reason: "looked at the original again".into(),
    })
}

pub fn set_scale(of: impl Into<liftledger::ids::Subject>, digest: u8, scale: Option<Scale>) -> Act {
    Act::SetScale(image::SetScale {
        of: of.into(),
        digest: Digest([digest; 32]),
        scale,
        reason: String::new(),
    })
}

pub fn add_copy(
    of: impl Into<liftledger::ids::Subject>,
    digest: u8,
    copy: u8,
    recipe: Recipe,
) -> Act {
    Act::AddCopy(AddCopy {
        of: of.into(),
        digest: Digest([digest; 32]),
        copy: Digest([copy; 32]),
        recipe,
        scale: None,
        bytes: 900,
        width: 40,
        height: 30,
        grey: true,
        ppi: None,
        pixels: Digest([copy ^ 0xff; 32]),
    })
}

impl Yard {
    /// Carries a command out half a minute later.
    pub fn send(&mut self, who: PersonId, command: &Command) -> Result<Uuid, StageError> {
        self.now += Duration::seconds(30);
        let actor = actor(&self.stage.state, who);
        let staged = self
            .stage
            .take(&self.rules, &actor, command, Source::Desk, self.now)?;
        self.events.extend(staged.events);
        Ok(command.id.0)
    }

    pub fn act(&mut self, who: PersonId, act: Act) -> Result<Uuid, StageError> {
        self.send(who, &command(act))
    }

    /// The code of the refusal that an act meets.
    pub fn refused(&mut self, who: PersonId, act: Act) -> String {
        match self.act(who, act) {
            Err(StageError::Refused(r)) => r.code,
            other => panic!("should be refused: {other:?}"),
        }
    }

    fn must(&mut self, who: PersonId, act: Act) -> Uuid {
        self.act(who, act).unwrap()
    }

    /// The events as an amendment asks for them.
    pub fn remember_events(&mut self) {
        for e in &self.events {
            let past = PastEvent {
                kind: e.header.kind.clone(),
                actor: e.header.actor,
                case: e.header.case,
                subjects: e.header.touches.iter().map(|t| t.subject).collect(),
                fields: e.fields.clone(),
                expunged: e.expunged.is_some(),
            };
            if let Some(case) = e.header.case {
                let record = self.stage.state.records.entry(case).or_default();
                if !record.contains(&e.header.seq) {
                    record.push(e.header.seq);
                }
                self.stage.state.known.insert(Key::Record(case));
            }
            self.stage.state.events.insert(e.header.seq, past);
            self.stage.state.known.insert(Key::Event(e.header.seq));
        }
    }

    /// The findings as an answer asks for them.
    pub fn remember_findings(&mut self) {
        let found = crate::app::tell::keys(&self.events, &self.stage.state, self.now);
        for piece in crate::app::tell::pieces(&self.stage.state) {
            let of = Subject::from(piece);
            self.stage.state.known.insert(Key::Findings(of));
        }
        self.stage.state.findings = found.into_iter().collect();
    }

    /// A finding of a thing.
    pub fn finding(&self, of: impl Into<Subject>) -> FindingKey {
        let keys = &self.stage.state.findings[&of.into()];
        keys.first().unwrap().clone()
    }

    /// The place in the ledger of the first event of this kind.
    pub fn first(&self, kind: &str) -> u64 {
        let found = self.events.iter().find(|e| e.header.kind == kind);
        found.unwrap().header.seq
    }

    pub fn new() -> Self {
        let nobody = PersonId::new();
        let mut y = Self {
            stage: Stage::new(State::default(), Frontier::new(), None, "test".into()),
            rules: TradeRules::load_embedded().unwrap(),
            events: vec![],
            now: Utc.with_ymd_and_hms(2026, 3, 4, 9, 0, 0).unwrap(),
            people: People {
                admin: nobody,
                tech: nobody,
                custodian: nobody,
                second: nobody,
                examiner: nobody,
                supervisor: nobody,
                auditor: nobody,
                off: nobody,
            },
            things: Things {
                case: CaseId::new(),
                scene: SceneId::new(),
                mark: MarkId::new(),
                lift: ItemId::new(),
                other_lift: ItemId::new(),
                cast: ItemId::new(),
                inner: ItemId::new(),
                shelved: ItemId::new(),
                outside: ItemId::new(),
                measured: ItemId::new(),
                stone: ItemId::new(),
                wet: ItemId::new(),
                of_other: ItemId::new(),
                closed_case: CaseId::new(),
                closed_mark: MarkId::new(),
                closed_lift: ItemId::new(),
                box_offered: PackageId::new(),
                box_sealed: PackageId::new(),
                envelope: PackageId::new(),
                empty: PackageId::new(),
                shelf: PlaceId::new(),
                window: PlaceId::new(),
                marked_fridge: PlaceId::new(),
                rack: PlaceId::new(),
                full_bin: PlaceId::new(),
                free_bin: PlaceId::new(),
                binned: ItemId::new(),
                cage: PlaceId::new(),
                cage_shelf: PlaceId::new(),
            },
        };
        y.people();
        y.places();
        y.things();
        y.must(
            y.people.tech,
            Act::KitAdd(KitAdd {
                medium: "silicone-putty".into(),
                lot: "SP-7".into(),
                opened_on: None,
                expires_on: None,
            }),
        );
        // Long after: what is claimed an hour ago is still after every custody event.
        y.now += Duration::days(2);
        y.things.stone = y.recovered(y.things.mark, "dental-stone-cast");
        y.rooms();
        y.remember_events();
        y.remember_findings();
        y
    }

    fn people(&mut self) {
        let add = |user_name: &str, role| {
            Act::AddPerson(person::AddPerson {
                user_name: user_name.into(),
                name: format!("Łucja Βάρνα {user_name}"),
                number: "N-1".into(),
                roles: BTreeSet::from([role]),
            })
        };
        self.now += Duration::seconds(30);
        let first = command(add("admin", Role::Administrator));
        let staged = self
            .stage
            .take(
                &self.rules,
                &Actor::system(),
                &first,
                Source::CommandLine,
                self.now,
            )
            .unwrap();
        self.events.extend(staged.events);
        let admin = PersonId(first.id.0);
        let mut one = |user_name, role| PersonId(self.must(admin, add(user_name, role)));
        let people = People {
            admin,
            tech: one("tech", Role::Technician),
            custodian: one("custodian", Role::Custodian),
            second: one("second", Role::Custodian),
            examiner: one("examiner", Role::Examiner),
            supervisor: one("supervisor", Role::Supervisor),
            auditor: one("auditor", Role::Auditor),
            off: one("off", Role::Technician),
        };
        self.people = people;
        let off = person::SetActive {
            person: self.people.off,
            active: false,
            reason: "moved away".into(),
        };
        self.must(admin, Act::SetActive(off));
    }

    fn places(&mut self) {
        let keeper = self.people.custodian;
        let shelf = place("Shelf 1", "room-temperature");
        let mut window = place("Window sill", "room-temperature");
        window.lit = true;
        let mut fridge = place("Refrigerator 2", "refrigerated");
        fridge.biohazard_marked = true;
        self.things.shelf = PlaceId(self.must(keeper, Act::AddPlace(shelf)));
        self.things.window = PlaceId(self.must(keeper, Act::AddPlace(window)));
        self.things.marked_fridge = PlaceId(self.must(keeper, Act::AddPlace(fridge)));
        self.count("B1", "box-rigid-small", [60, 40, 20], 1);
        self.count("B2", "box-rigid-medium", [200, 150, 80], 5);
        let spoiled = StockTake {
            place: self.things.shelf,
            kind: "B1".into(),
            count: 1,
            purpose: "trodden on".into(),
        };
        self.must(keeper, Act::StockTake(spoiled));
    }

    /// Bins with a capacity, and a cage for two people.
    fn rooms(&mut self) {
        let keeper = self.people.custodian;
        let mut add = |name: &str, kind, parent| {
            let mut new = place(name, "room-temperature");
            new.kind = kind;
            new.parent = parent;
            PlaceId(self.must(keeper, Act::AddPlace(new)))
        };
        let rack = add("Rack 4", PlaceKind::Unit, None);
        let full_bin = add("Bin 4-1", PlaceKind::Bin, Some(rack));
        let free_bin = add("Bin 4-2", PlaceKind::Bin, Some(rack));
        let cage = add("Cage", PlaceKind::Room, None);
        let cage_shelf = add("Cage shelf", PlaceKind::Shelf, Some(cage));
        (self.things.full_bin, self.things.free_bin) = (full_bin, free_bin);
        self.things.cage_shelf = cage_shelf;
        (self.things.rack, self.things.cage) = (rack, cage);
        for (place, takes) in [(self.things.full_bin, 1), (self.things.free_bin, 2)] {
            self.must(keeper, set_capacity(place, Some(takes)));
        }
        self.must(self.people.supervisor, two_person(cage, true));
        self.things.binned = self.recovered(self.things.mark, "lifting-tape");
        // As a store lists them.
        self.stage
            .state
            .near
            .insert(full_bin, vec![full_bin, free_bin]);
        let binned = Piece::Item(self.things.binned);
        self.give(binned, keeper);
        self.must(keeper, Act::Store(store(binned, self.things.full_bin)));
    }

    /// With a second person who signed beside the actor.
    pub fn with(&mut self, who: PersonId, second: PersonId, act: Act) -> Result<Uuid, StageError> {
        self.now += Duration::seconds(30);
        let command = command(act);
        let actor = Actor {
            beside: Some(second),
            ..actor(&self.stage.state, who)
        };
        let staged = self
            .stage
            .take(&self.rules, &actor, &command, Source::Desk, self.now)?;
        self.events.extend(staged.events);
        Ok(command.id.0)
    }

    /// The stock of a kind of box on the shelf is counted.
    pub fn count(&mut self, kind: &str, container: &str, inner_mm: [u32; 3], count: u32) {
        let set = StockSet {
            place: self.things.shelf,
            kind: kind.into(),
            container: container.into(),
            inner_mm,
            count,
        };
        self.must(self.people.custodian, Act::StockSet(set));
    }

    /// A case with a scene and a mark.
    fn case(&mut self, number: &str) -> (CaseId, SceneId, MarkId) {
        let me = self.people.tech;
        let open = case::OpenCase {
            number: number.into(),
            title: "Boatyard".into(),
            offence: String::new(),
        };
        let case = CaseId(self.must(me, Act::OpenCase(open)));
        let scene = case::OpenScene {
            case,
            name: "Shed".into(),
            address: "Slipway 2".into(),
        };
        let scene = SceneId(self.must(me, Act::OpenScene(scene)));
        let mark = MarkId(self.must(me, note(case, scene)));
        (case, scene, mark)
    }

    /// A recovery of this medium from this mark, by the technician.
    pub fn recovered(&mut self, mark: MarkId, medium: &str) -> ItemId {
        let me = self.people.tech;
        let asked = recover(mark, medium, self.now);
        ItemId(self.must(me, Act::Recover(asked)))
    }

    /// A package of the first case, made by the technician.
    pub fn packed(&mut self, container: &str, contents: &[Piece]) -> PackageId {
        let me = self.people.tech;
        PackageId(self.must(me, pack(self.things.case, container, contents)))
    }

    fn things(&mut self) {
        let me = self.people.tech;
        let (case, scene, mark) = self.case("HC-26-0117");
        let develop = DevelopMark {
            mark,
            method: "BLP".into(),
            note: String::new(),
        };
        self.must(me, Act::DevelopMark(develop));
        self.must(
            me,
            Act::AddImage(add_image(liftledger::ids::Subject::Mark(mark), 1)),
        );
        self.things.case = case;
        self.things.scene = scene;
        self.things.mark = mark;
        self.things.lift = self.recovered(mark, "lifting-tape");
        self.things.other_lift = self.recovered(mark, "lifting-tape");
        self.things.cast = self.recovered(mark, "silicone-putty");
        self.things.inner = self.recovered(mark, "lifting-tape");
        self.things.shelved = self.recovered(mark, "lifting-tape");
        self.things.outside = self.recovered(mark, "lifting-tape");
        let sealed = self.recovered(mark, "silicone-putty");
        let mut measured = recover(mark, "silicone-putty", self.now);
        measured.size_mm = Some([90, 30, 12]);
        self.things.measured = ItemId(self.must(me, Act::Recover(measured)));
        let mut wet = recover(mark, "collected-object", self.now);
        wet.wet = true;
        self.things.wet = ItemId(self.must(me, Act::Recover(wet)));
        let (_, _, other) = self.case("HC-26-0118");
        self.things.of_other = self.recovered(other, "lifting-tape");
        let (closed, _, closed_mark) = self.case("HC-26-0119");
        self.things.closed_case = closed;
        self.things.closed_mark = closed_mark;
        self.things.closed_lift = self.recovered(closed_mark, "lifting-tape");
        let restrict = case::Restrict {
            case: closed,
            restricted: true,
            reason: "a colleague is named in it".into(),
        };
        let supervisor = self.people.supervisor;
        self.must(supervisor, Act::Restrict(restrict));

        let (cast, inner) = (self.things.cast, self.things.inner);
        self.things.box_sealed = self.packed("box-rigid-small", &[Piece::Item(sealed)]);
        self.things.box_offered = self.packed("box-rigid-small", &[Piece::Item(cast)]);
        self.things.envelope = self.packed("envelope-paper", &[Piece::Item(inner)]);
        self.things.empty = self.packed("box-rigid-small", &[]);
        self.must(me, seal(self.things.box_offered, "004217"));
        self.must(me, seal(self.things.box_sealed, "004218"));
        let custodian = self.people.custodian;
        self.must(
            me,
            release(Piece::Package(self.things.box_offered), custodian),
        );
        self.must(me, hand_out(Piece::Item(self.things.outside)));
        self.shelve(Piece::Item(self.things.shelved));
    }

    /// From the technician's hands into somebody else's, unsealed.
    pub fn give(&mut self, piece: Piece, to: PersonId) {
        self.give_on(self.people.tech, to, piece);
    }

    /// From one's hands into another's, unsealed.
    pub fn give_on(&mut self, from: PersonId, to: PersonId, piece: Piece) {
        let mut give = release(piece, to);
        if let Act::Release(x) = &mut give {
            x.unsealed_reason = Some("for photographs".into());
        }
        self.must(from, give);
        self.must(to, receive(piece, ""));
    }

    /// From the technician's hands onto the shelf.
    pub fn shelve(&mut self, piece: Piece) {
        let custodian = self.people.custodian;
        self.give(piece, custodian);
        self.must(custodian, Act::Store(store(piece, self.things.shelf)));
    }
}

pub fn note(case: CaseId, scene: SceneId) -> Act {
    Act::NoteMark(NoteMark {
        case,
        scene,
        kind: MarkKind::FrictionRidge,
        object: "locker door".into(),
        exact_place: "40 cm above the sill".into(),
        up: "towards the hinge".into(),
        substrate: "2B".into(),
        texture: "smooth".into(),
        curvature: "flat".into(),
        note: "seen by oblique light".into(),
    })
}

pub fn set_capacity(place: PlaceId, capacity: Option<u32>) -> Act {
    Act::SetCapacity(SetCapacity { place, capacity })
}

pub fn two_person(place: PlaceId, two_person: bool) -> Act {
    Act::MarkTwoPerson(MarkTwoPerson {
        place,
        two_person,
        reason: "what is kept there is sought after".into(),
    })
}

pub fn receive(piece: Piece, seal_seen: &str) -> Act {
    Act::Receive(hand_over::Receive {
        piece,
        seal_seen: seal_seen.into(),
        condition: hand_over::Condition::Intact,
        note: String::new(),
    })
}
