//! From a form to a command, for every act: show the form, show what is signed, carry it out, or show the refusal with
//! everything that was typed still there.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use serde_json::Value;

use super::acts::{self, Sheet};
use super::{block, draw};
use crate::app::sign_in::SignInError;
use crate::app::{ReadError, RecordError, Sent};
use crate::custody::state::Person;
use crate::custody::{Act, Command, Refusal, Signed};
use crate::ids::{CommandId, Seq};
use crate::ledger::event::Source;
use crate::web::App;
use crate::web::error::{Failure, status_of};
use crate::web::form::{Input, Kind, Typed, fill, to_json};
use crate::web::frame::{FactsBlock, Frame, Link, RefusalBlock, SigningBlock};
use crate::web::path::Path;
use crate::web::session::{Posted, Visitor};
use crate::zone::Zone;

/// What is said of a wrong password.
pub(super) const NOT_YOURS: &str = "This is not your password.";

/// A form of an act.
#[derive(Template)]
#[template(path = "act/form.html")]
struct FormPage {
    frame: Frame,
    word: String,
    sheet: Sheet,
    command: String,
    refusal: Option<RefusalBlock>,
    when: Vec<Input>,
    zone: String,
    late_open: bool,
    signed: bool,
}

/// What is about to be signed.
#[derive(Template)]
#[template(path = "act/sign.html")]
pub(super) struct SignPage {
    pub frame: Frame,
    pub title: String,
    /// Where the form is sent to.
    pub action: String,
    /// Where whoever leaves it goes.
    pub leave: String,
    pub command: String,
    /// Everything that was typed goes along, but never a password or the form's own token.
    pub carried: Vec<(String, String)>,
    pub signing: SigningBlock,
}

impl SignPage {
    pub(super) fn response(&self) -> Result<Response, Failure> {
        let wrong = self.signing.error.is_some() || self.signing.second_error.is_some();
        let status = if wrong {
            StatusCode::UNAUTHORIZED
        } else {
            StatusCode::OK
        };
        Ok((status, draw(self)?).into_response())
    }
}

/// What was typed, but for these fields and those that every form has of its own.
pub(super) fn carried(typed: &Typed, but: &[&str]) -> Vec<(String, String)> {
    let own = ["password", "beside_password", "csrf", "id"];
    let all = typed.0.iter();
    all.filter(|(n, _)| !own.contains(&n.as_str()) && !but.contains(&n.as_str()))
        .cloned()
        .collect()
}

/// The fields that come with every act.
pub(super) fn when_fields(typed: &Typed) -> Vec<Input> {
    let mut fields = vec![
        Input::new("claimed_at", "When it happened", Kind::Time)
            .hint("Leave empty for now.")
            .optional(),
        Input::line("late_reason", "Why it is entered late")
            .hint("Needed when it happened a while ago; it goes on the record.")
            .optional(),
    ];
    fill(&mut fields, typed);
    fields
}

/// The same for this form, with the hand-over sheets from which it may be entered.
fn when_of(sheet: &Sheet, typed: &Typed) -> Vec<Input> {
    let mut fields = when_fields(typed);
    if !sheet.paper_sheets.is_empty() {
        let choices = Kind::One(sheet.paper_sheets.clone());
        fields.push(
            Input::new("paper_sheet", "From a hand-over sheet signed in ink", choices)
                .hint("Its print identifier stands at its foot. The record then says that it was signed on paper.")
                .optional(),
        );
        fill(&mut fields, typed);
    }
    fields
}

/// Whether the act must be signed, where the permission table lets the visitor do it.
fn must_be_signed(visitor: &Visitor, word: &str) -> Result<bool, Failure> {
    let (action, signed) = Act::find(word).ok_or_else(Failure::no_page)?;
    if visitor.viewer.may(action) {
        Ok(signed)
    } else {
        Err(ReadError::Forbidden(action).into())
    }
}

fn crumbs(sheet: &Sheet) -> Vec<Link> {
    let mut out = sheet.crumbs.clone();
    out.push(Link::new("", sheet.title.clone()));
    out
}

/// Puts the reading of a restricted case on the record, before its words are shown on a form.
async fn noted(app: &App, visitor: &Visitor, sheet: &Sheet) -> Result<(), Failure> {
    match &sheet.about {
        Some(case) => super::show::noted(&visitor.reader(app), case, "form of an act").await,
        None => Ok(()),
    }
}

