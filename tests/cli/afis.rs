//! `liftledger afis`: hand-offs from the command line, run as a process.

use std::path::Path;

use liftledger::disclosure::itl::check;
use liftledger::imaging::recipe::Op;

use crate::app::afis_bench::{Bench, picture, png};

use super::liftledger;

fn run(args: &[&str], data: &Path) -> (Option<i32>, String, String) {
    liftledger(args, &["--data", data.to_str().unwrap()])
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_picture_is_listed_handed_off_and_on_the_record() {
    let dir = tempfile::tempdir().unwrap();
    let data = dir.path().join("demo");
    // The house stays open all the while, as a server would keep it.
    let b = Bench::begin(&data).await;
    let of = b.item("panel-item");
    let view = ["contact-face", "dark-powder"];
    let original = b
        .add(of, "gel.png", "image/png", &png(&picture(6)), &view)
        .await;
    b.scale(of, original, 1000).await;
    let copy = b.copy(of, original, Some(1000), vec![Op::Flip]).await;
    let viewer = liftledger::app::Viewer::operator();
    let reader = b.house.reader(&viewer);
    let item = reader.item(b.demo.items["panel-item"]).await.unwrap();
    let case = reader.case(item.case).await.unwrap().number;
    let mark = reader.mark(item.mark).await.unwrap();
    let number = item.number.to_string();

    let (code, out, err) = run(&["afis", &case, &number, "--list"], &data);
    assert_eq!((code, err.as_str()), (Some(0), ""));
    let first = out.lines().next().unwrap();
    assert!(first.starts_with(&copy.to_string()), "{out}");
    assert!(
        first.contains("left and right exchanged; reads direct; 1000 pixels an inch"),
        "{out}"
    );
    assert!(
        out.contains(&original.to_string()) && out.contains("reads reversed"),
        "{out}"
    );
    assert!(out.contains("receiver hollin-bureau"), "{out}");

    let file = dir.path().join("item.an2");
    let path = file.to_str().unwrap();
    for (edition, version) in [("2011", "0500"), ("2013", "0501"), ("2015", "0502")] {
        let args = [
            "afis",
            &case,
            &number,
            "--edition",
            edition,
            "--receiver",
            "hollin-bureau",
            "--out",
            path,
            "--force",
        ];
        let (code, out, err) = run(&args, &data);
        assert_eq!(code, Some(0), "{err}");
        assert!(
            out.contains("on the record as event") && out.contains("reads direct"),
            "{out}"
        );
        let bytes = std::fs::read(&file).unwrap();
        let all = check(&bytes).unwrap();
        assert_eq!(all[0].text(2), Some(version));
        assert_eq!(all[3].text(315), None);
    }
    // The original, by how its digest begins.
    let begins = &original.to_string()[..12];
    let args = [
        "afis",
        &case,
        &number,
        "--image",
        begins,
        "--receiver",
        "hollin-bureau",
        "--position",
        "2,3",
        "--out",
        path,
        "--force",
    ];
    let (code, out, _) = run(&args, &data);
    assert_eq!(code, Some(0));
    assert!(out.contains("9.315 L"), "{out}");
    let bytes = std::fs::read(&file).unwrap();
    assert_eq!(check(&bytes).unwrap()[2].text(13), Some("2\u{1e}3"));
    // Of the mark itself: its photograph, whose density nobody measured.
    let of_mark = format!("M{}", mark.number);
    let args = [
        "afis",
        &case,
        &of_mark,
        "--receiver",
        "hollin-bureau",
        "--out",
        path,
        "--force",
    ];
    let (code, _, err) = run(&args, &data);
    assert_eq!(code, Some(1));
    assert!(err.contains("needs the density"), "{err}");

    // Nothing is recorded for a file that is there already, an edition that is not, or a receiver that is not.
    let before = run(&["verify"], &data);
    assert_eq!(before.0, Some(0), "{}", before.1);
    for (more, says) in [
        (
            vec!["--receiver", "hollin-bureau", "--out", path],
            "--force",
        ),
        (
            vec!["--edition", "2025", "--out", path, "--force"],
            "2011, 2013 or 2015",
        ),
        (
            vec!["--receiver", "nobody", "--out", path, "--force"],
            "no receiver nobody",
        ),
        (vec!["--out", path, "--force"], "several receivers"),
        (
            vec!["--image", "0123456789", "--out", path, "--force"],
            "no picture 0123456789",
        ),
        (vec!["--copy", "01", "--out", path, "--force"], "at least 6"),
        (vec!["--receiver", "hollin-bureau"], "--out"),
    ] {
        let args = [vec!["afis", &case, &number], more].concat();
        let (code, _, err) = run(&args, &data);
        assert_ne!(code, Some(0), "{says}");
        assert!(err.contains(says), "{says}: {err}");
    }
    assert_eq!(run(&["verify"], &data).1, before.1);
    b.close().await;
}
