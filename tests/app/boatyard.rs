//! A data folder with a small invented case in it, made by real commands with the real trade rules.
#![allow(dead_code)]

use chrono::{DateTime, Duration, FixedOffset, Utc};
use liftledger::app::house::House;
use liftledger::app::site::Site;
use liftledger::app::{RecordError, Recorded, Sent, Viewer};
use liftledger::custody::mark::MarkKind;
use liftledger::custody::{
    Act, Command, Signed, case, hand_over, image, item, mark, package, person, place,
};
use liftledger::ids::{
    CaseId, CommandId, ItemId, MarkId, PackageId, PersonId, Piece, PlaceId, SceneId, Subject,
};
use liftledger::ledger::event::Source;
use liftledger::people::Role;

pub const CASE: &str = "HC-26-0117";

pub struct Boatyard {
    pub house: House,
    pub admin: PersonId,
    pub tech: PersonId,
    pub custodian: PersonId,
    pub liaison: PersonId,
    pub supervisor: PersonId,
    pub auditor: PersonId,
    pub case: CaseId,
    pub marks: Vec<MarkId>,
    pub items: Vec<ItemId>,
    pub package: PackageId,
    pub shelf: PlaceId,
}

/// One command of one person, signed.
pub async fn act(
    house: &House,
    person: Option<PersonId>,
    at: Option<DateTime<FixedOffset>>,
    act: Act,
) -> Result<Recorded, RecordError> {
    let command = Command {
        id: CommandId::new(),
        claimed_at: at,
        late_reason: at.map(|_| "entered at the end of the shift".into()),
        paper_sheet: None,
        act,
    };
    let sent = Sent {
        person,
        signed: if person.is_some() {
            Signed::Password
        } else {
            Signed::System
        },
        beside: None,
        source: Source::Desk,
        command,
    };
    house.recorder.record(sent).await
}

async fn made(
    house: &House,
    person: Option<PersonId>,
    at: Option<DateTime<FixedOffset>>,
    what: Act,
) -> Option<Subject> {
    act(house, person, at, what).await.unwrap().created
}

pub fn png(seed: u8) -> Vec<u8> {
    let picture = ::image::RgbImage::from_fn(900, 600, |x, y| {
        let v = if (x / 7 + y / 3 + u32::from(seed)) % 9 < 4 {
            40
        } else {
            220
        };
        ::image::Rgb([v, v, v])
    });
    let mut out = std::io::Cursor::new(Vec::new());
    picture
        .write_to(&mut out, ::image::ImageFormat::Png)
        .unwrap();
    out.into_inner()
}

pub fn noted(case: CaseId, scene: SceneId, kind: MarkKind, n: usize) -> mark::NoteMark {
    let (object, exact_place, up) = [
        (
            "cabin door of the sloop, grained panel",
            "inner face, 12 cm below the latch, 3 cm from the edge",
            "towards the upper hinge",
        ),
        (
            "locker door, painted steel",
            "edge by the hasp, 40 cm above the sill",
            "towards the ceiling",
        ),
        (
            "outboard motor cowl, ribbed plastic",
            "port side, third rib from the top",
            "towards the lifting eye",
        ),
    ][n % 3];
    mark::NoteMark {
        case,
        scene,
        kind,
        object: object.into(),
        exact_place: exact_place.into(),
        up: up.into(),
        substrate: "2C".into(),
        texture: "fine-grain".into(),
        curvature: "flat".into(),
        note: String::new(),
    }
}

pub fn recovery(mark: MarkId, medium: &str, at: DateTime<FixedOffset>) -> item::Recover {
    item::Recover {
        mark,
        medium: medium.into(),
        lot: "A7-113".into(),
        started_at: at - Duration::minutes(12),
        set_at: None,
        air_c: Some(12),
        card: if medium.ends_with("tape") {
            "white".into()
        } else {
            String::new()
        },
        description: format!("recovered with {medium}"),
        wet: false,
        biological: false,
        fragile: medium == "silicone-putty",
        sharp: false,
        from_item: None,
        advice: None,
        size_mm: None,
        thickness: None,
        how_viewed: String::new(),
    }
}

impl Boatyard {
    pub async fn viewer(&self, id: PersonId) -> Viewer {
        Viewer::person(self.house.person(id).await.unwrap().unwrap())
    }

