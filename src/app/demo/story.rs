//! The story as data: who did what, when the server saw it, and when they say that it happened.
//!
//! A step's act is written as the interface for programs takes it. `@name` stands for what an earlier step of that name
//! created (`"item:@hatch-lift"`, `"@boatyard"`), and for a person by user name; where an act names a picture's digest, for
//! the picture that the step added. Times are `day -20 10:05`, counted back
//! from the day of loading in UTC, or `25 min ago`; days are `day 200`.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use chrono::{DateTime, NaiveDate, NaiveTime, SecondsFormat, TimeDelta, Utc};
use serde::Deserialize;
use serde_json::Value;
use uuid::Uuid;

use super::DemoError;
use super::pictures::{Draw, Drawn};
use crate::custody::{Act, Command, person::AddPerson};
use crate::ids::{Code, CommandId, Digest, Seq, Subject};
use crate::ledger::event::Source;
use crate::people::Role;

/// The parts of the story, each in the order of its own time.
const PARTS: [(&str, &str); 7] = [
    ("kits", include_str!("../../../seed/demo/kits.toml")),
    (
        "storeroom",
        include_str!("../../../seed/demo/storeroom.toml"),
    ),
    ("scene", include_str!("../../../seed/demo/scene.toml")),
    ("custody", include_str!("../../../seed/demo/custody.toml")),
    (
        "laboratory",
        include_str!("../../../seed/demo/laboratory.toml"),
    ),
    ("room", include_str!("../../../seed/demo/room.toml")),
    (
        "restricted",
        include_str!("../../../seed/demo/restricted.toml"),
    ),
];
const PEOPLE: &str = include_str!("../../../seed/demo/people.toml");

/// Fields of acts that hold days.
const DAYS: [&str; 3] = ["opened_on", "expires_on", "from"];
/// The field that holds readings, each line with a time at its beginning.
const READINGS: &str = "csv";
/// Fields of acts that hold times.
const TIMES: [&str; 3] = ["started_at", "set_at", "due_at"];

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PeopleFile {
    person: Vec<PersonLine>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PersonLine {
    at: String,
    by: Option<String>,
    user_name: String,
    name: String,
    number: String,
    roles: BTreeSet<Role>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PartFile {
    step: Vec<StepLine>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StepLine {
    at: String,
    by: String,
    #[serde(default)]
    name: String,
    claimed: Option<String>,
    late: Option<String>,
    source: Option<Source>,
    beside: Option<String>,
    act: serde_json::Map<String, Value>,
    draw: Option<Draw>,
}

/// Somebody to be added.
pub(super) struct NewPerson {
    pub at: DateTime<Utc>,
    /// The administrator who adds them; none for the first.
    pub by: Option<String>,
    pub source: Source,
    pub user_name: String,
    pub name: String,
    pub number: String,
    pub roles: BTreeSet<Role>,
}

/// One act of the story.
pub(super) struct Step {
    /// When the server sees it.
    pub at: DateTime<Utc>,
    pub by: String,
    /// Who else is there and signs.
    pub beside: Option<String>,
    /// What others call what it creates; may be empty.
    pub name: String,
    pub source: Source,
    /// Which picture it adds, if it does: its place among the drawn ones.
    pub picture: Option<usize>,
    /// Made beforehand, so that steps committed together can name one another.
    id: CommandId,
    claimed: Option<DateTime<Utc>>,
    late: Option<String>,
    act: serde_json::Map<String, Value>,
    part: &'static str,
    line: usize,
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let what = self.act.get("do").and_then(Value::as_str).unwrap_or("?");
        write!(
            f,
            "{} {} of {}: {what} {}",
            self.part, self.line, self.by, self.name
        )
    }
}

/// Steps that reach the server at the same moment, as a field device sends what it gathered.
pub(super) struct Sitting<'a> {
    pub at: DateTime<Utc>,
    pub steps: &'a [Step],
}

/// The whole story.
pub(super) struct Story {
    pub people: Vec<NewPerson>,
    pub steps: Vec<Step>,
    /// Pictures to draw, with the view steps they are taken by.
    pub pictures: Vec<(Draw, Vec<String>)>,
    until: DateTime<Utc>,
}

impl Story {
    /// Reads the story and puts its parts in the order of time.
    pub fn read(until: DateTime<Utc>) -> Result<Self, DemoError> {
        let people: PeopleFile = parse("people", PEOPLE)?;
        let people = people.person.into_iter().map(|p| {
            Ok(NewPerson {
                at: moment(&p.at, until)?,
                source: if p.by.is_some() {
                    Source::Desk
                } else {
                    Source::CommandLine
                },
                by: p.by,
                user_name: p.user_name,
                name: p.name,
                number: p.number,
                roles: p.roles,
            })
        });
        let mut story = Self {
            people: people.collect::<Result<_, DemoError>>()?,
            steps: Vec::new(),
            pictures: Vec::new(),
            until,
        };
        for (part, text) in PARTS {
            let file: PartFile = parse(part, text)?;
            for (i, line) in file.step.into_iter().enumerate() {
                let step = story.step(part, i + 1, line)?;
                story.steps.push(step);
            }
        }
        // Stable: steps of one part that the server sees at one moment stay in their order.
        story.steps.sort_by_key(|s| s.at);
        let mut names: BTreeSet<&str> = story.people.iter().map(|p| p.user_name.as_str()).collect();
        for step in story.steps.iter().filter(|s| !s.name.is_empty()) {
            if !names.insert(&step.name) {
                return Err(DemoError::Story(format!(
                    "two things are called {}",
                    step.name
                )));
            }
        }
        Ok(story)
    }

    fn step(&mut self, part: &'static str, line: usize, from: StepLine) -> Result<Step, DemoError> {
        let at = moment(&from.at, self.until)?;
        if at >= self.until {
            return Err(DemoError::Story(format!(
                "{part} {line} lies ahead of its loading"
            )));
        }
        let claimed = from.claimed.map(|c| moment(&c, self.until)).transpose()?;
        let picture = from.draw.map(|draw| {
            let view = from.act.get("view").and_then(Value::as_array);
            let words = view.into_iter().flatten().filter_map(Value::as_str);
            self.pictures
                .push((draw, words.map(str::to_owned).collect()));
            self.pictures.len() - 1
        });
        Ok(Step {
            at,
            by: from.by,
            beside: from.beside,
            name: from.name,
            source: from.source.unwrap_or(Source::Desk),
            picture,
            id: CommandId::new(),
            claimed,
            late: from.late,
            act: from.act,
            part,
            line,
        })
    }

    /// Runs of steps that the server sees at one moment, none longer than `most`.
    pub fn sittings(&self, most: usize) -> impl Iterator<Item = Sitting<'_>> {
        self.steps
            .chunk_by(|a, b| a.at == b.at)
            .flat_map(move |run| run.chunks(most))
            .filter_map(|steps| steps.first().map(|s| Sitting { at: s.at, steps }))
    }

    /// Begins to tell it.
    pub fn told<'a>(&self, drawn: &'a [Drawn]) -> Telling<'a> {
        Telling {
            drawn,
            until: self.until,
            digests: self
                .steps
                .iter()
                .filter_map(|s| Some((s.name.clone(), drawn.get(s.picture?)?.kept.digest)))
                .collect(),
            ids: self
                .steps
                .iter()
                .filter(|s| !s.name.is_empty())
                .map(|s| (s.name.clone(), s.id.0))
                .collect(),
            places_in_ledger: BTreeMap::new(),
        }
    }
}

