//! The custody report: everything the ledger knows about the items of a case, on paper.

use chrono::{DateTime, Utc};

use super::ReportError;
use super::font::{self, Face, MM_PER_PT};
use super::label::Orientation;
use super::page::{Area, FAINT, INK, RULE, Stroke, line_height};
use super::paper::Paper;
use super::table::{Column, Flow, Row};
use super::{finding_table, thread_drawing};
use crate::custody::thread::Thread;
use crate::zone::Zone;

pub use super::finding_table::FindingRow;

/// Most items of one report.
pub const MOST_ITEMS: usize = 1000;
/// Most rows of one custody table.
pub const MOST_ROWS: usize = 10_000;

/// A custody report. Texts come formatted, times with their zone.
#[derive(Clone, Debug, PartialEq)]
pub struct CustodyReport {
    /// Agency.
    pub agency: String,
    /// Case number.
    pub case_number: String,
    /// Title of the case.
    pub case_title: String,
    /// Who printed it.
    pub printed_by: String,
    /// When, with zone.
    pub printed_when: String,
    /// The same instant; goes into the properties of the PDF.
    pub printed_at: DateTime<Utc>,
    /// Identifier of this print; stands at the foot of each page.
    pub print_id: String,
    /// What is said of fields that are withheld in this print; empty where none is.
    pub withheld: String,
    /// Letter or A4.
    pub paper: Paper,
    /// Zone of the days on the threads.
    pub zone: Zone,
    /// The items, in order.
    pub items: Vec<ReportItem>,
    /// What proves that nothing was altered.
    pub integrity: Integrity,
}

/// One item.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct ReportItem {
    /// Number.
    pub number: String,
    /// Code in groups.
    pub code: String,
    /// Description.
    pub description: String,
    /// Mark and recovery: name and value.
    pub facts: Vec<(String, String)>,
    /// Which way round it reads.
    pub orientation: Orientation,
    /// The steps that lead to that, as a sentence.
    pub orientation_steps: String,
    /// Pictures.
    pub images: Vec<ReportImage>,
    /// Packaging: name and value.
    pub packaging: Vec<(String, String)>,
    /// Keep rules.
    pub keep_rules: Vec<KeepRule>,
    /// Seals.
    pub seals: Vec<SealRow>,
    /// The thread, if it is drawn.
    pub thread: Option<Thread>,
    /// The custody table.
    pub custody: Vec<CustodyRow>,
    /// Findings on continuity, with their answers.
    pub findings: Vec<FindingRow>,
    /// What is wrong with the paper's own parts, one sentence each: a picture that is missing.
    pub flags: Vec<String>,
    /// Corrections, one sentence each.
    pub amendments: Vec<String>,
}

/// A picture on the record.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct ReportImage {
    /// Name of the file.
    pub file: String,
    /// Media type.
    pub media_type: String,
    /// Size with its unit.
    pub size: String,
    /// SHA-256, hex.
    pub sha256: String,
    /// How it was viewed: `through the tape`.
    pub viewed: String,
    /// How it reads: `mirrored`.
    pub reads: String,
    /// PNG or JPEG to print, at most 2000 pixels on a side.
    pub thumbnail: Option<Vec<u8>>,
}

/// A rule for packing or storing.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct KeepRule {
    /// The rule.
    pub rule: String,
    /// Why.
    pub reason: String,
    /// Where it is from.
    pub source: String,
}

/// A seal.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct SealRow {
    /// Number.
    pub number: String,
    /// When applied and by whom.
    pub applied: String,
    /// When cut, by whom and why; empty while it holds.
    pub cut: String,
}

/// A row of the custody table.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct CustodyRow {
    /// Number of the row, as under the knots of the thread.
    pub row: usize,
    /// What the event was about, where that is not the item itself: the package around it.
    pub through: String,
    /// Which event of the item, or of the package, it is.
    pub n: u64,
    /// Position in the ledger.
    pub seq: u64,
    /// When it happened, as claimed.
    pub claimed: String,
    /// When the server recorded it.
    pub recorded: String,
    /// What happened.
    pub act: String,
    /// From whom.
    pub from: String,
    /// To whom.
    pub to: String,
    /// The seal as seen.
    pub seal_seen: String,
    /// The condition.
    pub condition: String,
    /// A note.
    pub note: String,
    /// How it was signed.
    pub attested: String,
    /// Whether it was entered late.
    pub late: bool,
    /// What is wrong with it, in words; empty if nothing is.
    pub flag: String,
}

