//! What every page has around it: who and where I am, the scan field, the theme, a notice.
//!
//! A page is a template that extends `base.html` and has a field `frame: Frame`; it fills the blocks `title` and `main`.

use askama::Template;

/// The frame of a page.
#[derive(Clone, Debug, Default)]
pub struct Frame {
    /// Who is signed in.
    pub me: Option<Me>,
    /// Where this page is, outermost first; the last one is the page itself.
    pub crumbs: Vec<Link>,
    /// Token that every form carries in a hidden field `csrf`.
    pub csrf: String,
    /// Day or dark room, from the cookie `theme`.
    pub theme: Theme,
    /// What just happened.
    pub notice: Option<Notice>,
    /// Path and query of this page: where the theme switch comes back to.
    pub path: String,
}

impl Frame {
    /// Whether the page has the field for finding evidence.
    #[must_use]
    pub fn finds(&self) -> bool {
        self.me.as_ref().is_some_and(|me| me.finds)
    }
}

/// Whoever is signed in.
#[derive(Clone, Debug)]
pub struct Me {
    /// Name, as on papers.
    pub name: String,
    /// Roles in words: `custodian`, `technician and custodian`.
    pub roles: String,
    /// The desks that these roles have.
    pub desks: Vec<Link>,
    /// Whether evidence may be looked for: whoever only administers has no field for it.
    pub finds: bool,
}

/// An address with its words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Link {
    /// Path on this server.
    pub href: String,
    /// What is there.
    pub label: String,
}

impl Link {
    /// A link.
    #[must_use]
    pub fn new(href: impl Into<String>, label: impl Into<String>) -> Self {
        Self {
            href: href.into(),
            label: label.into(),
        }
    }
}

/// Day, or red on black for work under a light source.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Theme {
    /// Paper and ink.
    #[default]
    Day,
    /// Dark room.
    Dark,
}

impl Theme {
    /// Reads the value of the cookie or of the form; anything unknown is day.
    #[must_use]
    pub fn parse(s: &str) -> Self {
        if s == "dark" { Self::Dark } else { Self::Day }
    }

    /// The value of the cookie: `day` or `dark`.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Day => "day",
            Self::Dark => "dark",
        }
    }

    /// The one that the switch leads to, and its words.
    #[must_use]
    pub fn other(self) -> (Self, &'static str) {
        match self {
            Self::Day => (Self::Dark, "Dark room"),
            Self::Dark => (Self::Day, "Day"),
        }
    }
}

/// What just happened and what comes next.
#[derive(Clone, Debug)]
pub struct Notice {
    /// Whether it went well.
    pub kind: NoticeKind,
    /// What happened: `Received from N. Brandt, seal 004217 intact.`
    pub text: String,
    /// What is next, if anything.
    pub next: Option<String>,
}

/// How a notice is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoticeKind {
    /// Done.
    Done,
    /// Done, but look.
    Attention,
    /// Not done.
    Refused,
}

impl NoticeKind {
    /// The word in front of a notice.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Done => "Done",
            Self::Attention => "Attention",
            Self::Refused => "Not done",
        }
    }

    /// The class of a notice.
    #[must_use]
    pub fn slug(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Attention => "attention",
            Self::Refused => "refused",
        }
    }
}

/// A refusal: the rule, the thing, the next step. Show it above the form, which keeps what was typed. In a template:
/// `{{ refusal|safe }}`.
#[derive(Clone, Debug, Template)]
#[template(path = "parts/refusal.html")]
pub struct RefusalBlock {
    /// Stable code of the rule.
    pub code: String,
    /// The rule, in a sentence.
    pub rule: String,
    /// What it was about.
    pub thing: String,
    /// What can be done now.
    pub next: String,
    /// Of a table that was typed: the lines that are wrong.
    pub lines: Vec<crate::custody::refusal::LineRefusal>,
}

/// A signing step: what is being signed, once more, and the field for the password. Stands inside a form.
#[derive(Clone, Debug, Template)]
#[template(path = "parts/signing.html")]
pub struct SigningBlock {
    /// What is signed, as facts.
    pub facts: Vec<(String, String)>,
    /// The sentence that is put on the record: `I received these three items, seals intact.`
    pub sentence: String,
    /// The act on the button: `Sign and receive`.
    pub act: String,
    /// Whether the visitor's own password is asked for.
    pub own: bool,
    /// What was wrong with the password, if it was.
    pub error: Option<String>,
    /// The name of the second person, whose password is asked for too.
    pub second: Option<String>,
    /// What was wrong with theirs, if it was.
    pub second_error: Option<String>,
}

/// A list of facts, in order.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "parts/facts.html")]
pub struct FactsBlock {
    /// Name and value of each.
    pub facts: Vec<(String, String)>,
}

/// A desk: what waits, grouped. Empty groups are left out.
#[derive(Clone, Debug, Default, Template)]
#[template(path = "parts/desk.html")]
pub struct DeskBlock {
    /// What can't wait.
    pub now: Vec<DeskLine>,
    /// What comes next.
    pub soon: Vec<DeskLine>,
    /// What has time.
    pub later: Vec<DeskLine>,
}

/// One line of a desk: what it is, where it is, and the one next act.
#[derive(Clone, Debug)]
pub struct DeskLine {
    /// What it is; leads to its page.
    pub what: Link,
    /// Where it is, or who has it.
    pub place: String,
    /// Why it is here, with its time: `offered since 14 Mar 2026, 16:20 UTC`.
    pub why: String,
    /// One word about its state, and whether it wants attention.
    pub badge: Option<(String, bool)>,
    /// The next act.
    pub act: Link,
}

impl DeskBlock {
    /// The groups that have lines, with their headings.
    #[must_use]
    pub fn groups(&self) -> Vec<(&'static str, &[DeskLine])> {
        [
            ("Now", self.now.as_slice()),
            ("Soon", &self.soon),
            ("Later", &self.later),
        ]
        .into_iter()
        .filter(|(_, lines)| !lines.is_empty())
        .collect()
    }
}
