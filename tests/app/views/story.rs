//! What the views say of a story whose every step is known: the demo's.

use std::collections::BTreeSet;

use liftledger::app::agency::{Agency, AgencyError};
use liftledger::app::demo::{self, Demo};
use liftledger::app::house::House;
use liftledger::app::views::desk::{self, Desk, Which};
use liftledger::app::views::findings::{Finding, Severity};
use liftledger::app::views::item_file::{self, ItemFile};
use liftledger::app::views::{
    case_file, find, images, mark_file, package_file, place_file, ready, trail, words,
};
use liftledger::app::{Part, ReadError, Reader, Viewer, past};
use liftledger::custody::state::Holder;
use liftledger::custody::thread::{KnotKind, StretchKind};
use liftledger::ids::{Piece, Subject};
use liftledger::reports::paper::Paper;

struct Told {
    _dir: tempfile::TempDir,
    house: House,
    demo: Demo,
}

impl Told {
    async fn viewer(&self, user_name: &str) -> Viewer {
        let person = self.house.person_by_user_name(user_name).await.unwrap();
        Viewer::person(person.unwrap())
    }

    async fn item(&self, who: &Viewer, name: &str) -> ItemFile {
        let id = self.demo.items[name];
        item_file::load(&self.house.reader(who), id).await.unwrap()
    }

    async fn desk(&self, who: &Viewer, which: Which) -> Desk {
        desk::load(&self.house.reader(who), which).await.unwrap()
    }

    /// The item that is in a package by the record, under the name that the story gives the package.
    async fn in_package(&self, who: &Viewer, package: &str) -> ItemFile {
        let reader = self.house.reader(who);
        let package = reader.package(self.demo.packages[package]).await.unwrap();
        let Some(Piece::Item(id)) = package.contents.first() else {
            panic!("no item in {}", package.number)
        };
        item_file::load(&reader, *id).await.unwrap()
    }
}

fn codes(findings: &[Finding]) -> BTreeSet<&str> {
    findings.iter().map(|f| f.code.as_str()).collect()
}

/// One loading for all: drawing the demo's pictures takes most of the time.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_views_say_what_was_done() {
    let dir = tempfile::tempdir().unwrap();
    let (house, demo) = demo::begin(&dir.path().join("demo")).await.unwrap();
    let told = Told {
        _dir: dir,
        house,
        demo,
    };
    the_agency_is_kept(&told).await;
    a_gap(&told).await;
    a_mismatch_and_a_late_entry(&told).await;
    exactly_what_was_planted(&told).await;
    trails_read_together_are_the_same(&told).await;
    an_override(&told).await;
    an_item_sees_what_its_packages_went_through(&told).await;
    mirrored(&told).await;
    files(&told).await;
    restricted(&told).await;
    desks(&told).await;
    finding(&told).await;
    pictures(&told).await;
    told.house.close().await;
}

async fn the_agency_is_kept(t: &Told) {
    let zone = "Europe/Oslo".parse().unwrap();
    let mut agency = Agency {
        name: "Identification unit of Hollin Reach".into(),
        zone,
        paper: Paper::Letter,
    };
    t.house.set_agency(&agency).await.unwrap();
    assert_eq!(t.house.agency().await.unwrap(), agency);
    agency.name = " \n".into();
    let refused = t.house.set_agency(&agency).await;
    assert!(matches!(refused, Err(AgencyError::Name)));
}

