//! The thread of a piece, from its trail: who had it from when to when, and what happened.

use chrono::{DateTime, Utc};

use super::custody_rows::{CustodyRow, claimed_at};
use super::trail::Step;
use super::words;
use crate::custody::Fact;
use crate::custody::thread::{Knot, KnotKind, SealMark, Stretch, StretchKind, Thread};
use crate::ids::{PackageId, Piece, Subject};

struct Walk {
    stretches: Vec<Stretch>,
    /// Who has it since when.
    holder: Option<(String, StretchKind, DateTime<Utc>)>,
    knots: Vec<Knot>,
    seals: Vec<(PackageId, SealMark)>,
    /// The knot of the open offer.
    offer: Option<usize>,
    from_store: bool,
    /// When custody ended.
    over: Option<DateTime<Utc>>,
}

impl Walk {
    fn passes(&mut self, holder: String, kind: StretchKind, at: DateTime<Utc>) {
        self.ends(at);
        self.holder = Some((holder, kind, at));
    }

    fn ends(&mut self, at: DateTime<Utc>) {
        if let Some((holder, kind, from)) = self.holder.take()
            && at > from
        {
            self.stretches.push(Stretch {
                holder,
                kind,
                from,
                to: at,
            });
        }
    }

    /// A seal is looked at: is its number the one on record?
    fn looked_at(&mut self, on: &str, seen: &str, mismatch: bool) {
        if !mismatch && (seen.is_empty() || seen == on) {
            return;
        }
        if let Some((_, seal)) = self.seals.iter_mut().rev().find(|(_, s)| s.number == on) {
            seal.mismatch = true;
        }
    }
}

/// The thread of a piece, up to `now`. The rows are those of the same trail, flagged.
#[must_use]
pub fn thread(
    title: &str,
    piece: Piece,
    steps: &[Step],
    rows: &[CustodyRow],
    now: DateTime<Utc>,
) -> Thread {
    let mut walk = Walk {
        stretches: Vec::new(),
        holder: None,
        knots: Vec::new(),
        seals: Vec::new(),
        offer: None,
        from_store: false,
        over: None,
    };
    for (step, row) in steps.iter().zip(rows) {
        one(&mut walk, piece, step, row);
    }
    let from = walk
        .knots
        .iter()
        .map(|k| k.at)
        .min()
        .unwrap_or(now)
        .min(now);
    let last = walk.knots.iter().map(|k| k.at).max().unwrap_or(now);
    let to = walk.over.unwrap_or(now).max(last);
    walk.ends(to);
    Thread {
        title: title.to_owned(),
        from,
        to,
        stretches: walk.stretches,
        knots: walk.knots,
        seals: walk.seals.into_iter().map(|(_, s)| s).collect(),
    }
}

