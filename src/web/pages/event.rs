//! The page of one event: its header, its payload, its subjects, and whether it is in the latest checkpoint's tree.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::acts::address;
use super::{draw, happened, show};
use crate::app::views::words;
use crate::app::{ReadError, Reader};
use crate::custody::State as Custody;
use crate::ids::{Piece, Subject};
use crate::ledger::event::Event;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::frame::{Frame, Link};
use crate::web::path::Path;
use crate::web::session::Visitor;

/// A subject that the event touches.
struct Touched {
    link: Link,
    subject: String,
    n: u64,
    of: u64,
}

/// How the event stands to the latest checkpoint.
struct Included {
    size: u64,
    root: String,
    leaf: String,
    path: Vec<String>,
}

#[derive(Template)]
#[template(path = "event/event.html")]
struct EventPage {
    frame: Frame,
    title: String,
    header: Vec<(String, String)>,
    fields: Vec<(String, String)>,
    touched: Vec<Touched>,
    included: Option<Included>,
    correct: Option<String>,
    before: Option<u64>,
    expunged: Option<u64>,
}

fn name(state: &Custody, subject: Subject) -> String {
    match subject {
        Subject::Item(id) => words::title(state, Piece::Item(id)),
        Subject::Package(id) => words::title(state, Piece::Package(id)),
        Subject::Case(id) => state
            .cases
            .get(&id)
            .map_or_else(|| "Case".into(), |c| format!("Case {}", c.number)),
        Subject::Mark(id) => state
            .marks
            .get(&id)
            .map_or_else(|| "Mark".into(), |m| format!("Mark M{}", m.number)),
        Subject::Person(id) => words::person_in(state, id),
        Subject::Count(_) => "Count".to_owned(),
        Subject::Place(id) => state
            .places
            .get(&id)
            .map_or_else(|| "Place".into(), |p| p.added.name.clone()),
    }
}

/// The proof that these very bytes are in the tree of the latest checkpoint. None where that checkpoint is older than the
/// event.
async fn included(reader: &Reader<'_>, event: &Event) -> Result<Option<Included>, Failure> {
    let seq = event.header.seq;
    let Some(found) = reader.house().inclusion(seq).await? else {
        return Ok(None);
    };
    if found.leaf != event.leaf() {
        let why = format!("event {seq} is not the leaf of the tree");
        return Err(ReadError::Corrupt(why).into());
    }
    Ok(Some(Included {
        size: found.size,
        root: found.root.to_string(),
        leaf: found.leaf.to_string(),
        path: found.path.iter().map(ToString::to_string).collect(),
    }))
}

/// The page of an event.
pub async fn page(
    State(app): State<App>,
    visitor: Visitor,
    Path(seq): Path<u64>,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let event = reader.event(seq).await?;
    let mut crumbs = Vec::new();
    if let Some(case) = event.header.case {
        let case = reader.case(case).await?;
        show::noted(&reader, &case, "page of an event").await?;
        crumbs.push(Link::new("/cases", "Cases"));
        crumbs.push(Link::new(format!("/cases/{}", case.id), case.number));
    }
    crumbs.push(Link::new("", format!("Event {seq}")));
    let h = &event.header;
    let mut around: Vec<Subject> = h.touches.iter().map(|t| t.subject).collect();
    around.extend(h.actor.map(Subject::Person));
    let state = reader.around(&around).await?;
    let may_see_people = reader.viewer().may(crate::people::Action::ManagePeople);
    let mut touched = Vec::with_capacity(h.touches.len());
    for t in &h.touches {
        let subject = t.subject.to_string();
        let href = match t.subject {
            Subject::Person(_) if !may_see_people => String::new(),
            other => address(other).unwrap_or_default(),
        };
        touched.push(Touched {
            link: Link::new(href, name(&state, t.subject)),
            n: t.n,
            of: reader.house().count_of(&subject).await?,
            subject,
        });
    }
    let actor = h.actor.map_or_else(
        || "the server itself".into(),
        |p| words::person_in(&state, p),
    );
    let header = [
        ("Position in the ledger", h.seq.to_string()),
        ("Identifier", h.id.to_string()),
        ("What happened", h.kind.clone()),
        ("Who", actor),
        ("Signed by", words::attested(h.attested).to_owned()),
        ("Entered from", words::source(h.source).to_owned()),
        ("Happened, as claimed", h.claimed_at.clone()),
        ("Recorded by the server", h.recorded_at.clone()),
        ("Trade rules in force", h.rules.clone()),
        ("Payload root", h.payload_root.to_string()),
        ("Format", format!("version {}", h.v)),
    ]
    .into_iter()
    .map(|(k, v)| (k.to_owned(), v))
    .collect();
    let fields = event
        .fields
        .iter()
        .map(|(k, v)| {
            let said = v.as_str().map_or_else(|| v.to_string(), ToOwned::to_owned);
            (k.clone(), said)
        })
        .collect();
    draw(&EventPage {
        frame: visitor.frame(crumbs),
        title: format!("Event {seq}: {}", happened(&h.kind)),
        header,
        fields,
        touched,
        included: included(&reader, &event).await?,
        correct: show::May::of(&reader)
            .corrects(&h.kind)
            .then(|| format!("/do/amend?event={seq}"))
            .filter(|_| event.expunged.is_none()),
        before: (seq > 1).then(|| seq - 1),
        expunged: event.expunged,
    })
}
