//! Items: what a recovery yields. A lift, a cast, a collected object, or a photograph alone.

use chrono::{DateTime, FixedOffset, TimeDelta};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::advice::{self, AdviceShown, SurfaceSaid};
use super::fact::{Draft, Fact};
use super::kit;
use super::refusal::{Refusal, Rule, TextRule, text_by};
use super::rules::{Context, Meta, Misfit, not_found};
use super::state::{Custody, Item, Key, State};
use crate::ids::{CaseId, Code, ItemId, MarkId, Piece, Subject};
use crate::keeping::KeepNeeds;
use crate::lifting::Thickness;

/// How many items a case may have.
pub const MAX_ITEMS: u32 = 20_000;
/// How many items one mark may yield.
pub const MAX_OF_MARK: usize = 50;
/// How many things may be taken from one item.
pub const MAX_SAMPLES: usize = 50;
/// How long after the medium was put on its mark may be noted: notes are written after the work, and over midnight too (our
/// assumption). A longer time is a slip in one of the two.
const NOTED_AFTER: TimeDelta = TimeDelta::hours(24);
/// The longest side of an item in millimetres: 100 m (our assumption, to catch a wrong unit).
pub const MAX_SIDE_MM: u32 = 100_000;
/// The warning of a recovery where no photograph of the mark was on the record.
pub const NOT_PHOTOGRAPHED: &str = "The mark was not photographed before the recovery.";
/// The texts of a recovery: field, most characters, whether it must be filled in. An amendment keeps to the same.
pub const TEXTS: &[TextRule] = &[
    ("lot", 60, false),
    ("card", 40, false),
    ("description", 500, true),
];

/// Record a recovery. When it was done is the command's `claimed_at`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Recover {
    /// The mark it was recovered from.
    pub mark: MarkId,
    /// Medium, by the trade rules' identifier.
    pub medium: String,
    /// Lot of the medium.
    #[serde(default)]
    pub lot: String,
    /// When the medium was put on.
    pub started_at: DateTime<FixedOffset>,
    /// When it had set (dried, cured), where it has to.
    #[serde(default)]
    pub set_at: Option<DateTime<FixedOffset>>,
    /// Air temperature in °C, as measured.
    #[serde(default)]
    pub air_c: Option<i16>,
    /// Colour of the backing card, where there is one: white, black or clear.
    #[serde(default)]
    pub card: String,
    /// What it is, in a few words.
    pub description: String,
    /// Wet when it was recovered.
    #[serde(default)]
    pub wet: bool,
    /// Bears or may bear biological material.
    #[serde(default)]
    pub biological: bool,
    /// Fragile.
    #[serde(default)]
    pub fragile: bool,
    /// Sharp.
    #[serde(default)]
    pub sharp: bool,
    /// Length, width and height in millimetres, any order, where it was measured.
    #[serde(default)]
    pub size_mm: Option<[u32; 3]>,
    /// How thick the medium was laid on: thin, thick, or millimetres.
    #[serde(default)]
    pub thickness: Option<Thickness>,
    /// How it is looked at, by the medium's identifier of the view; empty for the usual way.
    #[serde(default)]
    pub how_viewed: String,
    /// The item that it was taken from: a swab from a cast, a lift from a collected object. It stays an item of its own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_item: Option<ItemId>,
    /// What was said of the surface when advice was asked. Given, the advice goes on the record beside the choice.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub advice: Option<SurfaceSaid>,
}

