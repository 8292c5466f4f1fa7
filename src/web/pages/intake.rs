//! The intake counter: what is on its way to me, and one form that receives and refuses much of it under one signing.

use askama::Template;
use axum::extract::{Multipart, RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse as _, Redirect, Response};
use serde_json::Value;

use super::act::{self, SignPage, when_fields};
use super::acts::choices::conditions;
use super::live::{Shown, digest_of};
use super::{block, draw, show, text};
use crate::app::label_photo::{FIELD, one};
use crate::app::views::intake::{CameTo, Queue, Waiting, came_to as look_back, look, queue};
use crate::app::views::words;
use crate::app::{Reader, RecordError, Sent};
use crate::custody::intake::{Intake, IntakeLine, MAX_LINES};
use crate::custody::{Act, Command, Refusal, Signed};
use crate::ids::{Code, CommandId};
use crate::ledger::event::Source;
use crate::people::Action;
use crate::web::App;
use crate::web::error::{Failure, status_of};
use crate::web::form::{Choice, Input, Typed, fill, to_json};
use crate::web::frame::{Frame, Link, Notice, NoticeKind, RefusalBlock, SigningBlock};
use crate::web::label_form::{LabelForm, received};
use crate::web::session::{Posted, Visitor};
use crate::zone::Zone;

/// What is wrong with a line.
struct Wrong {
    /// `code`, `seal` or `note`.
    field: &'static str,
    text: String,
    code: String,
}

/// A line of the form.
#[derive(Default)]
struct Row {
    /// Its place on the page.
    n: usize,
    /// What was scanned, or the code of what is on its way.
    code: String,
    /// The same as a scanner reads it, in groups where it is a code of ours.
    shown: String,
    /// What it is and who released it; empty for what is not on its way to the viewer.
    name: String,
    from: String,
    sealed: bool,
    listed: bool,
    /// Empty: not at the counter. `receive` or `refuse`.
    what: String,
    seal: String,
    condition: String,
    note: String,
    wrong: Option<Wrong>,
    focus: bool,
}

impl Row {
    fn of(waiting: &Waiting) -> Self {
        let mut name = format!("{}, {}", waiting.name, waiting.case_number);
        if !waiting.what.is_empty() {
            name.push_str(": ");
            name.push_str(&waiting.what);
        }
        Self {
            code: waiting.code.to_string(),
            name,
            from: waiting.from.clone(),
            sealed: waiting.sealed,
            listed: true,
            ..Self::default()
        }
    }

    /// What the labels of its fields call it.
    fn called(&self) -> &str {
        let name = self.name.split(':').next().unwrap_or_default();
        if name.is_empty() { &self.shown } else { name }
    }

    /// What is signed of it.
    fn said(&self) -> String {
        if self.what == "refuse" {
            return format!("refused: {}", self.note);
        }
        let condition = conditions()
            .into_iter()
            .find(|c| c.value == self.condition)
            .map_or_else(String::new, |c| c.label);
        let seal = if self.seal.is_empty() {
            "no seal seen".to_owned()
        } else {
            format!("seal {}", self.seal)
        };
        let note = if self.note.is_empty() {
            String::new()
        } else {
            format!("; {}", self.note)
        };
        format!("received, {seal}, {condition}{note}")
    }

    fn is_wrong(&self, field: &str) -> bool {
        self.wrong.as_ref().is_some_and(|w| w.field == field)
    }
}

#[derive(Template)]
#[template(path = "intake/intake.html")]
struct IntakePage {
    frame: Frame,
    command: String,
    refusal: Option<RefusalBlock>,
    /// Whether the refusal is of a photograph of a label.
    refusal_of_photo: bool,
    /// Whether the visitor may take in what has no record.
    may_bring_in: bool,
    rows: Vec<Row>,
    /// What a line looks like that the script adds.
    blank: Vec<Row>,
    conditions: Vec<Choice>,
    scan_focus: bool,
    said: String,
    more: bool,
    digest: String,
    when: Vec<Input>,
    zone: String,
    late_open: bool,
}

