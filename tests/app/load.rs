//! A load of hand-overs: people with passwords, sealed packages that go to and fro by forms, and what was acknowledged.
#![allow(dead_code)]

use std::sync::Barrier;

use liftledger::app::audit::audit;
use liftledger::app::site::Site;
use liftledger::app::{RecordError, Viewer};
use liftledger::custody::mark::MarkKind;
use liftledger::custody::{Act, package, person};
use liftledger::ids::{CommandId, PersonId, Piece, Subject};
use liftledger::ledger::checkpoint::VerifyingKey;
use liftledger::people::Role;
use liftledger::store::Store;

use super::boatyard::{Boatyard, act, noted, recovery};
use super::served::{Answer, Sheet, Visit};

pub const PAIRS: usize = 4;
pub const NOTERS: usize = 3;
pub const SECRET: &str = "slipway lantern 42";

/// A sealed package and the two people between whom it goes to and fro.
pub struct Pair {
    pub piece: Piece,
    pub people: [(PersonId, String); 2],
}

pub struct Yard {
    pub pairs: Vec<Pair>,
    tess: PersonId,
    mark_fields: Vec<(&'static str, String)>,
    pub verifying: VerifyingKey,
}

async fn add(yard: &Boatyard, user: &str, role: Role) -> PersonId {
    let add = Act::AddPerson(person::AddPerson {
        user_name: user.into(),
        name: format!("Name of {user}"),
        number: format!("N-{user}"),
        roles: [role].into(),
    });
    let made = act(&yard.house, Some(yard.admin), None, add).await.unwrap();
    let Some(Subject::Person(id)) = made.created else {
        panic!("no person")
    };
    password(yard, id).await;
    id
}

async fn password(yard: &Boatyard, id: PersonId) {
    let person = yard.house.person(id).await.unwrap().unwrap();
    yard.house
        .set_password(&person, SECRET, chrono::Utc::now())
        .await
        .unwrap();
}

async fn created(yard: &Boatyard, by: PersonId, what: Act) -> Result<Subject, RecordError> {
    let recorded = act(&yard.house, Some(by), None, what).await?;
    Ok(recorded.created.unwrap())
}

impl Yard {
    /// People with passwords, and a sealed package in the hands of each first one.
    pub async fn begin(site: impl Into<Site>) -> Self {
        Self::with(site, PAIRS).await
    }

    pub async fn with(site: impl Into<Site>, pairs_asked: usize) -> Self {
        let yard = Boatyard::begin(site).await;
        password(&yard, yard.tech).await;
        let viewer = Viewer::operator();
        let scene = yard.house.reader(&viewer).case(yard.case).await.unwrap();
        let scene = scene.scenes[0].id;
        let mut pairs = Vec::new();
        for n in 0..pairs_asked {
            let names = [format!("tech{n}"), format!("cust{n}")];
            let tech = add(&yard, &names[0], Role::Technician).await;
            let custodian = add(&yard, &names[1], Role::Custodian).await;
            let mark = noted(yard.case, scene, MarkKind::Toolmark, 1);
            let Subject::Mark(mark) = created(&yard, tech, Act::NoteMark(mark)).await.unwrap()
            else {
                panic!("no mark")
            };
            let now = chrono::Utc::now().fixed_offset();
            let recover = Act::Recover(recovery(mark, "silicone-putty", now));
            let Subject::Item(item) = created(&yard, tech, recover).await.unwrap() else {
                panic!("no item")
            };
            let pack = Act::Pack(package::Pack {
                case: yard.case,
                container: "box-rigid-small".into(),
                stock: None,
                inner_mm: None,
                contents: vec![Piece::Item(item)],
                note: String::new(),
            });
            let Subject::Package(package) = created(&yard, tech, pack).await.unwrap() else {
                panic!("no package")
            };
            let seal = Act::Seal(package::Seal {
                package,
                number: format!("HC-77{n}"),
                initialled: true,
            });
            act(&yard.house, Some(tech), None, seal).await.unwrap();
            let [first, second] = names;
            pairs.push(Pair {
                piece: Piece::Package(package),
                people: [(tech, first), (custodian, second)],
            });
        }
        let mark_fields = [
            ("case", yard.case.to_string()),
            ("scene", scene.to_string()),
            ("kind", "toolmark".into()),
            ("object", "locker door, painted steel".into()),
            ("exact_place", "edge by the hasp".into()),
            ("up", "towards the ceiling".into()),
            ("substrate", "2C".into()),
            ("texture", "smooth".into()),
            ("curvature", "flat".into()),
            ("note", String::new()),
        ];
        let verifying = yard.house.verifying.clone();
        let tess = yard.tech;
        yard.house.close().await;
        Self {
            pairs,
            tess,
            mark_fields: mark_fields.to_vec(),
            verifying,
        }
    }