/// A recovery yielded an item.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ItemRecovered {
    /// Item.
    pub item: ItemId,
    /// Case.
    pub case: CaseId,
    /// Number in the case.
    pub number: u32,
    /// The code on its label.
    pub code: Code,
    /// Mark.
    pub mark: MarkId,
    /// The item that it was taken from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_item: Option<ItemId>,
    /// That item's number in the case.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from_number: Option<u32>,
    /// Medium.
    pub medium: String,
    /// Its name.
    pub medium_name: String,
    /// What it yields: lift, cast, object, photograph …
    pub form: String,
    /// Lot.
    pub lot: String,
    /// Put on.
    pub started_at: DateTime<FixedOffset>,
    /// Set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub set_at: Option<DateTime<FixedOffset>>,
    /// Air temperature in °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub air_c: Option<i16>,
    /// Card colour.
    pub card: String,
    /// Description.
    pub description: String,
    /// Wet.
    pub wet: bool,
    /// Biological.
    pub biological: bool,
    /// Fragile.
    pub fragile: bool,
    /// Sharp.
    pub sharp: bool,
    /// Length, width and height in millimetres, where it was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub size_mm: Option<[u32; 3]>,
    /// How thick the medium was laid on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub thickness: Option<Thickness>,
    /// How long the medium sets at that temperature and thickness, as the rules in force said; empty where it does not set.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub set_window: String,
    /// View steps of its picture.
    pub view: Vec<String>,
    /// `direct`, `reversed` or `unknown`.
    pub reads: String,
    /// Why.
    pub because: String,
    /// What it must be packed in and why, as the rules in force said.
    pub packing: Vec<String>,
    /// What it asks of its container and its place, by the rules in force then: later rules do not change it.
    #[serde(
        default,
        skip_serializing_if = "Option::is_none",
        with = "needs_as_text"
    )]
    #[schemars(with = "Option<String>")]
    pub needs: Option<Box<KeepNeeds>>,
    /// Warnings.
    pub warnings: Vec<String>,
    /// The advice that was shown, where some was asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub advice: Option<AdviceShown>,
}

/// Something was taken from an item and is an item of its own since.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ItemSampled {
    /// The item that it was taken from.
    pub item: ItemId,
    /// What was taken.
    pub taken: ItemId,
    /// Its number in the case.
    pub taken_number: u32,
    /// What it is.
    pub description: String,
}

/// The needs go into the event as one text of JSON: the ledger's values are shallow, and needs are not.
pub(super) mod needs_as_text {
    use serde::{Deserialize, Deserializer, Serialize, Serializer, de, ser};

    use super::KeepNeeds;

