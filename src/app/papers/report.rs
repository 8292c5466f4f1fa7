//! The custody report of an item, of everything in a package, or of a case: the item files of the views, as the model of
//! a paper, printed and put on the record with the size of the ledger and the counts that it speaks of.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::export::{Head, latest};
use super::label::orientation;
use super::picture::small;
use super::redact::Redaction;
use super::{
    About, By, Composed, Layout, PaperError, Printed, agency, aside, file_name, printed_by,
    put_on_record, signing,
};
use crate::app::agency::Agency;
use crate::app::reader::{Part, Reader};
use crate::app::views::custody_rows::CustodyRow as RowWords;
use crate::app::views::findings::{Finding, Severity};
use crate::app::views::images::Image;
use crate::app::views::item_file::{self, ItemFile};
use crate::app::views::words;
use crate::custody::paper::PaperKind;
use crate::custody::state::Case;
use crate::ids::{CommandId, ItemId, Piece, Subject};
use crate::people::Action;
use crate::reports::custody_report::{
    self as paper, CustodyReport, CustodyRow, FindingRow, Integrity, KeepRule, MOST_ITEMS,
    ReportImage, ReportItem, SealRow, WitnessWord,
};
use crate::reports::texts;

/// How many witnesses a report names.
const MOST_WITNESSES: usize = 4;
/// How often the items are read again when they change while they are read.
const ROUNDS: usize = 5;
/// How many pictures one report shows; all are listed with their digests.
pub const MOST_PICTURES: usize = 80;

/// Prints the custody report of an item, a package or a case.
///
/// # Errors
/// [`PaperError::Read`] where the viewer may not print or see it, [`PaperError::Count`] for nothing or too many items,
/// [`PaperError::Report`] for a text that cannot be printed, [`PaperError::Busy`], [`PaperError::Record`].
pub async fn report(
    reader: &Reader<'_>,
    by: By,
    of: Subject,
    layout: &Layout,
    mut progress: impl FnMut(usize, usize),
) -> Result<Printed, PaperError> {
    redacted(reader, by, of, layout, &Redaction::default(), &mut progress).await
}

/// Prints the custody report without what is withheld.
///
/// # Errors
/// As [`report`].
pub async fn redacted(
    reader: &Reader<'_>,
    by: By,
    of: Subject,
    layout: &Layout,
    redaction: &Redaction,
    mut progress: impl FnMut(usize, usize),
) -> Result<Printed, PaperError> {
    let id = CommandId::new();
    let now = Utc::now();
    let composed = compose_without(reader, of, layout, (id, now), redaction, &mut progress).await?;
    let about = About {
        withheld: redaction.withheld.clone(),
        ..About::new(of, PaperKind::CustodyReport)
    };
    put_on_record(reader, by, id, about, composed).await
}

/// Draws the report that is to be recorded as `id`, as of `now`: the same ledger gives the same bytes.
///
/// # Errors
/// As [`report`].
pub async fn compose(
    reader: &Reader<'_>,
    of: Subject,
    layout: &Layout,
    id: CommandId,
    now: DateTime<Utc>,
    progress: impl FnMut(usize, usize),
) -> Result<Composed, PaperError> {
    compose_without(
        reader,
        of,
        layout,
        (id, now),
        &Redaction::default(),
        progress,
    )
    .await
}

/// The same without what is withheld.
///
/// # Errors
/// As [`report`].
pub async fn compose_without(
    reader: &Reader<'_>,
    of: Subject,
    layout: &Layout,
    (id, now): (CommandId, DateTime<Utc>),
    redaction: &Redaction,
    mut progress: impl FnMut(usize, usize),
) -> Result<Composed, PaperError> {
    reader.must(Action::PrintReport)?;
    let (case, items, name) = items_of(reader, of).await?;
    let agency = agency(reader, layout).await?;
    let mut settled = None;
    for _ in 0..ROUNDS {
        let before = reader.house().store.head().await?.size;
        let mut files = Vec::with_capacity(items.len());
        for id in &items {
            files.push(item_file::load_at(reader, *id, now).await?);
            progress(files.len(), items.len());
        }
        let head = latest(reader).await?;
        let counts = counts(&files);
        // The checkpoint speaks of what was read only if nothing of it changed since the reading began.
        if unchanged(reader, &counts, before).await? {
            settled = Some((files, head, counts));
            break;
        }
    }
    let Some((files, head, counts)) = settled else {
        return Err(PaperError::Busy(name));
    };
    let mut shown = match &redaction.without_images {
        Some(_) => MOST_PICTURES,
        None => 0,
    };
    let mut printed = Vec::with_capacity(files.len());
    for file in &files {
        printed.push(item(reader, file, &mut shown).await?);
    }
    let mut model = CustodyReport {
        printed_by: printed_by(reader),
        withheld: redaction.sentence(),
        ..frame(&case, &agency, (id, now), printed, &head, &counts)
    };
    model.integrity.signature = signing::words(reader.house(), now);
    model.integrity.witnesses = witnesses(reader, &agency).await?;
    let hidden = redaction.clone();
    let bytes = aside(move || {
        if !hidden.is_empty() {
            texts::of_report(&mut model, &mut |text| hidden.clear(text));
        }
        paper::custody_report(&model)
    })
    .await?;
    Ok(Composed {
        bytes,
        ledger_size: head.size,
        counts: counts
            .iter()
            .map(|(subject, (_, n))| format!("{subject}={n}"))
            .collect(),
        file_name: file_name(&[&case.number, &name, "custody report"]),
    })
}