/// Released, left on the counter, found three days later.
async fn a_gap(t: &Told) {
    let nour = t.viewer("nour").await;
    let file = t.in_package(&nour, "lamp-pack").await;
    let gap = file.findings.iter().find(|f| f.code == "gap").unwrap();
    assert_eq!(gap.severity, Severity::Break);
    let row = &file.rows[gap.row.unwrap() - 1];
    assert_eq!(row.kind, "custody.charge-taken");
    assert_eq!((Some(row.seq), row.flag.as_deref()), (gap.seq, Some("gap")));
    // From the release, the last act of whoever had it, until charge was taken.
    let released = file.rows.iter().find(|r| r.kind == "custody.released");
    assert_eq!(gap.from, Some(released.unwrap().claimed_at));
    assert_eq!(gap.to, Some(row.claimed_at));
    let breaks: Vec<_> = file
        .thread
        .stretches
        .iter()
        .filter(|s| s.kind == StretchKind::Break)
        .collect();
    assert_eq!(breaks.len(), 1);
    assert_eq!(Some(breaks[0].from), gap.from.map(|x| x.to_utc()));
    assert_eq!(Some(breaks[0].to), gap.to.map(|x| x.to_utc()));
    // The thread leaves no instant out: each stretch begins where the one before it ends.
    for pair in file.thread.stretches.windows(2) {
        assert_eq!(pair[0].to, pair[1].from);
    }
    // The offer that was never answered stays an open knot.
    let offer = file.thread.knots.iter().find(|k| k.kind == KnotKind::Offer);
    assert!(!offer.unwrap().filled);
}

/// The items of the two flawed packages have the finding that the story plants in each, and nothing more.
///
/// The gap is counted by hand from the story: released on day -20 at 18:20, charge taken on day -17 at 07:50, which is
/// two days, thirteen hours and thirty minutes.
async fn exactly_what_was_planted(t: &Told) {
    let nour = t.viewer("nour").await;
    for (package, planted) in [("lamp-pack", "gap"), ("plotter-pack", "seal-mismatch")] {
        let file = t.in_package(&nour, package).await;
        let found: Vec<&str> = file.findings.iter().map(|f| f.code.as_str()).collect();
        assert_eq!(found, [planted], "{package}");
    }
    // The demo's own list names all of it: in the whole case nothing more is found, and in the other case nothing.
    let subject = |name: &str| match t.demo.items.get(name) {
        Some(id) => Subject::Item(*id),
        None => Subject::Package(t.demo.packages[name]),
    };
    let planted: BTreeSet<(Subject, &str)> = demo::PLANTED
        .iter()
        .map(|(name, code, _)| (subject(name), *code))
        .collect();
    assert_eq!(planted.len(), demo::PLANTED.len());
    let reader = t.house.reader(&nour);
    let ready = ready::load(&reader, t.demo.cases["boatyard"])
        .await
        .unwrap();
    assert_eq!(ready.case.number, demo::FLAWED_CASE);
    let found: BTreeSet<(Subject, &str)> = ready
        .left
        .iter()
        .map(|f| (f.finding.key.of, f.finding.code.as_str()))
        .collect();
    assert_eq!(found, planted);
    assert_eq!((ready.findings, ready.answered, ready.ready), (8, 0, false));
    assert_eq!((ready.items, ready.packages), (20, 20));
    let other = ready::load(&reader, t.demo.cases["outboard"])
        .await
        .unwrap();
    assert!(other.ready && other.findings == 0, "{}", other.sentence);
    // Beyond its bound the answer is no, and says that it cannot tell.
    let short = ready::load_within(&reader, t.demo.cases["boatyard"], 1).await;
    let short = short.unwrap();
    assert!(!short.ready, "{}", short.sentence);
    assert_eq!(short.too_many, short.items < 20 || short.packages < 20);
    let file = t.in_package(&nour, "lamp-pack").await;
    let gap = &file.findings[0];
    let seconds = (gap.to.unwrap() - gap.from.unwrap()).num_seconds();
    assert_eq!(seconds, ((2 * 24 + 13) * 60 + 30) * 60);
}

