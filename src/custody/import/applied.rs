//! What the event of an imported row leaves in the state.

use chrono::{DateTime, FixedOffset};

use super::{ItemImported, NOT_ON_RECORD, NOT_WITNESSED};
use crate::custody::capacity;
use crate::custody::item::ItemRecovered;
use crate::custody::mark::{MarkKind, MarkNoted};
use crate::custody::rules::{Meta, Misfit};
use crate::custody::state::{Custody, Holder, Item, Key, Mark, Package, SealOn, State};
use crate::ids::{Code, Piece, Subject};

/// The code of the open standard for a surface that is not known.
const UNKNOWN_SURFACE: &str = "4B";

fn said(text: &str) -> String {
    let text = text.trim();
    if text.is_empty() {
        NOT_ON_RECORD.into()
    } else {
        text.to_owned()
    }
}

fn noted(x: &ItemImported) -> MarkNoted {
    MarkNoted {
        mark: x.mark,
        case: x.case,
        number: x.mark_number,
        scene: x.scene,
        mark_kind: MarkKind::Other,
        object: said(&x.object),
        exact_place: NOT_ON_RECORD.into(),
        up: NOT_ON_RECORD.into(),
        substrate: UNKNOWN_SURFACE.into(),
        texture: String::new(),
        curvature: String::new(),
        note: format!("Imported with item {}. {NOT_WITNESSED}.", x.number),
    }
}

fn recovered(x: &ItemImported, at: DateTime<FixedOffset>) -> ItemRecovered {
    ItemRecovered {
        item: x.item,
        case: x.case,
        number: x.number,
        code: x.code.clone(),
        mark: x.mark,
        medium: String::new(),
        medium_name: said(&x.medium),
        form: x.form.clone(),
        lot: String::new(),
        started_at: at,
        set_at: None,
        air_c: None,
        card: String::new(),
        description: x.description.clone(),
        wet: false,
        biological: false,
        fragile: false,
        sharp: false,
        size_mm: None,
        thickness: None,
        set_window: String::new(),
        view: Vec::new(),
        reads: "unknown".into(),
        because: "it was imported, and it is not on record how it was made".into(),
        packing: Vec::new(),
        needs: None,
        warnings: vec![format!("{NOT_WITNESSED}.")],
        advice: None,
        from_item: None,
        from_number: None,
    }
}

pub(in crate::custody) fn imported(
    state: &mut State,
    x: &ItemImported,
    meta: &Meta,
) -> Result<(), Misfit> {
    let person = meta
        .actor
        .ok_or_else(|| meta.misfit("an import has an actor"))?;
    let case = state
        .cases
        .get_mut(&x.case)
        .ok_or_else(|| meta.misfit("no such case"))?;
    if x.number != case.items + 1 || x.mark_number != case.marks + 1 {
        return Err(meta.misfit("the item's or mark's number is not the next one"));
    }
    if x.package_number.is_some_and(|n| n != case.packages + 1) {
        return Err(meta.misfit("the package's number is not the next one"));
    }
    case.items = x.number;
    case.marks = x.mark_number;
    case.packages = x.package_number.unwrap_or(case.packages);
    let mut custody = Custody::begin(person, meta.at);
    if let Some(place) = x.place {
        custody.holder = Holder::Place { place };
    } else if !x.holder.is_empty() {
        custody.holder = Holder::Outside {
            name: x.holder.clone(),
            organisation: NOT_ON_RECORD.into(),
        };
    }
    if let (Some(id), Some(number), Some(code)) = (x.package, x.package_number, &x.package_code) {
        let seal = x.seal.iter().map(|number| SealOn {
            number: number.clone(),
            at: meta.at,
            by: None,
            cut_at: None,
            cut_reason: None,
        });
        if let Some(number) = &x.seal {
            state.seals.insert(number.clone(), id);
            state.known.insert(Key::Seal(number.clone()));
        }
        let package = Package {
            id,
            case: x.case,
            number,
            code: code.clone(),
            container: said(&x.container),
            inner_mm: None,
            contents: vec![Piece::Item(x.item)],
            seals: seal.collect(),
            answers: Vec::new(),
            custody: custody.clone(),
            repacked_from: Vec::new(),
            repacked_into: Vec::new(),
            closed_at: None,
            expunged: None,
        };
        borne(state, code, Subject::Package(id));
        state.packages.insert(id, package);
        // Inside a package a thing's own holder counts for nothing until it is taken out.
        custody = Custody::begin(person, meta.at);
        custody.inside = Some(id);
    }
    state.known.insert(Key::Subject(Subject::Mark(x.mark)));
    state.marks.insert(
        x.mark,
        Mark {
            id: x.mark,
            case: x.case,
            number: x.mark_number,
            noted: noted(x),
            noted_at: meta.at,
            noted_by: None,
            developments: Vec::new(),
            images: Vec::new(),
            items: vec![x.item],
            answers: Vec::new(),
            expunged: None,
        },
    );
    capacity::moved(state, None, x.place, meta)?;
    borne(state, &x.code, Subject::Item(x.item));
    state.items.insert(
        x.item,
        Item {
            id: x.item,
            case: x.case,
            mark: x.mark,
            number: x.number,
            code: x.code.clone(),
            recovered: recovered(x, meta.at),
            recovered_at: meta.at,
            recovered_by: None,
            images: Vec::new(),
            dried: None,
            holds: Vec::new(),
            samples: Vec::new(),
            consumed: Vec::new(),
            answers: Vec::new(),
            exhibits: Vec::new(),
            expunged: None,
            imported: Some(Box::new(x.clone())),
            brought: None,
            shelved_at: None,
            custody,
        },
    );
    Ok(())
}

fn borne(state: &mut State, code: &Code, subject: Subject) {
    state.known.insert(Key::Subject(subject));
    state.known.insert(Key::Code(code.clone()));
    state.codes.insert(code.clone(), subject);
}
