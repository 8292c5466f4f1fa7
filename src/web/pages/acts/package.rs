//! Forms of packages: pack, put in, take out, seal, open. What the packing rules allow stands in the choice, with the
//! rule where they forbid.

use chrono::{DateTime, FixedOffset};
use serde_json::{Map, Value};

use super::choices::{About, cautions_of, in_my_hands, seen};
use super::{Sheet, case};
use crate::app::views::boxes::{Boxes, StockBox, boxes, stocked};
use crate::app::views::keeping::{Keeping, RuleWords, keeping};
use crate::app::views::seal_stock::next_of;
use crate::app::views::times::times;
use crate::app::views::words::{capital, listed};
use crate::app::{Reader, Thing, knowledge};
use crate::custody::State;
use crate::custody::rules::Trade;
use crate::custody::state::{self, Package};
use crate::ids::{CaseId, PackageId, Piece, Subject};
use crate::keeping::choosing::judge;
use crate::trade::TradeRules;
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};

const ALLOWED: &str = "Allowed";
const FORBIDDEN: &str = "Forbidden by a packing rule";

/// The container's name.
fn container_name<'a>(rules: &'a TradeRules, id: &'a str) -> &'a str {
    rules.container(id).map_or(id, |c| c.name.as_str())
}

/// What a thing asks to be packed in, in a sentence.
fn asks(rules: &TradeRules, thing: &state::Thing<'_>) -> String {
    keeping(rules, &knowledge::needs(rules, thing).unwrap_or_default()).sentence
}

/// A piece as a choice: what it is, and what it asks for.
fn piece_choice(rules: &TradeRules, state: &State, thing: &Thing) -> Choice {
    let piece = thing.piece();
    let what = match thing {
        Thing::Item(item) => item.recovered.description.clone(),
        Thing::Package(package) => package_words(rules, state, package),
    };
    let asks = state
        .thing(piece)
        .map(|t| asks(rules, &t))
        .unwrap_or_default();
    let stop = if what.ends_with('.') { "" } else { "." };
    Choice::new(
        piece.to_string(),
        format!("{}: {what}{stop} {asks}", capital(&thing.name())),
    )
}

fn package_words(rules: &TradeRules, state: &State, package: &Package) -> String {
    let inside: Vec<String> = package.contents.iter().map(|p| state.name(*p)).collect();
    let name = container_name(rules, &package.container);
    if inside.is_empty() {
        format!("{name}, empty")
    } else {
        format!("{name} with {}", listed(&inside))
    }
}

