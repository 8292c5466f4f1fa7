//! Photographs: the original bytes are kept first, then the event that names their digest.

use askama::Template;
use axum::extract::{Multipart, Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Redirect, Response};
use tokio::io::AsyncReadExt as _;

use super::{block, draw, show};
use crate::app::{RecordError, Sent};
use crate::custody::image::AddImage;
use crate::custody::state::{Case, Item, Mark};
use crate::custody::{Act, Command, Refusal, Signed};
use crate::ids::{CommandId, ItemId, MarkId, Subject};
use crate::imaging::probe;
use crate::ledger::event::Source;
use crate::originals::{Kept, OriginalsError};
use crate::web::App;
use crate::web::error::{Failure, status_of};
use crate::web::form::{Choice, Input, Kind};
use crate::web::frame::{Frame, Link, RefusalBlock};
use crate::web::session::{Visitor, check_csrf};

/// How many bytes at the beginning of a file are enough to know what it is.
const HEAD: usize = 256 * 1024;

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
        let mut views = vec![Choice::new(joined(&usual), "the usual way for this medium")];
        if let Some(medium) = app.house().rules.medium_ever(&item.recovered.medium) {
            for view in medium.views.iter().filter(|v| !v.usual) {
                let steps: Vec<&str> = view.steps.iter().map(|s| s.name()).collect();
                views.push(Choice::new(joined(&steps), view.name.clone()));
            }
        }
        views.push(Choice::new(
            joined(&mirrored),
            "the usual way, but in a mirror",
        ));
        views.push(Choice::new(
            joined(&flipped),
            "the usual way, and flipped in the camera or in software",
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

    fn page(
        &self,
        visitor: &Visitor,
        command: CommandId,
        chosen: Option<&str>,
        refusal: Option<&Refusal>,
    ) -> Result<Response, Failure> {
        let mut view = Input::new(
            "view",
            "How it was looked at",
            Kind::One(self.views.clone()),
        )
        .hint("This decides whether the image reads mirrored.");
        let first = self.views.first().map_or("", |c| c.value.as_str());
        view = view.value(chosen.unwrap_or(first));
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
            command: command.to_string(),
            facts: self.facts.clone(),
            view,
            refusal: refusal.map(|r| block(r, &self.name)),
        };
        let status = refusal.map_or(StatusCode::OK, status_of);
        Ok((status, draw(&page)?).into_response())
    }
}

/// The form for a mark.
pub async fn of_mark(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<MarkId>,
) -> Result<Response, Failure> {
    let of = Of::mark(&app, &visitor, id).await?;
    of.page(&visitor, CommandId::new(), None, None)
}

