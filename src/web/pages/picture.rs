//! The page of a picture: which way round it reads and why, the original and a working copy side by side, its density,
//! and the working copies made from it.

use askama::Template;
use axum::extract::{Path, RawQuery, State};
use axum::http::{HeaderName, StatusCode, header};
use axum::response::{IntoResponse as _, Redirect, Response};

use super::acts::{self, picture::page_of};
use super::show::{self, drawn_steps};
use super::{block, draw, notice};
use crate::app::copies::{self, CopyError, Made, Wanted};
use crate::app::papers::By;
use crate::app::views::images::{Image, WorkingCopy, images};
use crate::app::{ReadError, Reader};
use crate::custody::Refusal;
use crate::custody::state::Case;
use crate::ids::{CommandId, Digest, Subject};
use crate::imaging::recipe::{Op, Recipe};
use crate::people::Action;
use crate::web::App;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed, fill};
use crate::web::frame::{Frame, Link, RefusalBlock};
use crate::web::session::{Posted, Visitor};

#[derive(Template)]
#[template(path = "picture/picture.html")]
struct PicturePage {
    frame: Frame,
    title: String,
    here: String,
    command: String,
    image: Image,
    steps: String,
    /// The copy beside the original.
    beside: Option<WorkingCopy>,
    recipe_json: String,
    may: bool,
    facts: Vec<(String, String)>,
    recipe: Vec<Input>,
    scale: Vec<Input>,
    refusal: Option<RefusalBlock>,
}

/// What a picture shows.
struct Shown {
    of: Subject,
    case: Case,
    name: String,
}

async fn shown(reader: &Reader<'_>, of: Subject) -> Result<Shown, Failure> {
    let (case, name) = match of {
        Subject::Mark(id) => {
            let mark = reader.mark(id).await?;
            (mark.case, format!("mark M{}", mark.number))
        }
        Subject::Item(id) => {
            let item = reader.item(id).await?;
            (item.case, format!("item {}", item.number))
        }
        _ => return Err(ReadError::NotFound("picture").into()),
    };
    let case = reader.case(case).await?;
    Ok(Shown { of, case, name })
}

/// The page of a picture.
pub async fn page(
    State(app): State<App>,
    visitor: Visitor,
    Path(digest): Path<Digest>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let typed = Typed::of_query(query.as_deref())?;
    shows(&app, &visitor, digest, &typed, None, query.as_deref()).await
}

async fn shows(
    app: &App,
    visitor: &Visitor,
    digest: Digest,
    typed: &Typed,
    refusal: Option<(StatusCode, Refusal)>,
    query: Option<&str>,
) -> Result<Response, Failure> {
    let reader = visitor.reader(app);
    let shown = shown(&reader, typed.read("of")?).await?;
    show::noted(&reader, &shown.case, "page of a picture").await?;
    let on_record = copies::picture(&reader, shown.of, digest).await?;
    let zone = app.house().zone().await?;
    let mut list = images(shown.of, std::slice::from_ref(&on_record), zone);
    let image = list.pop().ok_or(ReadError::NotFound("picture"))?;
    let asked = typed.get("copy");
    let beside = image
        .copies
        .iter()
        .find(|c| c.digest.to_string() == asked)
        .or_else(|| image.direct_copy())
        .or_else(|| image.copies.last())
        .cloned();
    let recipe_json = beside
        .as_ref()
        .and_then(|c| serde_json::to_string(&c.recipe.ops).ok())
        .unwrap_or_default();
    let may = reader.viewer().may(Action::WorkImages);
    let mut scale = Vec::new();
    if may {
        let about = Typed(vec![
            ("of".into(), shown.of.to_string()),
            ("digest".into(), digest.to_string()),
        ]);
        scale = acts::sheet(app, visitor, "set-scale", &about).await?.inputs;
    }
    let mut recipe = recipe_inputs(image.ppi.is_some() || on_record.scale.is_some());
    fill(&mut recipe, typed);
    if let Some((_, r)) = &refusal
        && let Some(field) = &r.field
    {
        for input in recipe.iter_mut().filter(|i| i.name == *field) {
            input.error = Some(format!("{} {}", r.sentence, r.next));
        }
    }
    let mut crumbs = vec![
        Link::new("/cases", "Cases"),
        Link::new(
            format!("/cases/{}", shown.case.id),
            shown.case.number.clone(),
        ),
    ];
    let parent = acts::address(shown.of).unwrap_or_else(|| "/".into());
    crumbs.push(Link::new(parent, shown.name.clone()));
    crumbs.push(Link::new("", image.file.clone()));
    let frame = show::framed(visitor.frame(crumbs), notice(&reader, query).await);
    let title = format!("{}, {}", image.file, shown.name);
    let status = refusal.as_ref().map_or(StatusCode::OK, |(s, _)| *s);
    let page = PicturePage {
        frame,
        here: page_of(shown.of, digest),
        command: CommandId::new().to_string(),
        steps: drawn_steps(&image.orientation),
        facts: facts(&image, &shown.name),
        refusal: refusal.map(|(_, r)| block(&r, &title)),
        title,
        beside,
        recipe_json,
        may,
        recipe,
        scale,
        image,
    };
    Ok((status, draw(&page)?).into_response())
}

