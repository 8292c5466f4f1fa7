//! Refusals: closed, named, in precedence order, each with a stable code.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

macro_rules! rules {
    ($($(#[$doc:meta])* $name:ident = $code:literal,)*) => {
        /// A rule of custody. The order is the order in which rules are tried: the first that fails is the answer. An
        /// act that names several things tries, from [`Rule::InsidePackage`] on, the rules of one thing after the other.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Rule { $($(#[$doc])* $name,)* }

        impl Rule {
            /// Every rule, in precedence order.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// The stable code, kebab-case.
            #[must_use]
            pub fn code(self) -> &'static str {
                match self { $(Self::$name => $code,)* }
            }
        }
    };
}

rules! {
    /// The account is switched off.
    Inactive = "account-off",
    /// The role does not allow the act.
    Forbidden = "role-may-not",
    /// The thing does not exist (or may not be seen).
    NotFound = "not-found",
    /// The case is restricted and the person is not assigned to it.
    Restricted = "case-restricted",
    /// The act must be signed by signing in again.
    NotSigned = "not-signed",
    /// More than 2 minutes in the future.
    InFuture = "time-in-future",
    /// Before the last custody event of the thing.
    BeforeLast = "before-last-custody",
    /// Entered late without a reason.
    LateWithoutReason = "late-without-reason",
    /// The custody of the thing has ended by a disposition.
    Disposed = "disposed-of",
    /// A disposition was carried out and waits for its witness.
    DispositionOpen = "disposition-open",
    /// The record was expunged by order of a court.
    Expunged = "expunged-by-order",
    /// A text is empty, too long, not of the form asked for, or holds control characters.
    BadText = "bad-text",
    /// A value is outside what the rule allows.
    BadValue = "bad-value",
    /// A label's check character does not fit.
    Misread = "label-misread",
    /// A label that bears no code of this kind.
    ForeignLabel = "label-not-ours",
    /// A thing stands on two lines of one command.
    NamedTwice = "named-twice",
    /// Some lines of a command cannot be recorded, so none was. The refusal holds each line's own.
    LinesRefused = "lines-refused",
    /// The thing is in a package and goes where the package goes.
    InsidePackage = "inside-a-package",
    /// There is an open offer: it must be received, refused or withdrawn first.
    OfferOpen = "offer-open",
    /// There is no open offer.
    NoOffer = "no-open-offer",
    /// The offer is made to somebody else.
    NotAddressee = "not-the-addressee",
    /// Only the person who released may withdraw.
    NotReleaser = "not-the-releaser",
    /// The person does not hold the thing.
    NotHolder = "not-the-holder",
    /// Only what is held outside can be taken back from outside.
    NotOutside = "not-outside",
    /// Only what is on a shelf can be taken from one.
    NotStored = "not-on-a-shelf",
    /// A hand-over to oneself, or to the shelf on which the thing stands.
    ToOneself = "to-oneself",
    /// The recipient may not hold evidence, is switched off, or may not see the case.
    RecipientMayNot = "recipient-may-not-hold",
    /// Nobody has authorised the disposition, or it was not carried out yet.
    NotAuthorised = "disposition-not-authorised",
    /// A hold stands on the thing, on something in it, or on its case.
    Held = "held",
    /// The schedule still keeps it, or nobody has said how long it is kept.
    Retained = "still-retained",
    /// A record of something that is still in custody is not expunged.
    InCustody = "still-in-custody",
    /// Who authorises, who carries out and who witnesses must be three people; who orders and who expunges, two.
    SamePerson = "same-person",
    /// The person was not named as the witness, or cannot be one.
    NotWitness = "not-the-witness",
    /// The count is over.
    CountOver = "count-over",
    /// The difference was resolved already.
    Resolved = "already-resolved",
    /// Whoever took part in a count does not resolve its differences.
    OwnCount = "own-count",
    /// Something goes out from the storeroom without a due date.
    NoDueDate = "no-due-date",
    /// The package is sealed: nothing goes in or comes out.
    Sealed = "sealed",
    /// The package is not sealed.
    NotSealed = "not-sealed",
    /// The package was emptied when its contents were packed anew.
    Closed = "package-closed",
    /// There is nothing in the package.
    Empty = "empty-package",
    /// The seal seen was not stated.
    SealNotStated = "seal-not-stated",
    /// The seal seen differs from the seal on record and the condition does not say so.
    SealDiffers = "seal-differs",
    /// A condition other than intact needs a note.
    ConditionWithoutNote = "condition-without-note",
    /// Pieces of two cases in one package.
    OtherCase = "other-case",
    /// A package in itself, a thing twice, too deep, or too full.
    Nesting = "nesting",
    /// The packing rules forbid the container.
    ContainerForbidden = "container-forbidden",
    /// The container is too small for a measured thing.
    TooSmall = "container-too-small",
    /// It must dry longer before it goes into this container.
    NotDry = "not-dry-yet",
    /// There are not so many boxes of the kind in stock.
    NotInStock = "not-in-stock",
    /// The keep rules forbid the place.
    KeepRule = "keep-rule",
    /// The person named for an override may not answer for it.
    OverrideNotAuthorised = "override-not-authorised",
    /// The place is full.
    PlaceFull = "place-full",
    /// The place is for two people, and nobody else signed.
    SecondMissing = "second-person-missing",
    /// Whoever signed beside the actor cannot be the second person.
    SecondMayNot = "second-person-may-not",
    /// The name, number, seal, picture or identifier is already in use.
    Taken = "already-in-use",
    /// What is recorded cannot be amended this way.
    NotAmendable = "not-amendable",
    /// Only the author or a supervisor may amend.
    NotAuthor = "not-the-author",
    /// What is to be answered is not found.
    NoFinding = "no-such-finding",
}

/// A refusal: the rule, the thing and the next step. It leaves everything as it was.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema, thiserror::Error)]
#[error("{sentence} {next}")]
pub struct Refusal {
    /// The stable code of the rule.
    pub code: String,
    /// What was refused and why, one sentence.
    pub sentence: String,
    /// What to do next, one sentence.
    pub next: String,
    /// The field of the command that is meant, if one is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
    /// Of a command of several lines: each line that was refused, and why.
    #[serde(default, skip_serializing_if = "<[_]>::is_empty")]
    pub lines: Box<[LineRefusal]>,
}

/// A line of a command that was refused.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct LineRefusal {
    /// Which line, from 1.
    pub line: usize,
    /// The stable code of the rule.
    pub code: String,
    /// What was refused and why, one sentence.
    pub sentence: String,
    /// What to do next, one sentence.
    pub next: String,
    /// The field of the line that is meant, if one is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
}

