//! The page of a mark.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::response::Response;

use super::show::{self, Button, May};
use super::{draw, notice};
use crate::app::views::mark_file::{MarkFile, load};
use crate::ids::MarkId;
use crate::people::Action;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::frame::Frame;
use crate::web::path::Path;
use crate::web::session::Visitor;

#[derive(Template)]
#[template(path = "mark/mark.html")]
struct MarkPage {
    frame: Frame,
    file: MarkFile,
    facts: Vec<(String, String)>,
    buttons: Vec<Button>,
    may: May,
}

impl MarkPage {
    /// Whether the viewer says what pictures are worth.
    fn may_assess(&self) -> bool {
        self.may.assess
    }
    /// Pictures, by the name that the parts of pages have for them.
    fn images(&self) -> &[crate::app::views::images::Image] {
        &self.file.mark.images
    }
}

/// The page of a mark.
pub async fn page(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<MarkId>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let mark = reader.mark(id).await?;
    let case = reader.case(mark.case).await?;
    show::noted(&reader, &case, "page of a mark").await?;
    let file = load(&reader, id).await?;
    let mut buttons = Vec::new();
    if reader.viewer().may(Action::RecordScene) && mark.expunged.is_none() {
        buttons.push(Button::new(
            format!("/marks/{id}/photograph"),
            "Add a photograph",
        ));
        buttons.push(Button::new(
            format!("/do/develop-mark?mark={id}"),
            "Record a development",
        ));
        buttons.push(Button::new(format!("/do/recover?mark={id}"), "Recover it"));
        if let Some(first) = buttons.get_mut(if file.mark.images.is_empty() { 0 } else { 2 }) {
            first.first = true;
        }
    }
    let m = &file.mark;
    let scene = if m.scene_address.is_empty() {
        m.scene_name.clone()
    } else {
        format!("{}, {}", m.scene_name, m.scene_address)
    };
    let mut facts = vec![
        ("Kind", m.kind_words.clone()),
        ("Scene", scene),
        ("Object", m.object.clone()),
        ("Exact place", m.exact_place.clone()),
        ("Up", m.up.clone()),
        (
            "Surface",
            if m.substrate_name.is_empty() {
                m.substrate.clone()
            } else {
                format!("{} ({})", m.substrate_name, m.substrate)
            },
        ),
        ("Texture", m.texture.clone()),
        ("Curvature", m.curvature.clone()),
        ("Note", m.note.clone()),
        ("Noted", format!("{} by {}", m.noted, m.noted_by)),
    ];
    facts.retain(|(_, v)| !v.is_empty());
    let facts = facts.into_iter().map(|(k, v)| (k.to_owned(), v));
    let facts = facts
        .chain(show::expunged(mark.expunged.as_ref()))
        .collect();
    let frame = visitor.frame(show::crumbs(
        format!("/cases/{}", case.id),
        &case.number,
        &m.name,
    ));
    draw(&MarkPage {
        frame: show::framed(frame, notice(&reader, query.as_deref()).await),
        facts,
        buttons,
        may: May::of(&reader),
        file,
    })
}
