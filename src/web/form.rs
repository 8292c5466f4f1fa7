//! Forms: what was typed, the fields of an act, and the way from one to the other.
//!
//! A form's fields bear the names of the command's own fields (`party.name` for a field within a field), so that a form
//! and the interface for programs say the same thing.

use axum::Form;
use axum::extract::{FromRequest, Request};
use chrono::{DateTime, FixedOffset, MappedLocalTime, NaiveDate};
use serde_json::{Map, Value};

use super::app::App;
use super::error::Failure;
use crate::app::views::words::minute;
use crate::custody::Refusal;
use crate::zone::{Zone, read_clock};

/// How many fields a form may have: the intake counter's 200 lines have five each.
pub const MAX_FIELDS: usize = 1_100;
/// The longest value.
pub const MAX_VALUE: usize = 10_000;
/// How a refusal begins that asks for a time with its offset: its field takes one then.
const WRITE_OFFSET: &str = "Write the offset from UTC behind it";
/// The longest table, in a field called `csv`.
pub const MAX_TABLE: usize = crate::custody::climate_log::MAX_CSV;

/// What was typed: names and values in their order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Typed(pub Vec<(String, String)>);

impl Typed {
    /// The first value of a name; empty where there is none.
    #[must_use]
    pub fn get(&self, name: &str) -> &str {
        self.0
            .iter()
            .find(|(n, _)| n == name)
            .map_or("", |(_, v)| v.as_str())
    }

    /// All values of a name.
    #[must_use]
    pub fn all(&self, name: &str) -> Vec<&str> {
        self.0
            .iter()
            .filter(|(n, _)| n == name)
            .map(|(_, v)| v.as_str())
            .collect()
    }

    /// Whether there is a value, be it empty.
    #[must_use]
    pub fn has(&self, name: &str) -> bool {
        self.0.iter().any(|(n, _)| n == name)
    }

    /// Reads a value as something with a text form: an identifier, a subject, a piece.
    ///
    /// # Errors
    /// [`Failure::unreadable`].
    pub fn read<T: std::str::FromStr>(&self, name: &str) -> Result<T, Failure> {
        self.get(name)
            .trim()
            .parse()
            .map_err(|_| Failure::unreadable(&format!("{name} is missing or no identifier")))
    }

    fn bounded(rows: Vec<(String, String)>) -> Result<Self, Failure> {
        let too_long = |(n, v): &(String, String)| {
            let most = if n == "csv" { MAX_TABLE } else { MAX_VALUE };
            n.len() > 100 || v.len() > most
        };
        if rows.len() > MAX_FIELDS || rows.iter().any(too_long) {
            return Err(Failure::unreadable("it has too many or too long fields"));
        }
        Ok(Self(rows))
    }

    /// From the query of an address.
    ///
    /// # Errors
    /// [`Failure::unreadable`].
    pub fn of_query(query: Option<&str>) -> Result<Self, Failure> {
        let uri: axum::http::Uri = format!("/?{}", query.unwrap_or_default())
            .parse()
            .map_err(|_| Failure::unreadable("the address"))?;
        let axum::extract::Query(rows) = axum::extract::Query::try_from_uri(&uri)
            .map_err(|_| Failure::unreadable("the address"))?;
        Self::bounded(rows)
    }
}

impl FromRequest<App> for Typed {
    type Rejection = Failure;
    async fn from_request(request: Request, app: &App) -> Result<Self, Failure> {
        let Form(rows) = Form::<Vec<(String, String)>>::from_request(request, app)
            .await
            .map_err(|e| Failure::unreadable(&e.body_text()))?;
        Self::bounded(rows)
    }
}

/// One choice of several.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// The value.
    pub value: String,
    /// What it is called.
    pub label: String,
    /// The group it stands in, or empty.
    pub group: String,
}

impl Choice {
    /// A choice of no group.
    #[must_use]
    pub fn new(value: impl Into<String>, label: impl Into<String>) -> Self {
        Self {
            value: value.into(),
            label: label.into(),
            group: String::new(),
        }
    }

    /// In a group.
    #[must_use]
    pub fn within(mut self, group: impl Into<String>) -> Self {
        self.group = group.into();
        self
    }
}

