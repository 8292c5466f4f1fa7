//! What the viewer can do next with a piece: the permission table and where custody stands, together.
//!
//! It is an offer and not a promise: the decision function is asked again when the act is sent.

use schemars::JsonSchema;
use serde::Serialize;

use super::words;
use crate::app::reader::Viewer;
use crate::custody::package::MAX_DEPTH;
use crate::custody::state::Holder;
use crate::custody::{Act, State};
use crate::ids::{PersonId, Piece};
use crate::keeping::Met;
use crate::people::Action;

/// An act that can be done now.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct NextAct {
    /// The act's word, as in [`crate::custody::Act`]; `print-label` and `print-report` for papers.
    pub act: String,
    /// What it is done with: the piece itself or a package around it.
    pub piece: Piece,
    /// What a button says.
    pub label: String,
    /// Why it is offered.
    pub why: String,
    /// Whether it must be signed by giving the password once more.
    pub signed: bool,
    /// Whether it is the step that the thing is waiting for.
    pub first: bool,
}

struct List<'a> {
    viewer: &'a Viewer,
    state: &'a State,
    out: Vec<NextAct>,
    /// A photograph is asked for at once and stands first.
    urgent: bool,
}

impl List<'_> {
    fn add(&mut self, act: &str, piece: Piece, verb: &str, why: String) {
        let (may, signed) = match Act::find(act) {
            Some((action, signed)) => (self.viewer.may(action), signed),
            None => (true, false),
        };
        if may {
            self.out.push(NextAct {
                act: act.into(),
                piece,
                label: format!("{verb} {}", self.state.name(piece)),
                why,
                signed,
                first: self.out.is_empty(),
            });
        }
    }
}

/// What the viewer can do next. Whoever runs commands on the folder itself does nothing in their own name and is
/// offered nothing.
#[must_use]
pub fn next_acts(viewer: &Viewer, state: &State, piece: Piece) -> Vec<NextAct> {
    let Some(me) = viewer.id() else {
        return Vec::new();
    };
    let outermost = state.outermost(piece);
    let Some(custody) = state.custody(outermost) else {
        return Vec::new();
    };
    if matches!(custody.holder, Holder::Disposed { .. }) {
        let mut list = List {
            viewer,
            state,
            out: Vec::new(),
            urgent: false,
        };
        if viewer.may(Action::PrintReport) {
            let why = "Its record can still be printed.";
            list.add(
                "print-report",
                piece,
                "Print the custody report of",
                why.into(),
            );
        }
        for act in &mut list.out {
            act.first = false;
        }
        return list.out;
    }
    let mut list = List {
        viewer,
        state,
        out: Vec::new(),
        urgent: false,
    };
    let executed = custody
        .disposition
        .as_ref()
        .and_then(|d| d.executed.as_ref());
    if let Some(done) = executed {
        let why = format!(
            "{} carried the disposition out and named {} as the witness.",
            words::person_in(state, done.by),
            words::person_in(state, done.witness)
        );
        if done.witness == me {
            list.add(
                "witness-disposition",
                outermost,
                "Witness the disposition of",
                why.clone(),
            );
        }
        if done.witness == me || done.by == me {
            list.add(
                "decline-disposition",
                outermost,
                "Decline the disposition of",
                why,
            );
        }
        for act in &mut list.out {
            act.first = act.act == "witness-disposition";
        }
        return list.out;
    }
    if let Some(offer) = &custody.offer {
        let (by, to) = (
            words::person_in(state, offer.by),
            words::person_in(state, offer.to),
        );
        if offer.to == me {
            let why = format!("{by} released it to you: {}", offer.purpose);
            list.add("receive", outermost, "Receive", why.clone());
            list.add("refuse", outermost, "Refuse", why);
        } else if offer.by == me {
            let why = format!("You released it to {to}, who has not answered yet.");
            list.add("withdraw", outermost, "Withdraw the offer of", why);
        }
    } else {
        match &custody.holder {
            Holder::Person { person } if *person == me => mine(&mut list, piece, outermost),
            Holder::Place { .. } => {
                let why = || "It is on a shelf and you keep the storeroom.".to_owned();
                if viewer.may(Action::Keep) {
                    list.add("release", outermost, "Check out", why());
                    list.add("store", outermost, "Move", why());
                    list.add("fetch", outermost, "Take from its shelf", why());
                }
            }
            Holder::Outside { name, organisation } => {
                let why = format!("{} has it.", words::outside(name, organisation));
                list.add("take-back", outermost, "Take back", why);
            }
            Holder::Person { .. } | Holder::Disposed { .. } => {}
        }
    }
    ends(&mut list, piece, outermost, me);
    others(&mut list, piece, outermost, me);
    list.out
}

