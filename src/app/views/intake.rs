//! What is on its way to somebody, and how an intake would be answered if it were signed now.

use chrono::{DateTime, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::line::piece_line;
use super::words;
use crate::app::reader::{Part, ReadError, Reader, opened};
use crate::custody::intake::MAX_LINES;
use crate::custody::{Act, Actor, Command, Refusal, Signed, State, decide};
use crate::ids::{Code, Piece, Seq, Subject};

/// How many things are looked up at a time: a package brings everything in it along.
const CHUNK: usize = 20;

/// A thing on its way to the reader.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Waiting {
    /// Which.
    pub piece: Piece,
    /// The code on its label.
    pub code: Code,
    /// `Package P2`.
    pub name: String,
    /// Its case's number.
    pub case_number: String,
    /// What it is; empty where its case is restricted.
    pub what: String,
    /// Who released it, when and why; the same.
    pub from: String,
    /// Whether there is a seal on it by the record. Which one is not said: whoever receives reads it off the package.
    pub sealed: bool,
}

/// What is on its way to the reader.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct Queue {
    /// At most [`MAX_LINES`], by case and number.
    pub rows: Vec<Waiting>,
    /// Whether there are more.
    pub more: bool,
}

/// The records around many things.
async fn around(reader: &Reader<'_>, subjects: &[Subject]) -> Result<State, ReadError> {
    let mut all = State::default();
    for chunk in subjects.chunks(CHUNK) {
        let state = reader.around(chunk).await?;
        all.people.extend(state.people);
        all.places.extend(state.places);
        all.cases.extend(state.cases);
        all.marks.append(state.marks);
        all.items.append(state.items);
        all.packages.append(state.packages);
    }
    Ok(all)
}

/// What is offered to the reader now.
///
/// # Errors
/// See [`ReadError`].
pub async fn queue(reader: &Reader<'_>) -> Result<Queue, ReadError> {
    let Some(me) = reader.viewer().id() else {
        return Ok(Queue {
            rows: Vec::new(),
            more: false,
        });
    };
    let zone = reader.house().zone().await?;
    let now = Utc::now();
    let most = u32::try_from(MAX_LINES).unwrap_or(u32::MAX);
    let page = reader.offered_to(me, &Part::first(most)).await?;
    let asked: Vec<Subject> = page.rows.iter().map(|t| t.piece().into()).collect();
    let state = around(reader, &asked).await?;
    let mut rows = Vec::with_capacity(page.rows.len());
    for thing in &page.rows {
        // What waits for a witness stands under the same column, and is no offer.
        let Some(offer) = &thing.custody().offer else {
            continue;
        };
        let piece = thing.piece();
        let line = piece_line(&state, &reader.house().rules, piece, zone, now);
        let (Some(line), Some(case)) = (line, state.cases.get(&thing.case())) else {
            continue;
        };
        let sealed = match piece {
            Piece::Item(_) => false,
            Piece::Package(id) => state.packages.get(&id).is_some_and(|p| p.seal().is_some()),
        };
        let open = !case.restricted;
        rows.push(Waiting {
            piece,
            code: thing.code().clone(),
            name: line.name,
            case_number: line.case_number,
            what: if open { line.what } else { String::new() },
            from: if open {
                format!(
                    "{} released it at {}: {}",
                    words::person_in(&state, offer.by),
                    words::minute(&offer.at, zone),
                    offer.purpose
                )
            } else {
                String::new()
            },
            sealed,
        });
    }
    rows.sort_by(|a, b| {
        let key = |w: &Waiting| (w.case_number.clone(), w.name.len(), w.name.clone());
        key(a).cmp(&key(b))
    });
    Ok(Queue {
        rows,
        more: page.next.is_some(),
    })
}

/// What an intake of the reader's came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CameTo {
    /// How many things were received.
    pub received: u64,
    /// How many were refused.
    pub refused: u64,
}

/// What the intake whose first event this is came to: that event and those behind it that the same command made, read at
/// once. None where the event is no act of the reader's.
///
/// # Errors
/// See [`ReadError`].
pub async fn came_to(reader: &Reader<'_>, first: Seq) -> Result<Option<CameTo>, ReadError> {
    let begun = reader.event(first).await?;
    if begun.header.actor.is_none() || begun.header.actor != reader.viewer().id() {
        return Ok(None);
    }
    let command = begun.fields.get("command");
    let from = i64::try_from(first).map_err(|_| ReadError::NotFound("event"))?;
    let most = u32::try_from(MAX_LINES).unwrap_or(u32::MAX);
    let mut out = CameTo {
        received: 0,
        refused: 0,
    };
    for raw in reader.house().store.events(from, most).await? {
        // Of whatever stands behind the command's own events nothing is told.
        let event = opened(raw)?;
        if event.header.actor != begun.header.actor || event.fields.get("command") != command {
            break;
        }
        match event.header.kind.as_str() {
            "custody.received" => out.received += 1,
            "custody.refused" => out.refused += 1,
            _ => break,
        }
    }
    Ok(Some(out))
}

/// How the ledger would answer this intake, signed by the reader now; none where it would be recorded.
///
/// # Errors
/// See [`ReadError`].
pub async fn look(
    reader: &Reader<'_>,
    command: &Command,
    now: DateTime<Utc>,
) -> Result<Option<Refusal>, ReadError> {
    let (Act::Intake(intake), Some(me)) = (&command.act, &reader.viewer().person) else {
        return Ok(None);
    };
    let (mut codes, mut asked) = (Vec::new(), Vec::new());
    for line in intake.lines.iter().take(MAX_LINES) {
        let Ok(code) = line.code.parse::<Code>() else {
            continue;
        };
        match reader.subject_of_code(&code).await {
            Ok(subject) => {
                codes.push((code, subject));
                asked.push(subject);
            }
            Err(ReadError::NotFound(_)) => {}
            Err(e) => return Err(e),
        }
    }
    let mut state = around(reader, &asked).await?;
    state.codes.extend(codes);
    state.people.insert(me.id, me.clone());
    let actor = Actor {
        id: Some(me.id),
        roles: me.roles.clone(),
        signed: Signed::Password,
        beside: None,
    };
    let rules = reader.house().rules.as_ref();
    Ok(decide(&state, rules, &actor, command, now).err())
}
