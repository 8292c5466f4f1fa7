//! What is so now: offers that nobody answers, what is overdue, what has no witness.

use chrono::{DateTime, FixedOffset, Utc};

use super::super::custody_rows::moves;
use super::super::trail::Step;
use super::super::words;
use super::look::Look;
use super::{Kind, NO_WITNESS, OPEN_OFFER, Raw, Severity};
use crate::custody::Fact;
use crate::custody::state::{Custody, Holder};
use crate::ids::Subject;
use crate::keeping::Stand;

impl Look<'_> {
    /// Something that is so now and rests on the step at `i`. It is the outermost piece's, where that is its own event.
    fn still(
        &mut self,
        i: usize,
        kind: Kind,
        sentence: String,
        since: Option<DateTime<FixedOffset>>,
    ) {
        let Some(step) = self.asked.steps.get(i) else {
            return;
        };
        let outermost = Subject::from(self.asked.state.outermost(self.asked.piece));
        let of = if step.of == outermost {
            outermost
        } else {
            self.asked.piece.into()
        };
        self.found.push(Raw {
            kind,
            severity: Severity::Attention,
            sentence,
            of,
            events: [step.seq()].into(),
            detail: String::new(),
            seq: None,
            row: None,
            from: since,
            to: None,
        });
    }

    /// The last step that fits; the first of all where none does, so that a finding never stands on nothing.
    fn last(&self, fits: impl Fn(&Fact) -> bool) -> usize {
        let fits = |s: &Step| s.past.fact.as_ref().is_some_and(&fits);
        self.asked.steps.iter().rposition(fits).unwrap_or(0)
    }

    /// What a rule asks to be done at once and what is late by now, of every item in it.
    pub(super) fn times_now(&mut self) {
        let (state, now) = (self.asked.state, self.asked.now.fixed_offset());
        for item in state.items_in(self.asked.piece) {
            let own = self.asked.steps.iter().find(
                |s| matches!(&s.past.fact, Some(Fact::ItemRecovered(x)) if x.item == item.id),
            );
            let known = self.asked.recoveries.get(&item.id).copied();
            let Some(recovery) = own.map(|s| s.seq()).or(known) else {
                continue;
            };
            let moments = item.moments();
            let limits = item.needs().into_iter().flat_map(|n| &n.packing.limits);
            for limit in limits.filter(|l| l.stand(&moments, now) == Stand::Late) {
                let sentence = format!(
                    "Item {} asks for this without delay: {} (rule {}). Nothing on the record says that it was done; it was recovered at {}.",
                    item.number,
                    limit.what,
                    limit.rule(),
                    self.minute(&moments.recovered)
                );
                self.found.push(Raw {
                    kind: Kind::NotDoneAtOnce,
                    severity: Severity::Attention,
                    sentence,
                    of: Subject::Item(item.id),
                    events: [recovery].into(),
                    detail: super::look::word(limit.rule()),
                    seq: None,
                    row: None,
                    from: Some(moments.recovered),
                    to: None,
                });
            }
        }
    }

    /// What is so now.
    pub(super) fn now(&mut self) {
        let state = self.asked.state;
        let outermost = state.outermost(self.asked.piece);
        let Some(custody) = state.custody(outermost) else {
            return;
        };
        let now = self.asked.now;
        self.offer_now(custody, now);
        if let Some(due) = custody.loan.as_ref().and_then(|l| l.due_at)
            && now > due.to_utc()
        {
            let sentence = format!(
                "It was due back at {}, {} ago; {} has it.",
                self.minute(&due),
                words::duration_words(now - due.to_utc()),
                words::holder(state, &custody.holder)
            );
            // A loan that something else brought into the package began with that thing's going in.
            let at = self.due.as_ref().map(|(_, i)| *i).unwrap_or_else(|| {
                self.last(|f| matches!(f, Fact::PackageMade(_) | Fact::PiecePutIn(_)))
            });
            self.still(at, Kind::Overdue, sentence, Some(due));
        }
        if let Holder::Person { person } = &custody.holder
            && state.people.get(person).is_some_and(|p| !p.active)
        {
            let sentence = format!(
                "The account of {}, who has it, is switched off.",
                words::person_in(state, *person)
            );
            let at = self.last(moves);
            self.still(at, Kind::HolderSwitchedOff, sentence, None);
        }
        let executed = custody
            .disposition
            .as_ref()
            .and_then(|d| d.executed.as_ref());
        if let Some(done) = executed
            && !matches!(custody.holder, Holder::Disposed { .. })
            && now - done.at.to_utc() > NO_WITNESS
        {
            let sentence = format!(
                "Its disposition was carried out at {} and {}, who was named as the witness, has not confirmed it for {}.",
                self.minute(&done.at),
                words::person_in(state, done.witness),
                words::duration_words(now - done.at.to_utc())
            );
            let at = self.last(|f| matches!(f, Fact::DispositionExecuted(_)));
            self.still(at, Kind::WitnessMissing, sentence, Some(done.at));
        }
    }

    fn offer_now(&mut self, custody: &Custody, now: DateTime<Utc>) {
        let state = self.asked.state;
        let Some(offer) = &custody.offer else { return };
        let at = self.last(|f| matches!(f, Fact::Released(_)));
        let open = now - offer.at.to_utc();
        if open > OPEN_OFFER {
            let sentence = format!(
                "It is on offer to {} since {}, {}, and nobody has answered.",
                words::person_in(state, offer.to),
                self.minute(&offer.at),
                words::duration_words(open)
            );
            self.still(at, Kind::OfferOpen, sentence, Some(offer.at));
        }
        if state.people.get(&offer.to).is_some_and(|p| !p.active) {
            let sentence = format!(
                "It is on offer to {}, whose account is switched off.",
                words::person_in(state, offer.to)
            );
            self.still(at, Kind::OfferToSwitchedOff, sentence, Some(offer.at));
        }
    }
}