/// What the signed checkpoint says about this paper.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Integrity {
    /// The checkpoint as signed, line by line.
    pub checkpoint: String,
    /// Events in the ledger.
    pub ledger_size: u64,
    /// Tree head, hex.
    pub tree_head: String,
    /// Subject and how many events it has.
    pub counts: Vec<(String, u64)>,
    /// With what it is signed, in words; empty where it is not.
    pub signature: String,
    /// What independent witnesses said last.
    pub witnesses: Vec<WitnessWord>,
}

/// The newest statement of a witness.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct WitnessWord {
    /// The witness's name.
    pub name: String,
    /// How many events it saw.
    pub events: u64,
    /// When it signed, in words.
    pub when: String,
    /// The checkpoint with its cosignature, line by line.
    pub note: String,
}

/// The words about what a witness's word is good for.
pub const WITNESSED: &str = "A witness keeps checkpoints on a machine of its own and signs one only where it goes on from \
the one before. Its word covers the events up to the count that it names, and none after them.";

/// The words about what the checkpoint proves.
pub const PROVES: &str = "Whoever holds this paper, the signed checkpoint and the file of this case can check with \
`liftledger verify` that no event was altered, inserted or reordered since that checkpoint, and that none is missing \
up to the counts above.";
/// The words about what it doesn't.
pub const PROVES_NOT: &str = "It does not show that what people entered was true. It does not show a history that \
was rewritten as a whole by whoever holds the signing key; only the checkpoints kept by an independent witness would \
show that. What it is worth in court is for local law and counsel to decide.";

/// The report as a PDF.
///
/// # Errors
/// A character without a shape or a picture that can't be read, by the name of its field; too many items or rows.
pub fn custody_report(report: &CustodyReport) -> Result<Vec<u8>, ReportError> {
    bounded("Items", report.items.len(), MOST_ITEMS)?;
    let mut flow = Flow::new(report.paper.size());
    head(&mut flow, report)?;
    for (i, item) in report.items.iter().enumerate() {
        bounded("Custody rows", item.custody.len(), MOST_ROWS)?;
        bounded("Pictures", item.images.len(), MOST_ITEMS)?;
        if i > 0 {
            flow.new_page()?;
        }
        one_item(&mut flow, item, report.zone)?;
    }
    integrity(&mut flow, &report.integrity)?;
    feet(&mut flow, report)?;
    flow.canvas.marked(&report.print_id);
    flow.canvas.finish(
        &format!("Custody report, case {}", report.case_number),
        report.printed_at,
    )
}

fn bounded(field: &str, have: usize, most: usize) -> Result<(), ReportError> {
    if have > most {
        return Err(ReportError::TooMany {
            field: field.into(),
            most,
        });
    }
    Ok(())
}

fn head(flow: &mut Flow, r: &CustodyReport) -> Result<(), ReportError> {
    flow.text(Face::Sans, 9.0, FAINT, &r.agency, "Agency")?;
    flow.skip(1.0);
    flow.text(Face::Bold, 17.0, INK, "Custody report", "Title")?;
    let case = format!("Case {}: {}", r.case_number, r.case_title);
    flow.text(Face::Sans, 12.0, INK, &case, "Case")?;
    flow.skip(1.5);
    let to = flow.left + flow.width;
    flow.canvas
        .line((flow.left, flow.y), (to, flow.y), 0.5, INK, Stroke::Solid);
    flow.skip(2.5);
    flow.facts(&[
        ("Printed by".into(), r.printed_by.clone()),
        ("Printed".into(), r.printed_when.clone()),
        ("Print".into(), r.print_id.clone()),
        ("Items".into(), r.items.len().to_string()),
    ])?;
    if !r.withheld.is_empty() {
        flow.notice(&r.withheld, "Withheld")?;
    }
    if r.items.len() > 1 {
        let rows: Vec<Row> = r
            .items
            .iter()
            .map(|i| Row {
                cells: vec![
                    i.number.clone(),
                    i.code.clone(),
                    i.description.clone(),
                    match flags(i) {
                        0 => String::new(),
                        1 => "1 flag".into(),
                        n => format!("{n} flags"),
                    },
                ],
                flagged: flags(i) > 0,
            })
            .collect();
        let columns = [
            col("Item", 1.0, false),
            col("Code", 2.4, true),
            col("Description", 6.0, false),
            col("Flags", 1.2, false),
        ];
        flow.table("Items", &columns, &rows, 8.0)?;
    }
    Ok(())
}

