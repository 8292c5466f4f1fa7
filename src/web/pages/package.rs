//! The page of a package.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::response::Response;

use super::show::{self, Button, LabelButton, May};
use super::{draw, notice};
use crate::app::views::package_file::{PackageFile, load};
use crate::custody::thread::LayoutOptions;
use crate::ids::PackageId;
use crate::ids::Subject;
use crate::web::App;
use crate::web::draw::thread;
use crate::web::error::Failure;
use crate::web::frame::Frame;
use crate::web::path::Path;
use crate::web::session::Visitor;

#[derive(Template)]
#[template(path = "package/package.html")]
struct PackagePage {
    frame: Frame,
    file: PackageFile,
    facts: Vec<(String, String)>,
    buttons: Vec<Button>,
    labels: Vec<LabelButton>,
    may: May,
    thread: String,
}

impl PackagePage {
    /// Which package, for the way back from an answer.
    fn of(&self) -> String {
        Subject::Package(self.file.id).to_string()
    }
    /// Where labels and reports are printed.
    fn here(&self) -> String {
        format!("/packages/{}", self.file.id)
    }
}

/// The page of a package.
pub async fn page(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<PackageId>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let package = reader.package(id).await?;
    let case = reader.case(package.case).await?;
    show::noted(&reader, &case, "page of a package").await?;
    let file = load(&reader, id).await?;
    let options = LayoutOptions {
        zone: app.house().zone().await?,
        ..LayoutOptions::default()
    };
    let said = notice(&reader, query.as_deref()).await;
    let frame = visitor.frame(show::crumbs(
        format!("/cases/{}", case.id),
        &case.number,
        &file.name,
    ));
    let mut facts = vec![
        ("Container".to_owned(), file.container_name.clone()),
        (
            "Seal".to_owned(),
            if file.seal.is_empty() {
                "none: it is open".to_owned()
            } else {
                file.seal.clone()
            },
        ),
    ];
    facts.extend(show::expunged(package.expunged.as_ref()));
    draw(&PackagePage {
        frame: show::framed(frame, show::with_next(said, &file.next_acts)),
        facts,
        buttons: show::buttons(&file.next_acts),
        labels: show::package_labels(),
        may: May::of(&reader),
        thread: thread::draw(&file.thread, &options, "package"),
        file,
    })
}