/// What many are asked for at once is what each is asked for alone, also where a history is longer than one answer.
async fn trails_read_together_are_the_same(t: &Told) {
    let store = t.house.store.as_ref();
    let items = t.demo.items.values().map(|id| Piece::Item(*id));
    let packages = t.demo.packages.values().map(|id| Piece::Package(*id));
    let pieces: Vec<Piece> = items.chain(packages).collect();
    let mut known = trail::Known::new();
    let all = trail::load_all(store, &pieces, &mut known).await.unwrap();
    assert_eq!(all.len(), pieces.len());
    let mut through = 0;
    for piece in pieces {
        let alone = trail::load(store, piece).await.unwrap();
        through += alone.iter().filter(|s| s.through.is_some()).count();
        assert_eq!(all[&piece], alone, "{piece}");
        let again = trail::load_all(store, &[piece], &mut known).await.unwrap();
        assert_eq!(again[&piece], alone, "{piece}");
    }
    assert!(through > 10, "{through} steps through a package");
    let mut subjects: BTreeSet<Subject> = t
        .demo
        .places
        .values()
        .map(|id| Subject::Place(*id))
        .collect();
    subjects.extend(t.demo.people.values().map(|p| Subject::Person(p.id)));
    subjects.extend(t.demo.cases.values().map(|id| Subject::Case(*id)));
    let all = past::histories(store, &subjects).await.unwrap();
    assert_eq!(all.len(), subjects.len());
    for of in subjects {
        assert_eq!(all[&of], past::history(store, of).await.unwrap(), "{of}");
    }
    let longest = all.values().map(Vec::len).max();
    assert!(longest > Some(60), "{longest:?}");
}

async fn a_mismatch_and_a_late_entry(t: &Told) {
    let nour = t.viewer("nour").await;
    let file = t.in_package(&nour, "plotter-pack").await;
    let found = file
        .findings
        .iter()
        .find(|f| f.code == "seal-mismatch")
        .unwrap();
    assert_eq!(found.severity, Severity::Break);
    assert!(found.sentence.contains("HR-004117") && found.sentence.contains("HR-004171"));
    let row = &file.rows[found.row.unwrap() - 1];
    assert_eq!(
        (row.seal_on_record.as_str(), row.seal_seen.as_str()),
        ("HR-004117", "HR-004171")
    );
    let seal = file.seals.iter().find(|s| s.number == "HR-004117").unwrap();
    assert_eq!(seal.mismatches, ["HR-004171"]);
    assert!(file.thread.seals.iter().any(|s| s.mismatch));

    let file = t.in_package(&nour, "dust-pack").await;
    let late = file
        .rows
        .iter()
        .find(|r| r.kind == "custody.received")
        .unwrap();
    assert!(late.late && late.late_reason.is_some());
    let found = file
        .findings
        .iter()
        .find(|f| f.code == "late-entry" && f.seq == Some(late.seq))
        .unwrap();
    assert_eq!(found.severity, Severity::Note);
    assert!(
        found.sentence.contains("paper sheet 3"),
        "{}",
        found.sentence
    );
    assert!(!codes(&file.findings).contains("gap"));
}

async fn an_override(t: &Told) {
    let nour = t.viewer("nour").await;
    let file = t.in_package(&nour, "sole-pack").await;
    let found = file
        .findings
        .iter()
        .find(|f| f.code == "keep-rule-overridden")
        .unwrap();
    // It names who answers for it.
    assert!(found.sentence.contains("no. S-001"), "{}", found.sentence);
    let file = t.in_package(&nour, "cowling-pack").await;
    assert!(codes(&file.findings).contains("condition"));
    let outside = file
        .thread
        .stretches
        .iter()
        .filter(|s| s.kind == StretchKind::Outside);
    assert_eq!(outside.count(), 1);
}

