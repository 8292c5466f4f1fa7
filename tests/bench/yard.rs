//! Commands of an invented boatyard break-in: cases, and items from the mark to the shelf, eight events each.
//!
//! What a command creates bears the command's identifier, so a whole story can be told before any of it is recorded.

use chrono::{DateTime, FixedOffset};
use liftledger::custody::{
    Act, Actor, Command, Signed, case, hand_over, item, mark, package, person, place,
};
use liftledger::ids::{CaseId, ItemId, MarkId, PackageId, PersonId, Piece, PlaceId, SceneId};
use liftledger::people::Role;

/// How many items a case gets, more or less as in life.
pub const ITEMS_A_CASE: usize = 40;

/// A command, and who sends it.
#[derive(Clone)]
pub struct Step {
    pub by: Option<(PersonId, Role)>,
    pub command: Command,
}

impl Step {
    pub fn actor(&self) -> Actor {
        match self.by {
            None => Actor::system(),
            Some((id, role)) => Actor {
                id: Some(id),
                roles: [role].into(),
                signed: Signed::Password,
                beside: None,
            },
        }
    }
}

fn step(by: Option<(PersonId, Role)>, act: Act) -> (Step, uuid::Uuid) {
    let command = Command::now(act);
    let id = command.id.0;
    (Step { by, command }, id)
}

/// The people and the shelf.
#[derive(Clone, Copy)]
pub struct Yard {
    pub tech: PersonId,
    pub custodian: PersonId,
    pub shelf: PlaceId,
}

/// A case with its one scene.
#[derive(Clone, Copy)]
pub struct Scene {
    pub case: CaseId,
    scene: SceneId,
}

/// What a story was about.
#[derive(Clone)]
pub struct Lift {
    pub case: CaseId,
    pub mark: MarkId,
    pub item: ItemId,
    pub package: PackageId,
    pub seal: String,
}

impl Lift {
    pub fn piece(&self) -> Piece {
        Piece::Package(self.package)
    }
}

impl Yard {
    /// Three people and a shelf.
    pub fn begin() -> (Self, Vec<Step>) {
        let mut steps = Vec::new();
        let mut person = |by, user_name: &str, name: &str, role| {
            let add = person::AddPerson {
                user_name: user_name.into(),
                name: name.into(),
                number: format!("N-{user_name}"),
                roles: [role].into(),
            };
            let (step, id) = step(by, Act::AddPerson(add));
            steps.push(step);
            PersonId(id)
        };
        let admin = person(None, "ivo", "Ivo Tarn", Role::Administrator);
        let by = Some((admin, Role::Administrator));
        let tech = person(by, "tess", "Tess Odell", Role::Technician);
        let custodian = person(by, "cleo", "Cleo Marsh", Role::Custodian);
        let add = place::AddPlace {
            name: "A-01".into(),
            kind: place::PlaceKind::Shelf,
            parent: None,
            climate: "temperature-controlled".into(),
            damp: false,
            lit: false,
            hot: false,
            dusty: false,
            on_edge: false,
            stacked: false,
            biohazard_marked: false,
        };
        let (add, shelf) = step(Some((custodian, Role::Custodian)), Act::AddPlace(add));
        steps.push(add);
        (
            Self {
                tech,
                custodian,
                shelf: PlaceId(shelf),
            },
            steps,
        )
    }

    fn by_tech(&self) -> Option<(PersonId, Role)> {
        Some((self.tech, Role::Technician))
    }

    fn by_custodian(&self) -> Option<(PersonId, Role)> {
        Some((self.custodian, Role::Custodian))
    }