    /// Three marks, three items (read direct, mirrored, mirrored), the second in a sealed box that was handed over and
    /// stored.
    pub async fn begin(site: impl Into<Site>) -> Self {
        let house = House::open_or_begin(site, "ledger.example/harrow-cove")
            .await
            .unwrap();
        let zone = FixedOffset::west_opt(5 * 3600).unwrap();
        let now = Utc::now().with_timezone(&zone);
        let scene_time = |minutes: i64| Some(now - Duration::minutes(180 - minutes));
        let mut people = Vec::new();
        for (user, name, number, role) in [
            ("ivo", "Ivo Tarn", "A-001", Role::Administrator),
            ("tess", "Tess Odell", "T-014", Role::Technician),
            ("cal", "Cal Brannoch", "C-007", Role::Custodian),
            ("lio", "Lio Marchetti", "L-003", Role::CourtLiaison),
            ("sunniva", "Sunniva Hale", "S-002", Role::Supervisor),
            ("aud", "Aud Ness", "A-009", Role::Auditor),
        ] {
            let add = person::AddPerson {
                user_name: user.into(),
                name: name.into(),
                number: number.into(),
                roles: [role].into(),
            };
            let by = people.first().copied();
            let Some(Subject::Person(id)) = made(&house, by, None, Act::AddPerson(add)).await
            else {
                panic!("no person")
            };
            people.push(id);
        }
        let tech = Some(people[1]);
        let open = case::OpenCase {
            number: CASE.into(),
            title: "Break-in at the boatyard, Harrow Cove".into(),
            offence: "burglary".into(),
        };
        let Some(Subject::Case(case)) =
            made(&house, tech, scene_time(0), Act::OpenCase(open)).await
        else {
            panic!("no case")
        };
        let scene = case::OpenScene {
            case,
            name: "Slipway shed".into(),
            address: "4 Slip Road, Harrow Cove".into(),
        };
        act(&house, tech, scene_time(2), Act::OpenScene(scene))
            .await
            .unwrap();
        let viewer = Viewer::operator();
        let scene = house.reader(&viewer).case(case).await.unwrap().scenes[0].id;
        let (mut marks, mut items) = (Vec::new(), Vec::new());
        for (n, (kind, method, medium)) in [
            (MarkKind::FrictionRidge, Some("BLP"), "thick-pliable-tape"),
            (MarkKind::Toolmark, None, "silicone-putty"),
            (MarkKind::FrictionRidge, Some("BLP"), "gelatin-white"),
        ]
        .into_iter()
        .enumerate()
        {
            let at = |minutes| scene_time(10 + 30 * n as i64 + minutes);
            let note = noted(case, scene, kind, n);
            let Some(Subject::Mark(mark)) = made(&house, tech, at(0), Act::NoteMark(note)).await
            else {
                panic!("no mark")
            };
            if let Some(method) = method {
                let develop = mark::DevelopMark {
                    mark,
                    method: method.into(),
                    note: String::new(),
                };
                act(&house, tech, at(3), Act::DevelopMark(develop))
                    .await
                    .unwrap();
            }
            let bytes = png(n as u8);
            let kept = house.originals.keep(&bytes).unwrap();
            let add = image::AddImage {
                of: Subject::Mark(mark),
                digest: kept.digest,
                name: format!("IMG_003{n}.png"),
                media_type: "image/png".into(),
                bytes: kept.bytes,
                width: Some(900),
                height: Some(600),
                view: Vec::new(),
                says: liftledger::imaging::metadata::FileSays::default(),
            };
            act(&house, tech, at(5), Act::AddImage(add)).await.unwrap();
            let recover = recovery(mark, medium, at(20).unwrap());
            let Some(Subject::Item(item)) = made(&house, tech, at(20), Act::Recover(recover)).await
            else {
                panic!("no item")
            };
            marks.push(mark);
            items.push(item);
        }
        let pack = package::Pack {
            case,
            container: "box-rigid-small".into(),
            stock: None,
            inner_mm: None,
            contents: vec![Piece::Item(items[1])],
            note: String::new(),
        };
        let Some(Subject::Package(package)) = made(&house, tech, None, Act::Pack(pack)).await
        else {
            panic!("no package")
        };
        let seal = package::Seal {
            package,
            number: "004217".into(),
            initialled: true,
        };
        act(&house, tech, None, Act::Seal(seal)).await.unwrap();
        let release = hand_over::Release {
            piece: Piece::Package(package),
            to: people[2],
            purpose: "intake".into(),
            authority: String::new(),
            due_at: None,
            unsealed_reason: None,
        };
        act(&house, tech, None, Act::Release(release))
            .await
            .unwrap();
        let receive = hand_over::Receive {
            piece: Piece::Package(package),
            seal_seen: "004217".into(),
            condition: hand_over::Condition::Intact,
            note: String::new(),
        };
        let custodian = Some(people[2]);
        act(&house, custodian, None, Act::Receive(receive))
            .await
            .unwrap();
        let shelf = place::AddPlace {
            name: "Shelf D-12".into(),
            kind: place::PlaceKind::Shelf,
            parent: None,
            climate: "room-temperature".into(),
            damp: false,
            lit: false,
            hot: false,
            dusty: false,
            on_edge: false,
            stacked: false,
            biohazard_marked: false,
        };
        let Some(Subject::Place(shelf)) = made(&house, custodian, None, Act::AddPlace(shelf)).await
        else {
            panic!("no place")
        };
        let store = place::Store {
            piece: Piece::Package(package),
            place: shelf,
            overridden: None,
            unsealed_reason: None,
        };
        act(&house, custodian, None, Act::Store(store))
            .await
            .unwrap();
        Self {
            house,
            admin: people[0],
            tech: people[1],
            custodian: people[2],
            liaison: people[3],
            supervisor: people[4],
            auditor: people[5],
            case,
            marks,
            items,
            package,
            shelf,
        }
    }
}
