//! What the verifier found, in words that stay the same from version to version.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::ids::{Digest, Seq, Subject};

macro_rules! codes {
    ($($(#[$doc:meta])* $variant:ident = $word:literal,)*) => {
        /// The kind of a finding. The words are stable; programs may rely on them.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
        #[serde(rename_all = "kebab-case")]
        pub enum FindingCode { $($(#[$doc])* $variant,)* }

        impl FindingCode {
            /// Every kind, in order.
            pub const ALL: &[Self] = &[$(Self::$variant,)*];

            /// The stable word.
            #[must_use]
            pub fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $word,)* }
            }
        }
    };
}

codes! {
    /// The bytes of a header are not a header in its canonical form.
    HeaderUnreadable = "header-unreadable",
    /// A header is not the one that was put into the tree.
    HeaderAltered = "header-altered",
    /// The row's identifier is not the header's.
    IdDiffers = "id-differs",
    /// The row's number is not the header's: moved, swapped or renumbered.
    SeqDiffers = "seq-differs",
    /// There is no row for one or more numbers.
    EventMissing = "event-missing",
    /// A second row with the same number.
    SeqTwice = "seq-twice",
    /// A number that no row can have, or that lies absurdly far behind the last one.
    SeqOutOfRange = "seq-out-of-range",
    /// A row that came after rows with higher numbers.
    OutOfOrder = "out-of-order",
    /// A second event with the same identifier.
    IdTwice = "id-twice",
    /// An event without its payload or its salt.
    PayloadMissing = "payload-missing",
    /// A payload that belongs to no event.
    PayloadWithoutEvent = "payload-without-event",
    /// Salt or fields are not in the form they are stored in.
    PayloadUnreadable = "payload-unreadable",
    /// Salt or fields are not the ones the header commits to.
    PayloadAltered = "payload-altered",
    /// A payload that an expungement names is still there.
    PayloadNotRemoved = "payload-not-removed",
    /// A payload is marked as expunged, and no expungement here names it.
    NotExpunged = "not-expunged",
    /// One or more events of a subject are missing before this one.
    SubjectGap = "subject-gap",
    /// A subject's count occurs a second time.
    SubjectTwice = "subject-twice",
    /// A subject's count went backwards.
    SubjectBackwards = "subject-backwards",
    /// Recorded before the event in front of it.
    RecordedBackwards = "recorded-backwards",
    /// A node of the tree is not stored.
    NodeMissing = "node-missing",
    /// A stored node is not what its events give.
    NodeWrong = "node-wrong",
    /// A stored node that belongs to no complete part of the tree, or is stored twice.
    NodeExtra = "node-extra",
    /// A checkpoint that cannot be read.
    CheckpointUnreadable = "checkpoint-unreadable",
    /// A checkpoint that this ledger's key did not sign.
    CheckpointForged = "checkpoint-forged",
    /// A checkpoint whose row has another size than its note.
    CheckpointSizeDiffers = "checkpoint-size-differs",
    /// A signed checkpoint has another root than the events give.
    HistoryAltered = "history-altered",
    /// A signed checkpoint counts events that are not there.
    TailMissing = "tail-missing",
    /// No good checkpoint covers the last events.
    TailUnsigned = "tail-unsigned",
    /// The checkpoint given from outside cannot be read.
    ExternalUnreadable = "external-unreadable",
    /// The checkpoint given from outside was not signed by this ledger's key.
    ExternalForged = "external-forged",
    /// The checkpoint given from outside is not on this history.
    ExternalDiffers = "external-differs",
    /// The checkpoint given from outside counts events that are not here.
    ExternalAhead = "external-ahead",
    /// The folder's key cannot be read.
    KeyUnreadable = "key-unreadable",
    /// The folder's key is not the one that is trusted.
    KeyDiffers = "key-differs",
    /// A line of an export cannot be read.
    LineUnreadable = "line-unreadable",
    /// A proof's line cannot be read.
    ProofUnreadable = "proof-unreadable",
    /// An exported event without a proof.
    ProofMissing = "proof-missing",
    /// A proof that does not lead from the event to the checkpoint.
    ProofWrong = "proof-wrong",
    /// A proof for no event of the export, or a second one.
    ProofExtra = "proof-extra",
    /// The list of subjects cannot be read.
    SubjectsUnreadable = "subjects-unreadable",
    /// The list of subjects is empty, so the export claims nothing to be complete.
    SubjectsEmpty = "subjects-empty",
    /// The export lacks events of a subject that it states.
    SubjectIncomplete = "subject-incomplete",
    /// The export has more events of a subject than it states.
    SubjectExceeded = "subject-exceeded",
}

impl fmt::Display for FindingCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

/// One thing that does not fit.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Finding {
    /// What kind of thing.
    pub code: FindingCode,
    /// The event it is about, or the first of several.
    pub seq: Option<Seq>,
    /// The last of several events in a row.
    pub last: Option<Seq>,
    /// The subject it is about.
    pub subject: Option<Subject>,
    /// What was found, for people.
    pub text: String,
}

impl Finding {
    pub(super) fn new(code: FindingCode, text: impl Into<String>) -> Self {
        Self {
            code,
            seq: None,
            last: None,
            subject: None,
            text: text.into(),
        }
    }

    pub(super) fn at(mut self, seq: Seq) -> Self {
        self.seq = Some(seq);
        self
    }

    pub(super) fn over(mut self, first: Seq, last: Seq) -> Self {
        self.seq = Some(first);
        self.last = Some(last);
        self
    }

    pub(super) fn of(mut self, subject: Subject) -> Self {
        self.subject = Some(subject);
        self
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.code, self.text)
    }
}

/// What the verifier went through, and all that it found.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Report {
    /// How many events were there.
    pub events: u64,
    /// For a whole ledger the root its events give; for a part of one the root of its checkpoint. Without a readable
    /// checkpoint of a part, the root of the empty tree.
    pub root: Digest,
    /// Everything that does not fit, by event; what is about no single event comes last.
    pub findings: Vec<Finding>,
    /// How many of the events were expunged by an event that is here.
    #[serde(default)]
    pub expunged: u64,
}

impl Report {
    pub(super) fn new(events: u64, root: Digest, mut findings: Vec<Finding>) -> Self {
        findings.sort_by_key(|f| (f.seq.unwrap_or(Seq::MAX), f.code, f.last));
        Self {
            events,
            root,
            findings,
            expunged: 0,
        }
    }

    pub(super) fn with_expunged(mut self, expunged: u64) -> Self {
        self.expunged = expunged;
        self
    }

    /// Whether nothing was found.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.findings.is_empty()
    }
}

/// "event 7" or "events 7 to 9".
pub(super) fn events(first: Seq, last: Seq) -> String {
    if first == last {
        format!("event {first}")
    } else {
        format!("events {first} to {last}")
    }
}