    #[expect(clippy::ref_option, reason = "serde hands over the field")]
    pub fn serialize<S: Serializer>(
        needs: &Option<Box<KeepNeeds>>,
        to: S,
    ) -> Result<S::Ok, S::Error> {
        let text = needs.as_ref().map(serde_json::to_string).transpose();
        text.map_err(ser::Error::custom)?.serialize(to)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(
        from: D,
    ) -> Result<Option<Box<KeepNeeds>>, D::Error> {
        let text = Option::<String>::deserialize(from)?;
        text.map(|t| serde_json::from_str(&t))
            .transpose()
            .map_err(de::Error::custom)
    }
}

pub(super) fn recover(ctx: &Context<'_>, x: &Recover) -> Result<Vec<Draft>, Refusal> {
    let me = ctx.me()?;
    let mark = ctx
        .state
        .marks
        .get(&x.mark)
        .ok_or_else(|| not_found("mark"))?;
    let case = ctx.case(mark.case)?;
    text_by(TEXTS, "lot", &x.lot)?;
    text_by(TEXTS, "card", &x.card)?;
    text_by(TEXTS, "description", &x.description)?;
    if x.air_c.is_some_and(|t| !(-60..=70).contains(&t)) {
        return Err(Refusal::new(
            Rule::BadValue,
            "The air temperature lies between -60 and 70 °C.",
            "Give it in °C, or leave it out.",
        )
        .on("air_c"));
    }
    if x.size_mm
        .is_some_and(|s| s.iter().any(|side| !(1..=MAX_SIDE_MM).contains(side)))
    {
        return Err(Refusal::new(
            Rule::BadValue,
            "Each side of an item measures between 1 mm and 100 m.",
            "Give length, width and height in millimetres, or leave them out.",
        )
        .on("size_mm"));
    }
    // Notes are often written after the work, also when midnight lies between the two.
    if mark.noted_at - x.started_at > NOTED_AFTER {
        return Err(Refusal::new(
            Rule::BadValue,
            "The recovery started more than 24 hours before the mark was noted.",
            "Give the time at which the medium was put on, or note the mark again and say when it was found.",
        )
        .on("started_at"));
    }
    if x.set_at.is_some_and(|set| set < x.started_at) || x.started_at > ctx.at {
        return Err(Refusal::new(
            Rule::BadValue,
            "The times run backwards: put on, set, recovered is the order.",
            "Correct the start or the set time.",
        )
        .on("set_at"));
    }
    if case.items >= MAX_ITEMS || mark.items.len() >= MAX_OF_MARK {
        return Err(Refusal::new(
            Rule::BadValue,
            "No more items fit here.",
            "Note another mark or open another case.",
        ));
    }
    if !x.how_viewed.is_empty() && !ctx.trade.knows_view(&x.medium, &x.how_viewed) {
        return Err(Refusal::new(
            Rule::BadValue,
            "The medium is not looked at in this way.",
            "Choose one of the medium's own ways, or leave it out for the usual one.",
        )
        .on("how_viewed"));
    }
    let methods: Vec<String> = mark.developments.iter().map(|d| d.method.clone()).collect();
    let Some(recovery) = ctx.trade.recovery(x, &mark.noted, &methods) else {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("There is no medium {}.", x.medium),
            "Choose one of the list.",
        )
        .on("medium"));
    };
    let parent = match x.from_item {
        Some(id) => Some(parent(ctx, x, id, &recovery.form)?),
        None => None,
    };
    let mut warnings = recovery.warnings;
    if mark.images.is_empty() {
        warnings.push(NOT_PHOTOGRAPHED.into());
    }
    let on = x.started_at.date_naive();
    let person = ctx.state.people.get(&me);
    let lot = person.and_then(|p| kit::carried(p, &x.medium, &x.lot));
    warnings.extend(lot.and_then(|e| kit::expired(&recovery.medium_name, &e.as_lot(), on)));
    let shown = x.advice.as_ref().map(|said| {
        let question = advice::question(mark, said, person, on, x.air_c);
        let told = ctx.trade.advise(&question);
        advice::shown(ctx.trade.rules_version(), said, &told, &x.medium)
    });
    let item = ItemId(ctx.command.id.0);
    let code = Code::of(Subject::Item(item)).ok_or_else(|| not_found("code"))?;
    let holder_may = ctx.actor.roles.iter().any(|r| r.may_hold());
    if !holder_may {
        return Err(Refusal::new(
            Rule::RecipientMayNot,
            "Your role may not hold evidence.",
            "Have a technician record the recovery.",
        ));
    }
    let fact = Fact::ItemRecovered(ItemRecovered {
        item,
        case: mark.case,
        number: case.items + 1,
        code,
        mark: x.mark,
        from_item: x.from_item,
        from_number: parent.map(|p| p.number),
        medium: x.medium.clone(),
        medium_name: recovery.medium_name,
        form: recovery.form,
        lot: x.lot.clone(),
        started_at: x.started_at,
        set_at: x.set_at,
        air_c: x.air_c,
        card: x.card.clone(),
        description: x.description.clone(),
        wet: x.wet,
        biological: x.biological,
        fragile: x.fragile,
        sharp: x.sharp,
        size_mm: x.size_mm,
        thickness: x.thickness,
        set_window: recovery.set_window,
        view: recovery.view,
        reads: recovery.reads,
        because: recovery.because,
        packing: recovery.packing,
        needs: Some(Box::new(recovery.needs)),
        warnings,
        advice: shown,
    });
    let mut drafts = ctx.draft(
        Some(mark.case),
        vec![
            Subject::Case(mark.case),
            Subject::Mark(x.mark),
            Subject::Item(item),
        ],
        fact,
    );
    if let Some(parent) = parent {
        let fact = Fact::ItemSampled(ItemSampled {
            item: parent.id,
            taken: item,
            taken_number: case.items + 1,
            description: x.description.clone(),
        });
        drafts.extend(ctx.draft(Some(mark.case), vec![Subject::Item(parent.id)], fact));
    }
    Ok(drafts)
}

