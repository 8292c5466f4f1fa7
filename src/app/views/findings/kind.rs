//! Every kind of finding: its code, what it is called, and what would answer it.
//!
//! A new kind is a row here and whoever tells it; keys, answers, pages, papers and "ready for court" take it from there.

macro_rules! kinds {
    ($($(#[$doc:meta])* $name:ident = $code:literal, $title:literal, $answer:literal;)*) => {
        /// A kind of finding.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Kind { $($(#[$doc])* $name,)* }

        impl Kind {
            /// Every kind.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// The stable code.
            #[must_use]
            pub fn code(self) -> &'static str {
                match self { $(Self::$name => $code,)* }
            }

            /// What it is called.
            #[must_use]
            pub fn title(self) -> &'static str {
                match self { $(Self::$name => $title,)* }
            }

            /// What would answer it, in a sentence.
            #[must_use]
            pub fn answer(self) -> &'static str {
                match self { $(Self::$name => $answer,)* }
            }
        }
    };
}

kinds! {
    /// Nobody vouches for a stretch of time.
    Gap = "gap", "Time not accounted for",
        "Who had it or where it was locked in over that time, and what shows it: a key book, a camera, a note made then, a statement.";
    /// Two holders claim the same time.
    Overlap = "overlap", "Two holders for the same time",
        "Which of the two times is right, and what shows it: paper of that day, a device's clock, a statement of both.";
    /// A claimed time lies after the time at which it was recorded.
    ClockAhead = "clock-ahead", "Claimed after it was recorded",
        "Which clock was wrong, by how much, and how that is known.";
    /// It was entered late.
    LateEntry = "late-entry", "Entered late",
        "What was written down at the time itself, where that is kept, and why it was not entered then.";
    /// A camera's clock does not fit the time stated.
    CameraClock = "camera-clock", "The camera's clock differs",
        "By how much the camera's clock was off on that day, or when the picture was really taken.";
    /// The seal that was seen is not the seal on record.
    SealMismatch = "seal-mismatch", "The seal is another one",
        "Which seal was put on when, and by whom: the list of the roll, a photograph of the seal, who opened it in between.";
    /// The seal that was seen is not the seal with which it was sent.
    SealNotAsSent = "seal-not-as-sent", "Another seal than it was sent with",
        "Who opened and sealed it on the way, and why that is not on the record.";
    /// It was received and nobody said which seal they saw.
    SealNotSeen = "seal-not-seen", "Received without a seal being read",
        "Whether the seal was looked at, by whom, and what shows it: a photograph, a note, the seal itself kept after opening.";
    /// It was found open although a seal is on record.
    FoundOpen = "found-open", "Found open",
        "When and by whom it was opened, and whether its contents were checked against the record.";
    /// It was not found intact.
    Condition = "condition", "Not found intact",
        "What was damaged and how, whether what is in it was reached, and who examined that.";
    /// It was opened and nobody said why.
    OpenedWithoutReason = "opened-without-reason", "Opened without a reason",
        "Why it was opened, who was there, and what was done with it.";
    /// It left somebody's hands opened and not sealed again.
    NotResealed = "not-resealed", "Not sealed again",
        "Why it went without a new seal, and how it was kept from being reached meanwhile.";
    /// It went unsealed, and somebody said why.
    Unsealed = "unsealed", "Went unsealed",
        "Whether the reason given holds, and how it was kept from being reached meanwhile.";
    /// An offer was answered late.
    OfferAnsweredLate = "offer-answered-late", "An offer was answered late",
        "Where it was until it was received: with the releaser as the record says, or elsewhere.";
    /// An offer stands and nobody has answered it.
    OfferOpen = "offer-open", "An offer that nobody has answered",
        "Where it is now. It is done with when the offer is received, refused or withdrawn.";
    /// An offer stands to somebody whose account is switched off.
    OfferToSwitchedOff = "offer-to-switched-off", "On offer to an account that is off",
        "Who is to have it instead. It is done with when the offer is withdrawn.";
    /// Somebody whose account is switched off has it.
    HolderSwitchedOff = "holder-switched-off", "With an account that is off",
        "Where it is now, and who takes charge of it.";
    /// Nobody's identification was seen.
    NotIdentified = "not-identified", "Nobody's identification on record",
        "How whoever recorded it knew who that was.";
    /// Another one brought it back.
    BroughtByAnother = "brought-by-another", "Brought back by somebody else",
        "How it passed from the one to the other: the carrier's own papers, a statement.";
    /// It came back late.
    ReturnedLate = "returned-late", "Came back late",
        "Why it was kept longer, and who knew.";
    /// It weighs something else than it did when it went out.
    WeightDiffers = "weight-differs", "Another weight than it went out with",
        "Whether the scales agree, what was taken or added and by whom, and what the laboratory's report says of it.";
    /// A package came back from outside without something that went out in it.
    ReturnedWithout = "returned-without", "Came back without something",
        "Who has it, what shows that, and when it comes back; where it is missing, who looked for it and where.";
    /// It was used up by an examination, and by the record no examiner and nobody outside had it.
    UsedUpUnexamined = "used-up-unexamined", "Used up without having been examined",
        "Who examined it, when and where, and why that is not on the record.";
    /// It is overdue.
    Overdue = "overdue", "Overdue",
        "Why it is still out and when it is due now. It is done with when it comes back.";
    /// Something waits for its witness, or has none.
    WitnessMissing = "witness-missing", "No witness",
        "Who was there and saw it. It is done with when the witness confirms it or says that it was not done.";
    /// It was stored against a keep rule, and somebody answers for that.
    KeepRuleOverridden = "keep-rule-overridden", "Stored against a keep rule",
        "Whether it suffered from that: how it looked before and afterwards, and how long it was there.";
    /// It stood where a logger read what its class of climate forbids.
    ClimateExcursion = "climate-excursion", "Outside its climate",
        "Whether it suffered from that: how it looked before and afterwards, what it is made of, and who judged it.";
    /// It stood there only between a reading within the class and one outside.
    ClimateExcursionPossible = "climate-excursion-possible", "Perhaps outside its climate",
        "When it was really moved, where that is known more closely; or that it makes no difference here.";
    /// It stands in a place for two people, or was taken out of one, and only one person is on record.
    OnePersonAlone = "one-person-alone", "One person alone in a place for two",
        "Who else was there, and what shows it: a key book, a camera, a statement; or that it was put there before the place was marked.";
    /// The mark was not photographed before it was lifted.
    NotPhotographedBefore = "not-photographed-before-lift", "Not photographed before the lift",
        "What else shows the mark in its place: a sketch, notes, other photographs of the scene, the surface itself.";
    /// It asks to be photographed at once, and was late.
    PhotographedLate = "photographed-late", "Photographed late",
        "Whether it had faded by then, as an examiner sees it.";
    /// Something that is to be done at once was not done.
    NotDoneAtOnce = "not-done-at-once", "Not done at once",
        "Why it is not done, or when it was done without being recorded.";
    /// It was packed before what a rule asks for first.
    PackedTooSoon = "packed-too-soon", "Packed too soon",
        "Whether it suffered from that, as an examiner sees it.";
    /// The lot of the medium had expired.
    ExpiredLot = "expired-lot", "The lot had expired",
        "How the lot was tested on that day or afterwards, or why it makes no difference here.";
    /// The record warned of something else at the recovery.
    RecoveryWarning = "recovery-warning", "A warning at the recovery",
        "Why it was done so all the same, or what shows that it makes no difference.";
    /// A picture that reads mirrored was valued without a copy that reads direct.
    MirroredValued = "mirrored-valued", "A mirrored picture was valued",
        "Which picture was really looked at, and whether it was turned on the screen; or a new assessment of a copy that reads direct.";
    /// A picture that reads mirrored was handed off.
    MirroredHandedOff = "mirrored-handed-off", "A mirrored picture was handed off",
        "What the receiver was told of left and right, and whether they turned it; or a new hand-off of a copy that reads direct.";
    /// It was taken over from another record.
    LegacyHistory = "legacy-history", "History that this ledger did not see",
        "What the former record says of that time, where its original is kept, and who vouches for it.";
    /// An event of a later version.
    UnknownEvent = "unknown-event", "An event that this version cannot read",
        "What the event says, read with a program of its version.";
}

/// What findings of this code are called; the code itself where this version does not know it.
#[must_use]
pub fn title_of(code: &str) -> String {
    Kind::ALL
        .iter()
        .find(|k| k.code() == code)
        .map_or_else(|| code.to_owned(), |k| k.title().to_owned())
}