/// What kind of field.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Kind {
    /// One line.
    Line,
    /// Several lines.
    Lines,
    /// A table as CSV, longer than a text.
    Table,
    /// A whole number.
    Whole,
    /// A date and time of day in the agency's zone.
    Time,
    /// A day.
    Day,
    /// One of several.
    One(Vec<Choice>),
    /// Some of several.
    Many(Vec<Choice>),
    /// Yes or no.
    Yes,
    /// Known from where the form was opened; carried along, not typed.
    Hidden,
    /// A password; only outside acts.
    Password,
}

/// A field of a form.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Input {
    /// Name: the command's field.
    pub name: String,
    /// Label.
    pub label: String,
    /// Hint, or empty.
    pub hint: String,
    /// Kind.
    pub kind: Kind,
    /// Whether it must be filled in.
    pub required: bool,
    /// Whether its label says that it need not be; else the hint says when.
    pub says_optional: bool,
    /// What is in it.
    pub values: Vec<String>,
    /// What is wrong with it.
    pub error: Option<String>,
    /// Values that are offered; anything else may be typed.
    pub offers: Vec<Choice>,
}

impl Input {
    /// A field.
    #[must_use]
    pub fn new(name: &str, label: &str, kind: Kind) -> Self {
        Self {
            name: name.into(),
            label: label.into(),
            hint: String::new(),
            required: !matches!(kind, Kind::Yes | Kind::Many(_)),
            says_optional: true,
            kind,
            values: Vec::new(),
            error: None,
            offers: Vec::new(),
        }
    }

    /// One line of text.
    #[must_use]
    pub fn line(name: &str, label: &str) -> Self {
        Self::new(name, label, Kind::Line)
    }

    /// Several lines of text.
    #[must_use]
    pub fn lines(name: &str, label: &str) -> Self {
        Self::new(name, label, Kind::Lines)
    }

    /// A value that is carried along.
    #[must_use]
    pub fn hidden(name: &str, value: impl Into<String>) -> Self {
        Self::new(name, "", Kind::Hidden).value(value)
    }

    /// A value to begin with.
    #[must_use]
    pub fn value(mut self, value: impl Into<String>) -> Self {
        self.values = vec![value.into()];
        self
    }