/// The empty form, filled with what the address says.
pub async fn show(
    State(app): State<App>,
    visitor: Visitor,
    Path(word): Path<String>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let signed = must_be_signed(&visitor, &word)?;
    let typed = Typed::of_query(query.as_deref())?;
    let zone = app.house().zone().await?;
    let mut sheet = acts::sheet(&app, &visitor, &word, &typed).await?;
    fill(&mut sheet.inputs, &typed);
    fill(&mut sheet.beside, &typed);
    noted(&app, &visitor, &sheet).await?;
    let when = when_of(&sheet, &typed);
    let page = FormPage {
        frame: visitor.frame(crumbs(&sheet)),
        signed,
        word,
        sheet,
        command: CommandId::new().to_string(),
        refusal: None,
        when,
        zone: zone.to_string(),
        late_open: false,
    };
    draw(&page)
}

/// Carries the act out; first asks for the password where it must be signed.
pub async fn perform(
    State(app): State<App>,
    Path(word): Path<String>,
    posted: Posted,
) -> Result<Response, Failure> {
    let Posted { visitor, typed } = posted;
    let must_sign = must_be_signed(&visitor, &word)?;
    let zone = app.house().zone().await?;
    let mut sheet = acts::sheet(&app, &visitor, &word, &typed).await?;
    fill(&mut sheet.inputs, &typed);
    fill(&mut sheet.beside, &typed);
    let command = typed.read::<CommandId>("id")?;
    let again = Again {
        app: &app,
        word: &word,
        visitor: &visitor,
        typed: &typed,
        zone,
        command,
        must_sign,
    };
    if typed.has("back-to-form") || (typed.has("look") && !sheet.look.is_empty()) {
        return again.form(sheet, None).await;
    }
    let built = match build(&word, &sheet, &typed, command, zone) {
        Ok(built) => built,
        Err(refusal) => return again.form(sheet, Some(refusal)).await,
    };
    let mut how = Signed::Session;
    let second = second(&app, &sheet, &typed).await?;
    let (own, theirs) = (typed.get("password"), typed.get("beside_password"));
    if (must_sign && own.is_empty()) || (second.is_some() && theirs.is_empty()) {
        return again.sign(sheet, second.as_ref(), Wrong::default()).await;
    }
    if must_sign {
        if let Some(said) = proven(&app, &visitor.person, own, NOT_YOURS).await? {
            let wrong = Wrong {
                own: Some(said),
                ..Wrong::default()
            };
            return again.sign(sheet, second.as_ref(), wrong).await;
        }
        how = Signed::Password;
    }
    if let Some(person) = &second
        && let Some(said) = proven(&app, person, theirs, "This is not their password.").await?
    {
        let wrong = Wrong {
            second: Some(said),
            ..Wrong::default()
        };
        return again.sign(sheet, second.as_ref(), wrong).await;
    }
    let sent = Sent {
        person: Some(visitor.person.id),
        signed: how,
        beside: second.map(|p| p.id),
        source: Source::Desk,
        command: built,
    };
    match app.house().recorder.record(sent).await {
        Ok(recorded) => {
            acts::afterwards(&app, &visitor, &word, &typed, &recorded).await?;
            let to = match recorded.created {
                Some(subject) => acts::address(subject).unwrap_or_else(|| sheet.done.clone()),
                None => sheet.done.clone(),
            };
            Ok(Redirect::to(&with_done(&to, recorded.last())).into_response())
        }
        Err(RecordError::Refused(refusal)) => again.form(sheet, Some(refusal)).await,
        Err(e) => Err(e.into()),
    }
}

/// The command, from the form.
fn build(
    word: &str,
    sheet: &Sheet,
    typed: &Typed,
    id: CommandId,
    zone: Zone,
) -> Result<Command, Refusal> {
    let mut fields = to_json(&sheet.inputs, zone)?;
    if let Some(wrong) = &sheet.wrong {
        return Err(wrong.clone());
    }
    if let Some(arrange) = sheet.arrange {
        arrange(&mut fields);
    }
    fields.extend(sheet.known.iter().cloned());
    let when = when_of(sheet, typed);
    let mut around = to_json(&when, zone)?;
    fields.insert("do".into(), Value::String(word.to_owned()));
    around.insert("id".into(), Value::String(id.to_string()));
    around.insert("act".into(), Value::Object(fields));
    serde_json::from_value(Value::Object(around)).map_err(|e| unreadable(&e))
}

/// A form whose fields make no command.
pub(super) fn unreadable(e: &serde_json::Error) -> Refusal {
    Refusal::coded(
        "bad-value",
        format!("The form cannot be read: {e}."),
        "Check what is filled in.",
    )
}

