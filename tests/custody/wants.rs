//! What a decision needs is asked for: on a state that holds only what was asked for, each act gives the same answer and
//! leaves the same records as on the whole state.

use std::collections::BTreeSet;

use chrono::Duration;
use liftledger::app::rows;
use liftledger::custody::amendment::Amend;
use liftledger::custody::brought::{BringIn, Origin};
use liftledger::custody::climate_log::LogClimate;
use liftledger::custody::disclosure::Disclose;
use liftledger::custody::drying::NoteDry;
use liftledger::custody::finding::AnswerFinding;
use liftledger::custody::hand_over::{Condition, Refuse, TakeBack, TakeCharge, Withdraw};
use liftledger::custody::import::{Import, ImportRow, derived};
use liftledger::custody::kit::{KitAdd, KitRemove};
use liftledger::custody::mark::DevelopMark;
use liftledger::custody::package::{Open, PutIn, TakeOut};
use liftledger::custody::paper::{CaseRead, LabelPrinted, PaperKind, ReportPrinted};
use liftledger::custody::person::{AddPerson, SetActive, SetRoles};
use liftledger::custody::place::{Fetch, Override};
use liftledger::custody::rules::Meta;
use liftledger::custody::shelving::StoreMany;
use liftledger::custody::state::Key;
use liftledger::custody::stock::{FromStock, StockSet, StockTake};
use liftledger::custody::{Act, Actor, Command, State, apply, case, decide};
use liftledger::ids::{CommandId, Digest, ItemId, PersonId, Piece, Subject};
use liftledger::people::Role;

use super::expungement::Orders;
use super::room::Room;
use super::yard::{
    Yard, actor, add_copy, add_image, assess, command, exported, hand_out, note, pack, party,
    place, receive, recover, release, seal, set_capacity, set_scale, set_view, span, store,
    two_person,
};
use liftledger::imaging::recipe::{Op, Recipe};

/// Loads one key from the whole state, as a store would.
fn load(cold: &mut State, full: &State, key: &Key) {
    macro_rules! copy {
        ($map:ident, $id:expr) => {
            if let Some(x) = full.$map.get($id) {
                cold.$map.insert($id.clone(), x.clone());
            }
        };
    }
    match key {
        Key::Subject(Subject::Person(id)) => copy!(people, id),
        Key::Subject(Subject::Place(id)) => copy!(places, id),
        Key::Subject(Subject::Case(id)) => copy!(cases, id),
        Key::Subject(Subject::Mark(id)) => copy!(marks, id),
        Key::Subject(Subject::Item(id)) => copy!(items, id),
        Key::Subject(Subject::Package(id)) => copy!(packages, id),
        Key::UserName(name) => copy!(user_names, name),
        Key::CaseNumber(name) => copy!(case_numbers, name),
        Key::PlaceName(name) => copy!(place_names, name),
        Key::Seal(number) => copy!(seals, number),
        Key::Event(seq) => copy!(events, seq),
        Key::Findings(of) => copy!(findings, of),
        Key::Subject(Subject::Count(id)) => copy!(counts, id),
        Key::Code(code) => copy!(codes, code),
        Key::Record(case) => {
            copy!(records, case);
            for seq in full.records.get(case).into_iter().flatten() {
                copy!(events, seq);
            }
        }
        Key::Near(place) => {
            let parent = full.places[place].added.parent;
            let beside = full.places.values().filter(|p| p.added.parent == parent);
            let mut beside: Vec<_> = beside.collect();
            beside.sort_by(|a, b| a.added.name.cmp(&b.added.name));
            let ids = beside.iter().map(|p| p.id).collect();
            cold.near.insert(*place, ids);
        }
        Key::StoredIn(place) => {
            let here = liftledger::custody::state::Holder::Place { place: *place };
            let mut pieces: Vec<Piece> = Vec::new();
            pieces.extend(full.items.keys().map(|x| Piece::Item(*x)));
            pieces.extend(full.packages.keys().map(|x| Piece::Package(*x)));
            pieces.retain(|p| {
                let custody = full.custody(*p).unwrap();
                custody.inside.is_none() && custody.holder == here
            });
            cold.stored.insert(*place, pieces);
        }
    }
    cold.known.insert(key.clone());
}

