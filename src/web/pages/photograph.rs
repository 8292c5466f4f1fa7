//! Photographs: the original bytes are kept first, then the event that names their digest. The file comes in the form, or
//! the page's script has sent it in parts before and the form names that upload.

mod received;

use askama::Template;
use axum::extract::{Multipart, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};

use super::act::when_fields;
use super::{block, draw, show};
use crate::app::photograph::{Taken, look};
use crate::app::{RecordError, Sent};
use crate::custody::state::{Case, Item, Mark};
use crate::custody::{Refusal, Signed};
use crate::ids::{CommandId, ItemId, MarkId, Subject, UploadId};
use crate::ledger::event::Source;
use crate::web::App;
use crate::web::error::{Failure, status_of};
use crate::web::form::{Choice, Input, Kind, Typed, fill, to_json};
use crate::web::frame::{Frame, Link, RefusalBlock};
use crate::web::path::Path;
use crate::web::session::Visitor;
use received::{Brought, received};

#[derive(Template)]
#[template(path = "mark/photograph.html")]
struct PhotographPage {
    frame: Frame,
    title: String,
    action: String,
    back: String,
    command: String,
    facts: Vec<(String, String)>,
    view: Input,
    when: Vec<Input>,
    zone: String,
    late_open: bool,
    /// A file that is here already: its upload, its name.
    here: Option<(String, String)>,
    /// Offered where a damaged file was refused.
    as_it_is: Option<Input>,
    refusal: Option<RefusalBlock>,
}

/// What is photographed.
struct Of {
    subject: Subject,
    name: String,
    page: String,
    case: Case,
    facts: Vec<(String, String)>,
    views: Vec<Choice>,
}

fn joined(steps: &[&str]) -> String {
    steps.join(" ")
}

impl Of {
    async fn mark(app: &App, visitor: &Visitor, id: MarkId) -> Result<Self, Failure> {
        let reader = visitor.reader(app);
        let mark: Mark = reader.mark(id).await?;
        let case = reader.case(mark.case).await?;
        show::noted(&reader, &case, "form to add a photograph").await?;
        let views = [
            (
                joined(&["front"]),
                "straight at the mark, from its own side",
            ),
            (joined(&["front", "mirror"]), "in a mirror"),
            (
                joined(&["through-substrate"]),
                "from the far side, through what bears it",
            ),
            (
                joined(&["front", "flip"]),
                "straight at the mark, and flipped in the camera or in software",
            ),
            (
                joined(&["set-off", "front"]),
                "a mark that another surface had left there",
            ),
            (joined(&["skin"]), "the skin itself, not its print"),
            (joined(&["unknown"]), "nobody can say any more"),
        ];
        Ok(Self {
            subject: Subject::Mark(id),
            name: format!("mark M{}", mark.number),
            page: format!("/marks/{id}"),
            facts: vec![
                ("Case".into(), format!("{}, {}", case.number, case.title)),
                ("Object".into(), mark.noted.object.clone()),
                ("Exact place".into(), mark.noted.exact_place.clone()),
            ],
            case,
            views: views.map(|(v, l)| Choice::new(v, l)).to_vec(),
        })
    }

