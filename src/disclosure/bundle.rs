//! A disclosure bundle, checked as a whole: the bag, the events of its ledger part, what is withheld, the pictures.
//!
//! The rules are those of `ledger/FORMAT.md`, chapter 9; anybody else's verifier written from that page must come to the
//! same answer. All findings are listed, not only the first.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{Read, Seek};

use serde::Serialize;
use zip::ZipArchive;

use super::bag::{BAGIT, BAGIT_TEXT, DATA, INFO, MANIFEST, MAX_FILES, TAG_MANIFEST, read_manifest};
use super::contents::{self, CONTENTS, Contents};
use crate::ids::{Digest, Subject};
use crate::ledger::checkpoint::VerifyingKey;
use crate::ledger::event::{Event, Header};
use crate::ledger::export::{
    CHECKPOINT, EVENTS, Line, PROOFS, SUBJECTS, Shown, VKEY, parse_subjects,
};
use crate::ledger::verify::folder::{Files, part};

/// The folder of the ledger part under `data/`.
pub const LEDGER: &str = "ledger/";
/// The kinds of events that name a picture, with the field that bears its digest.
pub const PICTURES: [(&str, &str); 2] = [("image.added", "digest"), ("image.copy-made", "copy")];

/// The field of an event of this kind that names a picture; none where none does.
#[must_use]
pub fn picture_field(kind: &str) -> Option<&'static str> {
    let named = PICTURES.iter().find(|(of, _)| *of == kind);
    named.map(|(_, field)| *field)
}

/// The picture that an event names: an original, or a working copy.
#[must_use]
pub fn picture_of(event: &Event) -> Option<Digest> {
    let field = picture_field(&event.header.kind)?;
    event.field_str(field)?.parse().ok()
}

/// The largest file of the ledger part that is read, in bytes.
const MAX_LEDGER: u64 = 1 << 30;
/// The longest manifest that is read, in bytes.
const MAX_MANIFEST: u64 = 64 << 20;

/// One thing that does not fit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct BundleFinding {
    /// A stable word; those of the ledger part are the ledger verifier's own.
    pub code: String,
    /// What was found, for people.
    pub text: String,
}

/// What was gone through, and all that was found.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct BundleReport {
    /// Events in the bundle.
    pub events: u64,
    /// The root that its checkpoint names.
    pub root: Option<Digest>,
    /// The ledger's key, as the bundle has it.
    pub vkey: String,
    /// Pictures in it.
    pub images: usize,
    /// Fields withheld.
    pub withheld: usize,
    /// Everything that does not fit.
    pub findings: Vec<BundleFinding>,
}

impl BundleReport {
    /// Whether nothing was found.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.findings.is_empty()
    }

    fn found(&mut self, code: &str, text: impl Into<String>) {
        self.findings.push(BundleFinding {
            code: code.to_owned(),
            text: text.into(),
        });
    }
}

/// Checks a bundle. `trusted` is the ledger's key as the reader has it from elsewhere; without one the bundle's own is
/// used, which shows only that the bundle agrees with itself.
#[must_use]
pub fn check<R: Read + Seek>(input: R, trusted: Option<&VerifyingKey>) -> BundleReport {
    let mut report = BundleReport {
        events: 0,
        root: None,
        vkey: String::new(),
        images: 0,
        withheld: 0,
        findings: Vec::new(),
    };
    let mut bag = match Opened::read(input, &mut report) {
        Ok(bag) => bag,
        Err(text) => {
            report.found("bag-unreadable", text);
            return report;
        }
    };
    bag.manifests(&mut report);
    let contents = match bag.data(CONTENTS, contents::MAX_BYTES) {
        Ok(bytes) => match Contents::parse(&bytes) {
            Ok(contents) => Some(contents),
            Err(text) => {
                report.found("contents-unreadable", text);
                None
            }
        },
        Err(text) => {
            report.found("contents-unreadable", text);
            None
        }
    };
    let (lines, stated) = bag.ledger(trusted, &mut report);
    if let Some(contents) = &contents {
        held_against(contents, &lines, &stated, &bag, &mut report);
    }
    report
}

/// A bag whose files were all read once.
struct Opened<R: Read + Seek> {
    zip: ZipArchive<R>,
    root: String,
    /// Every file by its path within the bag, with its digest; none where it cannot be read.
    files: BTreeMap<String, Option<Digest>>,
}