/// When it happened, and from which hand-over sheet it is entered: one sheet is of one case.
fn when_at_counter(typed: &Typed) -> Vec<Input> {
    let mut fields = when_fields(typed);
    fields.push(
        Input::line("paper_sheet", "From a hand-over sheet signed in ink")
            .hint("The print identifier at its foot. All lines are then of the case of that sheet.")
            .optional(),
    );
    fill(&mut fields, typed);
    fields
}

/// The lines of what is on its way, and nothing typed into them.
#[derive(Template)]
#[template(path = "intake/part.html")]
struct LinesPart {
    rows: Vec<Row>,
    conditions: Vec<Choice>,
}

fn shown(waiting: &[Waiting]) -> Result<Shown, Failure> {
    let mut rows: Vec<Row> = waiting.iter().map(Row::of).collect();
    number(&mut rows);
    let html = text(&LinesPart {
        rows,
        conditions: conditions(),
    })?;
    let digest = digest_of(&html);
    Ok(Shown { html, digest })
}

/// What is on its way now, as lines of the form.
///
/// # Errors
/// What goes wrong with reading, or [`Failure::internal`].
pub async fn part(app: &App, visitor: &Visitor) -> Result<Shown, Failure> {
    shown(&queue(&visitor.reader(app)).await?.rows)
}

fn number(rows: &mut [Row]) {
    for (i, row) in rows.iter_mut().enumerate() {
        row.n = i + 1;
        row.shown = row
            .code
            .parse::<Code>()
            .map_or_else(|_| row.code.clone(), |c| c.grouped());
    }
}

/// What an intake came to, in words.
async fn came_to(reader: &Reader<'_>, query: Option<&str>) -> Option<Notice> {
    let typed = Typed::of_query(query).ok()?;
    let first: u64 = typed.get("done").parse().ok()?;
    let CameTo { received, refused } = look_back(reader, first).await.ok()??;
    let last = first + (received + refused).max(1) - 1;
    Some(Notice {
        kind: NoticeKind::Done,
        text: format!(
            "{received} received and {refused} refused under one signing, events {first} to {last}."
        ),
        next: (received > 0).then(|| "put what you received on its shelves.".to_owned()),
    })
}

/// The rows as they were typed, with what is on its way and was not on the form yet.
fn rows(typed: &Typed, waiting: &[Waiting]) -> Result<Vec<Row>, Failure> {
    let all = |name| typed.all(name);
    let (codes, whats) = (all("code"), all("what"));
    let (seals, states, notes) = (all("seal"), all("condition"), all("note"));
    if [whats.len(), seals.len(), states.len(), notes.len()] != [codes.len(); 4] {
        return Err(Failure::unreadable("its lines are not whole"));
    }
    let mut out: Vec<Row> = Vec::new();
    for (i, text) in codes.iter().enumerate() {
        let known = waiting.iter().find(|w| names(text, w.code.as_str()));
        let mut row = known.map_or_else(Row::default, Row::of);
        row.code = (*text).to_owned();
        row.what = whats[i].to_owned();
        row.seal = seals[i].trim().to_owned();
        row.condition = states[i].to_owned();
        row.note = notes[i].trim().to_owned();
        // A line that was taken off, of something that is not on its way, is gone.
        if row.listed || !row.what.is_empty() {
            out.push(row);
        }
    }
    for w in waiting {
        if !out.iter().any(|r| names(&r.code, w.code.as_str())) && out.len() < MAX_LINES {
            out.push(Row::of(w));
        }
    }
    Ok(out)
}

/// Whether a text is a way to type this code.
fn names(text: &str, code: &str) -> bool {
    text.parse::<Code>().is_ok_and(|c| c.as_str() == code)
}

