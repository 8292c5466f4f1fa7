//! Commands by chance: mostly what somebody could do now, often what they could not.

mod counter;
mod packs;
mod places;
mod used;

use chrono::{DateTime, Duration, Utc};
use liftledger::custody::finding::FindingKey;
use liftledger::custody::{Act, Command, Signed};
use liftledger::ids::{CommandId, Digest, Piece, Subject};
use liftledger::imaging::resolution::Scale;
use liftledger::people::Role;
use serde_json::{Value, json};

use super::dice::Dice;
use super::shadow::{Ending, Has, Shadow};

/// Acts that no run makes, and why.
pub const NOT_MADE: &[(&str, &str)] = &[
    (
        "carry-out-expungement",
        "takes texts out of the record of everything that its order's events are about, and the model keeps neither texts nor \
         which events are about what: tests/app/expungement.rs and tests/outside/postgres/expungement.rs",
    ),
    (
        "seals-deliver",
        "moves no evidence, and what it says is held against nothing that moves any: tests/custody/seal_stock.rs",
    ),
    (
        "seals-issue",
        "moves no evidence: tests/custody/seal_stock.rs",
    ),
    (
        "seals-spoil",
        "moves no evidence: tests/custody/seal_stock.rs",
    ),
];

/// Acts that are always tried, and seldom carried out, since chance has to meet the one event, wet thing or assigned reader for it.
pub const SELDOM: &[&str] = &["amend", "case-read", "note-dry"];

/// Acts that move evidence or say who may: made oftener than the others.
const OFTEN: &[&str] = &[
    "recover",
    "pack",
    "put-in",
    "take-out",
    "seal",
    "open",
    "release",
    "receive",
    "refuse",
    "withdraw",
    "intake",
    "hand-out",
    "take-back",
    "take-charge",
    "store",
    "store-many",
    "fetch",
    "place-hold",
    "lift-hold",
    "authorise-disposition",
    "dispose",
    "witness-disposition",
    "decline-disposition",
    "end-count",
    "scan-codes",
    "repack",
    "consume",
];
/// People whose roles stay as they are.
pub const STAFF: usize = 11;
const MOST_PEOPLE: usize = 24;
const MOST_PLACES: usize = 40;
const MOST_CASES: usize = 16;

pub struct Maker {
    pub dice: Dice,
    pub now: DateTime<Utc>,
    /// Pictures whose bytes are kept.
    pub kept: Vec<Digest>,
    /// Findings that there were a moment ago.
    pub findings: Vec<FindingKey>,
    /// How far the ledger is.
    pub size: u64,
    words: Vec<&'static str>,
    made: u64,
}

/// Somebody's command.
pub struct Asked {
    pub who: usize,
    pub signed: Signed,
    /// Who signs beside them.
    pub beside: Option<usize>,
    pub command: Command,
}

impl Maker {
    pub fn new(seed: u64, now: DateTime<Utc>) -> Self {
        let made = Act::TABLE.iter().map(|(word, ..)| *word);
        let made = made.filter(|w| NOT_MADE.iter().all(|(not, _)| not != w));
        Self {
            dice: Dice::new(seed),
            now,
            kept: vec![],
            findings: vec![],
            size: 0,
            words: made
                .flat_map(|w| vec![w; if OFTEN.contains(&w) { 5 } else { 1 }])
                .collect(),
            made: 0,
        }
    }

    /// The next command, for a room as it is.
    pub fn next(&mut self, room: &Shadow) -> Asked {
        loop {
            let word = self.dice.pick(&self.words).unwrap();
            let Some((likely, mut fields)) = self.fields(word, room) else {
                continue;
            };
            fields["do"] = json!(word);
            let act: Act = serde_json::from_value(fields.clone())
                .unwrap_or_else(|e| panic!("{word}: {e}: {fields}"));
            let (who, signed) = self.sender(&act, likely, room);
            let beside = self.beside(&act, room);
            let claimed = self.dice.percent(3);
            let hours = i64::try_from(self.dice.below(50)).unwrap();
            return Asked {
                who,
                signed,
                beside,
                command: Command {
                    id: CommandId::new(),
                    claimed_at: claimed.then(|| (self.now - Duration::hours(hours)).fixed_offset()),
                    late_reason: (claimed && self.dice.percent(70))
                        .then(|| "no network".to_owned()),
                    paper_sheet: None,
                    act,
                },
            };
        }
    }