impl LineRefusal {
    /// The refusal of one line.
    #[must_use]
    pub fn new(line: usize, refusal: &Refusal) -> Self {
        Self {
            line,
            code: refusal.code.clone(),
            sentence: refusal.sentence.clone(),
            next: refusal.next.clone(),
            field: refusal.field.clone(),
        }
    }
}

impl Refusal {
    /// A refusal by this rule.
    pub fn new(rule: Rule, sentence: impl Into<String>, next: impl Into<String>) -> Self {
        Self::coded(rule.code(), sentence, next)
    }

    /// A refusal that is no rule of custody: of a form, a file or a server, under a code of theirs.
    pub fn coded(
        code: impl Into<String>,
        sentence: impl Into<String>,
        next: impl Into<String>,
    ) -> Self {
        Self {
            code: code.into(),
            sentence: sentence.into(),
            next: next.into(),
            field: None,
            lines: Box::default(),
        }
    }

    /// Names the field that is meant.
    #[must_use]
    pub fn on(mut self, field: impl Into<String>) -> Self {
        self.field = Some(field.into());
        self
    }
}

/// A text field: its name, the most characters, whether it must be filled in.
pub type TextRule = (&'static str, usize, bool);

/// Checks a text by its row in a table of fields. A field that has no row may hold nothing.
///
/// # Errors
/// [`Rule::BadText`].
pub fn text_by(rules: &[TextRule], field: &str, value: &str) -> Result<(), Refusal> {
    let (max, required) = rules
        .iter()
        .find(|(name, ..)| *name == field)
        .map_or((0, false), |(_, max, required)| (*max, *required));
    text(field, value, max, required)
}

/// Checks a text: `1..=max` characters (or none where `required` is false), no control characters but line breaks.
///
/// # Errors
/// [`Rule::BadText`].
pub fn text(field: &str, value: &str, max: usize, required: bool) -> Result<(), Refusal> {
    let said = field.replace('_', " ");
    if required && value.trim().is_empty() {
        return Err(Refusal::new(
            Rule::BadText,
            format!("The {said} is empty."),
            format!("Fill in the {said}."),
        )
        .on(field));
    }
    if value.chars().count() > max {
        return Err(Refusal::new(
            Rule::BadText,
            format!("The {said} is longer than {max} characters."),
            format!("Shorten the {said}."),
        )
        .on(field));
    }
    if value.chars().any(|c| c.is_control() && c != '\n') {
        return Err(Refusal::new(
            Rule::BadText,
            format!("The {said} holds characters that cannot be printed."),
            format!("Type the {said} again."),
        )
        .on(field));
    }
    Ok(())
}
