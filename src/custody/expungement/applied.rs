//! What the state is after an order was put on the record, taken back, or carried out.

use super::{
    CarriedOut, Expunged, Expungement, ExpungementCarriedOut, ExpungementOrdered,
    ExpungementWithdrawn,
};
use crate::custody::rules::{Meta, Misfit};
use crate::custody::state::State;
use crate::ids::{CaseId, Subject};

fn orders_mut<'a>(
    state: &'a mut State,
    case: CaseId,
    meta: &Meta,
) -> Result<&'a mut Vec<Expungement>, Misfit> {
    let case = state.cases.get_mut(&case);
    case.map(|c| &mut c.expungements)
        .ok_or_else(|| meta.misfit("no such case"))
}

pub(in crate::custody) fn ordered(
    state: &mut State,
    x: &ExpungementOrdered,
    meta: &Meta,
) -> Result<(), Misfit> {
    orders_mut(state, x.case, meta)?.push(Expungement {
        number: x.number,
        of: x.of,
        events: x.events.clone(),
        court: x.court.clone(),
        order: x.order.clone(),
        dated: x.dated,
        by: meta.actor,
        at: meta.at,
        withdrawn_at: None,
        carried_out: None,
    });
    Ok(())
}

pub(in crate::custody) fn withdrawn(
    state: &mut State,
    x: &ExpungementWithdrawn,
    meta: &Meta,
) -> Result<(), Misfit> {
    let orders = orders_mut(state, x.case, meta)?;
    let order = orders.iter_mut().find(|e| e.number == x.number);
    order
        .ok_or_else(|| meta.misfit("no such order"))?
        .withdrawn_at = Some(meta.at);
    Ok(())
}

pub(in crate::custody) fn carried_out(
    state: &mut State,
    x: &ExpungementCarriedOut,
    meta: &Meta,
) -> Result<(), Misfit> {
    let orders = orders_mut(state, x.case, meta)?;
    let order = orders
        .iter_mut()
        .find(|e| e.number == x.number)
        .ok_or_else(|| meta.misfit("no such order"))?;
    let whole = order.events.is_empty();
    let done = order.carried_out.get_or_insert(CarriedOut {
        by: meta.actor,
        at: meta.at,
        seq: meta.seq,
        events: 0,
    });
    done.events += x.events.len() as u64;
    if !whole {
        return Ok(());
    }
    let expunged = Expunged {
        number: x.number,
        order: x.order.clone(),
        at: meta.at,
    };
    let mark = |slot: &mut Option<Expunged>| {
        slot.get_or_insert_with(|| expunged.clone());
    };
    if let Subject::Item(id) = x.of {
        let item = state.items.get_mut(&id);
        mark(&mut item.ok_or_else(|| meta.misfit("no such item"))?.expunged);
        return Ok(());
    }
    if let Some(case) = state.cases.get_mut(&x.case) {
        mark(&mut case.expunged);
    }
    for found in state.marks.values_mut().filter(|m| m.case == x.case) {
        mark(&mut found.expunged);
    }
    for found in state.items.values_mut().filter(|i| i.case == x.case) {
        mark(&mut found.expunged);
    }
    for found in state.packages.values_mut().filter(|p| p.case == x.case) {
        mark(&mut found.expunged);
    }
    Ok(())
}
