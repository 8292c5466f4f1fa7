//! An existing room taken over from a CSV file: what is wrong is said row by row, what is right is recorded once, and no page
//! claims to have witnessed what was before.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use liftledger::app::audit::audit;
use liftledger::app::import::{
    Asked, ImportError, MOST_CELL, MOST_ROW, Mapping, MappingError, Problem, Summary, Table, run,
};
use liftledger::app::views::find::find;
use liftledger::app::views::{case_file, item_file, package_file};

use liftledger::custody::hand_over;
use liftledger::custody::state::Holder;
use liftledger::custody::{Act, case, import, package, place};
use liftledger::ids::{Digest, ItemId, PersonId, Piece};

use super::boatyard::{Boatyard, act};
use super::room::{HEADING, MAPPING, room};

struct Yard {
    b: Boatyard,
    folder: tempfile::TempDir,
}

impl Yard {
    async fn begin() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let b = Boatyard::begin(&folder.path().join("data")).await;
        Self { b, folder }
    }

    fn file(&self, bytes: &[u8]) -> PathBuf {
        let path = self.folder.path().join("room.csv");
        std::fs::write(&path, bytes).unwrap();
        path
    }

    async fn run(
        &self,
        file: &Path,
        mapping: &str,
        batch: Option<usize>,
    ) -> Result<(Summary, Vec<Problem>), ImportError> {
        let mapping = Mapping::parse(mapping).unwrap();
        let asked = Asked {
            file: Table::File(file),
            mapping: &mapping,
            by: Some(self.b.custodian),
            batch,
        };
        let mut problems = Vec::new();
        let summary = run(&self.b.house, asked, |p| problems.push(p.clone()), |_| {}).await?;
        Ok((summary, problems))
    }

    async fn events(&self) -> u64 {
        self.b.house.store.head().await.unwrap().size
    }

    async fn is_whole(&self) {
        let house = &self.b.house;
        let found = audit(house.store.as_ref(), &house.verifying, &[], |_| {})
            .await
            .unwrap();
        assert!(found.is_clean(), "{:?} {:?}", found.ledger, found.models);
    }
}

