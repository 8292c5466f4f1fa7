//! A ledger of 500 events made by real commands, in memory.

use std::collections::BTreeSet;

use chrono::{DateTime, Duration, TimeZone, Utc};
use liftledger::app::{Stage, StageError};
use liftledger::custody::item::{ItemRecovered, Recover};
use liftledger::custody::mark::MarkNoted;
use liftledger::custody::place::PlaceAdded;
use liftledger::custody::rules::{MediumWords, Recovery, Trade, TradeReason};
use liftledger::custody::state::Thing;
use liftledger::custody::{
    Act, Actor, Command, Signed, State, case, hand_over, item, mark, package, person,
};
use liftledger::ids::{CaseId, ItemId, MarkId, PackageId, PersonId, Piece, SceneId};
use liftledger::keeping::KeepNeeds;
use liftledger::ledger::checkpoint::{self, Checkpoint, Key};
use liftledger::ledger::event::{Event, Source};
use liftledger::ledger::merkle::{Frontier, Node};
use liftledger::ledger::verify::{RawCheckpoint, RawEvent};
use liftledger::lifting::advise::{Advice, Question};
use liftledger::people::Role;
use uuid::Uuid;

/// Invented rules: everything is allowed.
pub struct Free;

impl Trade for Free {
    fn knows_method(&self, _: &str) -> bool {
        true
    }
    fn knows_substrate(&self, _: &str) -> bool {
        true
    }
    fn knows_view(&self, _: &str, _: &str) -> bool {
        true
    }
    fn knows_container(&self, _: &str) -> bool {
        true
    }
    fn knows_climate(&self, _: &str) -> bool {
        true
    }
    fn recovery(&self, asked: &Recover, _: &MarkNoted, _: &[String]) -> Option<Recovery> {
        Some(Recovery {
            medium_name: asked.medium.clone(),
            form: "cast".into(),
            view: vec!["contact-face".into()],
            reads: "reversed".into(),
            because: "one mirror step: contact face".into(),
            packing: vec![],
            needs: KeepNeeds::default(),
            set_window: String::new(),
            warnings: vec![],
        })
    }
    fn medium_words(&self, id: &str) -> Option<MediumWords> {
        Some(MediumWords {
            name: id.to_owned(),
            carried: true,
        })
    }
    fn advise(&self, _: &Question) -> Advice {
        Advice {
            first: vec![],
            ranked: vec![],
            excluded: vec![],
            nothing: None,
            notes: vec![],
        }
    }
    fn rules_version(&self) -> &str {
        "test"
    }
    fn reading(&self, _: &[String]) -> Option<(String, String)> {
        Some(("direct".into(), "no mirror step".into()))
    }
    fn dried(&self, _: &ItemRecovered, _: &MarkNoted) -> Option<KeepNeeds> {
        None
    }
    fn container(&self, _: &[Thing<'_>], _: &str, _: Option<[u32; 3]>) -> Result<(), TradeReason> {
        Ok(())
    }
    fn dry_enough(
        &self,
        _: &[Thing<'_>],
        _: &str,
        _: DateTime<chrono::FixedOffset>,
    ) -> Result<(), TradeReason> {
        Ok(())
    }
    fn place(&self, _: &Thing<'_>, _: &PlaceAdded) -> Result<(), Vec<TradeReason>> {
        Ok(())
    }
}

pub struct World {
    pub stage: Stage,
    pub events: Vec<Event>,
    pub nodes: Vec<Node>,
    pub now: DateTime<Utc>,
}

impl World {
    pub fn new() -> Self {
        let stage = Stage::new(State::default(), Frontier::new(), None, "test".into());
        Self {
            stage,
            events: vec![],
            nodes: vec![],
            now: Utc.with_ymd_and_hms(2026, 3, 4, 9, 0, 0).unwrap(),
        }
    }

    pub fn actor(&self, id: Option<PersonId>) -> Actor {
        let Some(id) = id else { return Actor::system() };
        Actor {
            id: Some(id),
            roles: self.stage.state.people[&id].roles.clone(),
            signed: Signed::Password,
            beside: None,
        }
    }

    pub fn act(&mut self, id: Option<PersonId>, act: Act) -> Result<Uuid, StageError> {
        self.now += Duration::seconds(30);
        let command = Command::now(act);
        let actor = self.actor(id);
        let staged = self
            .stage
            .take(&Free, &actor, &command, Source::Desk, self.now)?;
        self.events.extend(staged.events);
        self.nodes.extend(staged.nodes);
        Ok(command.id.0)
    }

    pub fn person(&mut self, by: Option<PersonId>, user_name: &str, role: Role) -> PersonId {
        let act = Act::AddPerson(person::AddPerson {
            user_name: user_name.into(),
            name: format!("Łucja Βάρνα {user_name}"),
            number: "N-1".into(),
            roles: BTreeSet::from([role]),
        });
        PersonId(self.act(by, act).unwrap())
    }

    pub fn checkpoint(&self, key: &Key) -> RawCheckpoint {
        let head = Checkpoint {
            origin: key.name().to_owned(),
            size: self.stage.size(),
            root: self.stage.frontier().root(),
        };
        RawCheckpoint {
            size: i64::try_from(head.size).unwrap(),
            note: checkpoint::sign(&head, key).unwrap().into_bytes(),
        }
    }
}

pub fn rows(events: &[Event]) -> Vec<RawEvent> {
    events
        .iter()
        .map(|e| RawEvent {
            seq: i64::try_from(e.header.seq).unwrap(),
            id: e.header.id.to_string(),
            header: e.bytes.clone(),
            salt: Some(e.salt.0.to_vec()),
            fields: Some(e.fields_bytes()),
        })
        .collect()
}

/// A case, a sealed package, and hand-overs to and fro until there are 500 events.
pub fn five_hundred() -> (World, Piece, [PersonId; 2]) {
    let mut w = World::new();
    let admin = w.person(None, "admin", Role::Administrator);
    let tech = w.person(Some(admin), "tech", Role::Technician);
    let custodian = w.person(Some(admin), "custodian", Role::Custodian);
    let me = Some(tech);
    let open = case::OpenCase {
        number: "HC-26-0117".into(),
        title: "Boatyard".into(),
        offence: String::new(),
    };
    let case = CaseId(w.act(me, Act::OpenCase(open)).unwrap());
    let scene = case::OpenScene {
        case,
        name: "Shed".into(),
        address: "Slipway 2".into(),
    };
    let scene = SceneId(w.act(me, Act::OpenScene(scene)).unwrap());
    let noted = mark::NoteMark {
        case,
        scene,
        kind: mark::MarkKind::Toolmark,
        object: "locker door".into(),
        exact_place: "edge, 40 cm above the sill".into(),
        up: "towards the hinge".into(),
        substrate: "2C".into(),
        texture: "smooth".into(),
        curvature: "flat".into(),
        note: String::new(),
    };
    let mark = MarkId(w.act(me, Act::NoteMark(noted)).unwrap());
    let recover = item::Recover {
        mark,
        medium: "silicone-putty".into(),
        lot: "A7".into(),
        started_at: w.now.fixed_offset(),
        set_at: None,
        air_c: Some(12),
        card: String::new(),
        description: "cast of the pry mark".into(),
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
    let item = ItemId(w.act(me, Act::Recover(recover)).unwrap());
    let pack = package::Pack {
        case,
        container: "rigid-box-small".into(),
        stock: None,
        inner_mm: None,
        contents: vec![Piece::Item(item)],
        note: String::new(),
    };
    let package = PackageId(w.act(me, Act::Pack(pack)).unwrap());
    let seal = package::Seal {
        package,
        number: "004217".into(),
        initialled: true,
    };
    w.act(me, Act::Seal(seal)).unwrap();
    let piece = Piece::Package(package);
    let mut hands = [tech, custodian];
    while w.events.len() < 500 {
        let release = hand_over::Release {
            piece,
            to: hands[1],
            purpose: "to and fro".into(),
            authority: String::new(),
            due_at: None,
            unsealed_reason: None,
        };
        w.act(Some(hands[0]), Act::Release(release)).unwrap();
        if w.events.len() == 500 {
            break;
        }
        let receive = hand_over::Receive {
            piece,
            seal_seen: "004217".into(),
            condition: hand_over::Condition::Intact,
            note: String::new(),
        };
        w.act(Some(hands[1]), Act::Receive(receive)).unwrap();
        hands.swap(0, 1);
    }
    (w, piece, hands)
}