/// The item that something is taken from, where that may be done.
fn parent<'a>(
    ctx: &'a Context<'_>,
    x: &Recover,
    id: ItemId,
    form: &str,
) -> Result<&'a Item, Refusal> {
    let piece = Piece::Item(id);
    let (custody, _) = ctx.piece(piece).map_err(|r| r.on("from_item"))?;
    ctx.loose(piece, custody)?;
    ctx.no_offer(piece, custody)?;
    ctx.held(piece)?;
    let item = ctx
        .state
        .items
        .get(&id)
        .ok_or_else(|| not_found("item").on("from_item"))?;
    if item.mark != x.mark {
        return Err(Refusal::new(
            Rule::BadValue,
            format!("Item {} was not recovered from this mark.", item.number),
            "Open the form from the item's own page.",
        )
        .on("from_item"));
    }
    // How a transfer of a transfer reads depends on both; nobody has said how the second was made, so it is no item of this mark.
    let transfer = |form: &str| matches!(form, "card-lift" | "gel" | "film" | "cast");
    if transfer(&item.recovered.form) && transfer(form) {
        return Err(Refusal::new(
            Rule::BadValue,
            format!(
                "Item {} is itself a lift or a cast: a lift or a cast of it would not read as one of the mark does.",
                item.number
            ),
            "Note a mark on the item, with how it is seen there, and recover from that.",
        )
        .on("medium"));
    }
    if item.samples.len() >= MAX_SAMPLES {
        return Err(Refusal::new(
            Rule::BadValue,
            format!(
                "{MAX_SAMPLES} things were taken from item {} already.",
                item.number
            ),
            "Record what else is taken as an item of the mark.",
        )
        .on("from_item"));
    }
    Ok(item)
}

pub(super) fn sampled(state: &mut State, x: &ItemSampled, meta: &Meta) -> Result<(), Misfit> {
    let item = state
        .items
        .get_mut(&x.item)
        .ok_or_else(|| meta.misfit("no such item"))?;
    item.samples.push(x.taken);
    item.custody.last_at = meta.at;
    Ok(())
}

pub(super) fn recovered(state: &mut State, x: &ItemRecovered, meta: &Meta) -> Result<(), Misfit> {
    let person = meta
        .actor
        .ok_or_else(|| meta.misfit("a recovery has an actor"))?;
    let case = state
        .cases
        .get_mut(&x.case)
        .ok_or_else(|| meta.misfit("no such case"))?;
    if x.number != case.items + 1 {
        return Err(meta.misfit("the item's number is not the next one"));
    }
    case.items = x.number;
    state
        .marks
        .get_mut(&x.mark)
        .ok_or_else(|| meta.misfit("no such mark"))?
        .items
        .push(x.item);
    state.known.insert(Key::Subject(Subject::Item(x.item)));
    state.known.insert(Key::Code(x.code.clone()));
    state.codes.insert(x.code.clone(), Subject::Item(x.item));
    state.items.insert(
        x.item,
        Item {
            id: x.item,
            case: x.case,
            mark: x.mark,
            number: x.number,
            code: x.code.clone(),
            recovered: x.clone(),
            recovered_at: meta.at,
            recovered_by: meta.actor,
            images: Vec::new(),
            dried: None,
            holds: Vec::new(),
            samples: Vec::new(),
            consumed: Vec::new(),
            answers: Vec::new(),
            exhibits: Vec::new(),
            imported: None,
            brought: None,
            shelved_at: None,
            custody: Custody::begin(person, meta.at),
            expunged: None,
        },
    );
    Ok(())
}