/// The containers, those that the rules allow for these things first, the best of them at the top. Rules in `told` stand
/// above the form in full.
pub(super) fn containers(
    rules: &TradeRules,
    things: &[state::Thing<'_>],
    told: &[RuleWords],
    now: DateTime<FixedOffset>,
) -> Vec<Choice> {
    let (mut allowed, mut forbidden) = (Vec::new(), Vec::new());
    let needs = knowledge::joined(rules, things);
    for judged in judge(rules.keeping(), &needs.packing) {
        let container = judged.container;
        let name = capital(&container.name);
        match Trade::container(rules, things, &container.id, None)
            .and_then(|()| rules.dry_enough(things, &container.id, now))
        {
            _ if things.is_empty() => allowed.push(Choice::new(&container.id, name)),
            Ok(()) => allowed.push(
                Choice::new(&container.id, format!("{name}: {}", judged.verdict.words()))
                    .within(ALLOWED),
            ),
            Err(why) => {
                let label = if told.iter().any(|r| r.rule == why.rule) {
                    format!("{name}: against rule {}", why.rule)
                } else {
                    format!("{name}: {} (rule {})", why.sentence, why.rule)
                };
                forbidden.push(Choice::new(&container.id, label).within(FORBIDDEN));
            }
        }
    }
    allowed.extend(forbidden);
    allowed
}

/// Separates the parts of a choice of stock; no kind of container holds it.
const PART: char = '|';
const STOCK: &str = "From stock, the smallest first";

/// A box in stock as a choice: the container, where it lies, what it is called there.
pub(super) fn stock_choice(b: &StockBox) -> Choice {
    let value = format!("{}{PART}{}{PART}{}", b.container, b.place, b.kind);
    let turned = if b.turned.is_empty() {
        String::new()
    } else {
        format!("; it lies {}", b.turned)
    };
    Choice::new(
        value,
        format!(
            "{} at {}: {}, {} inside, {} left{turned}",
            b.kind, b.place_name, b.container_name, b.inner_words, b.count
        ),
    )
    .within(STOCK)
}

/// A box of the stock names its container, its place and its kind in one field; the inside is three numbers.
pub(super) fn from_stock(fields: &mut Map<String, Value>) {
    super::stock::three_numbers(fields, "inner_mm");
    let Some(Value::String(chosen)) = fields.get("container").cloned() else {
        return;
    };
    let mut parts = chosen.splitn(3, PART);
    if let (Some(container), Some(place), Some(kind)) = (parts.next(), parts.next(), parts.next()) {
        fields.insert("container".into(), Value::from(container));
        fields.insert(
            "stock".into(),
            serde_json::json!({"place": place, "kind": kind}),
        );
    }
}

/// The pieces that the form names already: from where it was opened, or ticked in it.
fn named(typed: &Typed) -> Vec<Piece> {
    let mut out: Vec<Piece> = typed
        .all("contents")
        .into_iter()
        .filter_map(|p| p.parse().ok())
        .collect();
    if !typed.has("sent") {
        out.extend(typed.read::<Piece>("piece").ok());
    }
    out
}

/// Make a package. Opened with a case, or with a piece that goes in.
pub(super) async fn pack(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let case_id: CaseId = if typed.get("case").is_empty() && typed.has("piece") {
        reader.thing(typed.read("piece")?).await?.case()
    } else {
        typed.read("case")?
    };
    let case = reader.case(case_id).await?;
    let rules = &reader.house().rules;
    let mine = in_my_hands(reader, case_id).await?;
    let subjects: Vec<Subject> = mine.iter().map(|t| t.piece().into()).collect();
    let around = reader.around(&subjects).await?;
    let chosen = named(typed);
    let goes_in: Vec<Piece> = mine
        .iter()
        .map(Thing::piece)
        .filter(|p| chosen.contains(p))
        .collect();
    let things: Vec<state::Thing<'_>> = goes_in.iter().filter_map(|p| around.thing(*p)).collect();
    let mut facts = vec![("Case".into(), format!("{}, {}", case.number, case.title))];
    let mut told: Vec<RuleWords> = Vec::new();
    let zone = reader.house().zone().await?;
    let now = chrono::Utc::now().fixed_offset();
    let mut in_stock = Boxes::default();
    let intro = if things.is_empty() {
        "What you hold of this case is listed with what the rules ask for. A package that breaks a rule is refused, with the \
         reason."
            .to_owned()
    } else {
        let needs = knowledge::joined(rules, &things);
        let asks = keeping(rules, &needs);
        told.clone_from(&asks.packing);
        for rule in &asks.packing {
            facts.push((
                format!("Rule {}", rule.rule),
                format!("{} ({})", rule.sentence, rule.source),
            ));
        }
        on_label(&asks, &mut facts);
        for item in knowledge::items_in(&things) {
            for time in times(rules, item, zone, now) {
                facts.push((format!("Item {}, time", item.number), time.sentence));
            }
        }
        in_stock = boxes(
            rules,
            &needs,
            &knowledge::sizes(&things),
            &stocked(reader).await?,
        );
        for (name, said) in [
            ("Box from stock", &in_stock.sentence),
            ("Why not smaller", &in_stock.next_smaller),
        ] {
            if !said.is_empty() {
                facts.push((name.into(), said.clone()));
            }
        }
        for text in &asks.conflicts {
            facts.push(("Does not go together".into(), text.clone()));
        }
        asks.sentence
    };
    let everything: Vec<state::Thing<'_>> = if things.is_empty() {
        subjects_things(&around, &mine)
    } else {
        things.clone()
    };
    let mut contents = Input::new(
        "contents",
        "What goes in",
        Kind::Many(
            mine.iter()
                .map(|t| piece_choice(rules, &around, t))
                .collect(),
        ),
    )
    .hint(if mine.is_empty() {
        "You hold nothing of this case that is loose. An empty package can be filled later."
    } else {
        "What you hold of this case and what is in no package. All that is ticked goes into one package."
    });
    contents.values = goes_in.iter().map(ToString::to_string).collect();
    let mut cautions = vec![
        "Gloves, and a clean surface for each item. Nothing wet is closed up airtight before it has dried, and nothing sharp \
         goes into anything that it can cut through. Your local rules come first."
            .to_owned(),
    ];
    cautions.extend(cautions_of(rules, &everything));
    let mut choices: Vec<Choice> = in_stock
        .all
        .iter()
        .filter(|b| b.against.is_empty())
        .map(stock_choice)
        .collect();
    choices.extend(containers(rules, &things, &told, now));
    let mut container = Input::new("container", "Container", Kind::One(choices));
    if let Some(smallest) = &in_stock.smallest {
        container = container.value(stock_choice(smallest).value);
    }
    Ok(Sheet {
        title: "Pack".into(),
        thing: format!("a new package of case {}", case.number),
        intro,
        cautions,
        facts,
        inputs: vec![
            Input::hidden("case", case.id.to_string()),
            contents,
            container,
            Input::line("inner_mm", "Inside length, width, height in mm")
                .hint("Three numbers, where the container was measured and is not from stock: 180 x 120 x 60.")
                .optional(),
            Input::lines("note", "Note").optional(),
        ],
        arrange: Some(from_stock),
        submit: "Pack".into(),
        crumbs: case::crumbs(&case),
        done: format!("/cases/{}", case.id),
        about: Some(case),
        field: true,
        ..Sheet::default()
    })
}