/// The command of the lines that are at the counter, and which row each of them is.
fn build(
    rows: &[Row],
    id: CommandId,
    when: &[Input],
    zone: Zone,
) -> Result<(Command, Vec<usize>), Refusal> {
    let (mut lines, mut at) = (Vec::new(), Vec::new());
    for (i, row) in rows.iter().enumerate().filter(|(_, r)| !r.what.is_empty()) {
        let condition = serde_json::from_value(Value::String(row.condition.clone()));
        let refuse = (row.what == "refuse").then(|| row.note.clone());
        lines.push(IntakeLine {
            code: row.code.clone(),
            seal_seen: row.seal.clone(),
            condition: condition.unwrap_or_default(),
            note: if refuse.is_some() {
                String::new()
            } else {
                row.note.clone()
            },
            refuse,
        });
        at.push(i);
    }
    let unreadable = |e: serde_json::Error| act::unreadable(&e);
    let mut command = to_json(when, zone)?;
    let act = serde_json::to_value(Act::Intake(Intake { lines })).map_err(unreadable)?;
    command.insert("id".into(), Value::String(id.to_string()));
    command.insert("act".into(), act);
    let command = serde_json::from_value(Value::Object(command)).map_err(unreadable)?;
    Ok((command, at))
}

/// Marks the lines that a refusal names.
fn mark(rows: &mut [Row], refusal: &Refusal, at: &[usize]) {
    for one in &refusal.lines {
        let Some(row) = at.get(one.line - 1).and_then(|i| rows.get_mut(*i)) else {
            continue;
        };
        row.wrong = Some(Wrong {
            field: match one.field.as_deref() {
                Some("seal_seen") => "seal",
                Some("note" | "reason") => "note",
                _ => "code",
            },
            text: format!("{} {}", one.sentence, one.next),
            code: one.code.clone(),
        });
    }
}

/// One request for the page.
struct Counter<'a> {
    app: &'a App,
    visitor: &'a Visitor,
    command: CommandId,
    zone: Zone,
    when: Vec<Input>,
    more: bool,
    /// What the lines of what is on its way are known by.
    digest: String,
}

impl<'a> Counter<'a> {
    async fn of(
        app: &'a App,
        visitor: &'a Visitor,
        command: CommandId,
        typed: &Typed,
        queue: &Queue,
    ) -> Result<Self, Failure> {
        Ok(Self {
            app,
            visitor,
            command,
            zone: app.house().zone().await?,
            when: when_at_counter(typed),
            more: queue.more,
            digest: shown(&queue.rows)?.digest,
        })
    }

    fn form(
        &self,
        mut rows: Vec<Row>,
        refusal: Option<&Refusal>,
        said: String,
        notice: Option<Notice>,
    ) -> Result<Response, Failure> {
        number(&mut rows);
        let mut when = self.when.clone();
        let mut late_open = when.iter().any(|i| !i.first().is_empty());
        if let Some(refusal) = refusal {
            for input in &mut when {
                if refusal.field.as_deref() == Some(input.name.as_str()) {
                    input.error = Some(format!("{} {}", refusal.sentence, refusal.next));
                    late_open = true;
                }
            }
            late_open |= refusal
                .lines
                .iter()
                .any(|l| matches!(l.field.as_deref(), Some("claimed_at" | "paper_sheet")));
        }
        let frame = self.visitor.frame(vec![
            Link::new("/desk/storeroom", "Intake and storeroom"),
            Link::new("", "Intake counter"),
        ]);
        let of_photo = refusal.is_some_and(|r| r.field.as_deref() == Some(FIELD));
        let thing = if of_photo {
            "the photograph"
        } else {
            "what is at the counter"
        };
        let page = IntakePage {
            frame: show::framed(frame, notice),
            command: self.command.to_string(),
            refusal: refusal.map(|r| block(r, thing)),
            refusal_of_photo: of_photo,
            may_bring_in: self.visitor.viewer.may(Action::Keep),
            scan_focus: refusal.is_none() && rows.iter().all(|r| !r.focus),
            rows,
            blank: vec![Row {
                what: "receive".into(),
                ..Row::default()
            }],
            conditions: conditions(),
            said,
            more: self.more,
            digest: self.digest.clone(),
            when,
            zone: self.zone.to_string(),
            late_open,
        };
        let status = refusal.map_or(StatusCode::OK, status_of);
        Ok((status, draw(&page)?).into_response())
    }

