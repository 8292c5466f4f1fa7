//! An image handed off to an AFIS: what can go, to whom, and what went so far. The file is on the record before it is sent.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::{HeaderName, StatusCode, header};
use axum::response::{IntoResponse as _, Response};

use super::{block, draw, show};
use crate::app::Reader;
use crate::app::papers::afis::{Asked, HandedOff, PastHandOff, Pick, Whole, hand_off, past};
use crate::app::papers::{By, PaperError};
use crate::custody::Refusal;
use crate::disclosure::itl::{Capture, Edition};
use crate::ids::{Digest, ItemId, MarkId, Subject};
use crate::people::Action;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed, fill};
use crate::web::frame::{Frame, RefusalBlock};
use crate::web::session::{Posted, Visitor};

/// Position codes that the form offers; the command line and programs take every one. Source: table of field conditions of
/// the Update:2013 draft, field 13.013.
const POSITIONS: &[(&str, &str, &str)] = &[
    ("18", "not known of which part of the body", "Not known"),
    ("0", "a finger, not known which", "Finger"),
    ("1", "right thumb", "Finger"),
    ("2", "right index finger", "Finger"),
    ("3", "right middle finger", "Finger"),
    ("4", "right ring finger", "Finger"),
    ("5", "right little finger", "Finger"),
    ("6", "left thumb", "Finger"),
    ("7", "left index finger", "Finger"),
    ("8", "left middle finger", "Finger"),
    ("9", "left ring finger", "Finger"),
    ("10", "left little finger", "Finger"),
    ("20", "a palm, not known which", "Palm"),
    ("21", "right palm", "Palm"),
    ("23", "left palm", "Palm"),
    ("22", "right writer's palm", "Palm"),
    ("24", "left writer's palm", "Palm"),
    ("60", "a sole, not known which", "Foot"),
    ("61", "right sole", "Foot"),
    ("62", "left sole", "Foot"),
    ("63", "a toe, not known which", "Foot"),
];

#[derive(Template)]
#[template(path = "afis/afis.html")]
struct AfisPage {
    frame: Frame,
    title: String,
    action: String,
    back: String,
    facts: Vec<(String, String)>,
    inputs: Vec<Input>,
    refusal: Option<RefusalBlock>,
    receivers: usize,
    past: Vec<PastHandOff>,
}

fn base(of: Subject) -> String {
    let page = show::subject_href(&of);
    format!("{page}/afis")
}

fn picture_choice(pick: &Pick<'_>) -> Choice {
    let group = match pick.shown {
        Subject::Item(_) => "Of the item",
        _ => "Of the mark",
    };
    Choice::new(pick.digest().to_string(), pick.words()).within(group)
}

fn inputs(reader: &Reader<'_>, whole: &Whole) -> Vec<Input> {
    let picks = whole.picks();
    let mut pictures: Vec<Choice> = picks.iter().map(picture_choice).collect();
    pictures.sort_by_key(|c| c.group != "Of the item");
    let mut picture = Input::new("picture", "Picture", Kind::One(pictures)).hint(
        "A working copy that reads direct states no reversal. An original goes as it is, and the file states how it reads.",
    );
    if let Some(first) = picks.first() {
        picture = picture.value(first.digest().to_string());
    }
    let receivers = reader.house().receivers.clone();
    let choices = receivers
        .all()
        .iter()
        .map(|r| {
            Choice::new(
                r.id.clone(),
                format!("{}, prefers {}", r.name, r.edition.word()),
            )
        })
        .collect();
    let mut receiver = Input::new("receiver", "Receiver", Kind::One(choices));
    if let [only] = receivers.all() {
        receiver = receiver.value(only.id.clone());
    }
    let editions = Edition::ALL
        .iter()
        .map(|e| Choice::new(e.word(), format!("ANSI/NIST-ITL {}", e.word())))
        .collect();
    let captures = Capture::ALL
        .iter()
        .map(|c| Choice::new(c.word(), c.words()))
        .collect();
    let positions = POSITIONS
        .iter()
        .map(|(code, words, group)| Choice::new(*code, format!("{words} ({code})")).within(*group))
        .collect();
    let rules = &reader.house().rules;
    let known = whole.methods();
    let methods = known
        .iter()
        .map(|m| {
            let name = rules.methods().iter().find(|k| &k.id == m);
            let name = name.map_or_else(String::new, |k| format!(", {}", k.name));
            Choice::new(m.clone(), format!("{m}{name}"))
        })
        .collect();
    let matrices = rules
        .matrices()
        .iter()
        .map(|m| Choice::new(m.id.clone(), format!("{} {}", m.id, m.name)))
        .collect();
    let contexts = whole
        .images()
        .filter(|(_, i)| i.media_type.starts_with("image/"))
        .map(|(_, i)| Choice::new(i.digest.to_string(), i.name.clone()))
        .collect();
    let mut method = Input::new("method", "Methods that contributed", Kind::Many(methods))
        .hint("At most nine; those that were tried and showed nothing are left out.");
    method.values = known;
    vec![
        receiver,
        picture,
        Input::new("edition", "Edition", Kind::One(editions))
            .optional()
            .hint("Left empty, the one that the receiver prefers."),
        Input::new("capture", "What was imaged", Kind::One(captures))
            .optional()
            .hint("Left empty, what the record says."),
        Input::new("position", "Position", Kind::One(positions)).value("18"),
        method,
        Input::new("matrix", "Matrix", Kind::One(matrices))
            .optional()
            .hint("Codes of field 9.356. Left empty, none is stated."),
        Input::new(
            "context",
            "Picture that shows where it was",
            Kind::One(contexts),
        )
        .optional()
        .hint("Goes along as it is, as a Type-21 record."),
    ]
}