fn loaded(full: &State, actor: &Actor, command: &Command) -> State {
    let mut cold = State::default();
    for round in 0.. {
        let wants = cold.wants(actor, command);
        if wants.is_empty() {
            break;
        }
        assert!(round < 32, "loading does not end");
        for key in &wants {
            assert!(!cold.known.contains(key), "asked for twice: {key:?}");
            load(&mut cold, full, key);
        }
    }
    cold
}

/// A row that names a case, a place and a seal.
fn imported(y: &Yard) -> Act {
    let state = &y.stage.state;
    let row = ImportRow {
        row: 1,
        item: ItemId(derived("a heel")),
        case: state.cases[&y.things.case].number.clone(),
        case_title: String::new(),
        former: "17".into(),
        description: "cast of a heel".into(),
        form: "cast".into(),
        medium: String::new(),
        method: String::new(),
        object: String::new(),
        place: state.places[&y.things.shelf].added.name.clone(),
        holder: String::new(),
        container: "carton".into(),
        seal: "OS 1".into(),
        received_on: None,
        note: String::new(),
    };
    Act::Import(Import {
        file: "room.csv".into(),
        digest: Digest([3; 32]),
        rows: vec![row],
    })
}

/// Something brought to the counter.
pub fn brought(case: &str) -> Act {
    Act::BringIn(BringIn {
        case: case.into(),
        case_title: String::new(),
        origin: Origin::Public,
        brought_by: "Ole Brandt".into(),
        agency: String::new(),
        identification: String::new(),
        contact: String::new(),
        description: "outboard propeller, three blades".into(),
        form: String::new(),
        found_where: String::new(),
        found_when: String::new(),
        condition: "one blade bent".into(),
        packaging: String::new(),
        wet: false,
        biological: false,
        fragile: false,
        sharp: false,
        note: String::new(),
    })
}