fn facts(image: &Image, of: &str) -> Vec<(String, String)> {
    let mut rows = vec![
        ("Of", of.to_owned()),
        ("Taken", image.taken.clone()),
        ("Stored pixels", image.pixels.clone()),
        ("Density", image.density.clone()),
        ("File", format!("{}; {}", image.size, image.media_type)),
        ("SHA-256", image.digest.to_string()),
    ];
    rows.retain(|(_, v)| !v.is_empty());
    rows.into_iter().map(|(k, v)| (k.to_owned(), v)).collect()
}

/// The form of a recipe. Its steps are carried out in the order of the fields.
fn recipe_inputs(scaled: bool) -> Vec<Input> {
    let turns = vec![
        Choice::new("1", "a quarter to the right"),
        Choice::new("2", "upside down"),
        Choice::new("3", "a quarter to the left"),
    ];
    let line = |name: &str, label: &str| Input::line(name, label).optional();
    let mut out = vec![
        Input::new("flip", "Exchange left and right", Kind::Yes),
        Input::new("turns", "Turn by quarters", Kind::One(turns)).optional(),
        line("degrees", "Turn clockwise by degrees")
            .hint("At most two decimals; a minus turns the other way."),
        line(
            "crop",
            "Keep a rectangle: left, top, width, height in pixels",
        )
        .hint("Of the picture as the steps above leave it: 120 80 1600 2000."),
        Input::new("grey", "Turn to grey", Kind::Yes),
        Input::new("invert", "Exchange light and dark", Kind::Yes),
    ];
    if scaled {
        out.push(
            line("ppi", "Resample to pixels an inch")
                .hint("1000 is what receivers ask for; needs the picture's scale."),
        );
    }
    out
}

fn wrong(field: &str, sentence: &str, next: &str) -> Refusal {
    Refusal::coded("bad-value", sentence, next).on(field)
}

