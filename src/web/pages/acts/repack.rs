//! The form that splits, merges and packs anew: contents of packages in a new one.

use serde_json::{Map, Value, json};

use super::Sheet;
use super::choices::{About, in_my_hands, seen};
use super::package::{containers, from_stock, package_of, stock_choice};
use crate::app::views::boxes::{boxes, stocked};
use crate::app::views::keeping::keeping;
use crate::app::views::words::capital;
use crate::app::{Reader, Thing, knowledge};
use crate::custody::repack::Why;
use crate::custody::state::{self, Package};
use crate::ids::{Piece, Subject};
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};

/// How many other packages the form offers to merge with.
const MOST_OTHERS: usize = 20;
const ALSO: &str = "also";

/// The seal of another package: a field of its own, since each is read off its package.
const SEAL_OF: &str = "seal_of";

/// The sources are the package that the form is about and those ticked beside it, each with its seal.
fn arranged(fields: &mut Map<String, Value>) {
    from_stock(fields);
    let mut take = |name: &str| fields.remove(name);
    let mut first = Map::new();
    for name in ["package", "seal_seen", "condition"] {
        first.extend(take(name).map(|v| (name.to_owned(), v)));
    }
    first.extend(take("seen_note").map(|v| ("note".to_owned(), v)));
    let also = take(ALSO);
    let seals = take(SEAL_OF);
    let mut all = vec![Value::Object(first)];
    for package in also
        .as_ref()
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
    {
        let seal = seals
            .as_ref()
            .and_then(|s| s.get(package.as_str().unwrap_or_default()));
        let seal = seal.cloned().unwrap_or_else(|| Value::from(""));
        all.push(json!({"package": package, "seal_seen": seal}));
    }
    fields.insert("sources".into(), Value::Array(all));
}

fn content_choice(state: &crate::custody::State, from: &Package, piece: Piece) -> Choice {
    let name = capital(&state.name(piece));
    let what = match piece {
        Piece::Item(id) => state
            .items
            .get(&id)
            .map(|i| format!(": {}", i.recovered.description)),
        Piece::Package(_) => None,
    };
    Choice::new(
        piece.to_string(),
        format!("{name}{}", what.unwrap_or_default()),
    )
    .within(format!("In package P{}", from.number))
}

