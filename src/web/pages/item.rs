//! The page of an item: the card beside the thread, which way round it reads and why, where it is, what it must be kept
//! in, and everything that happened to it.

use askama::Template;
use axum::extract::{RawQuery, State};
use axum::response::Response;

use super::show::{self, Button, LabelButton, May};
use super::{draw, notice};
use crate::app::Reader;
use crate::app::views::images::Image;
use crate::app::views::item_file::{ItemFile, load};
use crate::custody::state::{Holder, Item};
use crate::custody::thread::LayoutOptions;
use crate::ids::{ItemId, Subject};
use crate::people::Action;
use crate::trade::TradeRules;
use crate::web::App;
use crate::web::draw::card::{Card, CardKind, CardPicture};
use crate::web::draw::{card, thread};
use crate::web::error::Failure;
use crate::web::frame::Frame;
use crate::web::path::Path;
use crate::web::session::Visitor;

/// The time that a medium needs, from its start.
struct Timer {
    seconds: u32,
    since: String,
    words: String,
}

#[derive(Template)]
#[template(path = "item/item.html")]
struct ItemPage {
    frame: Frame,
    file: ItemFile,
    facts: Vec<(String, String)>,
    buttons: Vec<Button>,
    labels: Vec<LabelButton>,
    may: May,
    recovered_seq: Option<u64>,
    card: String,
    card_hint: &'static str,
    thread: String,
    steps: String,
    timer: Option<Timer>,
    set_words: String,
}

impl ItemPage {
    /// Whether the viewer says what pictures are worth.
    fn may_assess(&self) -> bool {
        self.may.assess
    }
    /// Pictures, by the name that the parts of pages have for them.
    fn images(&self) -> &[Image] {
        &self.file.images
    }
    /// Which item, for the way back from an answer.
    fn of(&self) -> String {
        Subject::Item(self.file.id).to_string()
    }
    /// Where labels and reports are printed.
    fn here(&self) -> String {
        format!("/items/{}", self.file.id)
    }
}

fn is_card(file: &ItemFile) -> bool {
    !matches!(file.recovery.form.as_str(), "cast" | "object")
}

/// What the front of the card shows: the newest working copy that reads direct, or the original, turned for display
/// only where it reads reversed.
fn picture(file: &ItemFile) -> Option<CardPicture> {
    let shown = |i: &&Image| show::is_shown(i) || i.direct_copy().is_some();
    let image = file.images.iter().chain(&file.mark.images).find(shown)?;
    let px_per_mm = |ppi: Option<u32>| ppi.map(|p| f64::from(p) / 25.4);
    let alt = format!("{}, {}", file.name, image.file);
    Some(match image.direct_copy() {
        Some(copy) => CardPicture {
            href: show::copy_href(image, copy),
            alt: format!("{alt}, working copy"),
            width: copy.width,
            height: copy.height,
            px_per_mm: px_per_mm(copy.ppi),
            reversed: Some(false),
            copy: true,
        },
        None => CardPicture {
            href: show::image_href(image),
            alt,
            width: image.width.unwrap_or(1),
            height: image.height.unwrap_or(1),
            px_per_mm: px_per_mm(image.ppi),
            reversed: match image.orientation.reads.as_str() {
                "direct" => Some(false),
                "reversed" => Some(true),
                _ => None,
            },
            copy: false,
        },
    })
}

/// Whether the picture on the card is drawn at its true size.
fn to_scale(file: &ItemFile) -> bool {
    picture(file).is_some_and(|p| p.px_per_mm.is_some())
}

fn drawn_card(file: &ItemFile) -> String {
    let on_card = is_card(file);
    let m = &file.mark;
    let method = m.developments.last().map_or_else(
        || file.recovery.medium_name.clone(),
        |d| format!("{}; {}", d.name, file.recovery.medium_name),
    );
    let back = vec![
        ("Case".to_owned(), file.case.number.clone()),
        ("Place".to_owned(), m.scene_name.clone()),
        (
            "Object".to_owned(),
            format!("{}, {}", m.object, m.exact_place),
        ),
        ("Method".to_owned(), method),
        ("Who".to_owned(), file.recovery.by_name.clone()),
        ("When".to_owned(), file.recovery.when.clone()),
    ];
    let (width_mm, height_mm) = if on_card {
        (127.0, 76.2)
    } else {
        (300.0, 200.0)
    };
    card::draw(&Card {
        kind: if on_card {
            CardKind::Card
        } else {
            CardKind::Box
        },
        width_mm,
        height_mm,
        black: file.recovery.card == "black",
        picture: picture(file),
        up_marked: !m.up.is_empty(),
        number: file.name.clone(),
        code: file.code_grouped.clone(),
        back,
    })
}

/// The timer while it sets, and the window in words: as recorded, or for an older record by the rules in force.
fn timer(file: &ItemFile, rules: &TradeRules) -> (Option<Timer>, String) {
    let r = &file.recovery;
    let window = rules
        .medium_ever(&r.medium)
        .and_then(|m| rules.set_window(m, r.air_c, r.thickness));
    let Some(window) = window else {
        return (None, r.set_window.clone());
    };
    let words = if r.set_window.is_empty() {
        window.sentence()
    } else {
        r.set_window.clone()
    };
    let shown = match (r.set_at, window.usual.or(window.earliest)) {
        (None, Some(figure)) => Some(Timer {
            seconds: figure.seconds,
            since: r.started_at.to_rfc3339(),
            words: words.clone(),
        }),
        _ => None,
    };
    (shown, words)
}