/// Which items, of which case, and how the subject is called.
async fn items_of(
    reader: &Reader<'_>,
    of: Subject,
) -> Result<(Case, Vec<ItemId>, String), PaperError> {
    let (case, items, name) = match of {
        Subject::Item(id) => {
            let item = reader.item(id).await?;
            (item.case, vec![id], format!("item {}", item.number))
        }
        Subject::Package(id) => {
            let package = reader.package(id).await?;
            let state = reader.around(&[of]).await?;
            let items = state.items_in(Piece::Package(id));
            let items = items.iter().map(|i| i.id).collect();
            (package.case, items, format!("package P{}", package.number))
        }
        Subject::Case(id) => {
            let case = reader.case(id).await?;
            let mut items = Vec::new();
            let mut part = Part::default();
            loop {
                let page = reader.items_of(id, &part).await?;
                items.extend(page.rows.iter().map(|i| i.id));
                part.after = page.next;
                if part.after.is_none() || items.len() > MOST_ITEMS {
                    break;
                }
            }
            (id, items, format!("case {}", case.number))
        }
        Subject::Mark(_) | Subject::Person(_) | Subject::Place(_) | Subject::Count(_) => {
            return Err(PaperError::Count(
                "a custody report is printed of an item, a package or a case".into(),
            ));
        }
    };
    if items.is_empty() {
        return Err(PaperError::Count(format!(
            "there is no item in {name}, so there is no custody to report"
        )));
    }
    if items.len() > MOST_ITEMS {
        return Err(PaperError::Count(format!(
            "{name} has more than {MOST_ITEMS} items. Print the reports of its packages or items"
        )));
    }
    Ok((reader.case(case).await?, items, name))
}

type Counts = BTreeMap<Subject, (String, u64)>;

fn counts(files: &[ItemFile]) -> Counts {
    let mut all = Counts::new();
    for count in files.iter().flat_map(|f| &f.counts) {
        let entry = all
            .entry(count.subject)
            .or_insert_with(|| (count.name.clone(), 0));
        entry.1 = entry.1.max(count.events);
    }
    all
}

/// Whether the last event of each subject was there when the reading began, and none came after it.
async fn unchanged(reader: &Reader<'_>, counts: &Counts, before: u64) -> Result<bool, PaperError> {
    for (subject, (_, n)) in counts {
        let text = subject.to_string();
        let store = &reader.house().store;
        let page = store.events_of(&text, n.saturating_sub(1), 2).await?;
        let same = match page.as_slice() {
            [last] => u64::try_from(last.event.seq).is_ok_and(|seq| seq <= before),
            _ => false,
        };
        if !same {
            return Ok(false);
        }
    }
    Ok(true)
}

/// What the first witnesses said last; those that have said nothing yet are left out.
async fn witnesses(reader: &Reader<'_>, agency: &Agency) -> Result<Vec<WitnessWord>, PaperError> {
    let said = reader.house().cosignatures().await?;
    let words = said.into_iter().filter_map(|w| {
        Some(WitnessWord {
            name: w.name,
            events: w.size?,
            when: words::when(&w.at?, agency.zone),
            note: w.note?.trim_end().to_owned(),
        })
    });
    Ok(words.take(MOST_WITNESSES).collect())
}

fn frame(
    case: &Case,
    agency: &Agency,
    (id, now): (CommandId, DateTime<Utc>),
    items: Vec<ReportItem>,
    head: &Head,
    counts: &Counts,
) -> CustodyReport {
    CustodyReport {
        agency: agency.name.clone(),
        case_number: case.number.clone(),
        case_title: case.title.clone(),
        printed_by: String::new(),
        printed_when: words::when(&now, agency.zone),
        printed_at: now,
        print_id: id.to_string(),
        withheld: String::new(),
        paper: agency.paper,
        zone: agency.zone,
        items,
        integrity: Integrity {
            signature: String::new(),
            checkpoint: head.note.trim_end().to_owned(),
            ledger_size: head.size,
            tree_head: head.root.to_string(),
            counts: counts
                .values()
                .map(|(name, n)| (words::capital(name), *n))
                .collect(),
            witnesses: Vec::new(),
        },
    }
}