impl<R: Read + Seek> Opened<R> {
    fn read(input: R, report: &mut BundleReport) -> Result<Self, String> {
        let mut zip = ZipArchive::new(input).map_err(|e| format!("it is not a zip: {e}"))?;
        if zip.is_empty() || zip.len() > MAX_FILES + 4 {
            return Err("it has no files, or more than a bundle may have".into());
        }
        let mut out = BTreeMap::new();
        let mut root = None;
        for n in 0..zip.len() {
            let mut file = zip.by_index(n).map_err(|e| format!("file {n}: {e}"))?;
            let name = file
                .name()
                .map_err(|e| format!("file {n}: {e}"))?
                .into_owned();
            if name.ends_with('/') {
                continue;
            }
            let (first, path) = name
                .split_once('/')
                .ok_or_else(|| format!("{name} is not in the bag's folder"))?;
            if root.get_or_insert_with(|| first.to_owned()) != first {
                return Err(format!("{name} is not in the bag's folder"));
            }
            // What cannot be read has no digest, so that no manifest can fit it.
            let digest = match Digest::of_reader(&mut file) {
                Ok((digest, _)) => Some(digest),
                Err(e) => {
                    report.found("file-altered", format!("{path} cannot be read: {e}"));
                    None
                }
            };
            if out.insert(path.to_owned(), digest).is_some() {
                return Err(format!("{path} is there twice"));
            }
        }
        Ok(Self {
            zip,
            root: root.ok_or("it has no files")?,
            files: out,
        })
    }

    /// A file's bytes, up to so many.
    fn file(&mut self, path: &str, most: u64) -> Result<Vec<u8>, String> {
        let name = format!("{}/{path}", self.root);
        let file = self
            .zip
            .by_name(&name)
            .map_err(|_| format!("{path} is missing"))?;
        let mut bytes = Vec::new();
        file.take(most + 1)
            .read_to_end(&mut bytes)
            .map_err(|e| format!("{path} cannot be read: {e}"))?;
        if bytes.len() as u64 > most {
            return Err(format!("{path} is longer than {most} bytes"));
        }
        Ok(bytes)
    }

    fn data(&mut self, path: &str, most: u64) -> Result<Vec<u8>, String> {
        self.file(&format!("{DATA}{path}"), most)
    }

    /// Everything is listed, nothing else is there, and every digest fits.
    fn manifests(&mut self, report: &mut BundleReport) {
        match self.file(BAGIT, 1024) {
            Ok(bytes) if bytes == BAGIT_TEXT.as_bytes() => {}
            Ok(_) => report.found(
                "bag-declaration",
                format!("{BAGIT} is not that of BagIt 1.0"),
            ),
            Err(text) => report.found("bag-declaration", text),
        }
        let mut listed = BTreeSet::from([TAG_MANIFEST.to_owned()]);
        for (name, of_data) in [(MANIFEST, true), (TAG_MANIFEST, false)] {
            let read = self
                .file(name, MAX_MANIFEST)
                .and_then(|b| String::from_utf8(b).map_err(|_| format!("{name} is not UTF-8")))
                .and_then(|t| {
                    read_manifest(&t).map_err(|n| format!("{name}, line {n} cannot be read"))
                });
            let manifest = match read {
                Ok(manifest) => manifest,
                Err(text) => {
                    report.found("manifest-unreadable", text);
                    continue;
                }
            };
            for (path, digest) in manifest {
                if path.starts_with(DATA) != of_data {
                    report.found(
                        "manifest-unreadable",
                        format!("{name} lists {path}, which it should not"),
                    );
                }
                match self.files.get(&path) {
                    None => report.found("file-missing", format!("{path} is missing")),
                    Some(found) if *found != Some(digest) => report.found(
                        "file-altered",
                        format!("{path} is not the file that the manifest names"),
                    ),
                    Some(_) => {}
                }
                listed.insert(path);
            }
        }
        for path in [BAGIT, INFO, MANIFEST] {
            if !listed.contains(path) {
                report.found(
                    "manifest-unreadable",
                    format!("{TAG_MANIFEST} does not list {path}"),
                );
            }
        }
        for path in self.files.keys().filter(|p| !listed.contains(*p)) {
            report.found("file-extra", format!("{path} is in no manifest"));
        }
    }