    fn sign(
        &self,
        rows: &[Row],
        typed: &Typed,
        error: Option<String>,
    ) -> Result<Response, Failure> {
        let taken: Vec<&Row> = rows.iter().filter(|r| !r.what.is_empty()).collect();
        let refused = taken.iter().filter(|r| r.what == "refuse").count();
        let mut facts: Vec<(String, String)> = taken
            .iter()
            .map(|row| {
                let name = row.name.split(':').next().unwrap_or_default();
                let name = if name.is_empty() { &row.code } else { name };
                (name.to_owned(), row.said())
            })
            .collect();
        for input in &self.when {
            facts.extend(
                input
                    .said(self.zone)
                    .map(|said| (input.label.clone(), said)),
            );
        }
        let mut carried = act::carried(typed, &["step", "scan", FIELD]);
        carried.push(("step".into(), "sign".into()));
        let page = SignPage {
            title: "intake".into(),
            action: "/intake".into(),
            leave: "/intake".into(),
            frame: self.visitor.frame(vec![
                Link::new("/intake", "Intake counter"),
                Link::new("", "Sign"),
            ]),
            command: self.command.to_string(),
            carried,
            signing: SigningBlock {
                facts,
                sentence: format!(
                    "I received {} and refused {refused} of these things, each as described here.",
                    taken.len() - refused
                ),
                act: format!("Sign for {}", words::counted(taken.len(), "line")),
                own: true,
                error,
                second: None,
                second_error: None,
            },
        };
        page.response()
    }
}

/// The queue and the form.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let queue = queue(&reader).await?;
    let (command, nothing) = (CommandId::new(), Typed::default());
    let counter = Counter::of(&app, &visitor, command, &nothing, &queue).await?;
    let rows = queue.rows.iter().map(Row::of).collect();
    let notice = came_to(&reader, query.as_deref()).await;
    counter.form(rows, None, String::new(), notice)
}

/// Reads a photograph of a label: its code is then one that was scanned, and what was typed stays.
pub async fn photographed(
    State(app): State<App>,
    visitor: Visitor,
    parts: Multipart,
) -> Result<Response, Failure> {
    let LabelForm { typed, texts } = received(&visitor, parts).await?;
    let reader = visitor.reader(&app);
    let queue = queue(&reader).await?;
    let counter = Counter::of(&app, &visitor, typed.read("id")?, &typed, &queue).await?;
    let rows = rows(&typed, &queue.rows)?;
    match texts.and_then(one) {
        Ok(text) => counter.scanned(&reader, rows, &text).await,
        Err(refusal) => counter.form(rows, Some(&refusal), String::new(), None),
    }
}

/// Adds a line, looks the lines through, shows what is signed, or records it.
pub async fn perform(State(app): State<App>, posted: Posted) -> Result<Response, Failure> {
    let Posted { visitor, typed } = posted;
    let reader = visitor.reader(&app);
    let queue = queue(&reader).await?;
    let counter = Counter::of(&app, &visitor, typed.read("id")?, &typed, &queue).await?;
    let mut rows = rows(&typed, &queue.rows)?;
    if typed.has("back-to-form") {
        return counter.form(rows, None, String::new(), None);
    }
    match typed.get("step") {
        "sign" => counter.signing(&reader, rows, &typed).await,
        "check" => {
            let (refusal, at) = counter.looked(&reader, &rows).await?;
            let said = match &refusal {
                None if at.len() == 1 => "The line can be signed.".to_owned(),
                None => format!("All {} lines can be signed.", at.len()),
                Some(_) => String::new(),
            };
            if let Some(refusal) = &refusal {
                mark(&mut rows, refusal, &at);
            }
            counter.form(rows, refusal.as_ref(), said, None)
        }
        _ => counter.scanned(&reader, rows, typed.get("scan")).await,
    }
}