/// Who is named as the second person, where the form of the act has one.
async fn second(app: &App, sheet: &Sheet, typed: &Typed) -> Result<Option<Person>, Failure> {
    if sheet.beside.is_empty() || typed.get("beside").is_empty() {
        return Ok(None);
    }
    let person = app.house().person(typed.read("beside")?).await?;
    person
        .map(Some)
        .ok_or_else(|| ReadError::NotFound("person").into())
}

/// What was wrong with the passwords of a signing step.
#[derive(Default)]
struct Wrong {
    own: Option<String>,
    second: Option<String>,
}

/// Whether the password is this person's: none where it is, else what is to be said at the signing step, `wrong` where it is
/// just not theirs.
///
/// # Errors
/// Where it cannot be told.
pub(super) async fn proven(
    app: &App,
    person: &Person,
    secret: &str,
    wrong: &str,
) -> Result<Option<String>, Failure> {
    match app.house().prove(person, secret, app.now()).await {
        Ok(()) => Ok(None),
        Err(SignInError::Wrong) => Ok(Some(wrong.to_owned())),
        Err(e @ SignInError::Wait { .. }) => {
            let failure = Failure::from(e);
            Ok(Some(format!(
                "{} {}",
                failure.refusal.sentence, failure.refusal.next
            )))
        }
        Err(e) => Err(e.into()),
    }
}

/// Shows the form or the signing step once more.
struct Again<'a> {
    app: &'a App,
    word: &'a str,
    visitor: &'a Visitor,
    typed: &'a Typed,
    zone: Zone,
    command: CommandId,
    must_sign: bool,
}

impl Again<'_> {
    async fn form(&self, mut sheet: Sheet, refusal: Option<Refusal>) -> Result<Response, Failure> {
        noted(self.app, self.visitor, &sheet).await?;
        let mut when = when_of(&sheet, self.typed);
        let mut status = StatusCode::OK;
        let mut late_open = when.iter().any(|i| !i.first().is_empty());
        if let Some(refusal) = &refusal {
            status = status_of(refusal);
            if let Some(field) = &refusal.field {
                let short = format!("{} {}", refusal.sentence, refusal.next);
                let inputs = sheet.inputs.iter_mut().chain(&mut sheet.beside);
                for input in inputs.chain(&mut when) {
                    if input.name == *field || input.name.ends_with(&format!(".{field}")) {
                        input.error = Some(short.clone());
                    }
                }
                late_open |= matches!(field.as_str(), "claimed_at" | "late_reason" | "paper_sheet");
            }
        }
        let page = FormPage {
            frame: self.visitor.frame(crumbs(&sheet)),
            word: self.word.into(),
            command: self.command.to_string(),
            refusal: refusal.map(|r| block(&r, &sheet.thing)),
            sheet,
            when,
            zone: self.zone.to_string(),
            late_open,
            signed: self.must_sign,
        };
        Ok((status, draw(&page)?).into_response())
    }

    async fn sign(
        &self,
        sheet: Sheet,
        second: Option<&Person>,
        wrong: Wrong,
    ) -> Result<Response, Failure> {
        noted(self.app, self.visitor, &sheet).await?;
        let mut facts = sheet.facts.clone();
        let when = when_of(&sheet, self.typed);
        for input in sheet.inputs.iter().chain(&sheet.beside).chain(&when) {
            if let Some(said) = input.said(self.zone) {
                facts.push((input.label.clone(), said));
            }
        }
        let page = SignPage {
            frame: self.visitor.frame(crumbs(&sheet)),
            action: format!("/do/{}", self.word),
            command: self.command.to_string(),
            carried: carried(self.typed, &[]),
            signing: SigningBlock {
                facts,
                sentence: if sheet.sentence.is_empty() {
                    format!("{}, as described here.", sheet.title)
                } else {
                    sheet.sentence.clone()
                },
                act: format!("Sign: {}", sheet.submit.to_lowercase()),
                own: self.must_sign,
                error: wrong.own,
                second: second.map(|p| p.name.clone()),
                second_error: wrong.second,
            },
            title: sheet.title,
            leave: sheet.done,
        };
        page.response()
    }
}

/// Facts drawn as a list.
impl FormPage {
    fn facts(&self) -> FactsBlock {
        FactsBlock {
            facts: self.sheet.facts.clone(),
        }
    }
}

/// An address that says which event was just recorded; what stands behind `#` stays at its end.
fn with_done(to: &str, seq: Seq) -> String {
    let (page, part) = to.split_once('#').unwrap_or((to, ""));
    let joint = if page.contains('?') { '&' } else { '?' };
    let mark = if part.is_empty() { "" } else { "#" };
    format!("{page}{joint}done={seq}{mark}{part}")
}