/// What the label must carry.
fn on_label(asks: &Keeping, facts: &mut Vec<(String, String)>) {
    if !asks.labels.is_empty() {
        facts.push(("On its label".into(), listed(&asks.labels)));
    }
}

/// What the label must carry, and times to keep.
fn label_facts(asks: &Keeping, facts: &mut Vec<(String, String)>) {
    on_label(asks, facts);
    if !asks.times.is_empty() {
        facts.push(("Time".into(), asks.times.join(" ")));
    }
}

fn subjects_things<'a>(state: &'a State, things: &[Thing]) -> Vec<state::Thing<'a>> {
    things
        .iter()
        .filter_map(|t| state.thing(t.piece()))
        .collect()
}

/// The package that a form is about: by `package`, or by `piece`.
pub(super) fn package_of(typed: &Typed) -> Result<PackageId, Failure> {
    if !typed.get("package").is_empty() {
        return typed.read("package");
    }
    match typed.read("piece")? {
        Piece::Package(id) => Ok(id),
        Piece::Item(_) => Err(Failure::unreadable("this form is about a package")),
    }
}

/// A package with its sheet, which names it in the field `package`.
async fn about(
    reader: &Reader<'_>,
    typed: &Typed,
    verb: &str,
) -> Result<(PackageId, About, Sheet), Failure> {
    let id = package_of(typed)?;
    let about = About::of(reader, Piece::Package(id)).await?;
    let mut sheet = about.sheet(verb);
    sheet.inputs = vec![Input::hidden("package", id.to_string())];
    if let Thing::Package(package) = &about.thing {
        let name = container_name(&reader.house().rules, &package.container);
        sheet.facts.insert(2, ("Container".into(), name.to_owned()));
        if package.contents.is_empty() {
            sheet.facts.push(("In it".into(), "nothing".into()));
        }
        // The number is read off the package, so it is not shown here.
        let seal = if about.is_sealed() {
            "sealed"
        } else {
            "no seal on it"
        };
        sheet.facts.push(("Seal now".into(), seal.into()));
    }
    Ok((id, about, sheet))
}

/// The form was opened from a piece; the package is chosen in it.
fn drop_from(fields: &mut Map<String, Value>) {
    fields.remove("from");
}

