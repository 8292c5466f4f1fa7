//! Labels: an item, a package or a place of the ledger becomes the model of a label, is printed, and goes on the record.

use std::collections::BTreeSet;
use std::fmt;
use std::str::FromStr;

use chrono::Utc;

use super::{By, Layout, PaperError, Printed, agency, aside, day_and_time, file_name, hand_out};
use crate::app::agency::Agency;
use crate::app::reader::{Part, Reader};
use crate::custody::mark::MarkKind;
use crate::custody::paper::LabelPrinted;
use crate::custody::place::PlaceKind;
use crate::custody::state::{Item, Mark, Package, State};
use crate::custody::{Act, package::MAX_DEPTH};
use crate::ids::{CaseId, CommandId, ItemId, PackageId, Piece, PlaceId, Subject};
use crate::lifting::method::MarkTone;
use crate::people::Action;
use crate::reports::ReportError;
use crate::reports::label::{self as paper, Label, MOST_CARDS, Orientation};
use crate::reports::paper::Card;
use crate::reports::place_label::{PlaceLabel, place_label};
use crate::trade::TradeRules;

/// Which label.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LabelKind {
    /// The front of a lift card.
    CardFront,
    /// The back of a lift card.
    CardBack,
    /// Front and back, two pages.
    Card,
    /// A box.
    Box,
    /// An envelope.
    Envelope,
    /// A strip across a closure.
    SealStrip,
    /// A place in the storeroom.
    Place,
}

impl LabelKind {
    /// Every kind.
    pub const ALL: [Self; 7] = [
        Self::CardFront,
        Self::CardBack,
        Self::Card,
        Self::Box,
        Self::Envelope,
        Self::SealStrip,
        Self::Place,
    ];
    /// Those of an item.
    pub const OF_ITEM: [Self; 6] = [
        Self::Card,
        Self::CardFront,
        Self::CardBack,
        Self::Box,
        Self::Envelope,
        Self::SealStrip,
    ];
    /// Those of a package.
    pub const OF_PACKAGE: [Self; 3] = [Self::Box, Self::Envelope, Self::SealStrip];

    /// The word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::CardFront => "card-front",
            Self::CardBack => "card-back",
            Self::Card => "card",
            Self::Box => "box",
            Self::Envelope => "envelope",
            Self::SealStrip => "seal-strip",
            Self::Place => "place",
        }
    }

    fn is_card(self) -> bool {
        matches!(self, Self::CardFront | Self::CardBack | Self::Card)
    }
}

impl fmt::Display for LabelKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

impl FromStr for LabelKind {
    type Err = String;

    fn from_str(s: &str) -> Result<Self, String> {
        Self::ALL
            .into_iter()
            .find(|k| k.word() == s)
            .ok_or_else(|| format!("there is no label {s}; there are: {}", words(&Self::ALL)))
    }
}

fn words(kinds: &[LabelKind]) -> String {
    let all: Vec<&str> = kinds.iter().map(|k| k.word()).collect();
    all.join(", ")
}

/// What every caution on a label defers to.
const LOCAL_RULES: &str = "follow local safety rules";

/// The size of a card as a word: `3x5`, `4x6`.
#[must_use]
pub fn card_word(card: Card) -> &'static str {
    match card {
        Card::ThreeByFive => "3x5",
        Card::FourBySix => "4x6",
    }
}

/// What goes on the record as the label's kind.
fn on_record(kind: LabelKind, card: Card) -> String {
    if kind.is_card() {
        format!("{} {}", kind.word(), card_word(card))
    } else {
        kind.word().to_owned()
    }
}

/// Prints a label of an item.
///
/// # Errors
/// [`PaperError::Read`] where the viewer may not print or see it, [`PaperError::Kind`] for a label that an item has not,
/// [`PaperError::Report`] for a text that cannot be printed, [`PaperError::Record`].
pub async fn item_label(
    reader: &Reader<'_>,
    by: By,
    item: ItemId,
    kind: LabelKind,
    card: Card,
    layout: &Layout,
) -> Result<Printed, PaperError> {
    reader.must(Action::PrintLabel)?;
    let item = reader.item(item).await?;
    if !LabelKind::OF_ITEM.contains(&kind) {
        return Err(wrong(
            &format!("item {}", item.number),
            kind,
            &LabelKind::OF_ITEM,
        ));
    }
    let state = reader.around(&[Subject::Item(item.id)]).await?;
    let label = of_item(
        &state,
        &reader.house().rules,
        &item,
        &agency(reader, layout).await?,
    );
    let name = file_name(&[&label.case_number, "item", &label.item_number, kind.word()]);
    print(reader, by, Subject::Item(item.id), kind, card, label, name).await
}