async fn item(
    reader: &Reader<'_>,
    file: &ItemFile,
    shown: &mut usize,
) -> Result<ReportItem, PaperError> {
    let mut flags: Vec<String> = Vec::new();
    let mut images = Vec::new();
    for image in file.mark.images.iter().chain(&file.images) {
        let of_mark = matches!(image.of, Subject::Mark(_));
        images.extend(pictures(reader, image, of_mark, shown, &mut flags).await?);
    }
    Ok(ReportItem {
        number: file.number.to_string(),
        code: file.code_grouped.clone(),
        description: file.recovery.description.clone(),
        facts: facts(file),
        orientation: orientation(&file.orientation.reads),
        orientation_steps: file.orientation.because.clone(),
        images,
        packaging: packaging(file),
        keep_rules: keep_rules(file),
        seals: file
            .seals
            .iter()
            .map(|s| SealRow {
                number: s.number.clone(),
                applied: joined(&[&s.applied, &s.applied_by, &format!("on {}", s.package_name)]),
                cut: joined(&[&s.cut, &s.cut_by, &s.cut_reason]),
            })
            .collect(),
        thread: Some(file.thread.clone()),
        custody: file.rows.iter().map(row).collect(),
        findings: file.findings.iter().map(finding).collect(),
        flags,
        amendments: file.amendments.iter().map(|a| a.sentence.clone()).collect(),
    })
}

/// A picture as listed, and its working copies beneath it. What is shown is the copy that reads direct, where one was made,
/// else the original; and nothing more where there is no room left. A file that is missing or altered is said on the paper,
/// not passed over.
async fn pictures(
    reader: &Reader<'_>,
    image: &Image,
    of_mark: bool,
    shown: &mut usize,
    flags: &mut Vec<String>,
) -> Result<Vec<ReportImage>, PaperError> {
    let what = if of_mark { "the mark: " } else { "the item: " };
    let bare = |words: &str| words.strip_prefix("reads ").unwrap_or(words).to_owned();
    let mut out = vec![ReportImage {
        file: image.file.clone(),
        media_type: image.media_type.clone(),
        size: joined(&[&image.size, &image.pixels]),
        sha256: image.digest.to_string(),
        viewed: format!("{what}{}", image.viewed),
        reads: bare(&image.orientation.words),
        thumbnail: None,
    }];
    out.extend(image.copies.iter().map(|c| ReportImage {
        file: format!("Working copy of {}", image.file),
        media_type: "image/png".to_owned(),
        size: c.size.clone(),
        sha256: c.digest.to_string(),
        viewed: words::capital(&c.done),
        reads: bare(&c.reads_words),
        thumbnail: None,
    }));
    if *shown >= MOST_PICTURES {
        return Ok(out);
    }
    let originals = &reader.house().originals;
    let original = originals.read_aside(image.digest).await;
    if let Err(e) = &original {
        flags.push(format!("Picture {}: {e}", image.file));
    }
    let mut drawn = None;
    let direct = image.direct_copy().map(|c| c.digest);
    if let Some(n) = image.copies.iter().position(|c| Some(c.digest) == direct) {
        match originals.read_aside(image.copies[n].digest).await {
            Ok(bytes) => {
                drawn = aside(move || Ok(small(&bytes)))
                    .await?
                    .map(|jpeg| (n + 1, jpeg));
            }
            Err(e) => flags.push(format!("{}: {e}", out[n + 1].file)),
        }
    }
    if drawn.is_none()
        && let Ok(bytes) = original
    {
        drawn = aside(move || Ok(small(&bytes)))
            .await?
            .map(|jpeg| (0, jpeg));
    }
    if let Some((row, jpeg)) = drawn {
        out[row].thumbnail = Some(jpeg);
        *shown += 1;
    }
    Ok(out)
}