/// Put a piece into an open package. Opened with the package, or with an item that is to go into one.
pub(super) async fn put_in(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let from_item = matches!(typed.read::<Piece>("piece"), Ok(Piece::Item(_)));
    if typed.get("from") == "piece" || (from_item && typed.get("package").is_empty()) {
        return put_piece(reader, typed).await;
    }
    let (id, about, mut sheet) = about(reader, typed, "Put something into").await?;
    sheet.submit = "Put it in".into();
    let rules = &reader.house().rules;
    let Thing::Package(package) = &about.thing else {
        return Err(Failure::unreadable("this form is about a package"));
    };
    let mut mine = in_my_hands(reader, about.case.id).await?;
    let outermost = about.state.outermost(Piece::Package(id));
    mine.retain(|t| t.piece() != Piece::Package(id) && t.piece() != outermost);
    let mut subjects: Vec<Subject> = mine.iter().map(|t| t.piece().into()).collect();
    subjects.push(Subject::Package(id));
    let around = reader.around(&subjects).await?;
    let choices = by_rule(
        mine.iter()
            .map(|t| (piece_choice(rules, &around, t), t.piece())),
        |piece| fits(rules, &around, package, piece),
    );
    sheet.intro =
        "What you hold of this case and what is in no package, by what the packing rules say of it in there.".into();
    sheet.cautions = cautions_of(rules, &subjects_things(&around, &mine));
    sheet
        .inputs
        .push(Input::new("piece", "What goes in", Kind::One(choices)));
    sheet.field = true;
    Ok(sheet)
}

async fn put_piece(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let about = About::read(reader, typed).await?;
    let mut sheet = about.sheet("Put into a package:");
    sheet.submit = "Put it in".into();
    let rules = &reader.house().rules;
    let mine = in_my_hands(reader, about.case.id).await?;
    let mut subjects: Vec<Subject> = mine.iter().map(|t| t.piece().into()).collect();
    subjects.push(about.piece.into());
    let around = reader.around(&subjects).await?;
    let packages: Vec<&Package> = mine
        .iter()
        .filter_map(|t| match t {
            Thing::Package(p) if p.seal().is_none() && t.piece() != about.piece => Some(&**p),
            _ => None,
        })
        .collect();
    let choices = by_rule(
        packages.iter().map(|p| {
            let words = package_words(rules, &around, p);
            let choice = Choice::new(p.id.to_string(), format!("Package P{}, {words}", p.number));
            (choice, *p)
        }),
        |package| fits(rules, &around, package, about.piece),
    );
    sheet.intro = around
        .thing(about.piece)
        .map(|t| asks(rules, &t))
        .unwrap_or_default();
    sheet.cautions = about.cautions(rules);
    sheet.inputs.push(
        Input::new("package", "Into which package", Kind::One(choices))
            .hint("The open packages of this case that you hold."),
    );
    sheet.inputs.push(Input::hidden("from", "piece"));
    sheet.arrange = Some(drop_from);
    sheet.field = true;
    Ok(sheet)
}

/// Why a piece may not go into a package, in a sentence.
fn fits(rules: &TradeRules, state: &State, package: &Package, piece: Piece) -> Option<String> {
    let things: Vec<state::Thing<'_>> = package
        .contents
        .iter()
        .copied()
        .chain([piece])
        .filter_map(|p| state.thing(p))
        .collect();
    let now = chrono::Utc::now().fixed_offset();
    let why = Trade::container(rules, &things, &package.container, package.inner_mm)
        .and_then(|()| rules.dry_enough(&things, &package.container, now))
        .err()?;
    Some(format!("{} (rule {})", why.sentence, why.rule))
}

/// Choices that the rules allow first, the others with the rule.
fn by_rule<T>(
    choices: impl Iterator<Item = (Choice, T)>,
    against: impl Fn(T) -> Option<String>,
) -> Vec<Choice> {
    let (mut allowed, mut forbidden) = (Vec::new(), Vec::new());
    for (mut choice, thing) in choices {
        match against(thing) {
            None => allowed.push(choice.within(ALLOWED)),
            Some(why) => {
                choice.label = format!("{}: {why}", choice.label.trim_end_matches('.'));
                forbidden.push(choice.within(FORBIDDEN));
            }
        }
    }
    allowed.extend(forbidden);
    allowed
}