fn mine(list: &mut List<'_>, piece: Piece, outermost: Piece) {
    let state = list.state;
    let sealed = match outermost {
        Piece::Package(id) => state.packages.get(&id).is_some_and(|p| p.seal().is_some()),
        Piece::Item(_) => false,
    };
    let empty = match outermost {
        Piece::Package(id) => state
            .packages
            .get(&id)
            .is_some_and(|p| p.contents.is_empty()),
        Piece::Item(_) => false,
    };
    at_once(list, piece);
    let due = state
        .custody(outermost)
        .and_then(|c| c.loan.as_ref())
        .is_some();
    match (outermost, sealed) {
        (Piece::Item(_), _) => {
            let why = "You hold it and it is not packed.";
            list.add("pack", outermost, "Pack", why.into());
            list.add("put-in", outermost, "Put into a package:", why.into());
            hand_on(
                list,
                outermost,
                "You hold it; unpacked and unsealed, it needs a reason.",
            );
        }
        (Piece::Package(_), true) => {
            let why = if due {
                "You hold it sealed; it is due back."
            } else {
                "You hold it sealed."
            };
            hand_on(list, outermost, why);
            // Without its number: whoever opens it reads that off the seal.
            list.add(
                "open",
                outermost,
                "Open",
                "A seal is on it and you hold it.".into(),
            );
            anew(list, outermost);
        }
        (Piece::Package(_), false) => {
            if !empty {
                let why = "You hold it and it is not sealed.";
                list.add("seal", outermost, "Seal", why.into());
            }
            if piece != outermost && open_to(state, piece) {
                let why = "The packages around it are open and you hold them.";
                list.add("take-out", piece, "Take out", why.into());
            }
            if !empty {
                hand_on(list, outermost, "You hold it; unsealed, it needs a reason.");
            }
            let closed = match outermost {
                Piece::Package(id) => state
                    .packages
                    .get(&id)
                    .is_some_and(|p| p.closed_at.is_some()),
                Piece::Item(_) => false,
            };
            if !closed {
                let why = "You hold it and it is open.";
                list.add("put-in", outermost, "Put something into", why.into());
            }
            if !empty {
                anew(list, outermost);
            }
        }
    }
}

/// Split, merged or packed anew.
fn anew(list: &mut List<'_>, package: Piece) {
    let why = "You hold it: some or all of its contents can go into a new package.";
    list.add("repack", package, "Split, merge or pack anew:", why.into());
}

/// What a rule asks to be done at once with the item itself.
fn at_once(list: &mut List<'_>, piece: Piece) {
    let Piece::Item(id) = piece else { return };
    let Some(item) = list.state.items.get(&id) else {
        return;
    };
    let moments = item.moments();
    let calls = |met: Met| {
        item.needs()
            .into_iter()
            .flat_map(|n| &n.packing.limits)
            // Whether late or not, it is to do; at the recovery it was not late yet.
            .find(|l| l.met_by() == Some(met) && l.stand(&moments, moments.recovered).calls())
    };
    if let Some(limit) = calls(Met::Photograph)
        && list.viewer.may(Action::RecordScene)
    {
        let why = format!(
            "It is photographed without delay (rule {}), and no photograph of it is on the record.",
            limit.rule()
        );
        list.add("add-image", piece, "Photograph", why);
        list.urgent = true;
    }
}