/// How many things of an item somebody should look into.
fn flags(item: &ReportItem) -> usize {
    item.flags.len() + item.findings.iter().filter(|f| f.grave).count()
}

pub(super) const fn col(head: &'static str, part: f64, mono: bool) -> Column {
    Column { head, part, mono }
}

fn one_item(flow: &mut Flow, item: &ReportItem, zone: Zone) -> Result<(), ReportError> {
    let title = format!("Item {}: {}", item.number, item.description);
    flow.heading(13.0, &title, "Item")?;
    let mut facts = vec![("Code".to_owned(), item.code.clone())];
    facts.extend(item.facts.iter().cloned());
    flow.facts(&facts)?;
    for flag in &item.flags {
        flow.notice(flag, "Flag")?;
    }
    finding_table::draw(flow, &item.findings)?;
    flow.heading(10.0, "Which way round", "Heading")?;
    match item.orientation {
        Orientation::Direct => {
            flow.text(
                Face::Bold,
                9.0,
                INK,
                item.orientation.words(),
                "Orientation",
            )?;
        }
        _ => flow.notice(item.orientation.words(), "Orientation")?,
    }
    flow.text(Face::Sans, 8.5, INK, &item.orientation_steps, "Orientation")?;
    flow.skip(2.0);
    pictures(flow, item)?;
    if !item.packaging.is_empty() || !item.keep_rules.is_empty() {
        flow.heading(10.0, "Packaging and keeping", "Heading")?;
        flow.facts(&item.packaging)?;
    }
    if !item.keep_rules.is_empty() {
        let rows: Vec<Row> = item
            .keep_rules
            .iter()
            .map(|k| plain([&k.rule, &k.reason, &k.source]))
            .collect();
        let columns = [
            col("Rule", 2.2, false),
            col("Reason", 4.2, false),
            col("Source", 2.6, false),
        ];
        flow.table("Keep rules", &columns, &rows, 7.5)?;
    }
    if !item.seals.is_empty() {
        flow.heading(10.0, "Seals", "Heading")?;
        let rows: Vec<Row> = item
            .seals
            .iter()
            .map(|s| {
                plain([
                    &s.number,
                    &s.applied,
                    if s.cut.is_empty() { "not cut" } else { &s.cut },
                ])
            })
            .collect();
        let columns = [
            col("Seal", 1.5, true),
            col("Applied", 4.0, false),
            col("Cut", 4.0, false),
        ];
        flow.table("Seals", &columns, &rows, 7.5)?;
    }
    if item.thread.is_some() {
        // The heading stays with the thread under it.
        flow.need(52.0)?;
    }
    flow.heading(10.0, "Custody", "Heading")?;
    if let Some(thread) = &item.thread {
        flow.text(
            Face::Sans,
            6.5,
            FAINT,
            "Solid: a person. Double: a place in the storeroom. Dashed: outside the agency. Dotted: in transit. Filled \
             knot: complete; open knot: only offered. Bar: a seal. Ragged ends: not accounted for. The numbers under the \
             knots are the rows of the table; n counts the events of the item or package, seq those of the ledger.",
            "Thread",
        )?;
        thread_drawing::draw(flow, thread, zone)?;
    }
    custody_table(flow, item)?;
    if !item.amendments.is_empty() {
        flow.heading(10.0, "Corrections", "Heading")?;
        for a in &item.amendments {
            flow.text(Face::Sans, 8.5, INK, a, "Correction")?;
            flow.skip(1.0);
        }
    }
    Ok(())
}