/// The form for an item.
pub async fn of_item(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<ItemId>,
) -> Result<Response, Failure> {
    let of = Of::item(&app, &visitor, id).await?;
    of.page(&visitor, CommandId::new(), None, None)
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

fn refused(code: &str, sentence: &str, next: &str, field: &str) -> Refusal {
    Refusal {
        code: code.into(),
        sentence: sentence.into(),
        next: next.into(),
        field: Some(field.into()),
    }
}

/// What a form brought.
struct Upload {
    command: CommandId,
    view: String,
    name: String,
    kept: Kept,
}

/// Reads the form; the token comes before the file, so that nothing is kept for a forged one.
async fn received(
    app: &App,
    visitor: &Visitor,
    parts: &mut Multipart,
) -> Result<Result<Upload, (CommandId, String, Refusal)>, Failure> {
    let broken = |e: axum::extract::multipart::MultipartError| {
        if e.status() == StatusCode::PAYLOAD_TOO_LARGE {
            return Failure::new(
                StatusCode::PAYLOAD_TOO_LARGE,
                "too-large",
                "The file is longer than 200 MB, the most this server keeps.",
                "Send a smaller file; the original stays where it is.",
            );
        }
        Failure::unreadable(&format!("the upload broke off: {}", e.body_text()))
    };
    let (mut checked, mut command, mut view) = (false, CommandId::new(), String::new());
    for _ in 0..8 {
        let Some(field) = parts.next_field().await.map_err(broken)? else {
            break;
        };
        let name = field.name().unwrap_or_default().to_owned();
        if name != "file" {
            let text = field.text().await.map_err(broken)?;
            match name.as_str() {
                "csrf" => {
                    check_csrf(visitor, &text)?;
                    checked = true;
                }
                "id" => {
                    command = text
                        .parse()
                        .map_err(|_| Failure::unreadable("id is no identifier"))?;
                }
                "view" => view = text.chars().take(400).collect(),
                _ => {}
            }
            continue;
        }
        if !checked {
            return Err(Failure::foreign_form());
        }
        let file = field.file_name().unwrap_or_default();
        // Some browsers send a path; only its last part is the name.
        let file: String = file
            .rsplit(['/', '\\'])
            .next()
            .unwrap_or_default()
            .chars()
            .filter(|c| !c.is_control())
            .take(200)
            .collect();
        return match app.house().originals.keep_stream(field).await {
            Ok(kept) => Ok(Ok(Upload {
                command,
                view,
                name: if file.is_empty() {
                    "photograph".into()
                } else {
                    file
                },
                kept,
            })),
            Err(OriginalsError::Empty) => {
                let refusal = refused(
                    "no-file",
                    "No file was chosen.",
                    "Choose a photograph.",
                    "file",
                );
                Ok(Err((command, view, refusal)))
            }
            Err(e @ OriginalsError::TooLong) => {
                let refusal = refused(
                    "too-large",
                    &format!("{e}."),
                    "Send a smaller file; the original stays where it is.",
                    "file",
                );
                Ok(Err((command, view, refusal)))
            }
            Err(OriginalsError::BrokeOff(why)) => {
                Err(Failure::unreadable(&format!("the upload broke off: {why}")))
            }
            Err(e) => {
                tracing::error!(error = %e, "an original cannot be kept");
                Err(Failure::internal())
            }
        };
    }
    let refusal = refused(
        "no-file",
        "No file was sent.",
        "Choose a photograph.",
        "file",
    );
    Ok(Err((command, view, refusal)))
}

async fn add(
    app: &App,
    visitor: &Visitor,
    of: &Of,
    mut parts: Multipart,
) -> Result<Response, Failure> {
    let upload = match received(app, visitor, &mut parts).await? {
        Ok(upload) => upload,
        Err((command, view, refusal)) => {
            return of.page(visitor, command, Some(&view), Some(&refusal));
        }
    };
    let head = head_of(app, &upload.kept).await?;
    let picture = match probe::probe(&head) {
        Ok(picture) => picture,
        Err(e) => {
            // The bytes stay as an orphan, which is harmless: nothing names them.
            let refusal = refused(
                "not-a-picture",
                &format!("The file is not taken: {e}."),
                "Choose a PNG or JPEG file as the camera wrote it.",
                "file",
            );
            return of.page(visitor, upload.command, Some(&upload.view), Some(&refusal));
        }
    };
    let mut view: Vec<String> = upload.view.split_whitespace().map(str::to_owned).collect();
    if picture.tag_mirrors() {
        // Whoever shows the file turns it as its orientation tag says.
        view.push("flip".into());
    }
    let command = Command {
        id: upload.command,
        claimed_at: None,
        late_reason: None,
        act: Act::AddImage(AddImage {
            of: of.subject,
            digest: upload.kept.digest,
            name: upload.name,
            media_type: picture.media_type.into(),
            bytes: upload.kept.bytes,
            width: Some(picture.width),
            height: Some(picture.height),
            view,
        }),
    };
    let sent = Sent {
        person: Some(visitor.person.id),
        signed: Signed::Session,
        source: Source::Desk,
        command,
    };
    match app.house().recorder.record(sent).await {
        Ok(recorded) => {
            Ok(Redirect::to(&format!("{}?done={}", of.page, recorded.seq)).into_response())
        }
        Err(RecordError::Refused(refusal)) => {
            of.page(visitor, upload.command, Some(&upload.view), Some(&refusal))
        }
        Err(e) => Err(e.into()),
    }
}

/// The first bytes of an original.
pub(in crate::web) async fn head_of(app: &App, kept: &Kept) -> Result<Vec<u8>, Failure> {
    let path = app.house().originals.path(kept.digest);
    let failed = |e: std::io::Error| {
        tracing::error!(error = %e, "an original that was just kept cannot be read");
        Failure::internal()
    };
    let file = tokio::fs::File::open(&path).await.map_err(failed)?;
    let mut head = Vec::new();
    file.take(HEAD as u64)
        .read_to_end(&mut head)
        .await
        .map_err(failed)?;
    Ok(head)
}