fn facts(file: &ItemFile) -> Vec<(String, String)> {
    let (mark, r) = (&file.mark, &file.recovery);
    let mut out: Vec<(String, String)> = Vec::new();
    let mut add = |name: &str, value: String| {
        if !value.is_empty() {
            out.push((name.to_owned(), value));
        }
    };
    add("Scene", joined(&[&mark.scene_name, &mark.scene_address]));
    add(
        "Mark",
        joined(&[&words::capital(&mark.name), &mark.kind_words]),
    );
    add("Object", mark.object.clone());
    add("Where on it", mark.exact_place.clone());
    add("Up is", mark.up.clone());
    add(
        "Surface",
        joined(&[&mark.substrate_name, &mark.texture, &mark.curvature]),
    );
    add("Noted", joined(&[&mark.noted, &mark.noted_by]));
    add("Note", mark.note.clone());
    for d in &mark.developments {
        let method = format!("{} ({})", d.name, d.code);
        add(
            "Developed",
            joined(&[&method, &d.when, &d.by_name, &d.note]),
        );
    }
    add("Recovered", joined(&[&r.when, &r.by_name]));
    let card = if r.card.is_empty() {
        String::new()
    } else {
        format!("on {} card", r.card)
    };
    let lot = if r.lot.is_empty() {
        String::new()
    } else {
        format!("lot {}", r.lot)
    };
    add(
        "Medium",
        joined(&[&r.medium_name, &r.form_words, &card, &lot]),
    );
    let set = if r.set.is_empty() {
        String::new()
    } else {
        format!("set {}", r.set)
    };
    let air = r.air_c.map(|t| format!("air {t} °C")).unwrap_or_default();
    let layer = r.thickness.map(|t| format!("layer {}", t.words()));
    add(
        "Put on",
        joined(&[&r.started, &set, &air, &layer.unwrap_or_default()]),
    );
    add("Set time", r.set_window.clone());
    add("The item is", r.facts.join(", "));
    add("Warnings", r.warnings.join(" "));
    add("Now", file.now.sentence.clone());
    add("Findings", file.findings_words.clone());
    add("Continuity", file.continuity.words.clone());
    out
}

fn finding(f: &Finding) -> FindingRow {
    let answer = f.answer.as_ref();
    FindingRow {
        severity: f.severity.word().to_owned(),
        grave: f.severity != Severity::Note,
        title: f.title.clone(),
        sentence: f.sentence.clone(),
        row: f.row,
        events: f.events.clone(),
        answer: answer.map(|a| a.text.clone()).unwrap_or_default(),
        answered: answer.map(|a| a.line.clone()).unwrap_or_default(),
        would_answer: f.would_answer.clone(),
    }
}

fn packaging(file: &ItemFile) -> Vec<(String, String)> {
    let mut out: Vec<(String, String)> = file
        .now
        .inside
        .iter()
        .map(|p| {
            let seal = if p.seal.is_empty() {
                "not sealed".to_owned()
            } else {
                format!("seal {}", p.seal)
            };
            (
                "Packed in".to_owned(),
                joined(&[&p.name, &p.code_grouped, &seal]),
            )
        })
        .collect();
    out.push(("Asked for".into(), file.keeping.sentence.clone()));
    // What the record says of each time, not only what was asked for.
    let times: Vec<&str> = file.times.iter().map(|t| t.sentence.as_str()).collect();
    out.push(("Times".into(), times.join(" ")));
    out.push(("Conflicts".into(), file.keeping.conflicts.join(" ")));
    for caution in &file.cautions {
        out.push((
            "Caution".into(),
            format!("{} {}", caution.text, caution.defers_to),
        ));
    }
    out
}

fn keep_rules(file: &ItemFile) -> Vec<KeepRule> {
    let keeping = &file.keeping;
    keeping
        .packing
        .iter()
        .map(|r| (r, "packing"))
        .chain(keeping.place.iter().map(|r| (r, "place")))
        .map(|(r, what)| KeepRule {
            rule: format!("{what}: {}", r.rule),
            reason: r.sentence.clone(),
            source: r.source.clone(),
        })
        .collect()
}

fn row(r: &RowWords) -> CustodyRow {
    let seal = if !r.seal_seen.is_empty() {
        r.seal_seen.clone()
    } else if r.seal_on_record.is_empty() {
        String::new()
    } else {
        format!("{} (on record)", r.seal_on_record)
    };
    let late = r
        .late_reason
        .as_ref()
        .map(|why| format!("Entered late: {why}."))
        .unwrap_or_default();
    let notes: Vec<&str> = [r.note.as_str(), &late]
        .into_iter()
        .filter(|t| !t.is_empty())
        .collect();
    CustodyRow {
        row: r.row,
        through: r.through.clone().unwrap_or_default(),
        n: r.n,
        seq: r.seq,
        claimed: r.claimed.clone(),
        recorded: r.recorded.clone(),
        act: r.act.clone(),
        from: r.from.clone(),
        to: r.to.clone(),
        seal_seen: seal,
        condition: r.condition_words.clone(),
        note: notes.join(" "),
        attested: joined(&[&r.by_name, &r.attested]),
        late: r.late,
        flag: r.flag.clone().unwrap_or_default(),
    }
}

fn joined(parts: &[&str]) -> String {
    let some: Vec<&str> = parts.iter().copied().filter(|p| !p.is_empty()).collect();
    some.join(", ")
}
