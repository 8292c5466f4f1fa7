//! Who vouches for which time, from a trail: the stretches that the arithmetic of continuity is done on.

use chrono::{DateTime, Utc};
use schemars::JsonSchema;
use serde::Serialize;

use super::super::custody_rows::{by_name, claimed_at};
use super::super::trail::Step;
use super::super::words;
use crate::custody::Fact;
use crate::custody::consumed::ItemConsumed;
use crate::custody::continuity::{Stretch, accounted};
use crate::ids::PersonId;

/// How much of the time is accounted for.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
pub struct Continuity {
    /// From the first event to the end of custody, or to now, in seconds.
    pub seconds: i64,
    /// For which nobody vouches, in seconds.
    pub unaccounted_seconds: i64,
    /// For which two holders vouch, in seconds.
    pub claimed_twice_seconds: i64,
    /// The same in a sentence.
    pub words: String,
}

/// An end that is still open.
struct Open {
    holder: String,
    /// Where the holder is a person who acts in the ledger.
    person: Option<PersonId>,
    from: DateTime<Utc>,
    begun: u64,
    /// The holder's own last act while holding.
    said: DateTime<Utc>,
    last: u64,
}

impl Open {
    fn closed(self, to: DateTime<Utc>) -> Stretch {
        Stretch {
            holder: self.holder,
            from: self.from,
            to: to.max(self.said).max(self.from),
            begun: self.begun,
            last: self.last,
        }
    }
}

/// The stretches of a trail, in its order. A holder vouches from the event with which they had it until the next holder had it,
/// and in any case until their own last act with it; where somebody took charge of it, only until it was last certain.
#[must_use]
pub fn stretches(steps: &[Step], now: DateTime<Utc>) -> Vec<Stretch> {
    let mut out = Vec::new();
    let mut open: Option<Open> = None;
    for step in steps {
        let Some(fact) = &step.past.fact else {
            continue;
        };
        let at = claimed_at(step).to_utc();
        let actor = step.past.event.header.actor;
        let seq = step.seq();
        let begins = |holder: String, person| Open {
            holder,
            person,
            from: at,
            begun: seq,
            said: at,
            last: seq,
        };
        let next = match fact {
            Fact::PackageMade(_) | Fact::ItemRecovered(_) | Fact::BroughtIn(_)
                if open.is_none() =>
            {
                Some(begins(by_name(step), actor))
            }
            Fact::ItemImported(x) if x.place.is_some() => {
                Some(begins(words::place(&x.place_name), None))
            }
            Fact::ItemImported(x) if !x.holder.is_empty() => Some(begins(x.holder.clone(), None)),
            Fact::ItemImported(_) => Some(begins(by_name(step), actor)),
            Fact::Received(_) | Fact::TakenBack(_) | Fact::ChargeTaken(_) | Fact::Fetched(_) => {
                Some(begins(by_name(step), actor))
            }
            Fact::HandedOut(x) => Some(begins(words::outside(&x.name, &x.organisation), None)),
            Fact::Stored(x) => Some(begins(words::place(&x.place_name), None)),
            Fact::DispositionWitnessed(_)
            | Fact::ItemConsumed(ItemConsumed { whole: true, .. }) => {
                out.extend(open.take().map(|o| o.closed(at)));
                return out;
            }
            _ => {
                if let Some(o) = &mut open
                    && o.person.is_some()
                    && o.person == actor
                    && of_the_holder(fact)
                    && at > o.said
                {
                    o.said = at;
                    o.last = seq;
                }
                None
            }
        };
        if let Some(next) = next {
            let until = match fact {
                Fact::ChargeTaken(x) => x.unaccounted_since.to_utc().min(at),
                _ => at,
            };
            out.extend(open.take().map(|o| o.closed(until)));
            open = Some(next);
        }
    }
    out.extend(open.map(|o| o.closed(now)));
    out
}

/// Whether only whoever has the thing does this.
fn of_the_holder(fact: &Fact) -> bool {
    matches!(
        fact,
        Fact::Released(_)
            | Fact::Withdrawn(_)
            | Fact::PackageMade(_)
            | Fact::PiecePutIn(_)
            | Fact::PieceTakenOut(_)
            | Fact::PackageSealed(_)
            | Fact::PackageOpened(_)
            | Fact::PackageRepacked(_)
    )
}

/// How much of the time is accounted for, in figures and in words.
#[must_use]
pub fn continuity(stretches: &[Stretch]) -> Continuity {
    let all = accounted(stretches);
    let long = |seconds: i64| words::duration_words(chrono::TimeDelta::seconds(seconds));
    let mut said = if all.by_nobody == 0 {
        format!("All {} are accounted for", long(all.seconds))
    } else {
        format!(
            "Of {} all but {} are accounted for",
            long(all.seconds),
            long(all.by_nobody)
        )
    };
    if all.by_several > 0 {
        said.push_str(&format!(
            ", and {} are claimed by two holders",
            long(all.by_several)
        ));
    }
    said.push('.');
    Continuity {
        seconds: all.seconds,
        unaccounted_seconds: all.by_nobody,
        claimed_twice_seconds: all.by_several,
        words: said,
    }
}