impl Counter<'_> {
    /// How the lines would be answered, and which row each line is.
    async fn looked(
        &self,
        reader: &Reader<'_>,
        rows: &[Row],
    ) -> Result<(Option<Refusal>, Vec<usize>), Failure> {
        match build(rows, self.command, &self.when, self.zone) {
            Err(refusal) => Ok((Some(refusal), Vec::new())),
            Ok((command, at)) => Ok((look(reader, &command, self.app.now()).await?, at)),
        }
    }

    /// A code was scanned or typed into the scan field: its line is at the counter.
    async fn scanned(
        &self,
        reader: &Reader<'_>,
        mut rows: Vec<Row>,
        scan: &str,
    ) -> Result<Response, Failure> {
        let scan = scan.trim();
        if scan.is_empty() {
            return self.form(rows, None, String::new(), None);
        }
        let text = scan
            .parse::<Code>()
            .map_or(scan.to_owned(), |c| c.to_string());
        let found = rows
            .iter()
            .position(|r| r.code.eq_ignore_ascii_case(&text) || names(&r.code, &text));
        let at = match found {
            Some(at) => at,
            None if rows.len() < MAX_LINES => {
                rows.push(Row {
                    code: text,
                    ..Row::default()
                });
                rows.len() - 1
            }
            None => {
                let said = format!("The form holds {MAX_LINES} lines; sign for these first.");
                return self.form(rows, None, said, None);
            }
        };
        if rows[at].what.is_empty() {
            rows[at].what = "receive".into();
        }
        rows[at].focus = true;
        let mut said = "It is at the counter: read its seal.".to_owned();
        if !rows[at].listed {
            // What is not on its way to me is answered at once.
            let (refusal, lines) = self.looked(reader, &rows[at..=at]).await?;
            if let Some(refusal) = refusal {
                said = format!("{} {}", refusal.sentence, refusal.next);
                mark(&mut rows[at..=at], &refusal, &lines);
            }
        }
        self.form(rows, None, said, None)
    }

    /// Shows what is signed, or records it with the password.
    async fn signing(
        &self,
        reader: &Reader<'_>,
        mut rows: Vec<Row>,
        typed: &Typed,
    ) -> Result<Response, Failure> {
        let (command, at) = match build(&rows, self.command, &self.when, self.zone) {
            Ok(built) => built,
            Err(refusal) => return self.form(rows, Some(&refusal), String::new(), None),
        };
        let secret = typed.get("password");
        if secret.is_empty() {
            if let Some(refusal) = look(reader, &command, self.app.now()).await? {
                mark(&mut rows, &refusal, &at);
                return self.form(rows, Some(&refusal), String::new(), None);
            }
            return self.sign(&rows, typed, None);
        }
        if let Some(said) =
            act::proven(self.app, &self.visitor.person, secret, act::NOT_YOURS).await?
        {
            return self.sign(&rows, typed, Some(said));
        }
        let sent = Sent {
            person: Some(self.visitor.person.id),
            signed: Signed::Password,
            beside: None,
            source: Source::Desk,
            command,
        };
        match self.app.house().recorder.record(sent).await {
            Ok(recorded) => {
                Ok(Redirect::to(&format!("/intake?done={}", recorded.seq)).into_response())
            }
            Err(RecordError::Refused(refusal)) => {
                mark(&mut rows, &refusal, &at);
                self.form(rows, Some(&refusal), String::new(), None)
            }
            Err(e) => Err(e.into()),
        }
    }
}