fn plain<const N: usize>(cells: [&str; N]) -> Row {
    Row {
        cells: cells.iter().map(|&c| c.to_owned()).collect(),
        flagged: false,
    }
}

fn pictures(flow: &mut Flow, item: &ReportItem) -> Result<(), ReportError> {
    if item.images.is_empty() {
        return Ok(());
    }
    flow.heading(10.0, "Pictures", "Heading")?;
    let columns = [
        col("File", 2.6, false),
        col("Type", 1.5, false),
        col("Size", 1.3, false),
        col("SHA-256", 4.2, true),
        col("Viewed", 2.0, false),
        col("Reads", 1.4, false),
    ];
    let rows: Vec<Row> = item
        .images
        .iter()
        .map(|i| {
            plain([
                &i.file,
                &i.media_type,
                &i.size,
                &i.sha256,
                &i.viewed,
                &i.reads,
            ])
        })
        .collect();
    flow.table("Pictures", &columns, &rows, 7.0)?;
    let shown: Vec<(&ReportImage, &Vec<u8>)> = item
        .images
        .iter()
        .filter_map(|i| i.thumbnail.as_ref().map(|bytes| (i, bytes)))
        .collect();
    // Two side by side, each with its words beneath.
    let gap = 6.0;
    let wide = (flow.width - gap) / 2.0;
    let size = 7.5;
    for pair in shown.chunks(2) {
        let words: Vec<Vec<String>> = pair
            .iter()
            .map(|(image, _)| font::wrap(Face::Sans, size, wide, &caption(image), "Picture"))
            .collect::<Result<_, _>>()?;
        let lines = words.iter().map(Vec::len).max().unwrap_or(0) as f64;
        flow.need(51.0 + lines * line_height(size))?;
        let mut high: f64 = 0.0;
        for (n, (image, bytes)) in pair.iter().enumerate() {
            let area = Area {
                x: flow.left + n as f64 * (wide + gap),
                y: flow.y,
                w: wide,
                h: 50.0,
            };
            let drawn = flow.canvas.picture(area, bytes, &image.file)?;
            flow.canvas.frame(drawn, 0.15, RULE, Stroke::Solid);
            high = high.max(drawn.h);
        }
        for (n, lines) in words.iter().enumerate() {
            let x = flow.left + n as f64 * (wide + gap);
            for (i, line) in lines.iter().enumerate() {
                let y =
                    flow.y + high + 1.0 + i as f64 * line_height(size) + size * MM_PER_PT * 0.95;
                flow.canvas
                    .text(x, y, Face::Sans, size, FAINT, line, "Picture")?;
            }
        }
        flow.y += high + 1.0 + lines * line_height(size) + 2.5;
    }
    Ok(())
}

fn caption(image: &ReportImage) -> String {
    let viewed = if image.viewed.is_empty() {
        "view not recorded"
    } else {
        &image.viewed
    };
    let reads = if image.reads.is_empty() {
        "reading not established".to_owned()
    } else if image.reads.starts_with("orientation") {
        image.reads.clone()
    } else {
        format!("reads {}", image.reads)
    };
    format!("{}; {viewed}; {reads}. Not to scale.", image.file)
}

fn custody_table(flow: &mut Flow, item: &ReportItem) -> Result<(), ReportError> {
    let columns = [
        col("Row", 1.3, false),
        col("Claimed, recorded", 3.9, false),
        col("Act", 2.0, false),
        col("From, to", 2.7, false),
        col("Seal, condition", 2.4, false),
        col("Note", 2.8, false),
        col("Signed by", 1.6, false),
    ];
    let rows: Vec<Row> = item
        .custody
        .iter()
        .map(|c| {
            let mut act = c.act.clone();
            if !c.through.is_empty() {
                act.push_str("\nwith ");
                act.push_str(&c.through);
            }
            if c.late {
                act.push_str("\nLATE ENTRY");
            }
            if !c.flag.is_empty() {
                act.push_str("\nFLAG: ");
                act.push_str(&c.flag);
            }
            Row {
                cells: vec![
                    lines(&[
                        ("", &c.row.to_string()),
                        ("n ", &c.n.to_string()),
                        ("seq ", &c.seq.to_string()),
                    ]),
                    format!("{}\nrec. {}", c.claimed, c.recorded),
                    act,
                    lines(&[("from ", &c.from), ("to ", &c.to)]),
                    lines(&[("seal ", &c.seal_seen), ("", &c.condition)]),
                    c.note.clone(),
                    c.attested.clone(),
                ],
                flagged: c.late || !c.flag.is_empty(),
            }
        })
        .collect();
    flow.table("Custody", &columns, &rows, 7.0)
}