fn facts(file: &ItemFile) -> Vec<(String, String)> {
    let r = &file.recovery;
    let with = |name: &str, unit: &str| {
        if name.is_empty() {
            String::new()
        } else {
            format!("{name}{unit}")
        }
    };
    let mut rows = vec![
        ("What", r.description.clone()),
        (
            "Recovered as",
            format!("{} ({})", r.form_words, r.medium_name),
        ),
        ("Lot", r.lot.clone()),
        ("Put on", r.started.clone()),
        ("Set", r.set.clone()),
        (
            "Air",
            with(
                &r.air_c.map(|c| c.to_string()).unwrap_or_default(),
                " \u{b0}C",
            ),
        ),
        (
            "Thickness",
            r.thickness.map(|t| t.words()).unwrap_or_default(),
        ),
        ("Backing card", r.card.clone()),
        ("Recovered", format!("{} by {}", r.when, r.by_name)),
        ("It is", r.facts.join(", ")),
        ("Warnings on the record", r.warnings.join(" ")),
        ("Advice that was shown", r.advice_words.clone()),
        ("Packing as recorded", r.packing_as_recorded.join(", ")),
    ];
    rows.retain(|(_, v)| !v.is_empty());
    rows.into_iter().map(|(k, v)| (k.to_owned(), v)).collect()
}

/// What may be done about exhibit numbers and holds of the item, behind the other acts.
fn holds(reader: &Reader<'_>, item: &Item, mut buttons: Vec<Button>) -> Vec<Button> {
    if reader.viewer().may(Action::SetExhibit) {
        let label = if item.exhibits.is_empty() {
            "Give an exhibit number"
        } else {
            "Give another exhibit number"
        };
        buttons.push(Button::new(
            format!("/do/set-exhibit?item={}", item.id),
            label,
        ));
    }
    if reader.viewer().may(Action::Hold) {
        let of = Subject::Item(item.id);
        buttons.push(Button::new(
            format!("/do/place-hold?of={of}"),
            "Place a hold",
        ));
        if crate::custody::hold::standing(&item.holds).next().is_some() {
            buttons.push(Button::new(format!("/do/lift-hold?of={of}"), "Lift a hold"));
        }
    }
    buttons
}

/// What may be taken from the item as an item of its own, behind the other acts: by whoever has it unpacked.
fn samples(reader: &Reader<'_>, item: &Item, mut buttons: Vec<Button>) -> Vec<Button> {
    let held = match (&item.custody.holder, reader.viewer().id()) {
        (Holder::Person { person }, Some(me)) => *person == me,
        _ => false,
    };
    if held
        && item.custody.inside.is_none()
        && item.custody.offer.is_none()
        && reader.viewer().may(Action::RecordScene)
    {
        buttons.push(Button::new(
            format!("/do/recover?mark={}&from_item={}", item.mark, item.id),
            "Take something from it",
        ));
    }
    buttons
}

/// The page of an item.
pub async fn page(
    State(app): State<App>,
    visitor: Visitor,
    Path(id): Path<ItemId>,
    RawQuery(query): RawQuery,
) -> Result<Response, Failure> {
    let reader = visitor.reader(&app);
    let item = reader.item(id).await?;
    let case = reader.case(item.case).await?;
    show::noted(&reader, &case, "page of an item").await?;
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
    let (timer, set_words) = timer(&file, &app.house().rules);
    draw(&ItemPage {
        frame: show::framed(frame, show::with_next(said, &file.next_acts)),
        facts: {
            let mut all = facts(&file);
            all.extend(show::exhibits(&item.exhibits, options.zone));
            all.extend(show::consumed(&item.consumed, options.zone));
            all.extend(show::expunged(item.expunged.as_ref()));
            all.extend(show::held(&item.holds, options.zone));
            all
        },
        buttons: holds(
            &reader,
            &item,
            samples(&reader, &item, show::buttons(&file.next_acts)),
        ),
        labels: show::item_labels(is_card(&file)),
        may: May::of(&reader),
        recovered_seq: file
            .rows
            .iter()
            .find(|r| r.kind == "item.recovered")
            .map(|r| r.seq),
        card: drawn_card(&file),
        card_hint: if file.images.is_empty() && !file.mark.images.is_empty() {
            "The picture is a photograph of the mark; there is none of the item yet."
        } else if is_card(&file) && to_scale(&file) {
            "Drawn as a card of 3 by 5 inches, the picture at its true size on it where it fits."
        } else if is_card(&file) {
            "Drawn as a card of 3 by 5 inches; the scale is that of the card, not of the picture."
        } else {
            "Drawn as a box of 300 by 200 mm; its size is not on the record."
        },
        thread: thread::draw(&file.thread, &options, "item"),
        steps: show::drawn_steps(&file.orientation),
        timer,
        set_words,
        file,
    })
}
