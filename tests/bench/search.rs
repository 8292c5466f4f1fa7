//! Finding while somebody types, among a thousand items and among a million: the same questions, from one letter on, by the
//! whole of what answers them but HTTP. And how long the index of a million items takes to be filled at an upgrade.

use std::hint::black_box;
use std::time::Instant;

use chrono::{DateTime, Utc};
use liftledger::app::house::{House, KEYS};
use liftledger::app::views::find::{MOST_TYPED, find};
use liftledger::app::{Viewer, rows};
use liftledger::custody::import::{ItemImported, derived};
use liftledger::custody::rules::Meta;
use liftledger::custody::{Fact, State, apply, case, person};
use liftledger::ids::{CaseId, Code, Digest, ItemId, MarkId, PersonId, SceneId, Subject};
use liftledger::keys::Keys;
use liftledger::people::Role;
use liftledger::store::{Accounts as _, Batch, DocRow, SqliteStore, Store as _};
use tempfile::TempDir;

use super::Scale;
use super::build::{folder, key};
use super::figure::{Aim, Figure, note};

const ROUNDS: usize = 5;
/// Questions a round and ledger.
const QUESTIONS: usize = 1_500;
/// Items in a case.
const IN_A_CASE: u64 = 50;
/// Documents in one commit.
const COMMIT: usize = 5_000;

/// What things are called here, by turns and by chance: the first are in most descriptions, the last in few.
const WORDS: [&str; 40] = [
    "lift", "cast", "rail", "hatch", "boat", "print", "blue", "red", "door", "locker", "sill",
    "heel", "palm", "thumb", "tape", "card", "box", "varnish", "steel", "oak", "rudder", "cleat",
    "winch", "anchor", "bilge", "cabin", "deck", "engine", "fender", "galley", "hull", "jib",
    "keel", "lantern", "mast", "oar", "paddle", "rope", "sail", "tiller",
];

/// Numbers that look random and are the same in each run (xorshift; the three shifts are Marsaglia's, from memory).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % n as u64).unwrap()
    }

    /// The smaller of two, so that the first words are more frequent than the last.
    fn word(&mut self) -> &'static str {
        WORDS[self.below(WORDS.len()).min(self.below(WORDS.len()))]
    }
}

struct Room {
    house: House,
    items: u64,
    filled: f64,
    bytes: u64,
    _folder: TempDir,
}

fn number_of(case: u64) -> String {
    format!("HC-{:02}-{:05}", case % 40, case)
}

fn imported(dice: &mut Dice, n: u64, case: CaseId, scene: SceneId) -> ItemImported {
    let item = ItemId(derived(&format!("bench item {n}")));
    let description = format!(
        "{} {} {} of {} {}",
        dice.word(),
        dice.word(),
        dice.word(),
        dice.word(),
        n
    );
    ItemImported {
        item,
        case,
        number: u32::try_from(n % IN_A_CASE).unwrap() + 1,
        code: Code::of(Subject::Item(item)).unwrap(),
        mark: MarkId(derived(&format!("bench mark {n}"))),
        mark_number: u32::try_from(n % IN_A_CASE).unwrap() + 1,
        scene,
        former: format!("OS-{n:07}"),
        description,
        form: "card-lift".into(),
        medium: "clear tape".into(),
        method: String::new(),
        object: "rail".into(),
        place: None,
        place_name: String::new(),
        holder: String::new(),
        package: None,
        package_number: None,
        package_code: None,
        container: String::new(),
        seal: None,
        received_on: None,
        note: String::new(),
        file: "bench.csv".into(),
        file_digest: Digest([0; 32]),
        row: n,
    }
}

/// Documents of so many items, written as an older program would have left them: without words.
async fn room(items: u64) -> Room {
    let folder = folder();
    let path = folder.path().join("ledger.db");
    let store = SqliteStore::open(&path).await.unwrap();
    let (send, mut receive) = tokio::sync::mpsc::channel::<Vec<DocRow>>(2);
    let making = tokio::task::spawn_blocking(move || {
        let mut dice = Dice(0x9e37_79b9_7f4a_7c15);
        let at: DateTime<Utc> = Utc::now();
        let me = PersonId(derived("bench person"));
        let meta = Meta {
            seq: 1,
            actor: Some(me),
            at: at.fixed_offset(),
        };
        let mut docs = Vec::with_capacity(COMMIT + 2 * usize::try_from(IN_A_CASE).unwrap() + 2);
        let mut state = State::default();
        let added = person::PersonAdded {
            person: me,
            user_name: "cal".into(),
            name: "Cal Brannoch".into(),
            number: "C-007".into(),
            roles: [Role::Custodian].into(),
        };
        apply(&mut state, &Fact::PersonAdded(added), &meta).unwrap();
        docs.extend(rows::row(&state, Subject::Person(me)).unwrap());
        for c in 0..items.div_ceil(IN_A_CASE) {
            let (id, scene) = (
                CaseId(derived(&format!("bench case {c}"))),
                SceneId(derived("bench scene")),
            );
            let mut state = State::default();
            let opened = case::CaseOpened {
                case: id,
                number: number_of(c),
                title: format!("{} and {}", dice.word(), dice.word()),
                offence: "theft".into(),
            };
            apply(&mut state, &Fact::CaseOpened(opened), &meta).unwrap();
            for n in c * IN_A_CASE..((c + 1) * IN_A_CASE).min(items) {
                let fact = Fact::ItemImported(imported(&mut dice, n, id, scene));
                apply(&mut state, &fact, &meta).unwrap();
            }
            for subject in state
                .items
                .keys()
                .map(|i| Subject::Item(*i))
                .chain([Subject::Case(id)])
            {
                docs.extend(rows::row(&state, subject).unwrap());
            }
            if docs.len() >= COMMIT {
                send.blocking_send(std::mem::take(&mut docs)).unwrap();
            }
        }
        send.blocking_send(docs).unwrap();
    });
    while let Some(docs) = receive.recv().await {
        let mut tx = store.begin().await.unwrap();
        tx.append(Batch {
            docs,
            ..Batch::default()
        })
        .await
        .unwrap();
        tx.commit().await.unwrap();
    }
    making.await.unwrap();
    Keys::create(&folder.path().join(KEYS)).unwrap();
    store.set_setting("origin", key().name()).await.unwrap();
    store.close().await;
    let began = Instant::now();
    let house = House::open(folder.path()).await.unwrap();
    let filled = began.elapsed().as_secs_f64();
    let bytes = std::fs::metadata(&path).unwrap().len();
    Room {
        house,
        items,
        filled,
        bytes,
        _folder: folder,
    }
}