/// Prints a label of a package.
///
/// # Errors
/// As [`item_label`].
pub async fn package_label(
    reader: &Reader<'_>,
    by: By,
    package: PackageId,
    kind: LabelKind,
    layout: &Layout,
) -> Result<Printed, PaperError> {
    reader.must(Action::PrintLabel)?;
    let package = reader.package(package).await?;
    if !LabelKind::OF_PACKAGE.contains(&kind) {
        let thing = format!("package P{}", package.number);
        return Err(wrong(&thing, kind, &LabelKind::OF_PACKAGE));
    }
    let state = reader.around(&[Subject::Package(package.id)]).await?;
    let label = of_package(
        &state,
        &reader.house().rules,
        &package,
        &agency(reader, layout).await?,
    );
    let name = file_name(&[&label.case_number, &label.package_number, kind.word()]);
    let of = Subject::Package(package.id);
    print(reader, by, of, kind, Card::default(), label, name).await
}

/// Prints the label of a place in the storeroom.
///
/// # Errors
/// As [`item_label`].
pub async fn place(
    reader: &Reader<'_>,
    by: By,
    place: PlaceId,
    layout: &Layout,
) -> Result<Printed, PaperError> {
    reader.must(Action::PrintLabel)?;
    let place = reader.place(place).await?;
    let mut within = Vec::new();
    let mut parent = place.added.parent;
    while let Some(id) = parent.filter(|_| within.len() < MAX_DEPTH) {
        let outer = reader.place(id).await?;
        parent = outer.added.parent;
        within.push(outer.added.name);
    }
    within.reverse();
    let rules = &reader.house().rules;
    let mut keeps = vec![
        rules
            .climate(&place.added.climate)
            .map_or_else(|| place.added.climate.clone(), |c| c.name.clone()),
    ];
    keeps.extend(place.added.damp.then(|| "damp".to_owned()));
    keeps.extend(place.added.lit.then(|| "daylight".to_owned()));
    let id = CommandId::new();
    let model = PlaceLabel {
        agency: agency(reader, layout).await?.name,
        name: place.added.name.clone(),
        kind: place_kind(place.added.place_kind).into(),
        within: within.join(", "),
        keeps: keeps.join(", "),
        code: place.code.to_string(),
        code_grouped: place.code.grouped(),
        printed_at: Utc::now(),
        print_id: id.to_string(),
    };
    let name = file_name(&["place", &place.added.name]);
    let bytes = aside(move || place_label(&model)).await?;
    let kind = LabelKind::Place.word().to_owned();
    of_each(
        reader,
        by,
        id,
        vec![Subject::Place(place.id)],
        kind,
        bytes,
        name,
    )
    .await
}

/// Prints the cards of several items of a case on sheets, fronts and backs; no items named means every item of it. Each
/// item's record gets the print.
///
/// # Errors
/// As [`item_label`]; [`PaperError::Count`] for no items, or more than [`MOST_CARDS`].
pub async fn sheet(
    reader: &Reader<'_>,
    by: By,
    case: CaseId,
    items: &[ItemId],
    card: Card,
    layout: &Layout,
) -> Result<Printed, PaperError> {
    reader.must(Action::PrintLabel)?;
    let case = reader.case(case).await?;
    let wanted: BTreeSet<ItemId> = items.iter().copied().collect();
    let mut chosen: Vec<Item> = Vec::new();
    let mut part = Part::default();
    loop {
        let page = reader.items_of(case.id, &part).await?;
        chosen.extend(
            page.rows
                .into_iter()
                .filter(|i| wanted.is_empty() || wanted.contains(&i.id)),
        );
        if chosen.len() > MOST_CARDS {
            return Err(PaperError::Count(format!(
                "case {} has more than {MOST_CARDS} items to print. Name up to {MOST_CARDS} of them",
                case.number
            )));
        }
        part.after = page.next;
        if part.after.is_none() {
            break;
        }
    }
    if chosen.is_empty() || chosen.len() < wanted.len() {
        return Err(PaperError::Count(format!(
            "case {} has {} of the {} items named. Name items of this case",
            case.number,
            chosen.len(),
            wanted.len()
        )));
    }
    let subjects: Vec<Subject> = chosen.iter().map(|i| Subject::Item(i.id)).collect();
    let state = reader.around(&subjects).await?;
    let agency = agency(reader, layout).await?;
    let id = CommandId::new();
    let labels: Vec<Label> = chosen
        .iter()
        .map(|i| Label {
            print_id: id.to_string(),
            ..of_item(&state, &reader.house().rules, i, &agency)
        })
        .collect();
    let page = agency.paper;
    let bytes =
        aside(move || shortened_all(&labels, |some| paper::sheet(some, card, page))).await?;
    let name = file_name(&[&case.number, "cards"]);
    let kind = format!("card {} on a sheet of {}", card_word(card), subjects.len());
    of_each(reader, by, id, subjects, kind, bytes, name).await
}