/// Take a piece out of an open package. Opened with the package, or with the piece.
pub(super) async fn take_out(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let id = if typed.get("package").is_empty() {
        let thing = reader.thing(typed.read("piece")?).await?;
        match (thing.custody().inside, thing.piece()) {
            (Some(around), _) => around,
            (None, Piece::Package(id)) => id,
            (None, Piece::Item(_)) => {
                return Err(Failure::new(
                    axum::http::StatusCode::CONFLICT,
                    "not-inside",
                    &format!("{} is in no package.", capital(&thing.name())),
                    "Look at its page for where it is.",
                ));
            }
        }
    } else {
        typed.read("package")?
    };
    let within = Typed(vec![("package".into(), id.to_string())]);
    let (_, about, mut sheet) = about(reader, &within, "Take something out of").await?;
    sheet.submit = "Take it out".into();
    let rules = &reader.house().rules;
    let contents = match &about.thing {
        Thing::Package(p) => p.contents.as_slice(),
        Thing::Item(_) => &[],
    };
    let choices = contents
        .iter()
        .map(|p| {
            let label = about.state.items_in(*p).first().map_or_else(
                || capital(&about.state.name(*p)),
                |item| {
                    let name = capital(&about.state.name(*p));
                    format!("{name}: {}", item.recovered.description)
                },
            );
            Choice::new(p.to_string(), label)
        })
        .collect();
    sheet.cautions = vec![
        "Gloves, and a clean surface. Feel for nothing that you cannot see: it may cut, and its marks may smear. Your local \
         rules come first."
            .into(),
    ];
    sheet.cautions.extend(about.cautions(rules));
    sheet
        .inputs
        .push(Input::new("piece", "What comes out", Kind::One(choices)));
    sheet.inputs.push(Input::line("reason", "Why"));
    Ok(sheet)
}

/// Seal a package.
pub(super) async fn seal(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let (_, about, mut sheet) = about(reader, typed, "Seal").await?;
    let rules = &reader.house().rules;
    if let Some(thing @ state::Thing::Package { .. }) = about.state.thing(about.piece)
        && let state::Thing::Package { contents, .. } = &thing
    {
        let asks = keeping(rules, &knowledge::joined(rules, contents));
        label_facts(&asks, &mut sheet.facts);
    }
    sheet.intro = "A seal goes across every opening. Each number is used once; the same number is never given to another \
                   package."
        .into();
    let hint = match reader.viewer().id() {
        Some(me) => next_of(reader, me).await?,
        None => None,
    };
    let hint = hint.map_or_else(
        || "As printed on the seal. Type it or scan it.".to_owned(),
        |next| format!("As printed on the seal. Type it or scan it. The next unused one that you were issued is {next}."),
    );
    sheet.inputs.extend([
        Input::line("number", "Seal number").hint(hint),
        Input::new(
            "initialled",
            "Initials and date stand across the seal and on the package",
            Kind::Yes,
        ),
    ]);
    sheet.field = true;
    Ok(sheet)
}

/// Open a sealed package.
pub(super) async fn open(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let (_, about, mut sheet) = about(reader, typed, "Open").await?;
    sheet.intro = "Read the seal number before you cut. Cut beside the old seal and leave it on the package: it is part of \
                   the record."
        .into();
    sheet.cautions = vec![
        "A blade: cut away from yourself and away from what is inside, with gloves that resist cuts. What is inside may be \
         sharp or bear blood, dried blood too. Your local rules come first."
            .into(),
    ];
    sheet.cautions.extend(about.cautions(&reader.house().rules));
    sheet.inputs.push(Input::line("reason", "Why it is opened"));
    sheet.inputs.extend(seen(true));
    sheet.sentence = format!(
        "I opened {} after reading the seal number given here, and saw it in the condition given here.",
        about.thing.name()
    );
    Ok(sheet)
}