/// It was recovered wet, and whoever can feel it says since when it is dry.
fn dry(list: &mut List<'_>, piece: Piece) {
    if let Piece::Item(id) = piece
        && list.state.items.get(&id).is_some_and(|i| i.is_wet())
        && open_to(list.state, piece)
    {
        let why = "It was recovered wet; dry, it may go into other containers.";
        list.add("note-dry", piece, "Record as dry:", why.into());
    }
}

/// Whether every package around a piece is open.
fn open_to(state: &State, piece: Piece) -> bool {
    let mut at = piece;
    for _ in 0..=MAX_DEPTH {
        let Some(id) = state.custody(at).and_then(|c| c.inside) else {
            return true;
        };
        if state.packages.get(&id).is_none_or(|p| p.seal().is_some()) {
            return false;
        }
        at = Piece::Package(id);
    }
    false
}

fn hand_on(list: &mut List<'_>, piece: Piece, why: &str) {
    // Whoever keeps the storeroom puts things away first; everybody else hands them on.
    if list.viewer.may(Action::Keep) {
        list.add("store", piece, "Store", why.into());
    }
    list.add("release", piece, "Release", why.into());
    list.add("hand-out", piece, "Hand to somebody outside", why.into());
}

/// Holds, and the end of custody.
fn ends(list: &mut List<'_>, piece: Piece, outermost: Piece, me: PersonId) {
    let state = list.state;
    let first = list.out.len();
    let custody = state.custody(outermost);
    match custody.and_then(|c| c.disposition.as_ref()) {
        None => {
            let why = "You may authorise how it ends; holds and the schedule are looked at.";
            list.add(
                "authorise-disposition",
                piece,
                "Authorise the disposition of",
                why.into(),
            );
        }
        Some(d) => {
            let why = format!("It is authorised to be {}.", d.method.words());
            let mine = custody.is_some_and(|c| c.holder == Holder::Person { person: me });
            if mine {
                list.add("dispose", outermost, "Dispose of", why.clone());
            }
            list.add(
                "revoke-disposition",
                outermost,
                "Take back the authorisation for",
                why,
            );
        }
    }
    for act in list.out.iter_mut().skip(first) {
        act.first = false;
    }
}

fn others(list: &mut List<'_>, piece: Piece, outermost: Piece, me: PersonId) {
    let state = list.state;
    let shelved =
        list.viewer.may(Action::Keep) && matches!(state.holder(piece), Some(Holder::Place { .. }));
    if shelved || state.holder(piece) == Some(&Holder::Person { person: me }) {
        dry(list, piece);
    }
    if let (Piece::Item(_), false) = (piece, list.urgent) {
        let why = "Pictures of an item can be added at any time.";
        list.add("add-image", piece, "Add a photograph of", why.into());
    }
    let outside = matches!(state.holder(piece), Some(Holder::Outside { .. }));
    let mine = state.holder(piece) == Some(&Holder::Person { person: me });
    if let (Piece::Item(_), true) = (piece, outside || mine) {
        let why = "Where an examination used it up, or part of it.";
        list.add("consume", piece, "Record as used up:", why.into());
    }
    if list.viewer.may(Action::PrintLabel) {
        let why = "Your role prints labels; each print goes on the record.";
        list.add("print-label", piece, "Print the label of", why.into());
    }
    if list.viewer.may(Action::PrintReport) {
        let why = "Your role prints custody reports; each print goes on the record.";
        list.add(
            "print-report",
            piece,
            "Print the custody report of",
            why.into(),
        );
    }
    let held_by_me = state
        .custody(outermost)
        .is_some_and(|c| c.holder == Holder::Person { person: me });
    if !held_by_me {
        let why = "Only where nobody released it: it leaves a gap on the record.";
        list.add("take-charge", outermost, "Take charge of", why.into());
    }
    let urgent = list.urgent;
    for act in &mut list.out {
        if urgent && act.act == "add-image" {
            continue;
        }
        if matches!(
            act.act.as_str(),
            "add-image" | "note-dry" | "consume" | "print-label" | "print-report" | "take-charge"
        ) {
            act.first = false;
        }
    }
}