/// The lift of the hatch cover: packed, the envelope in a box, the box handed over, opened, the envelope taken out.
async fn an_item_sees_what_its_packages_went_through(t: &Told) {
    let nour = t.viewer("nour").await;
    let file = t.item(&nour, "hatch-item").await;
    let kinds: Vec<(&str, Option<&str>)> = file
        .rows
        .iter()
        .filter(|r| r.kind.starts_with("custody."))
        .map(|r| (r.kind.as_str(), r.through.as_deref()))
        .collect();
    let reader = t.house.reader(&nour);
    let name = |p: &str| t.demo.packages[p];
    let own = format!(
        "package P{}",
        reader.package(name("hatch-pack")).await.unwrap().number
    );
    let outer = format!(
        "package P{}",
        reader.package(name("cards-box")).await.unwrap().number
    );
    let (own, outer) = (Some(own.as_str()), Some(outer.as_str()));
    // In the box: offered, received, stored, checked out. By itself afterwards: to the examiner and back.
    assert_eq!(
        kinds,
        [
            ("custody.released", outer),
            ("custody.received", outer),
            ("custody.stored", outer),
            ("custody.fetched", outer),
            ("custody.released", own),
            ("custody.received", own),
            ("custody.released", own),
            ("custody.received", own),
            ("custody.stored", own),
        ]
    );
    // Each event once, in the ledger's order, counted from 1.
    let seqs: Vec<u64> = file.rows.iter().map(|r| r.seq).collect();
    assert!(seqs.windows(2).all(|w| w[0] < w[1]));
    assert!(file.rows.iter().enumerate().all(|(i, r)| r.row == i + 1));
    // What happened to the box after the envelope had left it is none of its business.
    let resealed = file.rows.iter().any(|r| r.seal_on_record == "HR-004130");
    assert!(!resealed);
    // The envelope was taken out of an open box: put in, taken out and sealed are there, too.
    assert!(file.rows.iter().any(|r| r.kind == "package.taken-out"));
    assert!(file.seals.iter().any(|s| s.number == "HR-004132"));
    assert!(matches!(file.now.holder, Holder::Place { .. }));
    assert_eq!(file.now.inside.len(), 1);
    assert_eq!(file.now.inside[0].seal, "HR-004132");
    // A knot points to its row.
    for knot in &file.thread.knots {
        assert_eq!(file.rows[knot.row - 1].seq, knot.seq);
    }
    // The count that a print carries is the ledger's.
    let own_events = file.rows.iter().filter(|r| r.of == Subject::Item(file.id));
    let counted = file
        .counts
        .iter()
        .find(|c| c.subject == Subject::Item(file.id));
    assert_eq!(counted.unwrap().events, own_events.count() as u64);
}

async fn mirrored(t: &Told) {
    let nour = t.viewer("nour").await;
    let mut seen = BTreeSet::new();
    for id in t.demo.items.keys() {
        let file = match item_file::load(&t.house.reader(&nour), t.demo.items[id]).await {
            Ok(file) => file,
            Err(e) => panic!("{id}: {e}"),
        };
        let banner = file.orientation.banner.as_deref();
        seen.insert(file.orientation.reads.clone());
        match file.orientation.reads.as_str() {
            "direct" => assert_eq!(banner, None),
            "reversed" => assert_eq!(banner, Some(words::MIRRORED)),
            _ => assert_eq!(banner, Some(words::NOT_ESTABLISHED)),
        }
        assert!(!file.recovery.by_name.is_empty() && file.recovery.when.ends_with("+01:00"));
        // All of it can be written down and described for programs.
        serde_json::to_string(&file).unwrap();
    }
    assert!(seen.contains("direct") && seen.contains("reversed"));
    let schema = schemars::schema_for!(ItemFile);
    assert!(schema.get("properties").is_some());
    // A correction stands beside what was written.
    let file = t.item(&nour, "can-item").await;
    assert_eq!(file.recovery.lot, "FL-28");
    let corrected = file.amendments.iter().find(|a| a.field == "lot").unwrap();
    assert_eq!(
        (corrected.value.as_str(), corrected.was != "FL-28"),
        ("FL-28", true)
    );
}