/// Acts that are carried out: each word of the table at least once.
pub fn allowed(y: &Yard) -> Vec<(PersonId, Act)> {
    let (p, t) = (&y.people, &y.things);
    let (lift, boxed) = (Piece::Item(t.lift), Piece::Package(t.box_offered));
    let shelved = Piece::Item(t.shelved);
    let mut give = release(lift, p.custodian);
    if let Act::Release(x) = &mut give {
        x.unsealed_reason = Some("for photographs".into());
    }
    let mut lend = release(shelved, p.examiner);
    if let Act::Release(x) = &mut lend {
        x.unsealed_reason = Some("for photographs".into());
        x.due_at = Some((y.now + Duration::days(9)).fixed_offset());
    }
    let mut to_window = store(shelved, t.window);
    to_window.overridden = Some(Override {
        by: p.supervisor,
        reason: "for a week".into(),
    });
    let mut inner_place = place("Shelf 2", "room-temperature");
    inner_place.parent = Some(t.shelf);
    let digest = Digest([9; 32]);
    let mut from_stock = pack(t.case, "box-rigid-medium", &[Piece::Item(t.measured)]);
    if let Act::Pack(x) = &mut from_stock {
        x.stock = Some(FromStock {
            place: t.shelf,
            kind: "B2".into(),
        });
    }
    vec![
        (
            p.custodian,
            super::intake::intake(&[y.stage.state.packages[&t.box_offered].code.as_str()]),
        ),
        (p.custodian, imported(y)),
        (p.custodian, brought(&y.stage.state.cases[&t.case].number)),
        (
            p.admin,
            Act::AddPerson(AddPerson {
                user_name: "ada".into(),
                name: "Ada Quill".into(),
                number: "N-9".into(),
                roles: BTreeSet::from([Role::Auditor]),
            }),
        ),
        (
            p.admin,
            Act::SetRoles(SetRoles {
                person: p.tech,
                roles: BTreeSet::from([Role::Examiner]),
            }),
        ),
        (
            p.admin,
            Act::SetActive(SetActive {
                person: p.off,
                active: true,
                reason: "back".into(),
            }),
        ),
        (
            p.tech,
            Act::OpenCase(case::OpenCase {
                number: "HC-26-0120".into(),
                title: "Jetty".into(),
                offence: String::new(),
            }),
        ),
        (
            p.tech,
            Act::OpenScene(case::OpenScene {
                case: t.case,
                name: "Jetty".into(),
                address: "Slipway 3".into(),
            }),
        ),
        (
            p.supervisor,
            Act::Assign(case::Assign {
                case: t.closed_case,
                person: p.custodian,
                assigned: true,
            }),
        ),
        (
            p.supervisor,
            Act::Restrict(case::Restrict {
                case: t.closed_case,
                restricted: false,
                reason: "no longer needed".into(),
            }),
        ),
        (p.tech, note(t.case, t.scene)),
        (
            p.tech,
            Act::DevelopMark(DevelopMark {
                mark: t.mark,
                method: "BLP".into(),
                note: String::new(),
            }),
        ),
        (
            p.tech,
            Act::AddImage(add_image(Subject::Mark(t.closed_mark), 2)),
        ),
        (p.tech, Act::AddImage(add_image(lift, 2))),
        (
            p.supervisor,
            set_view(Subject::Mark(t.mark), 1, &["front", "mirror"]),
        ),
        (
            p.examiner,
            set_scale(Subject::Mark(t.mark), 1, Some(span(0, 0, 4000, 0, "10 mm"))),
        ),
        (
            p.tech,
            add_copy(Subject::Mark(t.mark), 1, 9, Recipe::new(vec![Op::Flip])),
        ),
        (p.examiner, assess(Subject::Mark(t.mark), 1)),
        (
            p.supervisor,
            exported(Subject::Item(t.lift), Subject::Mark(t.mark), 1),
        ),
        (p.tech, Act::Recover(recover(t.mark, "clear-pvs", y.now))),
        (
            p.tech,
            Act::KitAdd(KitAdd {
                medium: "clear-pvs".into(),
                lot: "CP-1".into(),
                opened_on: None,
                expires_on: None,
            }),
        ),
        (
            p.tech,
            Act::KitRemove(KitRemove {
                medium: "silicone-putty".into(),
                lot: "sp-7".into(),
                reason: "used up".into(),
            }),
        ),
        (p.tech, pack(t.case, "box-rigid-small", &[])),
        (
            p.tech,
            pack(
                t.case,
                "box-cardboard",
                &[lift, Piece::Package(t.box_sealed)],
            ),
        ),
        (
            p.tech,
            Act::PutIn(PutIn {
                package: t.envelope,
                piece: lift,
            }),
        ),
        (
            p.tech,
            Act::TakeOut(TakeOut {
                package: t.envelope,
                piece: Piece::Item(t.inner),
                reason: "to look at it".into(),
            }),
        ),
        (p.tech, seal(t.envelope, "12")),
        (
            p.tech,
            Act::Open(Open {
                package: t.box_sealed,
                reason: "to look at it".into(),
                seal_seen: "004218".into(),
                condition: Condition::Intact,
                note: String::new(),
            }),
        ),
        (
            p.tech,
            Act::NoteDry(NoteDry {
                item: t.wet,
                how: "on a rack".into(),
            }),
        ),
        (
            p.custodian,
            Act::StockSet(StockSet {
                place: t.shelf,
                kind: "B3".into(),
                container: "box-cardboard".into(),
                inner_mm: [300, 200, 200],
                count: 12,
            }),
        ),
        (
            p.custodian,
            Act::StoreMany(StoreMany {
                place: t.marked_fridge,
                codes: vec![y.stage.state.items[&t.shelved].code.to_string()],
                unsealed_reason: Some("the seals have run out".into()),
            }),
        ),
        (
            p.custodian,
            Act::LogClimate(LogClimate {
                place: t.shelf,
                logger: "L-7".into(),
                csv: "time,temperature_c\n2026-01-02T10:00:00Z,21\n".into(),
                offset: None,
            }),
        ),
        (
            p.tech,
            Act::StockTake(StockTake {
                place: t.shelf,
                kind: "B2".into(),
                count: 2,
                purpose: "for the van".into(),
            }),
        ),
        (p.tech, from_stock),
        (p.tech, give),
        (p.custodian, lend),
        (
            p.tech,
            Act::Withdraw(Withdraw {
                piece: boxed,
                reason: "the wrong box".into(),
            }),
        ),
        (p.custodian, receive(boxed, "004217")),
        (
            p.custodian,
            Act::Refuse(Refuse {
                piece: boxed,
                reason: "the wrong box".into(),
            }),
        ),
        (p.tech, hand_out(lift)),
        (
            p.tech,
            Act::TakeBack(TakeBack {
                piece: Piece::Item(t.outside),
                party: party(),
                seal_seen: String::new(),
                condition: Condition::Intact,
                note: String::new(),
                weighed: None,
                absent: vec![],
            }),
        ),
        (
            p.second,
            Act::TakeCharge(TakeCharge {
                piece: shelved,
                reason: "found on the counter".into(),
                seal_seen: String::new(),
                condition: Condition::Intact,
                note: String::new(),
            }),
        ),
        (p.custodian, Act::AddPlace(inner_place)),
        (p.custodian, Act::Store(to_window)),
        (p.custodian, Act::Store(store(shelved, t.marked_fridge))),
        (p.custodian, Act::Store(store(shelved, t.free_bin))),
        (p.custodian, set_capacity(t.shelf, Some(40))),
        (p.supervisor, two_person(t.cage, false)),
        (
            p.custodian,
            Act::Fetch(Fetch {
                piece: shelved,
                purpose: "to look at it".into(),
            }),
        ),
        (
            p.supervisor,
            Act::Amend(Amend {
                event: y.first("mark.noted"),
                field: "note".into(),
                value: String::new(),
                reason: "of another mark".into(),
            }),
        ),
        (
            p.tech,
            Act::Amend(Amend {
                event: y.first("item.recovered"),
                field: "description".into(),
                value: "from the left locker door".into(),
                reason: "there are two".into(),
            }),
        ),
        (
            p.examiner,
            Act::AnswerFinding(AnswerFinding {
                finding: y.finding(shelved),
                text: "photographed on the shelf, then packed".into(),
                evidence: Some(y.first("mark.noted")),
            }),
        ),
        (
            p.tech,
            Act::LabelPrinted(LabelPrinted {
                of: Subject::Place(t.shelf),
                label: "shelf".into(),
                digest,
                print: None,
                certificate: None,
                timestamp: None,
                warning: None,
            }),
        ),
        (
            p.supervisor,
            Act::ReportPrinted(ReportPrinted {
                of: Subject::Package(t.box_offered),
                digest,
                ledger_size: 9,
                counts: vec![],
                print: None,
                paper: None,
                person: None,
                made_for: None,
                withheld: vec![],
                certificate: None,
                timestamp: None,
                warning: None,
            }),
        ),
        (
            p.tech,
            Act::FormPrinted(super::sheets::printed(
                t.case,
                PaperKind::HandOverSheet,
                CommandId::new(),
            )),
        ),
        (p.supervisor, super::exhibits::exhibit(t.lift, "S-4", "")),
        (
            p.supervisor,
            Act::Disclose(Disclose {
                case: t.closed_case,
                to: "Counsel".into(),
                authority: "order of 4 March".into(),
                digest,
                bytes: 9,
                ledger_size: 9,
                events: 3,
                images: 0,
                withheld: vec![],
                images_left_out: 0,
            }),
        ),
        (
            p.supervisor,
            Act::CaseRead(CaseRead {
                case: t.closed_case,
                what: "case file".into(),
            }),
        ),
    ]
}