/// A question as somebody types it: the beginnings of words, one word, two, a case's number, a code's beginning.
fn question(dice: &mut Dice, items: u64) -> String {
    let word = dice.word();
    let any = dice.below(usize::try_from(items).unwrap()) as u64;
    match dice.below(10) {
        0 | 1 => word[..1].to_owned(),
        2 => word[..2].to_owned(),
        3 => word[..3].to_owned(),
        4 => word.to_owned(),
        5 => format!("{word} {}", dice.word()),
        6 => format!("{} {word}", number_of(any / IN_A_CASE)),
        7 => number_of(any / IN_A_CASE)[..5].to_owned(),
        8 => format!("os-{:05}", any / 100),
        _ => format!("{}/{}", number_of(any / IN_A_CASE), any % IN_A_CASE + 1),
    }
}

async fn ask(room: &Room, q: &str) -> f64 {
    let viewer = Viewer::operator();
    let reader = room.house.reader(&viewer);
    let began = Instant::now();
    let found = find(&reader, q, MOST_TYPED).await.unwrap();
    let took = began.elapsed();
    assert!(found.hits.len() <= MOST_TYPED);
    black_box(found);
    took.as_secs_f64() * 1e3
}

pub async fn measure(scale: Scale) -> Vec<Figure> {
    let few = room(1_000).await;
    let many = room(scale.of(1_000_000, 2_000)).await;
    note(&format!(
        "search: {} items; the index filled in {:.0} s; {} MB in all",
        many.items,
        many.filled,
        many.bytes / 1_000_000
    ));
    let words = many.house.store.words_from("item", "l", 10).await.unwrap();
    assert_eq!(words.len(), 10, "the index is filled");
    let mut dice = Dice(0x2545_f491_4f6c_dd1d);
    for _ in 0..QUESTIONS {
        let q = question(&mut dice, few.items);
        ask(&few, &q).await;
        ask(&many, &q).await;
    }
    let (mut here, mut there, mut ratios) = ([vec![], vec![]], [vec![], vec![]], [vec![], vec![]]);
    for n in 1..=ROUNDS {
        let (mut a, mut b) = (Vec::new(), Vec::new());
        // By turns, so that what else the machine does weighs on both.
        for _ in 0..QUESTIONS {
            let q = question(&mut dice, few.items);
            a.push(ask(&few, &q).await);
            let q = question(&mut dice, many.items);
            b.push(ask(&many, &q).await);
        }
        a.sort_by(f64::total_cmp);
        b.sort_by(f64::total_cmp);
        for (i, part) in [50, 99].into_iter().enumerate() {
            let at = QUESTIONS * part / 100;
            here[i].push(a[at]);
            there[i].push(b[at]);
            ratios[i].push(b[at] / a[at]);
        }
        note(&format!(
            "search, round {n}: 99th of 100 in {:.3} ms, and {:.3} ms among {}",
            here[1][n - 1],
            there[1][n - 1],
            many.items
        ));
    }
    let of = format!("{} items", few.items);
    let name = |items: u64, part: &str| format!("finding as typed, {items} items, {part}");
    let figures = vec![
        Figure::plain(name(few.items, "median"), "ms", &here[0]),
        Figure::plain(name(many.items, "median"), "ms", &there[0]).against(
            of.clone(),
            &ratios[0],
            None,
        ),
        Figure::plain(name(few.items, "p99"), "ms", &here[1]),
        Figure::plain(name(many.items, "p99"), "ms", &there[1]).against(
            of,
            &ratios[1],
            Some(Aim::AtMost(1.5)),
        ),
        Figure::plain("the word index filled at an upgrade", "s", &[many.filled]),
    ];
    few.house.close().await;
    many.house.close().await;
    figures
}