    fn sender(&mut self, act: &Act, likely: Option<usize>, room: &Shadow) -> (usize, Signed) {
        let any = self.dice.below(room.people.len());
        let roles = act.action().roles();
        let fit: Vec<usize> = (0..room.people.len())
            .filter(|p| room.people[*p].active && roles.iter().any(|r| room.is(*p, *r)))
            .collect();
        let who = match likely {
            _ if self.dice.percent(12) => any,
            Some(likely) => likely,
            None => self.dice.pick(&fit).unwrap_or(any),
        };
        let weak = self.dice.percent(3);
        (
            who,
            if weak {
                Signed::Session
            } else {
                Signed::Password
            },
        )
    }

    fn any_thing(&mut self, room: &Shadow) -> Option<usize> {
        let n = room.things.len();
        // Mostly something that came lately, so that things get somewhere.
        let lately = n.min(40);
        (n > 0).then(|| {
            if self.dice.percent(75) {
                n - 1 - self.dice.below(lately)
            } else {
                self.dice.below(n)
            }
        })
    }

    /// A thing of which this is so; now and then any.
    fn thing(&mut self, room: &Shadow, fits: impl Fn(usize) -> bool) -> Option<usize> {
        let n = room.things.len();
        let from = n.saturating_sub(if self.dice.percent(80) { 60 } else { n });
        let fit: Vec<usize> = (from..n).filter(|t| fits(*t)).collect();
        if self.dice.percent(10) {
            return self.any_thing(room);
        }
        self.dice.pick(&fit)
    }

    fn package(&mut self, room: &Shadow, fits: impl Fn(usize) -> bool) -> Option<usize> {
        let found = self.thing(room, |t| is_package(room, t) && fits(t))?;
        is_package(room, found).then_some(found)
    }

    fn item(&mut self, room: &Shadow, fits: impl Fn(usize) -> bool) -> Option<usize> {
        let found = self.thing(room, |t| !is_package(room, t) && fits(t))?;
        (!is_package(room, found)).then_some(found)
    }

    fn seal_seen(&mut self, room: &Shadow, thing: usize) -> String {
        if self.dice.percent(6) {
            return "000".into();
        }
        room.things[thing].seal.clone().unwrap_or_default()
    }

    fn holder(room: &Shadow, thing: usize) -> Option<usize> {
        match room.has(thing) {
            Has::Person(p) => Some(p),
            _ => None,
        }
    }

    fn active(&mut self, room: &Shadow, role: Role) -> Option<usize> {
        let all: Vec<usize> = (0..room.people.len())
            .filter(|p| room.is(*p, role) && room.people[*p].active)
            .collect();
        self.dice.pick(&all)
    }

    fn case(&mut self, room: &Shadow) -> Option<usize> {
        (!room.cases.is_empty()).then(|| self.dice.below(room.cases.len()))
    }

    fn place(&mut self, room: &Shadow) -> Option<usize> {
        (!room.places.is_empty()).then(|| self.dice.below(room.places.len()))
    }

    fn mark(&mut self, room: &Shadow) -> Option<Value> {
        let case = self.case(room)?;
        let mark = self.dice.pick(&room.cases[case].marks)?;
        Some(json!(mark))
    }

    fn mark_or_item(&mut self, room: &Shadow) -> Option<Subject> {
        if self.dice.percent(50) {
            let case = self.case(room)?;
            return self.dice.pick(&room.cases[case].marks).map(Subject::Mark);
        }
        let item = self.item(room, |_| true)?;
        Some(room.things[item].piece.into())
    }

    fn digest(&mut self) -> String {
        let n = self.dice.below(256);
        Digest([u8::try_from(n).unwrap(); 32]).to_string()
    }

    fn on_offer(&mut self, room: &Shadow) -> Option<usize> {
        self.thing(room, |t| room.things[t].offer.is_some())
    }

