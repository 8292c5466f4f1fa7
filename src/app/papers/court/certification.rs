//! The blanks of a records custodian's certification. They follow, element by element and in words of our own, what Federal
//! Rules of Evidence 803(6), 902(11), 902(13) and 902(14) ask of one. What the ledger knows is filled in; what somebody
//! must know themselves is a line to write on. The paper claims nothing: a certification is what a person signs.
//!
//! Source of the elements: the rules as summarised in the project's reference notes (803(6)(A) to (E) and 902(11) read;
//! 902(13) and 902(14) by their committee notes), not their text.

use super::super::printed::{self, Prints};
use super::{PaperError, Setting, Told};
use crate::app::reader::Reader;
use crate::reports::parts::{Blank, Part, Signer, col};
use crate::reports::table::Row;

/// How many prints stand on one certification.
const MOST_LISTED: usize = 60;

/// An element, and what the ledger has to say to it.
fn element(parts: &mut Vec<Part>, rule: &str, asks: &str, knows: &str, how: &str) {
    parts.push(Part::Heading(rule.to_owned()));
    parts.push(Part::Tick(asks.to_owned()));
    if !knows.is_empty() {
        parts.push(Part::Facts(vec![(
            "What the ledger says".into(),
            knows.to_owned(),
        )]));
    }
    parts.push(Part::Blanks(vec![
        Blank::lines(how, 2),
        Blank::line("Initials; or why not certified"),
    ]));
}

fn listed(prints: &Prints) -> Vec<Row> {
    prints
        .rows
        .iter()
        .take(MOST_LISTED)
        .map(|p| Row {
            cells: vec![
                format!("{}\n{}", p.paper, p.of),
                p.when.clone(),
                p.by.clone(),
                p.digest.to_string(),
                p.seq.to_string(),
            ],
            flagged: false,
        })
        .collect()
}

pub(super) async fn told(reader: &Reader<'_>, s: &Setting) -> Result<Told, PaperError> {
    let prints = printed::of_case(reader, &s.case).await?;
    let tally = printed::tally(reader, &s.case).await?;
    let mut parts = vec![
        Part::Notice(
            "These are blanks, not a certification. Which rule applies, whether these elements are the right ones, and the words \
             that must be used: counsel and local law decide. Tick, fill in and sign only what you know yourself; strike out the \
             rest."
                .into(),
        ),
        Part::Heading("Who certifies".into()),
        Part::Blanks(vec![
            Blank::line("Name"),
            Blank::line("Position, and since when"),
            Blank::filled("Agency", &s.agency.name),
            Blank::lines("Why I know how these records are made and kept", 2),
        ]),
        Part::Heading("What is certified".into()),
        Part::Facts(vec![
            (
                "Records".into(),
                format!(
                    "The entries of case {} in the ledger up to entry {}.",
                    s.case.number, s.head.size
                ),
            ),
            (
                "Digests".into(),
                "SHA-256 (FIPS 180-4) of each entry, each picture and each paper; entries in a tree as in RFC 9162; the tree's \
                 head signed with Ed25519."
                    .into(),
            ),
        ]),
        Part::Text("The signed checkpoint of that moment:".into()),
        Part::Letters(s.head.note.trim_end().to_owned()),
    ];
    let rows = listed(&prints);
    if rows.is_empty() {
        parts.push(Part::Text(
            "By the record nothing of this case was printed before this paper.".into(),
        ));
    } else {
        if prints.rows.len() > MOST_LISTED || prints.more {
            parts.push(Part::Text(format!(
                "The newest {} papers; there are more on the record.",
                rows.len()
            )));
        }
        parts.push(Part::Small(
            "Papers printed of this case. Tick or strike out: this certification covers those that are not struck out.".into(),
        ));
        parts.push(Part::Table {
            name: "Papers",
            columns: vec![
                col("Paper", 2.4, false),
                col("Printed", 1.9, false),
                col("By", 1.7, false),
                col("SHA-256 of the PDF", 4.2, true),
                col("Entry", 0.8, true),
            ],
            rows,
        });
    }
    element(
        &mut parts,
        "803(6)(A): made at the time, by somebody who knew",
        "Each entry was made when the thing happened or soon after, by a person who knew of it or was told by one who did.",
        &tally.times,
        "How I know",
    );
    element(
        &mut parts,
        "803(6)(B): kept in the course of regular work",
        "The ledger is kept as part of the agency's regular work.",
        "",
        "Since when, and for which work",
    );
    element(
        &mut parts,
        "803(6)(C): a regular practice",
        "Making such entries is what the agency does as a rule, not for this case alone.",
        "",
        "Which written rule or practice",
    );
    element(
        &mut parts,
        "902(11), with 803(6)(D) and (E): certified, noticed, open to inspection",
        "The other side was told in writing in good time, and may look at the records and at this certification.",
        "",
        "Whom, when and how; where they can be looked at",
    );
    parts.push(Part::Small(
        "803(6)(E), that nothing speaks against the source or the way in which it was made, is not for the certifier alone: the \
         other side may show the contrary. Findings of the record itself, such as gaps and late entries, stand in the custody \
         report."
            .into(),
    ));
    element(
        &mut parts,
        "902(13): made by an electronic process that gives an accurate result",
        "The entries come from a system whose process gives an accurate result.",
        &format!(
            "Program liftledger {}. Entries are only added, never changed; each is part of the tree whose head is signed. \
             `liftledger verify` rebuilds the tree from the entries and reports every difference.",
            env!("CARGO_PKG_VERSION")
        ),
        "How I know that it worked properly; when it was verified, with what answer",
    );
    element(
        &mut parts,
        "902(14): a copy identified by its digest",
        "The copies of files that are handed over are the same as the originals, as their digests show.",
        "Digest algorithm: SHA-256. The digests of the papers stand above; those of pictures stand in the custody report and in \
         the bundle's manifest.",
        "Who compared which digests, when, with which program, with what result",
    );
    // Nobody signs a page that does not say what is signed.
    parts.push(Part::Together(120.0));
    parts.push(Part::Heading("Declaration".into()));
    parts.push(Part::Blanks(vec![Blank::lines(
        "In the words that local law asks for (in the United States for instance an unsworn declaration under penalty of perjury)",
        4,
    )]));
    parts.push(Part::Signatures(vec![Signer {
        role: "Certified by".into(),
        lines: vec![
            Blank::line("Name"),
            Blank::line("Signature"),
            Blank::line("Date"),
            Blank::line("Place"),
        ],
    }]));
    Ok(Told {
        lead: "Blanks for whoever keeps these records and certifies them. Counsel and local law decide.".into(),
        note: "This paper claims nothing and certifies nothing; only what a person fills in and signs does. The elements are told \
               in our own words: read the rules themselves, as they are in force where this is used."
            .into(),
        facts: Vec::new(),
        parts,
        subjects: tally.subjects,
        name: String::new(),
    })
}