    /// A case and a scene.
    pub fn case(&self, number: usize) -> (Scene, Vec<Step>) {
        let open = case::OpenCase {
            number: format!("HC-26-{number:06}"),
            title: "Break-in at the boatyard, Harrow Cove".into(),
            offence: "Burglary".into(),
        };
        let (opened, case) = step(self.by_tech(), Act::OpenCase(open));
        let case = CaseId(case);
        let open = case::OpenScene {
            case,
            name: "Boat shed".into(),
            address: "Slipway 2, Harrow Cove".into(),
        };
        let (scene, id) = step(self.by_tech(), Act::OpenScene(open));
        (
            Scene {
                case,
                scene: SceneId(id),
            },
            vec![opened, scene],
        )
    }

    /// A mark, developed, cast, packed and sealed, handed over, and stored. The last three are the hand-over.
    pub fn lift(&self, at: Scene, n: usize, now: DateTime<FixedOffset>) -> (Lift, Vec<Step>) {
        let tech = self.by_tech();
        let case = at.case;
        let note = mark::NoteMark {
            case,
            scene: at.scene,
            kind: mark::MarkKind::FrictionRidge,
            object: "Fuel can, moulded plastic".into(),
            exact_place: format!("Handle, underside, {} mm from the spout end", n % 97),
            up: "Towards the spout".into(),
            substrate: "2B".into(),
            texture: "moulded-grain".into(),
            curvature: "tight".into(),
            note: String::new(),
        };
        let (noted, id) = step(tech, Act::NoteMark(note));
        let mark = MarkId(id);
        let develop = mark::DevelopMark {
            mark,
            method: "BLP".into(),
            note: String::new(),
        };
        let (developed, _) = step(tech, Act::DevelopMark(develop));
        let recover = item::Recover {
            mark,
            medium: "silicone-putty".into(),
            lot: "A7".into(),
            started_at: now,
            set_at: None,
            air_c: Some(12),
            card: String::new(),
            description: "Cast of the mark on the handle".into(),
            wet: false,
            biological: false,
            fragile: false,
            sharp: false,
            from_item: None,
            advice: None,
            size_mm: None,
            thickness: None,
            how_viewed: String::new(),
        };
        let (recovered, id) = step(tech, Act::Recover(recover));
        let item = ItemId(id);
        let pack = package::Pack {
            case,
            container: "box-rigid-small".into(),
            stock: None,
            inner_mm: None,
            contents: vec![Piece::Item(item)],
            note: String::new(),
        };
        let (packed, id) = step(tech, Act::Pack(pack));
        let package = PackageId(id);
        let seal = format!("{n:07}");
        let close = package::Seal {
            package,
            number: seal.clone(),
            initialled: true,
        };
        let (sealed, _) = step(tech, Act::Seal(close));
        let lift = Lift {
            case,
            mark,
            item,
            package,
            seal,
        };
        let store = place::Store {
            piece: lift.piece(),
            place: self.shelf,
            overridden: None,
            unsealed_reason: None,
        };
        let (stored, _) = step(self.by_custodian(), Act::Store(store));
        let there = self.hand_over(&lift, true);
        let steps = vec![
            noted,
            developed,
            recovered,
            packed,
            sealed,
            there[0].clone(),
            there[1].clone(),
            stored,
        ];
        (lift, steps)
    }

    /// Release and receipt: from the technician to the custodian, or back.
    pub fn hand_over(&self, lift: &Lift, there: bool) -> [Step; 2] {
        let (mut from, mut to) = (self.by_tech(), self.by_custodian());
        if !there {
            std::mem::swap(&mut from, &mut to);
        }
        let release = hand_over::Release {
            piece: lift.piece(),
            to: to.map_or(self.tech, |(id, _)| id),
            purpose: "Intake".into(),
            authority: String::new(),
            due_at: None,
            unsealed_reason: None,
        };
        let receive = hand_over::Receive {
            piece: lift.piece(),
            seal_seen: lift.seal.clone(),
            condition: hand_over::Condition::Intact,
            note: String::new(),
        };
        [
            step(from, Act::Release(release)).0,
            step(to, Act::Receive(receive)).0,
        ]
    }
}