/// The same command on both states: the same drafts or the same refusal.
fn compare(y: &Yard, actor: &Actor, command: &Command) -> Result<(), String> {
    let full = &y.stage.state;
    let mut cold = loaded(full, actor, command);
    let word = command.act.word();
    let on_full = decide(full, &y.rules, actor, command, y.now);
    let on_cold = decide(&cold, &y.rules, actor, command, y.now);
    assert_eq!(on_full, on_cold, "{word}");
    let drafts = on_full.map_err(|r| r.to_string())?;
    let mut warm = full.clone();
    warm.also.clear();
    for draft in &drafts {
        let meta = Meta {
            seq: y.stage.size() + 1,
            actor: actor.id,
            at: draft.claimed_at,
        };
        apply(&mut warm, &draft.fact, &meta).unwrap();
        apply(&mut cold, &draft.fact, &meta).unwrap();
    }
    // Sums of places around others and items in a package change beside what events name, and the state says which.
    assert_eq!(warm.also, cold.also, "{word}");
    let touched: BTreeSet<Subject> = drafts
        .iter()
        .flat_map(|d| d.subjects.clone())
        .chain(warm.also.iter().copied())
        .collect();
    for subject in &touched {
        let (a, b) = (rows::row(&warm, *subject), rows::row(&cold, *subject));
        assert_eq!(a, b, "{word}: {subject}");
        assert!(a.unwrap().is_some(), "{word}: {subject} has no record");
    }
    // A fact changes only what its event touches or the state says: the append path writes no other record.
    let all = full
        .people
        .keys()
        .map(|x| Subject::Person(*x))
        .chain(full.places.keys().map(|x| Subject::Place(*x)))
        .chain(full.cases.keys().map(|x| Subject::Case(*x)))
        .chain(full.marks.keys().map(|x| Subject::Mark(*x)))
        .chain(full.items.keys().map(|x| Subject::Item(*x)))
        .chain(full.packages.keys().map(|x| Subject::Package(*x)));
    for subject in all.filter(|s| !touched.contains(s)) {
        assert_eq!(
            rows::row(full, subject),
            rows::row(&warm, subject),
            "{word} changes {subject} without touching it"
        );
    }
    Ok(())
}