    async fn item(app: &App, visitor: &Visitor, id: ItemId) -> Result<Self, Failure> {
        let reader = visitor.reader(app);
        let item: Item = reader.item(id).await?;
        let case = reader.case(item.case).await?;
        show::noted(&reader, &case, "form to add a photograph").await?;
        let usual: Vec<&str> = item.recovered.view.iter().map(String::as_str).collect();
        let mut mirrored = usual.clone();
        mirrored.push("mirror");
        let mut flipped = usual.clone();
        flipped.push("flip");
        let mut views = vec![Choice::new(joined(&usual), "as at the recovery")];
        if let Some(medium) = app.house().rules.medium_ever(&item.recovered.medium) {
            // What comes after the view's own steps, card and tone, holds for every way of looking.
            let begins = |v: &&crate::lifting::View| {
                v.steps
                    .iter()
                    .map(|s| s.name())
                    .eq(usual.iter().copied().take(v.steps.len()))
            };
            let recorded = medium
                .views
                .iter()
                .filter(begins)
                .max_by_key(|v| v.steps.len());
            let rest = usual.get(recorded.map_or(usual.len(), |v| v.steps.len())..);
            for view in &medium.views {
                if recorded.is_some_and(|r| r.id == view.id) {
                    continue;
                }
                let mut steps: Vec<&str> = view.steps.iter().map(|s| s.name()).collect();
                steps.extend(rest.unwrap_or_default());
                views.push(Choice::new(joined(&steps), view.name.clone()));
            }
        }
        views.push(Choice::new(
            joined(&mirrored),
            "as at the recovery, but in a mirror",
        ));
        views.push(Choice::new(
            joined(&flipped),
            "as at the recovery, and flipped in the camera or in software",
        ));
        views.push(Choice::new("unknown", "nobody can say any more"));
        Ok(Self {
            subject: Subject::Item(id),
            name: format!("item {}", item.number),
            page: format!("/items/{id}"),
            facts: vec![
                ("Case".into(), format!("{}, {}", case.number, case.title)),
                ("Item".into(), item.recovered.description.clone()),
                ("Medium".into(), item.recovered.medium_name.clone()),
            ],
            case,
            views,
        })
    }

    async fn page(
        &self,
        app: &App,
        visitor: &Visitor,
        shown: Shown<'_>,
    ) -> Result<Response, Failure> {
        let zone = app.house().zone().await?;
        let mut inputs = vec![
            Input::new(
                "view",
                "How it was looked at",
                Kind::One(self.views.clone()),
            )
            .hint("This decides whether the image reads mirrored.")
            .value(self.views.first().map_or("", |c| c.value.as_str())),
        ];
        fill(&mut inputs, shown.typed);
        let mut when = when_fields(shown.typed);
        let mut late_open = when.iter().any(|i| !i.first().is_empty());
        if let Some(refusal) = shown.refusal
            && let Some(field) = &refusal.field
        {
            for input in inputs.iter_mut().chain(&mut when) {
                if input.name == *field {
                    input.error = Some(format!("{} {}", refusal.sentence, refusal.next));
                }
            }
            late_open |= matches!(field.as_str(), "claimed_at" | "late_reason");
        }
        let as_it_is = shown.refusal.is_some_and(|r| r.code == "not-a-picture")
            || shown.typed.get("as_it_is") == "yes";
        let as_it_is = as_it_is.then(|| {
            let mut input = Input::new("as_it_is", "Keep it as it is", Kind::Yes)
                .hint("For a damaged file, when it is all there is: its bytes are kept, and it is not shown.");
            input.values = vec![shown.typed.get("as_it_is").to_owned()];
            input
        });
        let page = PhotographPage {
            frame: visitor.frame(vec![
                Link::new("/cases", "Cases"),
                Link::new(format!("/cases/{}", self.case.id), self.case.number.clone()),
                Link::new(self.page.clone(), self.name.clone()),
                Link::new("", "Photograph"),
            ]),
            title: format!("Add a photograph of {}", self.name),
            action: format!("{}/photograph", self.page),
            back: self.page.clone(),
            command: shown.command.to_string(),
            facts: self.facts.clone(),
            view: inputs.remove(0),
            when,
            zone: zone.to_string(),
            late_open,
            here: shown.here.map(|(id, name)| (id.to_string(), name)),
            as_it_is,
            refusal: shown.refusal.map(|r| block(r, &self.name)),
        };
        let status = shown.refusal.map_or(StatusCode::OK, status_of);
        Ok((status, draw(&page)?).into_response())
    }
}

/// What the form shows beside what is photographed.
struct Shown<'a> {
    command: CommandId,
    typed: &'a Typed,
    here: Option<(UploadId, String)>,
    refusal: Option<&'a Refusal>,
}

async fn fresh(app: &App, visitor: &Visitor, of: &Of) -> Result<Response, Failure> {
    let shown = Shown {
        command: CommandId::new(),
        typed: &Typed::default(),
        here: None,
        refusal: None,
    };
    of.page(app, visitor, shown).await
}