async fn page(reader: &Reader<'_>, visitor: &Visitor, of: Subject) -> Result<AfisPage, Failure> {
    reader.must(Action::HandOff)?;
    let whole = Whole::load(reader, of).await?;
    show::noted(reader, &whole.case, "form of a hand-off to an AFIS").await?;
    let back = show::subject_href(&of);
    let name = match &whole.item {
        Some(item) => format!("Item {}", item.number),
        None => format!("Mark M{}", whole.mark.number),
    };
    let mut crumbs = show::crumbs(
        format!("/cases/{}", whole.case.id),
        &whole.case.number,
        &name,
    );
    if let Some(last) = crumbs.last_mut() {
        last.href.clone_from(&back);
    }
    crumbs.push(crate::web::frame::Link::new("", "Hand off"));
    let noted = &whole.mark.noted;
    let facts = vec![
        (
            "Case".to_owned(),
            format!("{}, {}", whole.case.number, whole.case.title),
        ),
        (
            "Mark".to_owned(),
            format!(
                "M{}, {}, {}",
                whole.mark.number, noted.object, noted.exact_place
            ),
        ),
    ];
    Ok(AfisPage {
        frame: visitor.frame(crumbs),
        title: format!(
            "Hand {} off to an AFIS",
            name.to_lowercase().replace("mark m", "mark M")
        ),
        action: base(of),
        back,
        facts,
        inputs: inputs(reader, &whole),
        refusal: None,
        receivers: reader.house().receivers.all().len(),
        past: past(reader, of).await?,
    })
}

fn chosen<T: std::str::FromStr>(typed: &Typed, name: &str) -> Result<Option<T>, Failure> {
    let text = typed.get(name).trim();
    if text.is_empty() {
        return Ok(None);
    }
    text.parse()
        .map(Some)
        .map_err(|_| Failure::unreadable(&format!("{name} is none of the choices")))
}

fn asked(typed: &Typed, of: Subject) -> Result<Asked, Failure> {
    let receiver = typed.get("receiver").trim();
    Ok(Asked {
        picture: chosen::<Digest>(typed, "picture")?,
        edition: chosen(typed, "edition")?,
        receiver: (!receiver.is_empty()).then(|| receiver.to_owned()),
        capture: chosen(typed, "capture")?,
        positions: chosen::<u8>(typed, "position")?.into_iter().collect(),
        methods: Some(typed.all("method").into_iter().map(str::to_owned).collect()),
        matrix: chosen(typed, "matrix")?,
        context: chosen(typed, "context")?,
        ..Asked::of(of)
    })
}

/// A file that was handed off, as an answer. Also for programs.
pub fn file(done: HandedOff) -> Response {
    let headers = [
        (header::CONTENT_TYPE, "application/octet-stream".to_owned()),
        (
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"{}\"", done.file_name),
        ),
        (
            HeaderName::from_static("content-digest"),
            crate::web::api::content_digest(&done.digest),
        ),
        (
            HeaderName::from_static("liftledger-event"),
            done.recorded.seq.to_string(),
        ),
    ];
    (headers, done.bytes).into_response()
}

async fn perform(app: &App, posted: Posted, of: Subject) -> Result<Response, Failure> {
    let Posted { visitor, typed } = posted;
    let reader = visitor.reader(app);
    let asked = asked(&typed, of)?;
    let refused = match hand_off(&reader, By::session(), &asked).await {
        Ok(done) => return Ok(file(done)),
        Err(PaperError::Itl(refusal)) => refusal,
        Err(e) => return Err(e.into()),
    };
    let mut page = page(&reader, &visitor, of).await?;
    fill(&mut page.inputs, &typed);
    let refusal = Refusal::coded(refused.rule.code(), refused.sentence, refused.next);
    page.refusal = Some(block(&refusal, &page.title));
    Ok((StatusCode::UNPROCESSABLE_ENTITY, draw(&page)?).into_response())
}

/// The form for an item.
pub async fn of_item(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<ItemId>,
) -> Result<Response, Failure> {
    draw(&page(&visitor.reader(&app), &visitor, Subject::Item(id)).await?)
}

/// The form for a mark.
pub async fn of_mark(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<MarkId>,
) -> Result<Response, Failure> {
    draw(&page(&visitor.reader(&app), &visitor, Subject::Mark(id)).await?)
}

/// Hands an item's picture off.
pub async fn hand_off_item(
    State(app): State<App>,
    Path(id): Path<ItemId>,
    posted: Posted,
) -> Result<Response, Failure> {
    perform(&app, posted, Subject::Item(id)).await
}

/// Hands a mark's picture off.
pub async fn hand_off_mark(
    State(app): State<App>,
    Path(id): Path<MarkId>,
    posted: Posted,
) -> Result<Response, Failure> {
    perform(&app, posted, Subject::Mark(id)).await
}
