//! The demo: an invented police identification unit, a boatyard break-in, three weeks of work on it.
//!
//! The story is data, `seed/demo/*.toml`. The loader carries it out through the one append path, as its people would:
//! every act is a command that the rules of custody decide, and a refused one ends the loading. There is no other way
//! into the ledger, for the demo neither.
//!
//! The people, the county, the cases and the times are invented. A ledger observes its own time; so that the story can
//! span three weeks, the folder is opened with a clock that the loader moves ([`TestClock`]), and is opened again with
//! the machine's clock when the story is told. Times are counted back from the moment of loading, and none lies ahead
//! of it.

mod pictures;
mod sign_in;
mod story;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::agency::{Agency, AgencyError};
use crate::app::copies::{self, CopyError, Wanted};
use crate::app::house::{House, HouseError, KEYS};
use crate::app::papers::By;
use crate::app::site::Site;
use crate::app::{RecordError, Sent, Viewer};
use crate::clock::TestClock;
use crate::custody::{Act, Signed};
use crate::disclosure::signature::issue::{DEMONSTRATION, Whose};
use crate::ids::{
    CaseId, CommandId, Digest, ItemId, MarkId, PackageId, PersonId, PlaceId, SceneId, Seq, Subject,
};
use crate::originals::OriginalsError;
use crate::people::Role;
use crate::store::{CredentialRow, StoreError};
use crate::trade::retention::SCHEDULE;
use story::Story;

pub use sign_in::{FILE as SIGN_INS, SignIn, kept as kept_sign_ins};

/// The name on the demo's checkpoints.
pub const ORIGIN: &str = "ledger.example/hollin-reach-demo";
/// The agency's name, which stands on every page and paper of the demo.
pub const AGENCY: &str = "Police identification unit of Hollin Reach (invented, as are its times)";
/// The case in which flaws are planted.
pub const FLAWED_CASE: &str = "HR-26-0417";
/// What is planted in it: what the story calls the thing, the code of the finding, and what happened. Every other item, package and
/// case of the demo is without a finding; a test holds it to that.
pub const PLANTED: [(&str, &str, &str); 8] = [
    (
        "lamp-pack",
        "gap",
        "a package was left on the counter and nobody had it for two days, 13 hours and 30 minutes",
    ),
    (
        "plotter-pack",
        "seal-mismatch",
        "a seal bears another number than the one on record",
    ),
    (
        "throttle-item",
        "expired-lot",
        "a lift was made with a lot that had expired the day before",
    ),
    (
        "sole-pack",
        "keep-rule-overridden",
        "a cast stood in the damp cellar against its keep rule, a supervisor answers for it",
    ),
    (
        "cowling-pack",
        "condition",
        "a box came back from the courier with a crushed corner",
    ),
    (
        "cowling-pack",
        "brought-by-another",
        "another driver of the carrier brought it back",
    ),
    (
        "prymark-item",
        "overdue",
        "a cast is overdue with the examiner",
    ),
    (
        "dust-pack",
        "late-entry",
        "a receipt was written on paper and entered the next morning",
    ),
];
/// Who takes hand-offs in the demo.
const RECEIVERS: &str = include_str!("../../../seed/demo/receivers.toml");
/// How many commands wait for one commit at the most; they are answered together.
const TOGETHER: usize = 24;