#[test]
fn every_act_is_decided_alike_on_what_it_asks_for() {
    let mut y = Yard::new();
    let room = Room::of(&mut y);
    let orders = Orders::of(&mut y);
    let mut words = BTreeSet::new();
    for (who, act) in allowed(&y)
        .into_iter()
        .chain(room.allowed(&y))
        .chain(orders.allowed(&y))
    {
        let word = act.word();
        let c = command(act);
        if let Err(why) = compare(&y, &actor(&y.stage.state, who), &c) {
            panic!("{word} should be allowed: {why}");
        }
        words.insert(word);
    }
    let table: BTreeSet<&str> = Act::TABLE.iter().map(|(word, ..)| *word).collect();
    assert_eq!(words, table, "acts without a row");
    assert_eq!(table.len(), Act::TABLE.len());
}

#[test]
fn every_refusal_is_the_same_on_what_was_asked_for() {
    let mut y = Yard::new();
    let room = Room::of(&mut y);
    let orders = Orders::of(&mut y);
    for row in super::refusals::rows(&y)
        .into_iter()
        .chain(room.rows(&y))
        .chain(orders.rows(&y))
    {
        assert!(compare(&y, &row.actor, &row.command).is_err());
    }
    // The same acts by everybody else: other rules, the same answers.
    for who in y.stage.state.people.keys() {
        let me = actor(&y.stage.state, *who);
        for row in super::refusals::rows(&y)
            .into_iter()
            .chain(room.rows(&y))
            .chain(orders.rows(&y))
        {
            let _ = compare(&y, &me, &row.command);
        }
        for (_, act) in allowed(&y)
            .into_iter()
            .chain(room.allowed(&y))
            .chain(orders.allowed(&y))
        {
            let _ = compare(&y, &me, &command(act));
        }
    }
}

/// Packages in packages: what is inside and around is found step by step.
#[test]
fn a_chain_of_packages_is_loaded_to_its_ends() {
    let mut y = Yard::new();
    let tech = y.people.tech;
    let lift = Piece::Item(y.things.lift);
    let mut inner = Piece::Package(y.packed("envelope-paper", &[lift]));
    let first = inner;
    for _ in 0..6 {
        inner = Piece::Package(y.packed("box-cardboard", &[inner]));
    }
    let Piece::Package(first) = first else {
        unreachable!()
    };
    let other = Piece::Item(y.things.other_lift);
    let me = actor(&y.stage.state, tech);
    let take_out = Act::TakeOut(TakeOut {
        package: first,
        piece: lift,
        reason: "to look at it".into(),
    });
    let put_in = Act::PutIn(PutIn {
        package: first,
        piece: other,
    });
    let keeper = actor(&y.stage.state, y.people.custodian);
    let label = Act::LabelPrinted(LabelPrinted {
        of: inner.into(),
        label: "box".into(),
        digest: Digest([1; 32]),
        print: None,
        certificate: None,
        timestamp: None,
        warning: None,
    });
    let around = pack(y.things.case, "box-cardboard", &[inner]);
    for act in [take_out.clone(), put_in, label, around] {
        compare(&y, &me, &command(act)).unwrap();
    }
    // Not the holder: the refusal names who has the outermost package.
    let refusal = compare(&y, &keeper, &command(take_out)).unwrap_err();
    assert!(refusal.contains("Βάρνα tech has it"), "{refusal}");
}