    /// The ledger part by the ledger's own verifier; its lines for what comes after.
    fn ledger(
        &mut self,
        trusted: Option<&VerifyingKey>,
        report: &mut BundleReport,
    ) -> (Vec<(Header, Line)>, BTreeMap<Subject, u64>) {
        let mut read = |name: &str| {
            self.data(&format!("{LEDGER}{name}"), MAX_LEDGER)
                .inspect_err(|text| report.found("file-missing", text.clone()))
                .unwrap_or_default()
        };
        let events = read(EVENTS);
        let (checkpoint, vkey) = (read(CHECKPOINT), read(VKEY));
        let (proofs, subjects) = (read(PROOFS), read(SUBJECTS));
        let files = Files {
            events: &events,
            checkpoint: &checkpoint,
            vkey: &vkey,
            proofs: Some(&proofs),
            subjects: Some(&subjects),
        };
        let checked = part(&files, trusted);
        report.events = checked.events;
        report.root = Some(checked.root);
        report.vkey = String::from_utf8_lossy(&vkey).trim().to_owned();
        for finding in checked.findings {
            report.found(finding.code.as_str(), finding.text);
        }
        let stated = parse_subjects(&subjects).unwrap_or_default();
        let lines = events
            .split(|b| *b == b'\n')
            .filter(|l| !l.is_empty())
            .filter_map(|l| {
                // A line that cannot be read is a finding already.
                let line = Line::parse(l).ok()?;
                let header = serde_json::from_str(&line.header).ok()?;
                Some((header, line))
            })
            .collect();
        (lines, stated)
    }
}

/// The events against what the bundle says of itself.
fn held_against<R: Read + Seek>(
    contents: &Contents,
    lines: &[(Header, Line)],
    stated: &BTreeMap<Subject, u64>,
    bag: &Opened<R>,
    report: &mut BundleReport,
) {
    let mut reasons: BTreeSet<(String, &str)> = contents
        .withheld
        .iter()
        .flat_map(|(seq, fields)| fields.keys().map(|f| (seq.clone(), f.as_str())))
        .collect();
    let mut named: BTreeSet<Digest> = BTreeSet::new();
    let mut unstated: BTreeSet<Subject> = BTreeSet::new();
    let mut hidden = false;
    for (header, line) in lines {
        let seq = header.seq;
        if header.case != Some(contents.case) {
            report.found("other-case", format!("event {seq} is not of this case"));
        }
        // People, places and counts have events of other cases too; everything else must be stated whole.
        unstated.extend(header.touches.iter().map(|t| t.subject).filter(|s| {
            !matches!(
                s,
                Subject::Person(_) | Subject::Place(_) | Subject::Count(_)
            ) && !stated.contains_key(s)
        }));
        let (fields, withheld) = match &line.payload {
            Shown::Whole { fields, .. } => (fields, None),
            Shown::Part {
                fields, digests, ..
            } => (fields, Some(digests)),
            // Whether an expungement names it, the ledger part shows. It names no picture.
            Shown::Expunged { .. } => continue,
        };
        for field in withheld.into_iter().flat_map(|d| d.keys()) {
            report.withheld += 1;
            if !reasons.remove(&(seq.to_string(), field.as_str())) {
                report.found(
                    "withheld-without-reason",
                    format!("event {seq}: {field} is withheld without a reason"),
                );
            }
        }
        if let Some(field) = picture_field(&header.kind) {
            match fields.get(field).and_then(|v| v.as_str()) {
                Some(text) => match text.parse::<Digest>() {
                    Ok(digest) => {
                        named.insert(digest);
                    }
                    Err(_) => report.found(
                        "image-differs",
                        format!("event {seq} names a picture by no digest"),
                    ),
                },
                None => hidden = true,
            }
        }
    }
    for subject in unstated {
        report.found(
            "subject-not-stated",
            format!("it is not stated how many events {subject} has"),
        );
    }
    for (seq, field) in reasons {
        report.found(
            "reason-without-withheld",
            format!("event {seq}: {field} has a reason for being withheld, but is not withheld"),
        );
    }
    for digest in &named {
        match (
            contents.images.get(digest),
            contents.images_left_out.get(digest),
        ) {
            (Some(_), None) | (None, Some(_)) => {}
            _ => report.found(
                "image-missing",
                format!("picture {digest} is neither in the bundle nor left out with a reason"),
            ),
        }
    }
    for (digest, path) in &contents.images {
        report.images += 1;
        if !named.contains(digest) && !hidden {
            report.found(
                "image-not-named",
                format!("no event names picture {digest}"),
            );
        }
        match bag.files.get(&format!("{DATA}{path}")) {
            Some(found) if *found == Some(*digest) => {}
            Some(_) => report.found(
                "image-differs",
                format!("{path} is not the picture {digest}"),
            ),
            None => report.found("image-missing", format!("{path} is missing")),
        }
    }
    for path in contents.papers.keys() {
        if !bag.files.contains_key(&format!("{DATA}{path}")) {
            report.found("file-missing", format!("{path} is missing"));
        }
    }
}