/// The recipe that was typed.
fn recipe(typed: &Typed) -> Result<Recipe, Refusal> {
    let mut ops = Vec::new();
    let text = |name: &str| typed.get(name).trim().replace(',', " ");
    if typed.get("flip") == "yes" {
        ops.push(Op::Flip);
    }
    if let Ok(turns) = text("turns").parse() {
        ops.push(Op::QuarterTurns { turns });
    }
    let degrees = typed.get("degrees").trim().replace(',', ".");
    if !degrees.is_empty() {
        let value = degrees.parse::<f64>().ok();
        let value = value.filter(|v| (-180.0..=180.0).contains(v));
        let value = value.ok_or_else(|| {
            wrong(
                "degrees",
                "The angle is no number between -180 and 180.",
                "Type degrees, 1.5 for instance.",
            )
        })?;
        #[expect(clippy::cast_possible_truncation, reason = "between -18000 and 18000")]
        let hundredths = (value * 100.0).round() as i32;
        ops.push(Op::Rotate { hundredths });
    }
    let crop = text("crop");
    if !crop.is_empty() {
        let numbers: Option<Vec<u32>> = crop.split_whitespace().map(|n| n.parse().ok()).collect();
        let Some([x, y, width, height]) = numbers.as_deref() else {
            return Err(wrong(
                "crop",
                "The rectangle is not four whole numbers.",
                "Type left, top, width and height in pixels: 120 80 1600 2000.",
            ));
        };
        let (x, y, width, height) = (*x, *y, *width, *height);
        ops.push(Op::Crop {
            x,
            y,
            width,
            height,
        });
    }
    if typed.get("grey") == "yes" {
        ops.push(Op::Grey);
    }
    if typed.get("invert") == "yes" {
        ops.push(Op::Invert);
    }
    if !text("ppi").is_empty() {
        let ppi = text("ppi").parse().map_err(|_| {
            wrong(
                "ppi",
                "The density is no whole number.",
                "Type pixels an inch, 1000 for instance.",
            )
        })?;
        ops.push(Op::Resample { ppi });
    }
    Ok(Recipe::new(ops))
}

/// Makes a working copy: the one that reads direct at one press, or by the recipe that was typed.
pub async fn make_copy(
    State(app): State<App>,
    Path(digest): Path<Digest>,
    posted: Posted,
) -> Result<Response, Failure> {
    let Posted { visitor, typed } = posted;
    let of: Subject = typed.read("of")?;
    let id: CommandId = typed.read("id")?;
    let wanted = if typed.get("wanted") == "direct" {
        Ok(Wanted::Direct)
    } else {
        recipe(&typed).map(Wanted::By)
    };
    let reader = visitor.reader(&app);
    let made = match wanted {
        Ok(wanted) => copies::make(&reader, By::session(), id, of, digest, &wanted).await,
        Err(refusal) => {
            let refusal = Some((StatusCode::UNPROCESSABLE_ENTITY, refusal));
            return shows(&app, &visitor, digest, &typed, refusal, None).await;
        }
    };
    match made {
        Ok(Made { copy, recorded }) => {
            let done = recorded.map_or_else(String::new, |r| format!("&done={}", r.seq));
            let to = format!("{}&copy={copy}{done}#viewer", page_of(of, digest));
            Ok(Redirect::to(&to).into_response())
        }
        Err(e @ (CopyError::Derive(_) | CopyError::NothingSuggested | CopyError::Busy)) => {
            let failure = Failure::from(e);
            let refusal = Some((failure.status, *failure.refusal));
            shows(&app, &visitor, digest, &typed, refusal, None).await
        }
        Err(e) => Err(e.into()),
    }
}

/// The bytes of a working copy.
pub async fn copy(
    State(app): State<App>,
    visitor: Visitor,
    Path(copy): Path<Digest>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let typed = Typed::of_query(query.as_deref())?;
    let reader = visitor.reader(&app);
    let shown = shown(&reader, typed.read("of")?).await?;
    show::noted(&reader, &shown.case, "bytes of a working copy").await?;
    let original: Digest = typed.read("original")?;
    let (_, bytes) = copies::bytes(&reader, shown.of, original, copy).await?;
    let name = format!(
        "inline; filename=\"working-copy-{}.png\"",
        &copy.to_string()[..12]
    );
    Ok((
        [
            (header::CONTENT_TYPE, "image/png".to_owned()),
            (header::CONTENT_DISPOSITION, name),
            (
                header::CONTENT_SECURITY_POLICY,
                "default-src 'none'; sandbox".to_owned(),
            ),
            (HeaderName::from_static("x-sha256"), copy.to_string()),
        ],
        bytes,
    )
        .into_response())
}