fn lines(parts: &[(&str, &str)]) -> String {
    let some: Vec<String> = parts
        .iter()
        .filter(|p| !p.1.is_empty())
        .map(|p| format!("{}{}", p.0, p.1))
        .collect();
    some.join("\n")
}

fn integrity(flow: &mut Flow, i: &Integrity) -> Result<(), ReportError> {
    flow.skip(2.0);
    flow.heading(12.0, "Integrity of the record", "Heading")?;
    flow.facts(&[
        ("Events in the ledger".into(), i.ledger_size.to_string()),
        ("Tree head".into(), i.tree_head.clone()),
        ("Signature".into(), i.signature.clone()),
    ])?;
    if !i.counts.is_empty() {
        let rows: Vec<Row> = i
            .counts
            .iter()
            .map(|c| plain([&c.0, &c.1.to_string()]))
            .collect();
        let columns = [col("Subject", 5.0, false), col("Events", 1.0, false)];
        flow.table("Counts", &columns, &rows, 7.5)?;
    }
    if !i.checkpoint.is_empty() {
        flow.text(Face::Bold, 8.5, INK, "Signed checkpoint", "Heading")?;
        flow.text(Face::Mono, 7.0, INK, &i.checkpoint, "Checkpoint")?;
        flow.skip(2.0);
    }
    if !i.witnesses.is_empty() {
        flow.text(Face::Bold, 8.5, INK, "Seen by witnesses", "Heading")?;
        let rows: Vec<Row> = i
            .witnesses
            .iter()
            .map(|w| plain([&w.name, &w.events.to_string(), &w.when]))
            .collect();
        let columns = [
            col("Witness", 4.0, false),
            col("Events", 1.0, false),
            col("Signed", 3.0, false),
        ];
        flow.table("Witnesses", &columns, &rows, 7.5)?;
        for word in &i.witnesses {
            flow.text(Face::Mono, 7.0, INK, &word.note, "Cosigned checkpoint")?;
            flow.skip(1.5);
        }
        flow.text(Face::Sans, 8.5, INK, WITNESSED, "Integrity")?;
        flow.skip(1.5);
    }
    flow.text(Face::Sans, 8.5, INK, PROVES, "Integrity")?;
    flow.skip(1.5);
    flow.text(Face::Sans, 8.5, INK, PROVES_NOT, "Integrity")
}

fn feet(flow: &mut Flow, r: &CustodyReport) -> Result<(), ReportError> {
    let size = r.paper.size();
    let (left, right) = (flow.left, flow.left + flow.width);
    let pages = flow.canvas.pages();
    for page in 0..pages {
        flow.canvas.select(page);
        let y = size.h - 14.0;
        flow.canvas
            .line((left, y), (right, y), 0.2, RULE, Stroke::Solid);
        let words = format!("page {} of {pages}", page + 1);
        let long = font::width(Face::Sans, 7.5, &words)?;
        flow.canvas.text(
            right - long,
            y + 4.0,
            Face::Sans,
            7.5,
            FAINT,
            &words,
            "Foot",
        )?;
        let foot = Area {
            x: left,
            y: y + 1.4,
            w: flow.width - long - 4.0,
            h: 7.5,
        };
        let words = format!("Case {} · Print {}", r.case_number, r.print_id);
        flow.canvas.fit(
            foot,
            Face::Sans,
            7.5,
            FAINT,
            &words,
            "Case number and print",
        )?;
    }
    Ok(())
}