/// The story on its way: what its names stand for.
pub(super) struct Telling<'a> {
    drawn: &'a [Drawn],
    until: DateTime<Utc>,
    ids: BTreeMap<String, Uuid>,
    digests: BTreeMap<String, Digest>,
    places_in_ledger: BTreeMap<String, Seq>,
}

impl Telling<'_> {
    /// The command that adds a person, and what to call it in an error.
    pub fn person(&mut self, person: &NewPerson) -> (Command, String) {
        let id = CommandId::new();
        self.ids.insert(person.user_name.clone(), id.0);
        let act = Act::AddPerson(AddPerson {
            user_name: person.user_name.clone(),
            name: person.name.clone(),
            number: person.number.clone(),
            roles: person.roles.clone(),
        });
        let command = Command {
            id,
            claimed_at: None,
            late_reason: None,
            paper_sheet: None,
            act,
        };
        (command, format!("people: add {}", person.user_name))
    }

    /// The command of a step.
    pub fn command(&self, step: &Step) -> Result<Command, DemoError> {
        let mut act = step.act.clone();
        if let Some(drawn) = step.picture.and_then(|i| self.drawn.get(i)) {
            act.insert(
                "digest".into(),
                Value::String(drawn.kept.digest.to_string()),
            );
            act.insert("media_type".into(), Value::String("image/png".into()));
            act.insert("bytes".into(), drawn.kept.bytes.into());
            act.insert("width".into(), drawn.width.into());
            act.insert("height".into(), drawn.height.into());
        }
        let wrong = |e: String| DemoError::Story(format!("{step}: {e}"));
        for (field, value) in &mut act {
            self.resolve(field, value).map_err(wrong)?;
        }
        let act: Act =
            serde_json::from_value(Value::Object(act)).map_err(|e| wrong(e.to_string()))?;
        Ok(Command {
            id: step.id,
            claimed_at: step.claimed.map(|t| t.fixed_offset()),
            late_reason: step.late.clone(),
            paper_sheet: None,
            act,
        })
    }

    /// The picture of which a step has the server make the copy that reads direct; none for any other step.
    pub fn copy(&self, step: &Step) -> Result<Option<(CommandId, Subject, Digest)>, DemoError> {
        if step.act.get("do").and_then(Value::as_str) != Some("add-copy") {
            return Ok(None);
        }
        let wrong = |e: String| DemoError::Story(format!("{step}: {e}"));
        let mut act = step.act.clone();
        for (field, value) in &mut act {
            self.resolve(field, value).map_err(wrong)?;
        }
        let text = |name: &str| act.get(name).and_then(Value::as_str).unwrap_or_default();
        let of = text("of").parse();
        let of = of.map_err(|_| wrong("of names nothing".into()))?;
        let digest = text("digest").parse();
        let digest = digest.map_err(|_| wrong("digest names nothing".into()))?;
        Ok(Some((step.id, of, digest)))
    }

    /// Remembers the place of a step's event in the ledger, for amendments.
    pub fn recorded(&mut self, step: &Step, seq: Seq) {
        self.places_in_ledger.insert(step.name.clone(), seq);
    }

    fn resolve(&self, field: &str, value: &mut Value) -> Result<(), String> {
        match value {
            Value::String(text) if field == READINGS => {
                let line = |line: &str| match line.split_once(',') {
                    Some((at, rest)) if at.starts_with("day ") => {
                        let at = moment(at, self.until).map_err(|e| e.to_string())?;
                        Ok(format!(
                            "{},{rest}",
                            at.to_rfc3339_opts(SecondsFormat::Secs, true)
                        ))
                    }
                    _ => Ok(line.to_owned()),
                };
                let lines: Result<Vec<String>, String> = text.trim().lines().map(line).collect();
                *text = lines?.join("\n");
            }
            Value::String(text) if TIMES.contains(&field) => {
                let at = moment(text, self.until).map_err(|e| e.to_string())?;
                *text = at.to_rfc3339_opts(SecondsFormat::AutoSi, true);
            }
            Value::String(text) if DAYS.contains(&field) => {
                *text = day(text, self.until)
                    .map_err(|e| e.to_string())?
                    .to_string();
            }
            Value::String(text) if field == "event" => {
                let name = text.trim_start_matches('@');
                let seq = self.places_in_ledger.get(name);
                *value = Value::from(*seq.ok_or_else(|| format!("no event {name} yet"))?);
            }
            Value::String(text) if field == "digest" && text.starts_with('@') => {
                let name = text.trim_start_matches('@');
                let digest = self.digests.get(name);
                let digest = digest.ok_or_else(|| format!("no picture is called {name}"))?;
                *text = digest.to_string();
            }
            Value::String(text) => {
                let (kind, name) = match text.split_once('@') {
                    Some((kind, name)) if kind.is_empty() || kind.ends_with(':') => (kind, name),
                    _ => return Ok(()),
                };
                let id = self.ids.get(name);
                let id = id.ok_or_else(|| format!("nothing is called {name}"))?;
                *text = format!("{kind}{id}");
                // What a scanner reads off the label of a thing.
                if let Some(subject) = text.strip_prefix("code:") {
                    let code = subject.parse().ok().and_then(Code::of);
                    *text = code
                        .ok_or_else(|| format!("{subject} bears no code"))?
                        .to_string();
                }
            }
            Value::Array(values) => {
                for value in values {
                    self.resolve(field, value)?;
                }
            }
            Value::Object(fields) => {
                for (field, value) in fields {
                    self.resolve(field, value)?;
                }
            }
            _ => {}
        }
        Ok(())
    }
}