fn wrong(thing: &str, kind: LabelKind, choices: &[LabelKind]) -> PaperError {
    PaperError::Kind {
        thing: thing.to_owned(),
        kind: kind.word(),
        choices: words(choices),
    }
}

async fn print(
    reader: &Reader<'_>,
    by: By,
    of: Subject,
    kind: LabelKind,
    card: Card,
    label: Label,
    name: String,
) -> Result<Printed, PaperError> {
    let id = CommandId::new();
    let label = Label {
        print_id: id.to_string(),
        ..label
    };
    let bytes = aside(move || {
        shortened_all(std::slice::from_ref(&label), |some| {
            let Some(label) = some.first() else {
                return Err(ReportError::Inner("no label".into()));
            };
            match kind {
                LabelKind::CardFront => paper::card_front(label, card),
                LabelKind::CardBack => paper::card_back(label, card),
                LabelKind::Card => paper::card(label, card),
                LabelKind::Box | LabelKind::Place => paper::box_label(label),
                LabelKind::Envelope => paper::envelope_label(label),
                LabelKind::SealStrip => paper::seal_strip(label),
            }
        })
    })
    .await?;
    of_each(reader, by, id, vec![of], on_record(kind, card), bytes, name).await
}

/// Hands a label out, on the record of each subject. The first print bears the identifier as its command; each names it.
async fn of_each(
    reader: &Reader<'_>,
    by: By,
    id: CommandId,
    of: Vec<Subject>,
    label: String,
    pdf: Vec<u8>,
    file_name: String,
) -> Result<Printed, PaperError> {
    hand_out(reader, by, pdf, file_name, |done| {
        let print = |of| {
            Act::LabelPrinted(LabelPrinted {
                of,
                label: label.clone(),
                digest: done.digest,
                print: Some(id),
                certificate: done.certificate,
                timestamp: done.timestamp.clone(),
                warning: done.warning.clone(),
            })
        };
        of.into_iter()
            .enumerate()
            .map(|(n, of)| {
                let command = if n == 0 { id } else { CommandId::new() };
                (command, print(of))
            })
            .collect()
    })
    .await
}

/// The long free texts, shortened step by step until they fit. What is shortened says so by its dots: whoever needs the
/// whole text finds it in the ledger by the code.
fn shortened_all(
    labels: &[Label],
    make: impl Fn(&[Label]) -> Result<Vec<u8>, ReportError>,
) -> Result<Vec<u8>, ReportError> {
    let mut last = make(labels);
    for (most, brief) in [
        (160, false),
        (110, false),
        (80, false),
        (80, true),
        (56, true),
        (40, true),
        (30, true),
    ] {
        if !matches!(last, Err(ReportError::TooLong { .. })) {
            break;
        }
        let short: Vec<Label> = labels
            .iter()
            .map(|l| {
                let mut l = l.clone();
                for text in [
                    &mut l.description,
                    &mut l.place,
                    &mut l.object,
                    &mut l.spot,
                    &mut l.up,
                    &mut l.development,
                    &mut l.container,
                    &mut l.lifter,
                    &mut l.agency,
                ] {
                    shorten(text, most);
                }
                // The hazards stay as words in capitals; the sentences about them go first.
                if brief && !l.packing.is_empty() && !l.cautions.is_empty() {
                    l.cautions = vec![LOCAL_RULES.into()];
                }
                let contents = most / 8;
                if l.contents.len() > contents {
                    let more = l.contents.len() - contents;
                    l.contents.truncate(contents);
                    l.contents.push(format!("and {more} more"));
                }
                l.contents.iter_mut().for_each(|t| shorten(t, most));
                l
            })
            .collect();
        last = make(&short);
    }
    last
}