/// Why the demo could not be loaded.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// The ledger is not empty: a story is told from its beginning.
    #[error("the ledger in this folder has {0} events already; name a new folder")]
    NotEmpty(u64),
    /// The story's text cannot be understood.
    #[error("the story cannot be read: {0}")]
    Story(String),
    /// A step of the story was not carried out.
    #[error("step \"{step}\" of the story was not carried out: {why}")]
    Step {
        /// Which.
        step: String,
        /// Why.
        why: Box<RecordError>,
    },
    /// A working copy of the story was not made.
    #[error("step \"{step}\" of the story was not carried out: {why}")]
    Copy {
        /// Which.
        step: String,
        /// Why.
        why: Box<CopyError>,
    },
    /// A picture could not be drawn.
    #[error("a picture could not be drawn: {0}")]
    Picture(String),
    /// The data folder.
    #[error(transparent)]
    House(#[from] HouseError),
    /// The agency's name.
    #[error(transparent)]
    Agency(#[from] AgencyError),
    /// The originals.
    #[error(transparent)]
    Originals(#[from] OriginalsError),
    /// The database.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The list of sign-ins.
    #[error("the list of sign-ins: {0}")]
    SignIns(#[from] std::io::Error),
}

/// A person of the story.
#[derive(Clone, Debug)]
pub struct DemoPerson {
    /// Identifier.
    pub id: PersonId,
    /// How they sign in. The ledger holds no password.
    pub sign_in: SignIn,
    /// Roles.
    pub roles: BTreeSet<Role>,
}

/// What was loaded, by the names that the story gives.
#[derive(Clone, Debug, Default)]
pub struct Demo {
    /// People by user name.
    pub people: BTreeMap<String, DemoPerson>,
    /// Cases: `boatyard`, and `outboard`, which is restricted.
    pub cases: BTreeMap<String, CaseId>,
    /// Scenes.
    pub scenes: BTreeMap<String, SceneId>,
    /// Marks.
    pub marks: BTreeMap<String, MarkId>,
    /// Items.
    pub items: BTreeMap<String, ItemId>,
    /// Packages.
    pub packages: BTreeMap<String, PackageId>,
    /// Places in the storeroom.
    pub places: BTreeMap<String, PlaceId>,
}

impl Demo {
    /// How everybody signs in, in the order of the user names.
    #[must_use]
    pub fn sign_ins(&self) -> Vec<SignIn> {
        self.people.values().map(|p| p.sign_in.clone()).collect()
    }

    fn enter(&mut self, name: &str, act: &Act, id: uuid::Uuid) {
        let name = name.to_owned();
        match act {
            Act::OpenCase(_) => drop(self.cases.insert(name, CaseId(id))),
            Act::OpenScene(_) => drop(self.scenes.insert(name, SceneId(id))),
            Act::NoteMark(_) => drop(self.marks.insert(name, MarkId(id))),
            Act::Recover(_) => drop(self.items.insert(name, ItemId(id))),
            Act::Pack(_) => drop(self.packages.insert(name, PackageId(id))),
            Act::AddPlace(_) => drop(self.places.insert(name, PlaceId(id))),
            _ => {}
        }
    }
}

/// Begins a ledger in this folder, tells the story, and opens the folder again with the machine's clock. The sign-ins
/// are also written to [`SIGN_INS`] in the folder.
///
/// # Errors
/// See [`DemoError`].
pub async fn begin(site: impl Into<Site>) -> Result<(House, Demo), DemoError> {
    let site = site.into();
    let until = Utc::now();
    let clock = Arc::new(TestClock::at(until));
    std::fs::create_dir_all(&site.folder)?;
    let schedule = include_str!("../../../seed/demo/retention.toml");
    std::fs::write(site.folder.join(SCHEDULE), schedule)?;
    let house = House::begin_at(&site, ORIGIN, clock.clone()).await?;
    let loaded = load(&house, &clock, until).await;
    house.close().await;
    let demo = loaded?;
    let whose = Whose {
        name: "Papers of Hollin Reach".into(),
        organisation: "Police identification unit of Hollin Reach (invented)".into(),
        unit: DEMONSTRATION.into(),
        country: String::new(),
    };
    crate::keys::papers::self_signed(&site.folder.join(KEYS), &whose, until, 3)
        .map_err(HouseError::from)?;
    sign_in::write(&site.folder, &demo.sign_ins())?;
    let receivers = site.folder.join(crate::receivers::FILE);
    if !receivers.exists() {
        std::fs::write(receivers, RECEIVERS)?;
    }
    Ok((House::open(&site).await?, demo))
}

/// Has the server make the copy of a picture that reads direct, in the name of a person of the story.
async fn copied(
    house: &House,
    demo: &Demo,
    step: &story::Step,
    id: CommandId,
    of: Subject,
    digest: Digest,
) -> Result<Seq, DemoError> {
    let nobody = || DemoError::Story(format!("nobody is called {}", step.by));
    let person = demo.people.get(&step.by).ok_or_else(nobody)?.id;
    let failed = |why: CopyError| DemoError::Copy {
        step: step.to_string(),
        why: Box::new(why),
    };
    let person = house.person(person).await.map_err(|e| failed(e.into()))?;
    let viewer = Viewer::person(person.ok_or_else(nobody)?);
    let reader = house.reader(&viewer);
    let made = copies::make(&reader, By::session(), id, of, digest, &Wanted::Direct).await;
    let recorded = made.map_err(failed)?.recorded;
    recorded
        .map(|r| r.seq)
        .ok_or_else(|| DemoError::Story(format!("{step}: the same copy was there before")))
}

/// Tells the story to an empty ledger, which must have been opened with the demo's retention schedule in its folder. `clock`
/// must be the one that the house was opened with; it is moved from three weeks before `until` to a few minutes before it.
///
/// # Errors
/// See [`DemoError`]. What was recorded before an error stays recorded.
pub async fn load(
    house: &House,
    clock: &TestClock,
    until: DateTime<Utc>,
) -> Result<Demo, DemoError> {
    let size = house.store.head().await?.size;
    if size > 0 {
        return Err(DemoError::NotEmpty(size));
    }
    let story = Story::read(until)?;
    let agency = Agency {
        name: AGENCY.into(),
        ..Agency::default()
    };
    house.set_agency(&agency).await?;
    // Pictures, passwords and the first person do not wait for one another.
    let drawing = pictures::all(&story, house.originals.clone());
    let hashing = sign_in::make(&story.people);
    let (drawn, signed_in) = tokio::join!(drawing, hashing);
    let (drawn, signed_in) = (drawn?, signed_in?);

    let mut demo = Demo::default();
    let mut tell = story.told(&drawn);
    for (person, sign_in) in story.people.iter().zip(signed_in) {
        clock.set(person.at);
        let by = person.by.as_ref().and_then(|by| demo.people.get(by));
        let (command, name) = tell.person(person);
        let id = PersonId(command.id.0);
        let sent = Sent {
            person: by.map(|p| p.id),
            signed: by.map_or(Signed::System, |_| Signed::Session),
            beside: None,
            source: person.source,
            command,
        };
        let recorded = house.recorder.record(sent).await;
        recorded.map_err(|why| DemoError::Step {
            step: name,
            why: Box::new(why),
        })?;
        let row = CredentialRow {
            person: Subject::Person(id).to_string(),
            phc: sign_in.phc,
            changed_at: crate::ledger::times::recorded(until),
        };
        house.store.set_credential(row).await?;
        let known = DemoPerson {
            id,
            sign_in: sign_in.sign_in,
            roles: person.roles.clone(),
        };
        demo.people.insert(person.user_name.clone(), known);
    }

    let mut last = DateTime::<Utc>::MIN_UTC;
    for sitting in story.sittings(TOGETHER) {
        // Time goes on between two sittings, or within one that is longer than a group.
        let at = sitting.at.max(last + TimeDelta::microseconds(1));
        last = at;
        clock.set(at);
        if let [step] = sitting.steps
            && let Some((id, of, digest)) = tell.copy(step)?
        {
            let recorded = copied(house, &demo, step, id, of, digest).await?;
            tell.recorded(step, recorded);
            continue;
        }
        let mut sent = Vec::with_capacity(sitting.steps.len());
        for step in sitting.steps {
            let person = demo
                .people
                .get(&step.by)
                .map(|p| p.id)
                .ok_or_else(|| DemoError::Story(format!("nobody is called {}", step.by)))?;
            let beside = match &step.beside {
                None => None,
                Some(name) => Some(
                    demo.people
                        .get(name)
                        .map(|p| p.id)
                        .ok_or_else(|| DemoError::Story(format!("nobody is called {name}")))?,
                ),
            };
            let command = tell.command(step)?;
            demo.enter(&step.name, &command.act, command.id.0);
            let signed = if command.act.must_be_signed() {
                Signed::Password
            } else {
                Signed::Session
            };
            sent.push(Sent {
                person: Some(person),
                signed,
                beside,
                source: step.source,
                command,
            });
        }
        let answers =
            futures_util::future::join_all(sent.into_iter().map(|s| house.recorder.record(s)))
                .await;
        for (step, answer) in sitting.steps.iter().zip(answers) {
            let recorded = answer.map_err(|why| DemoError::Step {
                step: step.to_string(),
                why: Box::new(why),
            })?;
            tell.recorded(step, recorded.seq);
        }
    }
    Ok(demo)
}
