//! Why a file is not written: closed, each with a stable code, a sentence and a next step.

macro_rules! rules {
    ($($(#[$doc:meta])* $name:ident = $code:literal,)*) => {
        /// A rule that a hand-off must keep.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum ItlRule { $($(#[$doc])* $name,)* }

        impl ItlRule {
            /// Every rule.
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
    /// There is no receiver of that name, or none at all.
    NoReceiver = "afis-no-receiver",
    /// The receiver's profile lacks an agency's identifier.
    AgencyMissing = "afis-agency-missing",
    /// The mark is no friction ridge mark.
    NotFrictionRidge = "afis-not-friction-ridge",
    /// There is no image, or none of that digest.
    NoImage = "afis-no-image",
    /// The image is lossy as it is, or cannot be decoded.
    Lossy = "afis-lossy-image",
    /// The file's own orientation tag says that its pixels are not as viewers show them.
    OrientationTag = "afis-orientation-tag",
    /// Not 8 bits of grey or 24 of colour a pixel.
    Pixels = "afis-pixels",
    /// A side outside 10 to 99,999 pixels, or a region outside what the standard can say.
    Dimension = "afis-dimension",
    /// The receiver needs the density and it is not known.
    DensityUnknown = "afis-density-unknown",
    /// Reversal must be stated and cannot be without a known density.
    ReversalWithoutScale = "afis-reversal-without-scale",
    /// More than 9 processing methods.
    TooManyMethods = "afis-too-many-methods",
    /// A code that the standard's table does not have.
    UnknownCode = "afis-unknown-code",
    /// A position that a latent print cannot have here, or more than six, or of two kinds.
    Position = "afis-position",
    /// A text holds `999:`.
    TextMarker = "afis-text-999",
    /// A text holds a separator or another control character.
    TextSeparator = "afis-text-separator",
    /// A text is empty or longer than its field.
    TextLength = "afis-text-length",
    /// A text beyond ASCII where only ASCII may stand.
    TextNotAscii = "afis-text-not-ascii",
    /// The record is longer than its length field can say.
    TooLarge = "afis-too-large",
}

/// A refusal.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{sentence} {next}")]
pub struct ItlRefusal {
    /// The rule.
    pub rule: ItlRule,
    /// What was refused and why, one sentence.
    pub sentence: String,
    /// What to do next, one sentence.
    pub next: String,
}

impl ItlRefusal {
    /// A refusal by this rule.
    pub fn new(rule: ItlRule, sentence: impl Into<String>, next: impl Into<String>) -> Self {
        Self {
            rule,
            sentence: sentence.into(),
            next: next.into(),
        }
    }
}