fn shorten(text: &mut String, most: usize) {
    if text.chars().count() <= most {
        return;
    }
    let kept: String = text.chars().take(most).collect();
    // At a word's end, where there is one not too far back.
    let end = kept
        .rfind(' ')
        .filter(|at| *at > kept.len() / 2)
        .unwrap_or(kept.len());
    *text = format!("{} …", kept[..end].trim_end_matches([' ', ',', ';', ':']));
}

fn of_item(state: &State, rules: &TradeRules, item: &Item, agency: &Agency) -> Label {
    let mark = state.marks.get(&item.mark);
    let r = &item.recovered;
    let mut label = Label {
        agency: agency.name.clone(),
        case_number: case_number(state, item.case),
        item_number: item.number.to_string(),
        part: part_of(mark, item),
        code: item.code.to_string(),
        code_grouped: item.code.grouped(),
        when: day_and_time(item.recovered_at, agency.zone),
        medium: medium(item),
        description: r.description.clone(),
        orientation: orientation(&r.reads),
        packing: packing_words([item]),
        cautions: cautions([item]),
        contents: Vec::new(),
        printed_at: Utc::now(),
        print_id: String::new(),
        ..Label::default()
    };
    if let Some(person) = item.recovered_by.and_then(|id| state.people.get(&id)) {
        label.lifter.clone_from(&person.name);
        label.badge.clone_from(&person.number);
    }
    if let Some(mark) = mark {
        label.place = scene(state, mark);
        label.object.clone_from(&mark.noted.object);
        label.spot.clone_from(&mark.noted.exact_place);
        label.up.clone_from(&mark.noted.up);
        label.mark = format!("M{}, {}", mark.number, mark_kind(mark.noted.mark_kind));
        label.development = development(rules, mark);
        label.tone = tone(rules, mark).into();
    }
    if let Some(package) = item.custody.inside.and_then(|id| state.packages.get(&id)) {
        label.package_number = format!("P{}", package.number);
        label.container = container(rules, &package.container);
        label.seal_number = package
            .seal()
            .map_or_else(String::new, |s| s.number.clone());
    }
    label
}

fn of_package(state: &State, rules: &TradeRules, package: &Package, agency: &Agency) -> Label {
    let items = state.items_in(Piece::Package(package.id));
    let packages = package
        .contents
        .iter()
        .filter_map(|p| match p {
            Piece::Package(id) => state.packages.get(id),
            Piece::Item(_) => None,
        })
        .map(|p| format!("package P{} ({})", p.number, container(rules, &p.container)));
    let loose = items
        .iter()
        .filter(|i| i.custody.inside == Some(package.id))
        .map(|i| format!("item {} ({})", i.number, form_words(&i.recovered.form)));
    let mut label = Label {
        agency: agency.name.clone(),
        case_number: case_number(state, package.case),
        code: package.code.to_string(),
        code_grouped: package.code.grouped(),
        package_number: format!("P{}", package.number),
        container: container(rules, &package.container),
        contents: packages.chain(loose).collect(),
        seal_number: package
            .seal()
            .map_or_else(String::new, |s| s.number.clone()),
        packing: packing_words(items.iter().copied()),
        cautions: cautions(items.iter().copied()),
        description: match items.as_slice() {
            [one] => one.recovered.description.clone(),
            all => format!("{} items", all.len()),
        },
        printed_at: Utc::now(),
        print_id: String::new(),
        ..Label::default()
    };
    // Who collected it, and when: one line for one item, first and last for more.
    let first = items.iter().map(|i| i.recovered_at).min();
    let last = items.iter().map(|i| i.recovered_at).max();
    let when = |at| day_and_time(at, agency.zone);
    label.when = match (first, last) {
        (Some(first), Some(last)) if first != last => {
            format!("{} to {}", when(first), when(last))
        }
        (Some(first), _) => when(first),
        _ => String::new(),
    };
    let people: BTreeSet<_> = items.iter().filter_map(|i| i.recovered_by).collect();
    let people: Vec<String> = people
        .iter()
        .filter_map(|id| state.people.get(id))
        .map(|p| format!("{} (no. {})", p.name, p.number))
        .collect();
    label.lifter = people.join(", ");
    let scenes: BTreeSet<String> = items
        .iter()
        .filter_map(|i| state.marks.get(&i.mark))
        .map(|m| scene(state, m))
        .collect();
    label.place = scenes.into_iter().collect::<Vec<_>>().join("; ");
    label
}

fn case_number(state: &State, case: CaseId) -> String {
    state
        .cases
        .get(&case)
        .map_or_else(String::new, |c| c.number.clone())
}