async fn files(t: &Told) {
    let nour = t.viewer("nour").await;
    let reader = t.house.reader(&nour);
    let pack = package_file::load(&reader, t.demo.packages["lamp-pack"])
        .await
        .unwrap();
    assert!(codes(&pack.findings).contains("gap"));
    assert_eq!(pack.contents.len(), 1);
    assert_eq!(pack.thread.knots[0].kind, KnotKind::Start);
    assert_eq!(pack.seal, "HR-004122");
    let mark = mark_file::load(&reader, t.demo.marks["tiller"])
        .await
        .unwrap();
    assert_eq!(mark.mark.exact_place, "underside, 22 cm from the after end");
    assert_eq!(mark.amendments.len(), 1);
    assert_eq!(mark.noted_seq, Some(mark.amendments[0].event));
    let place = place_file::load(&reader, t.demo.places["a2"], &Part::default())
        .await
        .unwrap();
    let path: Vec<&str> = place.path.iter().map(|p| p.name.as_str()).collect();
    assert_eq!(
        path,
        ["Evidence store, Weir Street", "Room E1", "Cabinet A"]
    );
    let lamp = Piece::Package(t.demo.packages["lamp-pack"]);
    assert!(place.contents.rows.iter().any(|l| l.piece == lamp));
    let case = case_file::load(
        &reader,
        t.demo.cases["boatyard"],
        &case_file::Parts::default(),
    )
    .await
    .unwrap();
    assert_eq!(case.items.rows.len(), case.item_count as usize);
    assert_eq!(case.marks.rows.len(), case.mark_count as usize);
    assert_eq!(case.packages.rows.len(), case.package_count as usize);
    // One gap and one mismatch, each told once although packages lie in packages.
    let of = |code: &str| {
        let all = case.findings.findings.iter();
        all.filter(|f| f.finding.code == code).count()
    };
    assert_eq!((of("gap"), of("seal-mismatch")), (1, 1));
    assert_eq!(case.findings.tally.breaks, 2);
    assert_eq!(case.findings.findings[0].finding.severity, Severity::Break);
}

async fn restricted(t: &Told) {
    let item = t.demo.items["shelf-edge-item"];
    let runa = t.viewer("runa").await;
    let reader = t.house.reader(&runa);
    let refused = item_file::load(&reader, item).await;
    assert!(matches!(refused, Err(ReadError::Restricted)));
    let pack = t.demo.packages["shelf-edge-pack"];
    let refused = package_file::load(&reader, pack).await;
    assert!(matches!(refused, Err(ReadError::Restricted)));
    let case = t.demo.cases["outboard"];
    let refused = case_file::load(&reader, case, &case_file::Parts::default()).await;
    assert!(matches!(refused, Err(ReadError::Restricted)));
    // It stands on a shelf that Rúna may look at, and is not shown there.
    let shelf = |place: place_file::PlaceFile| {
        let mut all = place.contents.rows.iter();
        all.any(|l| l.piece == Piece::Package(pack))
    };
    let a1 = t.demo.places["a1"];
    let part = Part::default();
    assert!(!shelf(place_file::load(&reader, a1, &part).await.unwrap()));
    let nour = t.viewer("nour").await;
    let assigned = t.house.reader(&nour);
    assert!(shelf(place_file::load(&assigned, a1, &part).await.unwrap()));
    // Neither by seal, nor by number, nor by code, nor by words.
    let code = t.item(&nour, "shelf-edge-item").await.code_grouped;
    for q in [
        "HR-004136",
        "HR-26-0433",
        "HR-26-0433/1",
        &code,
        "missing workshop",
    ] {
        assert_eq!(hits(&reader, q).await, [], "{q}");
    }
    for q in ["HR-004136", "HR-26-0433", "HR-26-0433/1", &code] {
        let found = hits(&assigned, q).await;
        assert_eq!(found.len(), 1, "{q}");
        let told = format!("{} {}", found[0].name, found[0].words);
        assert!(
            told.contains("restricted") && told.contains("HR-26-0433"),
            "{told}"
        );
    }
    // That a word stands in it is not told to the assigned either: nothing records that they were told.
    for q in [
        "missing",
        "missing workshop",
        "m",
        "outboard",
        "HR-26-0433 outboard",
    ] {
        let found = hits(&assigned, q).await;
        assert!(
            found
                .iter()
                .all(|h| !h.name.contains("HR-26-0433") && !h.words.contains("HR-26-0433")),
            "{q}"
        );
    }
    // An administrator reads no evidence at all.
    let ivo = t.viewer("ivo").await;
    let refused = find::find(&t.house.reader(&ivo), "outboard", 50).await;
    assert!(matches!(refused, Err(ReadError::Forbidden(_))));
}

async fn hits(reader: &Reader<'_>, q: &str) -> Vec<find::Hit> {
    let found = find::find(reader, q, find::MOST_HITS).await.unwrap();
    found.hits
}