fn rows_of(problems: &[Problem]) -> BTreeSet<u64> {
    problems.iter().map(|p| p.row).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_room_is_taken_over_without_its_wrong_rows_and_only_once() {
    let yard = Yard::begin().await;
    let (text, wrong) = room(1_000, 90);
    let file = yard.file(text.as_bytes());
    let before = yard.events().await;
    let (dry, problems) = yard.run(&file, MAPPING, None).await.unwrap();
    assert_eq!(rows_of(&problems), wrong);
    assert_eq!(problems.len(), wrong.len(), "{problems:#?}");
    assert_eq!((dry.rows, dry.wrong, dry.good), (1_000, 11, 989));
    assert_eq!(yard.events().await, before, "a dry run records nothing");
    for p in &problems {
        assert!(p.column.is_some() && !p.sentence.is_empty() && !p.next.is_empty());
        // The heading is line 1.
        assert_eq!(p.line, p.row + 1);
    }

    let (first, told) = yard.run(&file, MAPPING, Some(50)).await.unwrap();
    assert_eq!(told, problems);
    assert_eq!(first.batches_refused, 11);
    assert_eq!((first.good, first.held_back), (1_000 - 11 * 50, 11 * 49));
    let after = yard.events().await;
    yard.is_whole().await;

    // Once more: nothing.
    let (again, _) = yard.run(&file, MAPPING, Some(50)).await.unwrap();
    assert_eq!((again.good, again.before), (0, first.good));
    assert_eq!(yard.events().await, after);

    // What was wrong mended, in other batches: only what is missing goes in.
    let (mended, _) = room(1_000, 0);
    let file = yard.file(mended.as_bytes());
    let (last, told) = yard.run(&file, MAPPING, Some(200)).await.unwrap();
    assert_eq!(told, []);
    assert_eq!((last.good, last.before), (11 * 50, first.good));
    let (nothing, _) = yard.run(&file, MAPPING, Some(37)).await.unwrap();
    assert_eq!((nothing.good, nothing.before, nothing.wrong), (0, 1_000, 0));
    yard.is_whole().await;
    yard.b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_before_is_witnessed_on_no_page() {
    let yard = Yard::begin().await;
    let text = format!(
        "{HEADING}OLD-1,Old stores,7,lift from a hatch,LIFT,clear tape,hatch,D/12,,envelope,OS 77,07.03.2019,x\n\
         OLD-1,,8,cast of a heel,CAST,,,,\"Rivers Laboratory\",,,,x\n\
         OLD-1,,9,a chisel,,,,,,,,,x\n"
    );
    let file = yard.file(text.as_bytes());
    let (summary, problems) = yard.run(&file, MAPPING, Some(200)).await.unwrap();
    assert_eq!((summary.good, problems.len()), (3, 0), "{problems:?}");
    let b = &yard.b;
    let cal = b.viewer(b.custodian).await;
    let reader = b.house.reader(&cal);
    let case = reader.case_by_number("OLD-1").await.unwrap();
    assert_eq!((case.items, case.marks, case.packages), (3, 3, 1));
    assert_eq!(case.title, "Old stores");
    let mut holders = Vec::new();
    for n in 1..=3 {
        let item = reader.item_numbered(case.id, n).await.unwrap().unwrap();
        assert_eq!(item.recovered_by, None);
        let file = item_file::load(&reader, item.id).await.unwrap();
        let found: Vec<&str> = file.findings.iter().map(|f| f.code.as_str()).collect();
        assert!(found.contains(&"legacy-history"), "{found:?}");
        let row = &file.rows[0];
        assert_eq!(
            (row.kind.as_str(), row.source.as_str()),
            ("item.imported", "brought in from elsewhere")
        );
        assert!(row.note.contains(import::NOT_WITNESSED), "{}", row.note);
        assert!(row.note.contains("room.csv, row"), "{}", row.note);
        assert_eq!(row.flag.as_deref(), Some("legacy-history"));
        // The thread begins with the import, not with what the former record claims.
        let start = &file.thread.knots[0];
        assert!(start.label.contains("not witnessed"), "{}", start.label);
        assert_eq!(file.thread.from, row.claimed_at.to_utc());
        assert_eq!(file.orientation.reads, "unknown");
        holders.push(item.custody.holder.clone());
        let history = reader
            .history(liftledger::ids::Subject::Item(item.id))
            .await
            .unwrap();
        assert_eq!(history.len(), 1);
    }
    assert_eq!(
        holders[2],
        Holder::Person {
            person: b.custodian
        }
    );
    assert!(matches!(&holders[1], Holder::Outside { name, .. } if name == "Rivers Laboratory"));
    let package = reader.package_numbered(case.id, 1).await.unwrap().unwrap();
    assert_eq!(package.custody.holder, Holder::Place { place: b.shelf });
    assert_eq!(package.seal().unwrap().by, None);
    let file = package_file::load(&reader, package.id).await.unwrap();
    assert!(file.findings.iter().any(|f| f.code == "legacy-history"));
    let whole = case_file::load(&reader, case.id, &case_file::Parts::default())
        .await
        .unwrap();
    assert!(
        serde_json::to_string(&whole)
            .unwrap()
            .contains("legacy-history")
    );
    // It is found by its former words, and lives on as any other thing: opened with its seal, and handed over.
    assert_eq!(find(&reader, "os 77", 9).await.unwrap().hits.len(), 1);
    assert_eq!(find(&reader, "hatch lift", 9).await.unwrap().hits.len(), 1);
    let fetch = place::Fetch {
        piece: Piece::Package(package.id),
        purpose: "for examination".into(),
    };
    act(&b.house, Some(b.custodian), None, Act::Fetch(fetch))
        .await
        .unwrap();
    let open = package::Open {
        package: package.id,
        reason: "to examine the lift".into(),
        seal_seen: "os 77".into(),
        condition: hand_over::Condition::Intact,
        note: String::new(),
    };
    act(&b.house, Some(b.custodian), None, Act::Open(open))
        .await
        .unwrap();
    yard.is_whole().await;
    yard.b.house.close().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_hostile_file_is_read_as_text_or_said_to_be_wrong() {
    let yard = Yard::begin().await;
    let simple = "[columns]\ncase = \"c\"\nitem = \"i\"\ndescription = \"d\"\n";
    // A mark of byte order, CR LF, quotation marks and line breaks in cells, what a spreadsheet would compute, blanks.
    let text = "\u{feff}c,i,d\r\nOLD-2,1,\"a \"\"pry\"\" bar,\nrusty\"\r\nOLD-2, 2 ,=HYPERLINK(\"\"x\"\")\r\nOLD-2,3,@cmd|' /C calc'!A0\r\n\r\nOLD-2,4,'; DROP TABLE words;--\r\n";
    let file = yard.file(text.as_bytes());
    let (summary, problems) = yard.run(&file, simple, Some(10)).await.unwrap();
    assert_eq!((summary.rows, summary.good), (4, 4), "{problems:?}");
    let cal = yard.b.viewer(yard.b.custodian).await;
    let reader = yard.b.house.reader(&cal);
    let case = reader.case_by_number("OLD-2").await.unwrap();
    let mut said = Vec::new();
    for n in 1..=4 {
        let item = reader.item_numbered(case.id, n).await.unwrap().unwrap();
        said.push(item.recovered.description);
    }
    assert_eq!(said[0], "a \"pry\" bar,\nrusty");
    assert_eq!(said[2], "@cmd|' /C calc'!A0");
    assert_eq!(said[3], "'; DROP TABLE words;--");
    assert!(said[1].starts_with("=HYPERLINK("));

    // Every wrong thing of every row, each with its column and value; nothing of it is recorded.
    let huge = "x".repeat(MOST_CELL + 1);
    let long = "y".repeat(600);
    let mut bytes = format!("c,i,d\nOLD-3,1,{huge}\nOLD-3,2\n,3,\nOLD-3,4,{long}\nOLD-3,5,ok\nOLD-3,5,ok\nOLD-3,6,\u{1b}[2J\n").into_bytes();
    bytes.extend(b"OLD-3,7,caf\xe9\n");
    let file = yard.file(&bytes);
    let before = yard.events().await;
    let (summary, problems) = yard.run(&file, simple, Some(200)).await.unwrap();
    let at = |row: u64| -> Vec<(Option<&str>, &str)> {
        let of = problems.iter().filter(|p| p.row == row);
        of.map(|p| (p.column.as_deref(), p.sentence.as_str()))
            .collect()
    };
    assert_eq!(at(1).len(), 1, "{problems:#?}");
    assert!(at(1)[0].1.contains("65537 bytes"));
    assert_eq!(at(2)[0], (None, "The row has 2 cells, the heading 3."));
    let both: BTreeSet<Option<&str>> = at(3).iter().map(|p| p.0).collect();
    assert_eq!(both, BTreeSet::from([Some("c"), Some("d")]));
    assert!(at(4)[0].1.contains("longer than 500"));
    assert_eq!(at(5), []);
    assert_eq!(at(6)[0].0, Some("i"));
    assert!(at(7)[0].1.contains("cannot be printed"));
    assert_eq!(at(8), [(Some("d"), "The cell is not UTF-8.")]);
    assert_eq!((summary.wrong, summary.good, summary.held_back), (7, 0, 1));
    assert_eq!(yard.events().await, before);
    // What is printed cannot write to somebody's terminal.
    let printed: String = problems.iter().map(ToString::to_string).collect();
    assert!(!printed.contains('\u{1b}'), "{printed}");

    // A quotation mark that is never closed is not read to the end of the world.
    let mut bytes = b"c,i,d\nOLD-4,1,fine\nOLD-4,2,\"".to_vec();
    bytes.extend(std::iter::repeat_n(
        b'z',
        usize::try_from(MOST_ROW).unwrap() * 3,
    ));
    let file = yard.file(&bytes);
    match yard.run(&file, simple, None).await {
        Err(ImportError::Unreadable(why)) => assert!(why.contains("row 2"), "{why}"),
        other => panic!("{other:?}"),
    }
    for (bytes, what) in [
        (&b"c,i\n1,2\n"[..], "no column"),
        (b"c,i,d,d\n1,2,3,4\n", "two columns"),
        (b"\xff\xfec\x00,\x00i\x00", "not UTF-8"),
        (b"", "no heading"),
    ] {
        let file = yard.file(bytes);
        assert!(yard.run(&file, simple, None).await.is_err(), "{what}");
    }
    yard.is_whole().await;
    yard.b.house.close().await;
}

#[test]
fn a_mapping_is_read_strictly() {
    let ok = "[columns]\ncase = \"c\"\nitem = \"i\"\ndescription = \"d\"\n";
    assert!(Mapping::parse(ok).is_ok());
    let constant =
        "[columns]\ncase = \"c\"\nitem = \"i\"\n[constant]\ndescription = \"unopened box\"\n";
    assert!(Mapping::parse(constant).is_ok());
    assert_eq!(
        Mapping::parse("[columns]\ncase = \"c\"\nitem = \"i\"\n"),
        Err(MappingError::Missing("description"))
    );
    let both = format!("{ok}[constant]\ncase = \"x\"\n");
    assert!(matches!(Mapping::parse(&both), Err(MappingError::Both(_))));
    for bad in [
        "colums = 1".to_owned(),
        format!("{ok}weight = \"w\"\n"),
        format!("separator = \";;\"\n{ok}"),
        format!("separator = \"\\\"\"\n{ok}"),
    ] {
        assert!(Mapping::parse(&bad).is_err(), "{bad}");
    }
    assert_eq!(
        Mapping::parse(&format!("separator = \"\\t\"\n{ok}"))
            .unwrap()
            .separator(),
        Ok(b'\t')
    );
}

/// Who may, and what a restricted case says.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn only_a_custodian_takes_over_and_nothing_into_what_they_may_not_see() {
    let yard = Yard::begin().await;
    let b = &yard.b;
    let row = |case: &str| import::ImportRow {
        row: 1,
        item: ItemId(import::derived(&format!("test {case}"))),
        case: case.into(),
        case_title: String::new(),
        former: "1".into(),
        description: "a lift".into(),
        form: String::new(),
        medium: String::new(),
        method: String::new(),
        object: String::new(),
        place: String::new(),
        holder: String::new(),
        container: String::new(),
        seal: String::new(),
        received_on: None,
        note: String::new(),
    };
    let import = |case: &str| {
        Act::Import(import::Import {
            file: "room.csv".into(),
            digest: Digest([0; 32]),
            rows: vec![row(case)],
        })
    };
    let code = async |who: PersonId, what: Act| match act(&b.house, Some(who), None, what).await {
        Err(liftledger::app::RecordError::Refused(r)) => r.code,
        other => panic!("{other:?}"),
    };
    assert_eq!(code(b.tech, import("OLD-9")).await, "role-may-not");
    let restrict = Act::Restrict(case::Restrict {
        case: b.case,
        restricted: true,
        reason: "a witness is in it".into(),
    });
    act(&b.house, Some(b.supervisor), None, restrict)
        .await
        .unwrap();
    let refused = act(
        &b.house,
        Some(b.custodian),
        None,
        import(super::boatyard::CASE),
    )
    .await;
    match refused {
        Err(liftledger::app::RecordError::Refused(r)) => {
            assert_eq!(r.code, "lines-refused");
            assert_eq!(r.lines[0].code, "case-restricted");
        }
        other => panic!("{other:?}"),
    }
    // A dry run says no more.
    let simple = "[columns]\ncase = \"c\"\nitem = \"i\"\ndescription = \"d\"\n";
    let text = format!("c,i,d\n{},1,a lift\n", super::boatyard::CASE);
    let file = yard.file(text.as_bytes());
    let (_, problems) = yard.run(&file, simple, None).await.unwrap();
    assert_eq!(problems.len(), 1);
    assert!(problems[0].sentence.contains("restricted"));

    yard.b.house.close().await;
}