/// `lift 2 of 5`, where one mark was lifted more than once.
fn part_of(mark: Option<&Mark>, item: &Item) -> String {
    let Some(mark) = mark.filter(|m| m.items.len() > 1) else {
        return String::new();
    };
    match mark.items.iter().position(|i| *i == item.id) {
        Some(at) => format!("recovery {} of {}", at + 1, mark.items.len()),
        None => String::new(),
    }
}

fn medium(item: &Item) -> String {
    let r = &item.recovered;
    let mut text = r.medium_name.clone();
    if !r.card.trim().is_empty() {
        text.push_str(&format!(" on {} card", r.card.trim()));
    }
    if !r.lot.trim().is_empty() {
        text.push_str(&format!(", lot {}", r.lot.trim()));
    }
    text
}

/// The word that the ledger has for how something reads, as it is printed.
pub(crate) fn orientation(reads: &str) -> Orientation {
    match reads {
        "direct" => Orientation::Direct,
        "reversed" => Orientation::Mirrored,
        _ => Orientation::Unknown,
    }
}

fn scene(state: &State, mark: &Mark) -> String {
    let scene = state
        .cases
        .get(&mark.case)
        .and_then(|c| c.scenes.iter().find(|s| s.id == mark.noted.scene));
    scene.map_or_else(String::new, |s| {
        if s.address.is_empty() {
            s.name.clone()
        } else {
            format!("{}, {}", s.name, s.address)
        }
    })
}

/// The kind of mark in words.
pub(crate) fn mark_kind(kind: MarkKind) -> &'static str {
    match kind {
        MarkKind::FrictionRidge => "friction ridge mark",
        MarkKind::Toolmark => "toolmark",
        MarkKind::Footwear => "footwear mark",
        MarkKind::Other => "other mark",
    }
}

/// The form of a recovery in words.
pub(crate) fn form_words(form: &str) -> &str {
    match form {
        "card-lift" => "lift on a card",
        "gel" => "gel lift",
        "film" => "film",
        "cast" => "cast",
        "object" => "object",
        "image" => "image",
        other => other,
    }
}

fn place_kind(kind: PlaceKind) -> &'static str {
    match kind {
        PlaceKind::Building => "Building",
        PlaceKind::Room => "Room",
        PlaceKind::Unit => "Unit",
        PlaceKind::Shelf => "Shelf",
        PlaceKind::Bin => "Bin",
    }
}

fn development(rules: &TradeRules, mark: &Mark) -> String {
    let all: Vec<String> = mark
        .developments
        .iter()
        .map(|d| match rules.method_ever(&d.method) {
            Some(m) => format!("{} ({})", m.name, m.id),
            None => d.method.clone(),
        })
        .collect();
    all.join(", then ")
}

fn tone(rules: &TradeRules, mark: &Mark) -> &'static str {
    let last = mark.developments.last();
    match last
        .and_then(|d| rules.method_ever(&d.method))
        .map(|m| m.tone)
    {
        Some(MarkTone::Dark) => "dark ridges",
        Some(MarkTone::Light) => "light ridges",
        Some(MarkTone::Fluorescent) => "ridges glow under forensic light",
        Some(MarkTone::Varies) | None => "",
    }
}

/// A container's name.
pub(crate) fn container(rules: &TradeRules, id: &str) -> String {
    rules
        .container(id)
        .map_or_else(|| id.to_owned(), |c| c.name.clone())
}

/// The words that packing rules ask for on the label, each once. The rules write in capitals what stands there as a
/// word; what they write small is a part of the label (number, date) or something to do (scratch the cast).
fn packing_words<'a>(items: impl IntoIterator<Item = &'a Item>) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for item in items {
        let needs = item.needs();
        for label in needs.iter().flat_map(|n| &n.packing.labels) {
            let is_word = !label.text.chars().any(char::is_lowercase);
            if is_word && !out.contains(&label.text) {
                out.push(label.text.clone());
            }
        }
    }
    out
}

/// What can hurt whoever handles it: the first clause of each caution, with what all of them defer to.
fn cautions<'a>(items: impl IntoIterator<Item = &'a Item>) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for item in items {
        let needs = item.needs();
        for caution in needs.iter().flat_map(|n| &n.packing.cautions) {
            let hazard = caution
                .text
                .split(':')
                .next()
                .unwrap_or_default()
                .to_owned();
            if !out.contains(&hazard) {
                out.push(hazard);
            }
        }
    }
    if !out.is_empty() {
        out.push(LOCAL_RULES.into());
    }
    out
}