async fn desks(t: &Told) {
    let nour = t.viewer("nour").await;
    let desk = t.desk(&nour, Which::Storeroom).await;
    let clamp = Subject::Package(t.demo.packages["clamp-pack"]);
    let line = desk.now.lines.iter().find(|l| l.subject == clamp).unwrap();
    assert_eq!(line.next_act.as_ref().unwrap().act, "receive");
    // Out with the examiner and overdue.
    let overdue: Vec<_> = desk
        .now
        .lines
        .iter()
        .filter(|l| l.badge == "overdue")
        .map(|l| l.subject)
        .collect();
    // It was taken out of its package, and the loan with it.
    assert_eq!(
        overdue,
        [Subject::Item(t.demo.items["prymark-item"])],
        "{overdue:?}"
    );

    let runa = t.viewer("runa").await;
    let desk = t.desk(&runa, Which::Field).await;
    let line = desk.soon.lines.iter().find(|l| l.subject == clamp).unwrap();
    assert_eq!(line.badge, "not answered");
    assert_eq!(line.next_act.as_ref().unwrap().act, "withdraw");
    let elsewhere = desk::load(&t.house.reader(&runa), Which::Court).await;
    assert!(matches!(elsewhere, Err(ReadError::NotFound(_))));

    let soren = t.viewer("soren").await;
    let desk = t.desk(&soren, Which::Examiner).await;
    let all = [&desk.now, &desk.soon, &desk.later];
    assert!(all.iter().any(|g| !g.lines.is_empty()));

    let eleni = t.viewer("eleni").await;
    let desk = t.desk(&eleni, Which::Court).await;
    let case = Subject::Case(t.demo.cases["boatyard"]);
    let line = desk.later.lines.iter().find(|l| l.subject == case).unwrap();
    assert_eq!(line.badge, "break");
    let hidden = Subject::Case(t.demo.cases["outboard"]);
    assert!(!desk.later.lines.iter().any(|l| l.subject == hidden));
}

async fn finding(t: &Told) {
    let nour = t.viewer("nour").await;
    let reader = t.house.reader(&nour);
    let file = t.item(&nour, "hatch-item").await;
    let first = async |q: &str| {
        let hits = hits(&reader, q).await;
        hits.first().map(|h| h.subject)
    };
    let item = Some(Subject::Item(file.id));
    // A code as it is read aloud: small letters, spaces.
    assert_eq!(first(&file.code_grouped.to_lowercase()).await, item);
    let number = &file.case.number;
    assert_eq!(first(&format!("{number}/{}", file.number)).await, item);
    assert_eq!(first(&format!("{number} item {}", file.number)).await, item);
    let case = Some(Subject::Case(file.case.id));
    assert_eq!(first(number).await, case);
    let mark = Some(Subject::Mark(file.mark.id));
    assert_eq!(
        first(&format!("{number} M{}", file.mark.number)).await,
        mark
    );
    let pack = Some(Subject::Package(t.demo.packages["lamp-pack"]));
    assert_eq!(first(" hr-004122 ").await, pack);
    assert_eq!(first("no such thing anywhere").await, None);
    assert_eq!(first("").await, None);
    assert_eq!(first("/").await, None);
}

async fn pictures(t: &Told) {
    let nour = t.viewer("nour").await;
    let runa = t.viewer("runa").await;
    let file = t.item(&nour, "hatch-item").await;
    let of = Subject::Item(file.id);
    let digest = file.images[0].digest;
    let reader = t.house.reader(&nour);
    let (image, bytes) = images::image_bytes(&reader, digest, of).await.unwrap();
    assert_eq!(image.bytes, bytes.len() as u64);
    // The digest alone opens nothing: it must be a picture of what is asked about.
    let other = Subject::Item(t.demo.items["can-item"]);
    assert!(images::image_bytes(&reader, digest, other).await.is_err());
    let hidden = t.item(&nour, "shelf-edge-item").await;
    let of = Subject::Item(hidden.id);
    let digest = hidden.images[0].digest;
    assert!(images::image_bytes(&reader, digest, of).await.is_ok());
    let reader = t.house.reader(&runa);
    let refused = images::image_bytes(&reader, digest, of).await;
    assert!(matches!(
        refused,
        Err(images::ImageError::Read(ReadError::Restricted))
    ));
}
