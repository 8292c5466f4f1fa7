//! Forms of the stock of boxes: count a kind of box, take boxes from stock.

use serde_json::{Map, Value};

use super::Sheet;
use crate::app::Reader;
use crate::app::views::words::capital;
use crate::custody::state::Place;
use crate::keeping::fitting;
use crate::people::Action;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};
use crate::web::frame::Link;

/// Takes "100 x 75 x 40" apart into three numbers; what cannot be read stays for the refusal.
pub(super) fn three_numbers(fields: &mut Map<String, Value>, name: &str) {
    let Some(Value::String(text)) = fields.get(name) else {
        return;
    };
    let numbers: Vec<u32> = text
        .split(|c: char| !c.is_ascii_digit())
        .filter(|p| !p.is_empty())
        .filter_map(|p| p.parse().ok())
        .collect();
    if let [a, b, c] = numbers[..] {
        fields.insert(name.to_owned(), Value::from(vec![a, b, c]));
    }
}

fn inside(fields: &mut Map<String, Value>) {
    three_numbers(fields, "inner_mm");
}

fn sheet_of(place: &Place, title: String) -> Sheet {
    let stock: Vec<String> = place
        .stock
        .iter()
        .map(|l| {
            format!(
                "{}: {} left, {} inside",
                l.kind,
                l.count,
                fitting::words(l.inner_mm)
            )
        })
        .collect();
    let page = format!("/places/{}", place.id);
    let mut facts = vec![("Place".to_owned(), place.added.name.clone())];
    facts.push((
        "In stock by the record".into(),
        if stock.is_empty() {
            "nothing".into()
        } else {
            stock.join("; ")
        },
    ));
    Sheet {
        title,
        thing: format!("the stock of boxes at {}", place.added.name),
        facts,
        inputs: vec![Input::hidden("place", place.id.to_string())],
        crumbs: vec![
            Link::new("/places", "Places"),
            Link::new(page.clone(), place.added.name.clone()),
        ],
        done: format!("{page}#stock"),
        ..Sheet::default()
    }
}

/// Count a kind of box.
pub(super) async fn set(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::Keep)?;
    let place = reader.place(typed.read("place")?).await?;
    let known = place.stock.iter().find(|l| l.kind == typed.get("kind"));
    let mut sheet = sheet_of(&place, format!("Count boxes at {}", place.added.name));
    sheet.intro = "What is counted here is what packing proposes from. A kind that is counted as none goes off the list.".into();
    sheet.submit = "Put the count on the record".into();
    let containers = reader
        .house()
        .rules
        .containers()
        .iter()
        .map(|c| Choice::new(&c.id, capital(&c.name)))
        .collect();
    let mut kind = Input::line("kind", "What the office calls it")
        .hint("Printed on the pile or the carton: B2, flat 250.");
    let mut container = Input::new("container", "Kind of container", Kind::One(containers));
    let mut inner = Input::line("inner_mm", "Inside length, width, height in mm")
        .hint("Three numbers: 100 x 75 x 40.");
    let mut count = Input::new("count", "How many there are", Kind::Whole);
    if let Some(line) = known {
        kind = kind.value(line.kind.clone());
        container = container.value(line.container.clone());
        let [l, w, h] = line.inner_mm;
        inner = inner.value(format!("{l} x {w} x {h}"));
        count = count.value(line.count.to_string());
    }
    sheet.inputs.extend([kind, container, inner, count]);
    sheet.arrange = Some(inside);
    Ok(sheet)
}

/// Take boxes from stock without packing.
pub(super) async fn take(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    reader.must(Action::Pack)?;
    let place = reader.place(typed.read("place")?).await?;
    let mut sheet = sheet_of(&place, format!("Take boxes from {}", place.added.name));
    sheet.intro = "For a van, or because they are spoiled. A box that is packed here is taken from stock by packing.".into();
    sheet.submit = "Take them".into();
    let kinds = place
        .stock
        .iter()
        .map(|l| Choice::new(&l.kind, format!("{}: {} left", l.kind, l.count)))
        .collect();
    sheet.inputs.extend([
        Input::new("kind", "Kind of box", Kind::One(kinds)),
        Input::new("count", "How many", Kind::Whole),
        Input::line("purpose", "What for"),
    ]);
    Ok(sheet)
}