/// Split a package, merge it with others, or pack it anew.
pub(super) async fn repack(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let id = package_of(typed)?;
    let about = About::of(reader, Piece::Package(id)).await?;
    let Thing::Package(package) = &about.thing else {
        return Err(Failure::unreadable("this form is about a package"));
    };
    let rules = &reader.house().rules;
    let mine = in_my_hands(reader, about.case.id).await?;
    let others: Vec<&Package> = mine
        .iter()
        .filter_map(|t| match t {
            Thing::Package(p) if p.id != id && !p.contents.is_empty() => Some(&**p),
            _ => None,
        })
        .take(MOST_OTHERS)
        .collect();
    let mut subjects: Vec<Subject> = others.iter().map(|p| Subject::Package(p.id)).collect();
    subjects.push(Subject::Package(id));
    let around = reader.around(&subjects).await?;
    let also = typed.all(ALSO);
    let merged = || {
        others
            .iter()
            .filter(|p| also.contains(&p.id.to_string().as_str()))
    };

    let mut sheet = about.sheet("Split, merge or pack anew:");
    sheet.submit = "Pack anew".into();
    sheet.look = "Show what these ask for".into();
    sheet.intro = "A new package is made of what is in this one, or of some of it, with what is in others that you hold. The old \
                   package stays on the record with its seals; emptied, it is closed. Keep the old packaging as your local rules ask."
        .into();
    sheet.cautions = vec![
        "A blade: cut beside the old seal, away from yourself and from what is inside, with gloves that resist cuts. What is \
         inside may be sharp or bear blood. Fresh gloves and a clean surface for each item. Your local rules come first."
            .into(),
    ];
    sheet.cautions.extend(about.cautions(rules));

    let ticked = typed.all("contents");
    let sources: Vec<&Package> = std::iter::once(&**package)
        .chain(merged().copied())
        .collect();
    let all: Vec<(&Package, Piece)> = sources
        .iter()
        .flat_map(|p| p.contents.iter().map(|c| (*p, *c)))
        .collect();
    let goes = |piece: &Piece| ticked.is_empty() || ticked.contains(&piece.to_string().as_str());
    let things: Vec<state::Thing<'_>> = all
        .iter()
        .filter(|(_, p)| goes(p))
        .filter_map(|(_, p)| around.thing(*p))
        .collect();
    let needs = knowledge::joined(rules, &things);
    let asks = keeping(rules, &needs);
    for rule in &asks.packing {
        sheet.facts.push((
            format!("Rule {}", rule.rule),
            format!("{} ({})", rule.sentence, rule.source),
        ));
    }
    let in_stock = boxes(
        rules,
        &needs,
        &knowledge::sizes(&things),
        &stocked(reader).await?,
    );
    let now = chrono::Utc::now().fixed_offset();
    let mut choices: Vec<Choice> = in_stock
        .all
        .iter()
        .filter(|b| b.against.is_empty())
        .map(stock_choice)
        .collect();
    choices.extend(containers(rules, &things, &asks.packing, now));

    let whys = Why::ALL
        .map(|w| Choice::new(w.word(), capital(w.words())))
        .to_vec();
    sheet.inputs = vec![
        Input::hidden("package", id.to_string()),
        Input::new("why", "Why", Kind::One(whys)),
        Input::line("reason", "The reason in words")
            .hint("It stands on the record of each package."),
    ];
    for mut input in seen(about.is_sealed()) {
        if input.name == "note" {
            input.name = "seen_note".into();
            input.label = "Note on that condition".into();
        }
        sheet.inputs.push(input);
    }
    if !others.is_empty() {
        let choices = others
            .iter()
            .map(|p| {
                let what: Vec<String> = p.contents.iter().map(|c| around.name(*c)).collect();
                let sealed = if p.seal().is_some() { ", sealed" } else { "" };
                Choice::new(
                    p.id.to_string(),
                    format!("Package P{}{sealed}: {}", p.number, what.join(", ")),
                )
            })
            .collect();
        sheet.inputs.push(
            Input::new(ALSO, "Merge with", Kind::Many(choices)).hint(
                "Packages of this case that you hold. One that is not intact is opened by itself first, so that its condition is on the record.",
            ),
        );
        for other in others.iter().filter(|p| p.seal().is_some()) {
            sheet.inputs.push(
                Input::line(
                    &format!("{SEAL_OF}.{}", other.id),
                    &format!("Seal number that you see on package P{}", other.number),
                )
                .hint("Only where it is ticked above.")
                .optional(),
            );
        }
    }
    let contents = all
        .iter()
        .map(|(from, p)| content_choice(&around, from, *p))
        .collect();
    sheet.inputs.extend([
        Input::new("contents", "What goes over", Kind::Many(contents)).hint(
            "Nothing ticked: everything. Tick some to split. What other packages hold is listed once they are ticked and looked at.",
        ),
        Input::new("container", "New container", Kind::One(choices)),
        Input::line("inner_mm", "Inside length, width, height in mm")
            .hint("Three numbers, where the container was measured and is not from stock: 180 x 120 x 60.")
            .optional(),
        Input::line("seal", "New seal number")
            .hint("As printed on the seal; leave it empty to seal later. Each number is used once.")
            .optional(),
        Input::new(
            "initialled",
            "Initials and date stand across the new seal and on the package",
            Kind::Yes,
        ),
        Input::lines("note", "Note on the new package").optional(),
    ]);
    sheet.arrange = Some(arranged);
    sheet.sentence = format!(
        "I packed the contents named here anew, out of {} and any package merged with it, after reading the seal numbers given here.",
        about.thing.name()
    );
    sheet.field = true;
    Ok(sheet)
}