    /// Who would likely send it, and what it says; none where the room has nothing for it yet.
    #[allow(clippy::too_many_lines)]
    fn fields(&mut self, word: &str, room: &Shadow) -> Option<(Option<usize>, Value)> {
        self.made += 1;
        let n = self.made;
        let piece = |t: usize| json!(room.things[t].piece);
        let inner = |t: usize| match room.things[t].piece {
            Piece::Package(id) => json!(id),
            Piece::Item(id) => json!(id),
        };
        let reason = "said at the desk";
        let party = json!({"name": "Oda Lunn", "organisation": "Courier", "identification": "staff card", "reference": ""});
        let extra = STAFF + self.dice.below(room.people.len().max(STAFF + 1) - STAFF);
        Some(match word {
            "add-person" => {
                if room.people.len() >= MOST_PEOPLE {
                    return None;
                }
                let twice = self.dice.percent(15);
                let user = if twice {
                    "p1".into()
                } else {
                    format!("extra{n}")
                };
                let role = self.dice.pick(&Role::ALL)?;
                (
                    None,
                    json!({"user_name": user, "name": format!("Name of {user}"), "number": format!("N-{n}"), "roles": [role]}),
                )
            }
            "set-roles" => {
                let person = room.people.get(extra)?.id;
                let roles = [self.dice.pick(&Role::ALL)?, self.dice.pick(&Role::ALL)?];
                (
                    None,
                    json!({"person": person, "roles": std::collections::BTreeSet::from(roles)}),
                )
            }
            "set-active" => {
                let person = room.people.get(extra)?;
                (
                    None,
                    json!({"person": person.id, "active": !person.active, "reason": reason}),
                )
            }
            "open-case" => {
                if room.cases.len() >= MOST_CASES {
                    return None;
                }
                let number = if self.dice.percent(15) && !room.cases.is_empty() {
                    room.cases[0].number.clone()
                } else {
                    format!("HC-26-{:04}", 100 + n)
                };
                (
                    None,
                    json!({"number": number, "title": "Break-in at the boatyard", "offence": "burglary"}),
                )
            }
            "open-scene" => {
                let case = self.case(room)?;
                (
                    None,
                    json!({"case": room.cases[case].id, "name": format!("Shed {n}"), "address": "4 Slip Road"}),
                )
            }
            "assign" => {
                let case = self.case(room)?;
                let person = room.people[self.dice.below(room.people.len())].id;
                (
                    None,
                    json!({"case": room.cases[case].id, "person": person, "assigned": self.dice.percent(80)}),
                )
            }
            "restrict" => {
                let case = self.case(room)?;
                // Mostly open, so that there is something to do.
                let restricted = !room.cases[case].restricted && self.dice.percent(30);
                (
                    None,
                    json!({"case": room.cases[case].id, "restricted": restricted, "reason": reason}),
                )
            }
            "note-mark" => {
                let case = self.case(room)?;
                let scene = self.dice.pick(&room.cases[case].scenes)?;
                let kind = if self.dice.percent(50) {
                    "friction-ridge"
                } else {
                    "toolmark"
                };
                (
                    None,
                    json!({"case": room.cases[case].id, "scene": scene, "kind": kind, "object": "locker door",
                    "exact_place": "40 cm above the sill", "up": "towards the hinge", "substrate": "2C",
                    "texture": "smooth", "curvature": "flat", "note": ""}),
                )
            }
            "develop-mark" => (
                None,
                json!({"mark": self.mark(room)?, "method": "BLP", "note": ""}),
            ),
            "add-image" => {
                let of = self.mark_or_item(room)?;
                let digest = self.dice.pick(&self.kept)?;
                (
                    None,
                    json!({"of": of, "digest": digest, "name": format!("IMG_{n}.png"), "media_type": "image/png",
                    "bytes": 9, "width": 40, "height": 30}),
                )
            }
            "set-view" | "set-scale" | "add-copy" | "assess-value" | "afis-exported"
                if room.pictures.is_empty() =>
            {
                return None;
            }
            "set-view" => {
                let (of, digest) = &room.pictures[self.dice.below(room.pictures.len())];
                let view = if self.dice.percent(50) {
                    json!(["front", "mirror"])
                } else {
                    json!(["front"])
                };
                (
                    None,
                    json!({"of": of, "digest": digest, "view": view, "reason": "looked at the original again"}),
                )
            }
            "set-scale" => {
                let (of, digest) = &room.pictures[self.dice.below(room.pictures.len())];
                let ppi = 600 + 100 * u32::try_from(self.dice.below(9)).unwrap();
                let scale = self.dice.percent(80).then_some(Scale::Scanner { ppi });
                (
                    None,
                    json!({"of": of, "digest": digest, "scale": scale, "reason": reason}),
                )
            }
            "add-copy" => {
                let (of, digest) = &room.pictures[self.dice.below(room.pictures.len())];
                let copy = self.dice.pick(&self.kept)?;
                (
                    None,
                    json!({"of": of, "digest": digest, "copy": copy, "recipe": {"version": 1, "ops": [{"op": "grey"}]},
                    "bytes": 9, "width": 40, "height": 30, "grey": true, "pixels": self.digest()}),
                )
            }
            "assess-value" => {
                let (of, digest) = &room.pictures[self.dice.below(room.pictures.len())];
                (
                    None,
                    json!({"of": of, "digest": digest, "value": "limited", "reason": reason}),
                )
            }
            "recover" => {
                let medium = self.dice.pick(&[
                    "lifting-tape",
                    "lifting-tape",
                    "silicone-putty",
                    "collected-object",
                ])?;
                let wet = medium == "collected-object" && self.dice.percent(60);
                let from = if self.dice.percent(15) {
                    self.item(room, |_| true).map(inner)
                } else {
                    None
                };
                let mut fields = json!({"mark": self.mark(room)?, "medium": medium, "lot": "A7-113",
                    "started_at": (self.now - Duration::minutes(5)).fixed_offset(),
                    "card": if medium == "lifting-tape" { "white" } else { "" },
                    "description": format!("recovered with {medium}"), "wet": wet});
                if let Some(from) = from {
                    fields["from_item"] = from;
                }
                (None, fields)
            }
            "kit-add" | "kit-remove" => {
                let lot = format!("L-{}", self.dice.below(4));
                let mut fields = json!({"medium": "silicone-putty", "lot": lot});
                if word == "kit-remove" {
                    fields["reason"] = json!(reason);
                }
                (Some(1), fields)
            }
            "pack" => {
                let thing = self.thing(room, |t| {
                    !room.frozen(t) && Self::holder(room, t).is_some_and(|p| room.in_hand(t, p))
                })?;
                let who = Self::holder(room, thing);
                let mut contents = vec![piece(thing)];
                if let (Some(who), true) = (who, self.dice.percent(50))
                    && let Some(other) = self.thing(room, |t| room.in_hand(t, who) && t != thing)
                {
                    contents.push(piece(other));
                }
                let container = self.dice.pick(&[
                    "envelope-paper",
                    "box-rigid-small",
                    "box-rigid-large",
                    "bag-paper",
                    "mailing-box-flat",
                ])?;
                let mut fields = json!({"case": room.cases[room.things[thing].case].id, "container": container, "contents": contents});
                if self.dice.percent(15) {
                    fields["stock"] =
                        json!({"place": room.places[self.place(room)?].id, "kind": "B1"});
                }
                (who, fields)
            }
            "put-in" => {
                let package = self.package(room, |t| Self::holder(room, t).is_some())?;
                let who = Self::holder(room, package);
                let thing = self.thing(room, |t| {
                    who.is_some_and(|p| room.in_hand(t, p)) && t != package
                })?;
                (
                    who,
                    json!({"package": inner(package), "piece": piece(thing)}),
                )
            }
            "take-out" => {
                let thing = self.thing(room, |t| room.things[t].inside.is_some())?;
                let package = room.things[thing]
                    .inside
                    .or_else(|| self.package(room, |_| true))?;
                (
                    Self::holder(room, package),
                    json!({"package": inner(package), "piece": piece(thing), "reason": reason}),
                )
            }
            "seal" => {
                let package = self.package(room, |t| {
                    Self::holder(room, t).is_some()
                        && room.things[t].seal.is_none()
                        && !room.contents(t).is_empty()
                })?;
                let number = if self.dice.percent(10) {
                    format!("HC {}", self.dice.below(30))
                } else {
                    format!("HC {n}")
                };
                (
                    Self::holder(room, package),
                    json!({"package": inner(package), "number": number, "initialled": true}),
                )
            }
            "open" => {
                let package = self.package(room, |t| {
                    room.things[t].seal.is_some() && Self::holder(room, t).is_some()
                })?;
                let seen = self.seal_seen(room, package);
                (
                    Self::holder(room, package),
                    json!({"package": inner(package), "reason": reason, "seal_seen": seen, "condition": "intact"}),
                )
            }
            "note-dry" => {
                let item = self.item(room, |_| true)?;
                (
                    Self::holder(room, item),
                    json!({"item": inner(item), "how": "in the drying cabinet"}),
                )
            }
            "release" => {
                let thing = self.thing(room, |t| {
                    let x = &room.things[t];
                    x.inside.is_none()
                        && x.offer.is_none()
                        && !matches!(x.has, Has::Outside | Has::Nobody)
                })?;
                let who = match room.has(thing) {
                    Has::Person(p) => Some(p),
                    _ => self.active(room, Role::Custodian),
                };
                // Often on its way to the storeroom.
                let to = if self.dice.percent(50) {
                    self.active(room, Role::Custodian)?
                } else {
                    self.dice.below(room.people.len())
                };
                (
                    who,
                    json!({"piece": piece(thing), "to": room.people[to].id, "purpose": reason,
                    "due_at": (self.now + Duration::days(3)).fixed_offset(), "unsealed_reason": reason}),
                )
            }
            "withdraw" => {
                let thing = self.on_offer(room)?;
                (
                    room.things[thing].offer.map(|o| o.0),
                    json!({"piece": piece(thing), "reason": reason}),
                )
            }
            "receive" => {
                let thing = self.on_offer(room)?;
                let seen = self.seal_seen(room, thing);
                (
                    room.things[thing].offer.map(|o| o.1),
                    json!({"piece": piece(thing), "seal_seen": seen, "condition": "intact"}),
                )
            }
            "refuse" => {
                let thing = self.on_offer(room)?;
                (
                    room.things[thing].offer.map(|o| o.1),
                    json!({"piece": piece(thing), "reason": reason}),
                )
            }
            "intake" => {
                let first = self.on_offer(room)?;
                let to = room.things[first].offer?.1;
                let all = (0..room.things.len())
                    .filter(|t| matches!(room.things[*t].offer, Some((_, p)) if p == to));
                let mut lines = vec![];
                for thing in all.take(6) {
                    let seen = room.things[thing].seal.clone().unwrap_or_default();
                    let mut line = json!({"code": room.things[thing].code, "seal_seen": seen, "condition": "intact"});
                    if self.dice.percent(15) {
                        line["refuse"] = json!(reason);
                    }
                    lines.push(line);
                }
                if self.dice.percent(10) {
                    lines.push(lines[0].clone());
                }
                (Some(to), json!({"lines": lines}))
            }
            "hand-out" => {
                let thing = self.thing(room, |t| {
                    Self::holder(room, t).is_some_and(|p| room.in_hand(t, p))
                })?;
                (
                    Self::holder(room, thing),
                    json!({"piece": piece(thing), "party": party, "purpose": reason, "unsealed_reason": reason}),
                )
            }
            "take-back" => {
                let thing = self.thing(room, |t| {
                    room.things[t].inside.is_none() && room.has(t) == Has::Outside
                })?;
                let seen = self.seal_seen(room, thing);
                (
                    None,
                    json!({"piece": piece(thing), "party": party, "seal_seen": seen, "condition": "intact"}),
                )
            }
            "take-charge" => {
                let thing =
                    self.thing(room, |t| room.things[t].inside.is_none() && !room.frozen(t))?;
                let seen = self.seal_seen(room, thing);
                (
                    None,
                    json!({"piece": piece(thing), "reason": reason, "seal_seen": seen, "condition": "intact"}),
                )
            }
            "add-place" => return self.add_place(room),
            "set-capacity" => return self.set_capacity(room),
            "mark-two-person" => return self.mark_two_person(room),
            "repack" => return self.repack(room),
            "consume" => return self.consume(room),
            "bring-in" => return self.bring_in(room),
            "import" => return self.import(room),
            "store" => {
                let keeper = self.active(room, Role::Custodian)?;
                let thing = self.thing(room, |t| {
                    room.in_hand(t, keeper)
                        || room.things[t].inside.is_none() && matches!(room.has(t), Has::Place(_))
                })?;
                let place = room.places[self.place(room)?].id;
                (
                    Some(keeper),
                    json!({"piece": piece(thing), "place": place, "unsealed_reason": reason}),
                )
            }
            "store-many" => {
                let keeper = self.active(room, Role::Custodian)?;
                let codes: Vec<&str> = (0..room.things.len())
                    .filter(|t| room.in_hand(*t, keeper) && !room.frozen(*t))
                    .take(1 + self.dice.below(6))
                    .map(|t| room.things[t].code.as_str())
                    .collect();
                let place = room.places[self.place(room)?].id;
                (
                    Some(keeper),
                    json!({"place": place, "codes": codes, "unsealed_reason": reason}),
                )
            }
            "fetch" => {
                let thing = self.thing(room, |t| {
                    room.things[t].inside.is_none() && matches!(room.has(t), Has::Place(_))
                })?;
                (None, json!({"piece": piece(thing), "purpose": reason}))
            }
            "stock-set" => {
                let place = room.places[self.place(room)?].id;
                (
                    None,
                    json!({"place": place, "kind": "B1", "container": "box-rigid-small", "inner_mm": [150, 100, 60],
                    "count": self.dice.below(9)}),
                )
            }
            "stock-take" => {
                let place = room.places[self.place(room)?].id;
                (
                    None,
                    json!({"place": place, "kind": "B1", "count": 1, "purpose": reason}),
                )
            }
            "log-climate" => {
                let place = room.places[self.place(room)?].id;
                let mut csv = String::from("time,temperature_c,humidity\n");
                for minutes in [8, 5, 2] {
                    let at = self.now - Duration::minutes(minutes);
                    csv += &format!("{},{},20\n", at.to_rfc3339(), 18 + self.dice.below(30));
                }
                (None, json!({"place": place, "logger": "L-7", "csv": csv}))
            }
            "begin-count" => (None, json!({"places": [room.places[self.place(room)?].id]})),
            "scan-codes" | "end-count" => {
                let open: Vec<usize> = (0..room.counts.len())
                    .filter(|c| !room.counts[*c].ended)
                    .collect();
                let count = match self.dice.pick(&open) {
                    Some(count) => count,
                    None if room.counts.is_empty() => return None,
                    None => self.dice.below(room.counts.len()),
                };
                let count = &room.counts[count];
                if word == "end-count" {
                    return Some((None, json!({"count": count.id})));
                }
                let there =
                    |t: &usize| matches!(room.has(*t), Has::Place(p) if count.places.contains(&p));
                let mut codes: Vec<String> = (0..room.things.len())
                    .filter(there)
                    .take(30)
                    .map(|t| room.things[t].code.clone())
                    .collect();
                if self.dice.percent(40) {
                    codes.pop();
                    codes.push("LL-NOT-OURS".into());
                }
                if codes.is_empty() {
                    codes.push("7".into());
                }
                (None, json!({"count": count.id, "codes": codes}))
            }
            "resolve-difference" => {
                let count = room.counts.get(self.dice.below(room.counts.len().max(1)))?;
                let outcome =
                    self.dice
                        .pick(&["found-in-place", "set-right", "not-found", "miscounted"])?;
                (
                    None,
                    json!({"count": count.id, "number": 1 + self.dice.below(2), "outcome": outcome, "reason": reason}),
                )
            }
            "place-hold" | "lift-hold" => {
                // Seldom on a whole case, since nothing of it goes anywhere then.
                let held = word == "lift-hold";
                let case = self.case(room)?;
                let (of, holds) = if held && room.cases[case].holds.contains(&true)
                    || self.dice.percent(4)
                {
                    (Subject::Case(room.cases[case].id), &room.cases[case].holds)
                } else {
                    let item = self.item(room, |t| room.things[t].holds.contains(&true) == held)?;
                    (room.things[item].piece.into(), &room.things[item].holds)
                };
                let mut fields = json!({"of": of, "reason": reason, "authority": "order 12 of the county court"});
                if held {
                    fields["number"] = json!(holds.iter().position(|h| *h).unwrap_or(0) + 1);
                }
                (None, fields)
            }
            "set-exhibit" => {
                let item = self.item(room, |_| true)?;
                (
                    None,
                    json!({"item": inner(item), "number": format!("EX {}", self.dice.below(200)), "court": "County court",
                    "reason": reason}),
                )
            }
            "set-retention" => {
                let case = self.case(room)?;
                (
                    None,
                    json!({"case": room.cases[case].id, "class": "property", "from": "2022-01-04", "reason": reason}),
                )
            }
            "authorise-disposition" => {
                let thing = self.thing(room, |t| {
                    !room.frozen(t) && !room.held(t) && room.things[t].ending.is_none()
                })?;
                (
                    None,
                    json!({"piece": piece(thing), "method": "destroy", "authority": "release 7", "reason": reason,
                    "early_reason": reason}),
                )
            }
            "revoke-disposition" => {
                let thing = self.thing(room, |t| {
                    matches!(room.things[t].ending, Some(Ending::Authorised { .. }))
                })?;
                (None, json!({"piece": piece(thing), "reason": reason}))
            }
            "dispose" => {
                let keeps =
                    |t: usize| Self::holder(room, t).is_some_and(|p| room.is(p, Role::Custodian));
                let thing = self.thing(room, |t| {
                    matches!(room.things[t].ending, Some(Ending::Authorised { .. })) && keeps(t)
                })?;
                let witness = room.people[self.dice.below(room.people.len())].id;
                let seen = self.seal_seen(room, thing);
                (
                    Self::holder(room, thing),
                    json!({"piece": piece(thing), "witness": witness, "how": "burned at the plant",
                    "seal_seen": seen, "condition": "intact"}),
                )
            }
            "witness-disposition" | "decline-disposition" => {
                // Some wait for the witness first.
                let thing = self.thing(room, |t| {
                    matches!(room.things[t].ending, Some(Ending::Done { .. })) && !room.gone(t)
                })?;
                let likely = match room.things[thing].ending {
                    Some(Ending::Done { witness, .. }) => Some(witness),
                    _ => None,
                };
                let mut fields = json!({"piece": piece(thing)});
                if word == "decline-disposition" {
                    if self.dice.percent(60) {
                        return None;
                    }
                    fields["reason"] = json!(reason);
                }
                (likely, fields)
            }
            "amend" => {
                let field = self.dice.pick(&["description", "object", "note", "seal"])?;
                let event = 1 + self.dice.below(usize::try_from(self.size.max(1)).unwrap());
                (
                    self.active(room, Role::Supervisor),
                    json!({"event": event, "field": field, "value": "the other door", "reason": reason}),
                )
            }
            "answer-finding" => {
                let at = self.dice.below(self.findings.len().max(1));
                (
                    None,
                    json!({"finding": self.findings.get(at)?, "text": "it lay in the locked drawer"}),
                )
            }
            "label-printed" => {
                let thing = self.any_thing(room)?;
                let of: Subject = room.things[thing].piece.into();
                (
                    None,
                    json!({"of": of, "label": "envelope", "digest": self.digest()}),
                )
            }
            "report-printed" => {
                let thing = self.any_thing(room)?;
                let of: Subject = room.things[thing].piece.into();
                (
                    None,
                    json!({"of": of, "digest": self.digest(), "ledger_size": self.size, "counts": [], "print": CommandId::new(),
                    "paper": "custody-report"}),
                )
            }
            "form-printed" => {
                let case = room.cases[self.case(room)?].id;
                (
                    None,
                    json!({"of": Subject::Case(case), "digest": self.digest(), "ledger_size": self.size, "counts": [],
                    "print": CommandId::new(), "paper": "hand-over-sheet"}),
                )
            }
            "disclose" => {
                let case = room.cases[self.case(room)?].id;
                (
                    None,
                    json!({"case": case, "to": "counsel", "authority": "rule 16", "digest": self.digest(), "bytes": 9,
                    "ledger_size": self.size, "events": 1, "images": 0, "withheld": [], "images_left_out": 0}),
                )
            }
            "afis-exported" => {
                let (of, digest) = &room.pictures[self.dice.below(room.pictures.len())];
                (
                    None,
                    json!({"of": of, "shown": of, "image": digest, "edition": "2015", "receiver": "bureau",
                    "receiver_name": "An invented bureau", "control": format!("C-{n}"), "digest": self.digest(), "bytes": 868,
                    "reads": "direct", "statement": "The image in the file reads direct.", "left_out": []}),
                )
            }
            "case-read" => {
                let closed: Vec<usize> = (0..room.cases.len())
                    .filter(|c| room.cases[*c].restricted)
                    .collect();
                let case = self.dice.pick(&closed)?;
                (
                    None,
                    json!({"case": room.cases[case].id, "what": "page of the case"}),
                )
            }
            "order-expungement" => {
                let case = room.cases[self.case(room)?].id;
                (
                    None,
                    json!({"of": Subject::Case(case), "court": "County court", "order": format!("E-{n}"), "dated": "2026-01-12"}),
                )
            }
            "withdraw-expungement" => {
                let case = &room.cases[self.case(room)?];
                (
                    None,
                    json!({"case": case.id, "number": case.orders.max(1), "reason": reason}),
                )
            }
            // An act that came since: `made_every_act` tells that it is neither made nor named.
            _ => return None,
        })
    }
}

fn is_package(room: &Shadow, thing: usize) -> bool {
    matches!(room.things[thing].piece, Piece::Package(_))
}