fn one(walk: &mut Walk, piece: Piece, step: &Step, row: &CustodyRow) {
    use StretchKind::{Break, Outside, Person, Place};
    let Some(fact) = &step.past.fact else { return };
    let at = claimed_at(step).to_utc();
    let by = &row.by_name;
    let (kind, label) = match fact {
        Fact::ItemRecovered(_) => {
            walk.passes(by.clone(), Person, at);
            (KnotKind::Start, format!("Recovered by {by}"))
        }
        Fact::ItemImported(x) => {
            let kind = match (&x.place, x.holder.is_empty()) {
                (Some(_), _) => Place,
                (None, true) => Person,
                (None, false) => Outside,
            };
            walk.passes(row.to.clone(), kind, at);
            if let (Some(package), Some(number)) = (x.package, &x.seal) {
                let seal = SealMark {
                    number: number.clone(),
                    at,
                    cut_at: None,
                    mismatch: false,
                };
                walk.seals.push((package, seal));
            }
            let label = "Imported: not witnessed by this ledger before";
            (KnotKind::Start, label.to_owned())
        }
        Fact::BroughtIn(x) => {
            walk.passes(row.to.clone(), Person, at);
            let label = format!(
                "Brought in by {}: not witnessed by this ledger before",
                x.who()
            );
            (KnotKind::Start, label)
        }
        Fact::PackageMade(x) => {
            if Subject::Package(x.package) == Subject::from(piece) {
                walk.passes(by.clone(), Person, at);
                (KnotKind::Start, format!("Made by {by}"))
            } else {
                (KnotKind::Packed, format!("Packed by {by}"))
            }
        }
        Fact::PiecePutIn(x) if x.piece == piece => (KnotKind::Packed, format!("Put in by {by}")),
        Fact::PiecePutIn(_) => (KnotKind::Packed, format!("More put in by {by}")),
        Fact::PieceTakenOut(x) if x.piece == piece => {
            let label = match x.stayed {
                Some(stayed) => format!("Did not come back: {}", stayed.words()),
                None => format!("Taken out by {by}"),
            };
            (KnotKind::Unpacked, label)
        }
        Fact::PieceTakenOut(x) if x.stayed.is_some() => {
            (KnotKind::Unpacked, "Came back without something".to_owned())
        }
        Fact::ItemConsumed(x) if x.whole => {
            walk.ends(at);
            walk.over = Some(at);
            (KnotKind::End, "Used up by an examination".to_owned())
        }
        Fact::ItemConsumed(_) => (KnotKind::Unpacked, "Used up in part".to_owned()),
        Fact::PackageRepacked(x) if Subject::Package(x.package) == Subject::from(piece) => {
            (KnotKind::Packed, "Packed anew".to_owned())
        }
        Fact::PackageRepacked(x) => (
            KnotKind::Packed,
            format!("Packed anew: into package P{}", x.number),
        ),
        Fact::PieceTakenOut(_) => (KnotKind::Unpacked, format!("Something taken out by {by}")),
        Fact::PackageSealed(x) => {
            walk.seals.push((
                x.package,
                SealMark {
                    number: x.seal.clone(),
                    at,
                    cut_at: None,
                    mismatch: false,
                },
            ));
            (KnotKind::Sealed, format!("Sealed {}", x.seal))
        }
        Fact::PackageOpened(x) => {
            walk.looked_at(&x.seal, &x.seal_seen, row.condition_is_mismatch());
            if let Some((_, seal)) = walk
                .seals
                .iter_mut()
                .rev()
                .find(|(p, s)| *p == x.package && s.cut_at.is_none())
            {
                seal.cut_at = Some(at);
            }
            let label = if x.outside {
                "Came back opened".to_owned()
            } else {
                format!("Opened by {by}")
            };
            (KnotKind::Opened, label)
        }
        Fact::Released(x) => {
            walk.offer = Some(walk.knots.len());
            walk.from_store = x.from_place.is_some();
            let with = with(x.second_name.as_deref());
            (KnotKind::Offer, format!("Offered to {}{with}", x.to_name))
        }
        Fact::Withdrawn(_) => {
            walk.offer = None;
            (KnotKind::Withdrawn, format!("Withdrawn by {by}"))
        }
        Fact::Refused(_) => {
            walk.offer = None;
            (KnotKind::Refused, format!("Refused by {by}"))
        }
        Fact::Received(x) => {
            if let Some(offer) = walk.offer.take().and_then(|i| walk.knots.get_mut(i)) {
                offer.filled = true;
            }
            walk.looked_at(&x.seal, &x.seal_seen, row.condition_is_mismatch());
            walk.passes(by.clone(), Person, at);
            let kind = if walk.from_store {
                KnotKind::CheckedOut
            } else {
                KnotKind::Receipt
            };
            (kind, format!("Received by {by}"))
        }
        Fact::HandedOut(_) => {
            walk.passes(row.to.clone(), Outside, at);
            (KnotKind::Receipt, format!("Handed to {}", row.to))
        }
        Fact::TakenBack(x) => {
            walk.looked_at(&x.seal, &x.seal_seen, row.condition_is_mismatch());
            walk.passes(by.clone(), Person, at);
            (KnotKind::Returned, format!("Taken back by {by}"))
        }
        Fact::ChargeTaken(x) => {
            walk.offer = None;
            walk.looked_at(&x.seal, &x.seal_seen, row.condition_is_mismatch());
            let since = x.unaccounted_since.to_utc().min(at);
            // What was on the record until now is only on the record; who vouches ends at the last certain event.
            let since = walk.holder.as_ref().map_or(since, |h| since.max(h.2));
            walk.ends(since);
            walk.passes(x.from.clone(), Break, since);
            walk.passes(by.clone(), Person, at);
            (KnotKind::Receipt, format!("Charge taken by {by}"))
        }
        Fact::Stored(x) => {
            walk.passes(x.place_name.clone(), Place, at);
            let kind = if x.from_place.is_some() {
                KnotKind::Moved
            } else {
                KnotKind::Stored
            };
            let with = with(x.second_name.as_deref());
            (kind, format!("Stored at {}{with}", x.place_name))
        }
        Fact::Fetched(x) => {
            walk.passes(by.clone(), Person, at);
            let with = with(x.second_name.as_deref());
            (
                KnotKind::CheckedOut,
                format!("Taken from the shelf by {by}{with}"),
            )
        }
        Fact::CountDiffers(_) => (KnotKind::Counted, "Count differs".to_owned()),
        Fact::DispositionWitnessed(x) => {
            walk.ends(at);
            walk.over = Some(at);
            (KnotKind::End, words::capital(x.method.words()))
        }
        Fact::Amended(_) => (KnotKind::Corrected, format!("Corrected by {by}")),
        // Pictures and papers are rows of the table; they are no acts of custody.
        _ => return,
    };
    walk.knots.push(Knot {
        at,
        kind,
        filled: kind != KnotKind::Offer,
        label,
        row: row.row,
        seq: row.seq,
        flagged: row.flag.is_some(),
    });
}

/// Who else was there, behind what was done.
fn with(second: Option<&str>) -> String {
    second.map_or_else(String::new, |name| format!(", with {name}"))
}