/// The form for a mark.
pub async fn of_mark(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<MarkId>,
) -> Result<Response, Failure> {
    let of = Of::mark(&app, &visitor, id).await?;
    fresh(&app, &visitor, &of).await
}

/// The form for an item.
pub async fn of_item(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<ItemId>,
) -> Result<Response, Failure> {
    let of = Of::item(&app, &visitor, id).await?;
    fresh(&app, &visitor, &of).await
}

/// Keeps a photograph of a mark.
pub async fn add_to_mark(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<MarkId>,
    parts: Multipart,
) -> Result<Response, Failure> {
    let of = Of::mark(&app, &visitor, id).await?;
    add(&app, &visitor, &of, parts).await
}

/// Keeps a photograph of an item.
pub async fn add_to_item(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<ItemId>,
    parts: Multipart,
) -> Result<Response, Failure> {
    let of = Of::item(&app, &visitor, id).await?;
    add(&app, &visitor, &of, parts).await
}

async fn add(
    app: &App,
    visitor: &Visitor,
    of: &Of,
    mut parts: Multipart,
) -> Result<Response, Failure> {
    let form = received(app, visitor, &mut parts).await?;
    let refusal = match recorded(app, visitor, of, &form).await? {
        Ok(seq) => return Ok(Redirect::to(&format!("{}?done={seq}", of.page)).into_response()),
        Err(refusal) => refusal,
    };
    // What came stays here, so that the form can be sent again without it.
    let here = match form.file {
        Ok(file) => match file.upload {
            Some(id) => Some((id, file.name)),
            None => remember(app, visitor, file).await,
        },
        Err(_) => None,
    };
    let shown = Shown {
        command: form.command,
        typed: &form.typed,
        here,
        refusal: Some(&refusal),
    };
    of.page(app, visitor, shown).await
}

async fn remember(app: &App, visitor: &Visitor, file: Brought) -> Option<(UploadId, String)> {
    let uploads = &app.house().uploads;
    let remembered = uploads.remember(visitor.person.id, &file.name, file.kept, app.now());
    match remembered.await {
        Ok(id) => Some((id, file.name)),
        Err(error) => {
            // Then the file is chosen once more.
            tracing::warn!(%error, "a file that came cannot be remembered");
            None
        }
    }
}

/// The event's number, or why there is none.
async fn recorded(
    app: &App,
    visitor: &Visitor,
    of: &Of,
    form: &received::Form,
) -> Result<Result<u64, Refusal>, Failure> {
    let file = match &form.file {
        Ok(file) => file,
        Err(refusal) => return Ok(Err(refusal.clone())),
    };
    let zone = app.house().zone().await?;
    let when = match to_json(&when_fields(&form.typed), zone) {
        Ok(when) => when,
        Err(refusal) => return Ok(Err(refusal)),
    };
    let said = |name: &str| when.get(name).and_then(|v| v.as_str()).map(str::to_owned);
    let as_it_is = form.typed.get("as_it_is") == "yes";
    let seen = match look(&app.house().originals, &file.kept, as_it_is).await {
        Ok(seen) => seen,
        Err(e) => {
            let failure = Failure::from(e);
            if failure.status.is_server_error() {
                return Err(failure);
            }
            let mut refusal = *failure.refusal;
            refusal.next = "Take it from the camera or card once more and choose that. If this is all there is of it, tick \
                            the box below: its bytes are kept, and it is not shown."
                .into();
            return Ok(Err(refusal.on("file")));
        }
    };
    let taken = Taken {
        id: form.command,
        of: of.subject,
        name: file.name.clone(),
        view: form
            .typed
            .get("view")
            .split_whitespace()
            .map(str::to_owned)
            .collect(),
        claimed_at: said("claimed_at").and_then(|t| t.parse().ok()),
        late_reason: said("late_reason"),
    };
    let sent = Sent {
        person: Some(visitor.person.id),
        signed: Signed::Session,
        beside: None,
        source: Source::Desk,
        command: taken.command(&file.kept, seen),
    };
    match app.house().recorder.record(sent).await {
        Ok(recorded) => Ok(Ok(recorded.seq)),
        Err(RecordError::Refused(refusal)) => Ok(Err(refusal)),
        Err(e) => Err(e.into()),
    }
}