    pub async fn audit(&self, store: &dyn Store) {
        let audit = audit(store, &self.verifying, &[], |_| {}).await.unwrap();
        assert!(audit.is_clean(), "{audit:?}");
    }

    /// Everybody signed in: for each pair one who hands over and receives, and some who note marks.
    pub fn clients(&self, address: &str) -> Vec<Client<'_>> {
        self.clients_with(address, NOTERS)
    }

    pub fn clients_with(&self, address: &str, noters: usize) -> Vec<Client<'_>> {
        let visit = |user: &str, piece: Piece| {
            let page = format!("/do/receive?piece={piece}");
            Visit::begin(address, user, SECRET, &page)
        };
        let tess = visit("tess", self.pairs[0].piece);
        let client = |pair: Option<usize>| Client {
            yard: self,
            pair,
            visits: match pair.map(|n| &self.pairs[n]) {
                None => vec![tess.clone()],
                Some(p) => p.people.iter().map(|(_, u)| visit(u, p.piece)).collect(),
            },
            holder: 0,
            offered: false,
            faults: false,
            waiting: None,
            last: None,
            lost: 0,
            kept: Vec::new(),
        };
        (0..self.pairs.len())
            .map(|n| client(Some(n)))
            .chain((0..noters).map(|_| client(None)))
            .collect()
    }

    /// One package is offered; fifty clients receive it at the same moment, each through the next of the servers.
    pub fn fifty_receive_one_offer(&self, addresses: &[String]) {
        let pair = &self.pairs[0];
        let page = format!("/do/receive?piece={}", pair.piece);
        let visit = |n: usize| Visit::begin(&addresses[0], &pair.people[n].1, SECRET, &page);
        let offer = release(pair.piece, pair.people[1].0);
        let offered = visit(0).send(&addresses[0], &offer);
        assert!(matches!(offered, Answer::Done(_)), "{offered:?}");
        let visits: Vec<Visit> = (0..50).map(|_| visit(1)).collect();
        let together = Barrier::new(visits.len());
        let answers: Vec<Answer> = std::thread::scope(|scope| {
            let all: Vec<_> = visits
                .iter()
                .zip(addresses.iter().cycle())
                .map(|(visit, address)| {
                    let together = &together;
                    scope.spawn(move || {
                        let sheet = receive(pair.piece, "HC-770");
                        together.wait();
                        visit.send(address, &sheet)
                    })
                })
                .collect();
            all.into_iter().map(|t| t.join().unwrap()).collect()
        });
        let received = answers.iter().filter(|a| matches!(a, Answer::Done(_)));
        let refused = Answer::Refused(409, "no-open-offer".into());
        let refused = answers.iter().filter(|a| **a == refused);
        assert_eq!((received.count(), refused.count()), (1, 49), "{answers:?}");
    }
}

pub fn withdraw(piece: Piece) -> Sheet {
    Sheet {
        word: "withdraw",
        id: CommandId::new().to_string(),
        fields: vec![
            ("piece", piece.to_string()),
            ("reason", "the wrong one".into()),
        ],
    }
}

pub fn release(piece: Piece, to: PersonId) -> Sheet {
    Sheet {
        word: "release",
        id: CommandId::new().to_string(),
        fields: vec![
            ("piece", piece.to_string()),
            ("to", to.to_string()),
            ("purpose", "to and fro".into()),
        ],
    }
}

pub fn receive(piece: Piece, seal: &str) -> Sheet {
    Sheet {
        word: "receive",
        id: CommandId::new().to_string(),
        fields: vec![
            ("piece", piece.to_string()),
            ("seal_seen", seal.into()),
            ("condition", "intact".into()),
            ("note", String::new()),
        ],
    }
}

/// Was acknowledged: this must be on the record for ever.
pub struct Kept {
    pub seq: u64,
    kind: &'static str,
    by: PersonId,
    command: String,
}

/// Somebody who sends one form after the other, and the same one again when no answer came.
pub struct Client<'a> {
    yard: &'a Yard,
    /// The pair whose package goes to and fro; none for somebody who notes marks.
    pair: Option<usize>,
    visits: Vec<Visit>,
    holder: usize,
    offered: bool,
    /// Whether a server may say that it cannot do it now. Nobody knows then whether it was done.
    pub faults: bool,
    waiting: Option<Sheet>,
    last: Option<(Sheet, u64, usize)>,
    pub lost: usize,
    pub kept: Vec<Kept>,
}