    /// A hint.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = hint.into();
        self
    }

    /// Offers values.
    #[must_use]
    pub fn offers(mut self, offers: Vec<Choice>) -> Self {
        self.offers = offers;
        self
    }

    /// May be left empty; then the command goes without it.
    #[must_use]
    pub fn optional(mut self) -> Self {
        self.required = false;
        self
    }

    /// May be left empty in some cases, which its hint says: the form takes it, and the record's own rule decides.
    #[must_use]
    pub fn optional_by_hint(mut self) -> Self {
        self.says_optional = false;
        self.optional()
    }

    /// The first value; empty where there is none.
    #[must_use]
    pub fn first(&self) -> &str {
        self.values.first().map_or("", String::as_str)
    }

    /// Whether this choice is taken.
    #[must_use]
    pub fn takes(&self, value: &str) -> bool {
        self.values.iter().any(|v| v == value)
    }

    /// The choices, if it has some.
    #[must_use]
    pub fn choices(&self) -> &[Choice] {
        match &self.kind {
            Kind::One(choices) | Kind::Many(choices) => choices,
            _ => &[],
        }
    }

    /// The choices by group, in their order.
    #[must_use]
    pub fn groups(&self) -> Vec<(&str, Vec<&Choice>)> {
        let mut out: Vec<(&str, Vec<&Choice>)> = Vec::new();
        for choice in self.choices() {
            match out.last_mut() {
                Some((group, of)) if *group == choice.group => of.push(choice),
                _ => out.push((&choice.group, vec![choice])),
            }
        }
        out
    }

    /// Whether it is carried along unseen.
    #[must_use]
    pub fn is_hidden(&self) -> bool {
        self.kind == Kind::Hidden
    }

    /// Whether it is a box to tick.
    #[must_use]
    pub fn is_box(&self) -> bool {
        self.kind == Kind::Yes
    }

    /// Whether several may be ticked.
    #[must_use]
    pub fn is_many(&self) -> bool {
        matches!(self.kind, Kind::Many(_))
    }

    /// Whether one is chosen from a list.
    #[must_use]
    pub fn is_choice(&self) -> bool {
        matches!(self.kind, Kind::One(_))
    }

    /// Whether it takes several lines.
    #[must_use]
    pub fn is_lines(&self) -> bool {
        matches!(self.kind, Kind::Lines | Kind::Table)
    }

    /// How many rows of text are shown, and how long what is typed may be.
    #[must_use]
    pub fn room(&self) -> (usize, usize) {
        if self.kind == Kind::Table {
            (12, MAX_TABLE)
        } else {
            (4, 4_000)
        }
    }

    fn wants_offset(&self) -> bool {
        let asked = self
            .error
            .as_ref()
            .is_some_and(|e| e.contains(WRITE_OFFSET));
        asked || with_offset(self.first()).is_some()
    }

    /// The type of its element.
    #[must_use]
    pub fn html_type(&self) -> &'static str {
        match self.kind {
            // A browser's own field for a time has no room for an offset.
            Kind::Time if self.wants_offset() => "text",
            Kind::Time => "datetime-local",
            Kind::Day => "date",
            Kind::Whole => "number",
            Kind::Password => "password",
            _ => "text",
        }
    }

    /// What a browser's own list of passwords may fill in: one's own password, or a new one.
    #[must_use]
    pub fn autocomplete(&self) -> Option<&'static str> {
        let own = matches!(self.name.as_str(), "password" | "old");
        (self.kind == Kind::Password).then_some(if own {
            "current-password"
        } else {
            "new-password"
        })
    }

    /// Attributes that tie hint and error to the element. The name is the program's own, never typed.
    #[must_use]
    pub fn said_by(&self) -> String {
        let mut of = Vec::new();
        if !self.hint.is_empty() {
            of.push(format!("{}-hint", self.name));
        }
        if self.error.is_some() {
            of.push(format!("{}-error", self.name));
        }
        let mut out = String::new();
        if !of.is_empty() {
            out = format!(" aria-describedby=\"{}\"", of.join(" "));
        }
        if self.error.is_some() {
            out.push_str(" aria-invalid=\"true\"");
        }
        out
    }

    /// What it says, for the signing step; none for what is carried along or left empty.
    #[must_use]
    pub fn said(&self, zone: Zone) -> Option<String> {
        let named = |choices: &[Choice]| {
            let names: Vec<&str> = choices
                .iter()
                .filter(|c| self.takes(&c.value))
                .map(|c| c.label.as_str())
                .collect();
            (!names.is_empty()).then(|| names.join(", "))
        };
        match &self.kind {
            Kind::Hidden | Kind::Password => None,
            Kind::One(choices) | Kind::Many(choices) => named(choices),
            Kind::Yes => (self.first() == "yes").then(|| "yes".to_owned()),
            Kind::Time if !self.first().is_empty() => Some(
                read_time(self.first(), zone)
                    .map_or_else(|_| self.first().to_owned(), |at| minute(&at, zone)),
            ),
            _ => Some(self.first().to_owned()).filter(|v| !v.is_empty()),
        }
    }
}

/// Puts what was typed into the fields.
pub fn fill(inputs: &mut [Input], typed: &Typed) {
    for input in inputs {
        if matches!(input.kind, Kind::Password) {
            continue;
        }
        if typed.has(&input.name) {
            input.values = typed
                .all(&input.name)
                .into_iter()
                .map(str::to_owned)
                .collect();
        } else if matches!(input.kind, Kind::Yes | Kind::Many(_)) && typed.has("sent") {
            // A box that is not ticked is not sent at all.
            input.values.clear();
        }
    }
}

fn wrong(input: &Input, sentence: String, next: &str) -> Refusal {
    Refusal::coded("bad-value", sentence, next).on(input.name.as_str())
}

/// Why what was typed of a time is no moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoMoment {
    /// The clocks were set back over it: it came twice.
    Twice(DateTime<FixedOffset>, DateTime<FixedOffset>),
    /// The clocks were set forward over it: it never came.
    Never,
    /// No date and time of day.
    Unreadable,
}