fn parse<T: serde::de::DeserializeOwned>(part: &str, text: &str) -> Result<T, DemoError> {
    let wrong = |e: String| DemoError::Story(format!("{part}: {e}"));
    // By way of JSON's values, since the code that reads types from those is there already: the types are many, and each format's
    // reader of them takes its time to compile.
    let read: serde_json::Value = toml::from_str(text).map_err(|e| wrong(e.to_string()))?;
    serde_json::from_value(read).map_err(|e| wrong(e.to_string()))
}

/// `day -20`, `day 200`: counted from the day of loading.
fn day(text: &str, until: DateTime<Utc>) -> Result<NaiveDate, DemoError> {
    let days = text.strip_prefix("day ").and_then(|n| n.parse().ok());
    days.and_then(|n| until.date_naive().checked_add_signed(TimeDelta::days(n)))
        .ok_or_else(|| DemoError::Story(format!("\"{text}\" is no day of the story")))
}

/// `day -20 10:05` or `25 min ago`.
fn moment(text: &str, until: DateTime<Utc>) -> Result<DateTime<Utc>, DemoError> {
    let wrong = || DemoError::Story(format!("\"{text}\" is no time of the story"));
    let words: Vec<&str> = text.split(' ').collect();
    match words.as_slice() {
        ["day", day, time] => {
            let days: i64 = day.parse().map_err(|_| wrong())?;
            let time = NaiveTime::parse_from_str(time, "%H:%M").map_err(|_| wrong())?;
            let date = until.date_naive().checked_add_signed(TimeDelta::days(days));
            Ok(date.ok_or_else(wrong)?.and_time(time).and_utc())
        }
        [minutes, "min", "ago"] => {
            let minutes: i64 = minutes.parse().map_err(|_| wrong())?;
            Ok(until - TimeDelta::minutes(minutes))
        }
        _ => Err(wrong()),
    }
}