impl Client<'_> {
    /// The next form, and whose visit sends it.
    fn next(&self) -> (Sheet, usize) {
        let Some(n) = self.pair else {
            let sheet = Sheet {
                word: "note-mark",
                id: CommandId::new().to_string(),
                fields: self.yard.mark_fields.clone(),
            };
            return (sheet, 0);
        };
        let pair = &self.yard.pairs[n];
        let other = 1 - self.holder;
        if self.offered {
            (receive(pair.piece, &format!("HC-77{n}")), other)
        } else {
            (release(pair.piece, pair.people[other].0), self.holder)
        }
    }

    fn done(&mut self, sheet: Sheet, who: usize, seq: u64) {
        let (kind, by) = match self.pair {
            None => ("mark.noted", self.yard.tess),
            Some(n) => {
                let kind = if self.offered {
                    self.holder = 1 - self.holder;
                    "custody.received"
                } else {
                    "custody.released"
                };
                self.offered = !self.offered;
                (kind, self.yard.pairs[n].people[who].0)
            }
        };
        self.kept.push(Kept {
            seq,
            kind,
            by,
            command: sheet.id.clone(),
        });
        self.last = Some((sheet, seq, who));
    }

    /// Sends a form to one server, and where no answer comes the same form to the next. None answered: `Lost`.
    fn send(&mut self, addresses: &[String], first: usize, who: usize, sheet: &Sheet) -> Answer {
        for n in 0..addresses.len() {
            let address = &addresses[(first + n) % addresses.len()];
            match self.visits[who].send(address, sheet) {
                Answer::Lost => self.lost += 1,
                Answer::Refused(500.., _) if self.faults => self.lost += 1,
                answer => return answer,
            }
        }
        Answer::Lost
    }

    /// Until no answer comes, or there are as many as a round may have. Each form goes to the next of the servers.
    pub fn run(&mut self, addresses: &[String]) {
        self.run_some(addresses, 60);
    }

    pub fn run_some(&mut self, addresses: &[String], forms: usize) {
        for n in 0..forms {
            let (fresh, who) = self.next();
            let sheet = self.waiting.take().unwrap_or(fresh);
            match self.send(addresses, n, who, &sheet) {
                Answer::Done(seq) => self.done(sheet, who, seq),
                Answer::Lost => {
                    self.waiting = Some(sheet);
                    return;
                }
                Answer::Refused(status, code) => panic!("{sheet:?}: {status} {code}"),
            }
        }
    }

    /// What goes to and fro, and who has it.
    pub fn holds(&self) -> Option<(Piece, PersonId)> {
        let pair = &self.yard.pairs[self.pair?];
        Some((pair.piece, pair.people[self.holder].0))
    }

    /// Once all is well again: the last acknowledged form has the same answer, and the one without an answer is carried
    /// out once.
    pub fn look(&mut self, address: &str) {
        if let Some((sheet, seq, who)) = &self.last {
            assert_eq!(
                self.visits[*who].send(address, sheet),
                Answer::Done(*seq),
                "{sheet:?}"
            );
        }
        if let Some(sheet) = self.waiting.take() {
            let (_, who) = self.next();
            let first = self.visits[who].send(address, &sheet);
            let Answer::Done(seq) = first else {
                panic!("{sheet:?}: {first:?}")
            };
            assert_eq!(self.visits[who].send(address, &sheet), first);
            self.done(sheet, who, seq);
        }
    }
}

pub async fn all_kept(store: &dyn Store, clients: &[Client<'_>]) {
    for kept in clients.iter().flat_map(|c| &c.kept) {
        let event = store.event(kept.seq).await.unwrap().expect(&kept.command);
        let header: serde_json::Value =
            serde_json::from_slice(event.header.as_deref().unwrap()).unwrap();
        assert_eq!(header["kind"], kept.kind);
        assert_eq!(header["actor"], kept.by.to_string());
        let command = store.command(&kept.command).await.unwrap().unwrap();
        assert_eq!(command.first_seq, kept.seq);
    }
}

pub fn random(below: u16) -> u64 {
    let mut bytes = [0; 2];
    getrandom::fill(&mut bytes).unwrap();
    u64::from(u16::from_le_bytes(bytes) % below)
}