/// A time of day as a browser sends it or a person writes it, meant in this zone unless it bears its own offset.
///
/// # Errors
/// [`NoMoment`].
pub fn read_time(text: &str, zone: Zone) -> Result<DateTime<FixedOffset>, NoMoment> {
    if let Some(at) = with_offset(text) {
        return Ok(at);
    }
    let clock = read_clock(text.trim()).ok_or(NoMoment::Unreadable)?;
    match zone.of_clock(clock) {
        MappedLocalTime::Single(at) => Ok(at),
        MappedLocalTime::Ambiguous(first, second) => Err(NoMoment::Twice(first, second)),
        MappedLocalTime::None => Err(NoMoment::Never),
    }
}

/// A time that bears its own offset from UTC: `2026-10-25 02:30 +01:00`, as times are shown here.
fn with_offset(text: &str) -> Option<DateTime<FixedOffset>> {
    const FORMS: [&str; 2] = ["%Y-%m-%d %H:%M:%S%:z", "%Y-%m-%d %H:%M%:z"];
    let mut plain = text.trim().replacen('T', " ", 1);
    if let Some(at) = plain.rfind(" +").or_else(|| plain.rfind(" -")) {
        plain.remove(at);
    }
    FORMS
        .iter()
        .find_map(|f| DateTime::parse_from_str(&plain, f).ok())
}

/// The refusal of a time that is no moment.
fn no_moment(input: &Input, why: NoMoment, zone: Zone) -> Refusal {
    let (label, typed) = (&input.label, input.first().replace('T', " "));
    match why {
        NoMoment::Twice(first, second) => wrong(
            input,
            format!("{label}: {typed} came twice in {zone}, since the clocks were set back."),
            &format!(
                "{WRITE_OFFSET}: {} for the first, {} for the second.",
                minute(&first, zone),
                minute(&second, zone)
            ),
        ),
        NoMoment::Never => wrong(
            input,
            format!("{label}: {typed} never came in {zone}, since the clocks were set forward."),
            "Give the time that the clocks showed after that.",
        ),
        NoMoment::Unreadable => wrong(
            input,
            format!("{label} is no date and time."),
            "Give it as year-month-day, hour:minute, such as 2026-03-14 16:20.",
        ),
    }
}

fn value_of(input: &Input, zone: Zone) -> Result<Option<Value>, Refusal> {
    let first = input.first().trim();
    Ok(match &input.kind {
        Kind::Yes => Some(Value::Bool(first == "yes")),
        Kind::Many(_) => Some(Value::Array(
            input.values.iter().cloned().map(Value::String).collect(),
        )),
        _ if first.is_empty() => {
            if input.required {
                let next = format!("Fill in: {}.", input.label);
                return Err(wrong(input, format!("{} is empty.", input.label), &next));
            }
            None
        }
        Kind::Whole => Some(Value::from(first.parse::<i64>().map_err(|_| {
            wrong(
                input,
                format!("{} is no whole number.", input.label),
                "Give digits only.",
            )
        })?)),
        Kind::Day => {
            let day: NaiveDate = first.parse().map_err(|_| {
                wrong(
                    input,
                    format!("{} is no date.", input.label),
                    "Give it as year-month-day, such as 2026-03-14.",
                )
            })?;
            Some(Value::String(day.to_string()))
        }
        Kind::Time => {
            let time = read_time(first, zone).map_err(|why| no_moment(input, why, zone))?;
            Some(Value::String(time.to_rfc3339()))
        }
        _ => Some(Value::String(first.to_owned())),
    })
}

/// The command's fields, from what is in the form.
///
/// # Errors
/// The first field that cannot be what it should be.
pub fn to_json(inputs: &[Input], zone: Zone) -> Result<Map<String, Value>, Refusal> {
    let mut out = Map::new();
    for input in inputs {
        if matches!(input.kind, Kind::Password) {
            continue;
        }
        let Some(value) = value_of(input, zone)? else {
            continue;
        };
        match input.name.split_once('.') {
            None => {
                out.insert(input.name.clone(), value);
            }
            Some((outer, inner)) => {
                let slot = out
                    .entry(outer.to_owned())
                    .or_insert_with(|| Value::Object(Map::new()));
                if let Value::Object(map) = slot {
                    map.insert(inner.to_owned(), value);
                }
            }
        }
    }
    Ok(out)
}
