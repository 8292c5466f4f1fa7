//! What a command needs of the ledger before it can be decided.

use std::collections::{BTreeSet, HashSet};

use super::{Holder, Key, State};
use crate::custody::command::{Act, Actor, Command};
use crate::custody::package::{MAX_DEPTH, seal_number};
use crate::custody::{hold, image};
use crate::ids::{Piece, PlaceId, Subject};

impl State {
    /// What this command still needs. Ask again after loading, until the answer is empty: what a package is in and what
    /// is in it are found step by step. The depth of packages bounds the rounds.
    #[must_use]
    pub fn wants(&self, actor: &Actor, command: &Command) -> Vec<Key> {
        let mut all = BTreeSet::new();
        for id in actor.id.into_iter().chain(actor.beside) {
            all.insert(Key::Subject(Subject::Person(id)));
        }
        let mut pieces: Vec<Piece> = command.act.pieces();
        // Whether custody of an item has ended is asked of what is around it.
        if let Act::AddImage(image::AddImage { of, .. })
        | Act::PlaceHold(hold::PlaceHold { of, .. })
        | Act::LiftHold(hold::LiftHold { of, .. }) = &command.act
            && let Subject::Item(id) = of
        {
            pieces.push(Piece::Item(*id));
        }
        let mut ask = |s: Subject| {
            all.insert(Key::Subject(s));
        };
        match &command.act {
            Act::AddPerson(x) => {
                all.insert(Key::UserName(x.user_name.clone()));
            }
            Act::SetRoles(x) => ask(Subject::Person(x.person)),
            Act::SetActive(x) => ask(Subject::Person(x.person)),
            Act::OpenCase(x) => {
                all.insert(Key::CaseNumber(x.number.clone()));
            }
            Act::OpenScene(x) => ask(Subject::Case(x.case)),
            Act::Assign(x) => {
                ask(Subject::Case(x.case));
                ask(Subject::Person(x.person));
            }
            Act::Restrict(x) => ask(Subject::Case(x.case)),
            Act::NoteMark(x) => ask(Subject::Case(x.case)),
            Act::DevelopMark(x) => ask(Subject::Mark(x.mark)),
            Act::AddImage(x) => ask(x.of),
            Act::SetView(x) => ask(x.of),
            Act::SetScale(x) => ask(x.of),
            Act::AddCopy(x) => ask(x.of),
            Act::AssessValue(x) => ask(x.of),
            Act::AfisExported(x) => {
                ask(x.of);
                ask(x.shown);
            }
            Act::Recover(x) => ask(Subject::Mark(x.mark)),
            Act::Pack(x) => {
                ask(Subject::Case(x.case));
                if let Some(from) = &x.stock {
                    ask(Subject::Place(from.place));
                }
            }
            Act::Repack(x) => {
                if let Some(from) = &x.stock {
                    ask(Subject::Place(from.place));
                }
                for piece in x
                    .contents
                    .iter()
                    .take(crate::custody::package::MAX_CONTENTS)
                {
                    ask((*piece).into());
                }
                let seal = seal_number(&x.seal);
                if !seal.is_empty() {
                    all.insert(Key::Seal(seal));
                }
            }
            Act::NoteDry(x) => {
                ask(Subject::Item(x.item));
                if let Some(item) = self.items.get(&x.item) {
                    ask(Subject::Mark(item.mark));
                }
            }
            Act::StockSet(x) => ask(Subject::Place(x.place)),
            Act::StockTake(x) => ask(Subject::Place(x.place)),
            Act::SealsDeliver(x) => ask(Subject::Place(x.place)),
            Act::SealsIssue(x) => {
                ask(Subject::Place(x.place));
                ask(Subject::Person(x.to));
            }
            Act::SealsSpoil(x) => {
                ask(Subject::Place(x.place));
                all.extend(
                    crate::custody::seal_stock::looked_up(x)
                        .into_iter()
                        .map(Key::Seal),
                );
            }
            Act::LogClimate(x) => ask(Subject::Place(x.place)),
            Act::Seal(x) => {
                all.insert(Key::Seal(seal_number(&x.number)));
            }
            Act::Release(x) => ask(Subject::Person(x.to)),
            Act::PutIn(_) | Act::TakeOut(_) | Act::Open(_) | Act::Withdraw(_) => {}
            Act::Receive(_) | Act::Refuse(_) | Act::HandOut(_) | Act::Consume(_) => {}
            Act::TakeBack(x) => {
                for absent in x.absent.iter().take(crate::custody::package::MAX_CONTENTS) {
                    ask(absent.piece.into());
                }
            }
            Act::TakeCharge(_) | Act::Fetch(_) | Act::KitAdd(_) | Act::KitRemove(_) => {}
            Act::Intake(x) => {
                for line in x.lines.iter().take(crate::custody::intake::MAX_LINES) {
                    pieces.extend(line.piece(self));
                    all.extend(line.code().map(Key::Code));
                }
            }
            Act::Import(x) => {
                for row in x.rows.iter().take(crate::custody::import::MAX_ROWS) {
                    ask(Subject::Item(row.item));
                    if let Some(case) = self.case_numbers.get(&row.case) {
                        ask(Subject::Case(*case));
                    }
                    if let Some(place) = self.place_names.get(&row.place) {
                        ask(Subject::Place(*place));
                    }
                }
                for row in x.rows.iter().take(crate::custody::import::MAX_ROWS) {
                    all.insert(Key::CaseNumber(row.case.clone()));
                    if !row.place.is_empty() {
                        all.insert(Key::PlaceName(row.place.clone()));
                    }
                    let seal = seal_number(&row.seal);
                    if !seal.is_empty() {
                        all.insert(Key::Seal(seal));
                    }
                }
            }
            Act::BringIn(x) => {
                let number = x.case.trim();
                if let Some(case) = self.case_numbers.get(number) {
                    ask(Subject::Case(*case));
                }
                all.insert(Key::CaseNumber(number.to_owned()));
            }
            Act::AddPlace(x) => {
                all.insert(Key::PlaceName(x.name.clone()));
                if let Some(parent) = x.parent {
                    all.insert(Key::Subject(Subject::Place(parent)));
                }
            }
            Act::SetCapacity(x) => ask(Subject::Place(x.place)),
            Act::MarkTwoPerson(x) => ask(Subject::Place(x.place)),
            Act::Store(x) => {
                ask(Subject::Place(x.place));
                if let Some(over) = &x.overridden {
                    ask(Subject::Person(over.by));
                }
                all.extend(self.near_wanted(x.place, 1));
            }
            Act::StoreMany(x) => {
                ask(Subject::Place(x.place));
                all.extend(self.near_wanted(x.place, x.codes.len()));
                pieces.extend(x.pieces(self));
                all.extend(x.codes().map(Key::Code));
            }
            Act::BeginCount(x) => {
                for place in x.places.iter().take(crate::custody::count::MAX_PLACES) {
                    ask(Subject::Place(*place));
                    // What the record says stands there must be known whole.
                    for piece in self.stored.get(place).into_iter().flatten() {
                        ask((*piece).into());
                    }
                }
                let places = x.places.iter().take(crate::custody::count::MAX_PLACES);
                all.extend(places.map(|p| Key::StoredIn(*p)));
            }
            Act::ScanCodes(x) => {
                ask(Subject::Count(x.count));
                let codes = x.codes.iter().take(crate::custody::count::MAX_BATCH);
                all.extend(codes.filter_map(|c| c.parse().ok()).map(Key::Code));
            }
            Act::EndCount(x) => {
                ask(Subject::Count(x.count));
                if let Some(count) = self.counts.get(&x.count) {
                    for piece in count.expected.iter().chain(&count.seen) {
                        self.ask_outward(*piece, &mut ask);
                    }
                }
            }
            Act::ResolveDifference(x) => {
                ask(Subject::Count(x.count));
                if let Some(piece) = self.counts.get(&x.count).and_then(|c| c.piece(x.number)) {
                    ask(piece.into());
                }
            }
            Act::PlaceHold(x) => ask(x.of),
            Act::LiftHold(x) => ask(x.of),
            Act::SetExhibit(x) => {
                pieces.push(Piece::Item(x.item));
                // A refusal names the item that has the number.
                let case = self
                    .items
                    .get(&x.item)
                    .and_then(|i| self.cases.get(&i.case));
                let other =
                    case.and_then(|c| c.exhibits.get(&crate::custody::exhibit::key(&x.number)));
                if let Some(other) = other {
                    ask(Subject::Item(*other));
                }
            }
            Act::SetRetention(x) => ask(Subject::Case(x.case)),
            Act::Dispose(x) => ask(Subject::Person(x.witness)),
            Act::AuthoriseDisposition(_) | Act::RevokeDisposition(_) => {}
            Act::WitnessDisposition(_) | Act::DeclineDisposition(_) => {}
            Act::Amend(x) => {
                all.insert(Key::Event(x.event));
            }
            Act::AnswerFinding(x) => {
                ask(x.finding.of);
                all.insert(Key::Findings(x.finding.of));
                all.extend(x.evidence.map(Key::Event));
            }
            Act::LabelPrinted(x) => ask(x.of),
            Act::ReportPrinted(x) | Act::FormPrinted(x) => ask(x.of),
            Act::Disclose(x) => ask(Subject::Case(x.case)),
            Act::CaseRead(x) => ask(Subject::Case(x.case)),
            Act::WithdrawExpungement(x) => ask(Subject::Case(x.case)),
            Act::OrderExpungement(x) => {
                ask(x.of);
                if let Subject::Case(case) = x.of
                    && !x.events.is_empty()
                {
                    all.insert(Key::Record(case));
                }
            }
            Act::CarryOutExpungement(x) => {
                ask(Subject::Case(x.case));
                // What each event is about, and what is around that: whether its custody has ended.
                let record = self.records.get(&x.case).into_iter().flatten();
                for past in record.filter_map(|seq| self.events.get(seq)) {
                    for subject in &past.subjects {
                        match subject {
                            Subject::Item(id) => pieces.push(Piece::Item(*id)),
                            Subject::Package(id) => pieces.push(Piece::Package(*id)),
                            Subject::Mark(_) => ask(*subject),
                            _ => {}
                        }
                    }
                }
                all.insert(Key::Record(x.case));
            }
        }
        // A new thing must not exist yet under the command's identifier.
        if let Some(new) = command.creates() {
            all.insert(Key::Subject(new));
        }
        if let Act::AnswerFinding(x) = &command.act
            && let Some(past) = x.evidence.and_then(|seq| self.events.get(&seq))
        {
            all.extend(past.case.map(|c| Key::Subject(Subject::Case(c))));
        }
        if let Act::Amend(x) = &command.act
            && let Some(past) = self.events.get(&x.event)
        {
            all.extend(past.subjects.iter().map(|s| Key::Subject(*s)));
            all.extend(past.case.map(|c| Key::Subject(Subject::Case(c))));
        }
        // Close over packages: what holds them, and what they hold.
        let mut seen: HashSet<Piece> = HashSet::new();
        while let Some(piece) = pieces.pop() {
            if !seen.insert(piece) {
                continue;
            }
            all.insert(Key::Subject(piece.into()));
            // Facts and refusals name who has it and who released it to whom.
            if let Some(custody) = self.custody(piece) {
                match &custody.holder {
                    Holder::Person { person } => {
                        all.insert(Key::Subject(Subject::Person(*person)));
                    }
                    Holder::Place { place } => {
                        all.insert(Key::Subject(Subject::Place(*place)));
                    }
                    Holder::Outside { .. } | Holder::Disposed { .. } => {}
                }
                if let Some(disposition) = &custody.disposition {
                    let done = disposition.executed.iter().flat_map(|e| [e.by, e.witness]);
                    for person in done.chain([disposition.by]) {
                        all.insert(Key::Subject(Subject::Person(person)));
                    }
                }
                for person in custody.offer.iter().flat_map(|o| [o.by, o.to]) {
                    all.insert(Key::Subject(Subject::Person(person)));
                }
            }
            match piece {
                Piece::Item(id) => {
                    if let Some(item) = self.items.get(&id) {
                        pieces.extend(item.custody.inside.map(Piece::Package));
                    }
                }
                Piece::Package(id) => {
                    if let Some(package) = self.packages.get(&id) {
                        pieces.extend(package.custody.inside.map(Piece::Package));
                        pieces.extend(&package.contents);
                    }
                }
            }
        }
        let subjects: Vec<Key> = all.iter().cloned().collect();
        for key in &subjects {
            // What a place sums up, and whether two people are needed there, stands on those around it.
            if let Key::Subject(Subject::Place(id)) = key {
                for parent in self.places_around(*id).filter_map(|p| p.added.parent) {
                    all.insert(Key::Subject(Subject::Place(parent)));
                }
            }
            if let Key::Subject(s) = key
                && let Some(case) = self.case_of(*s)
            {
                all.insert(Key::Subject(Subject::Case(case)));
            }
        }
        all.retain(|k| !self.known.contains(k));
        all.into_iter().collect()
    }

    /// Where so many things find no room in a place: the places beside it.
    fn near_wanted(&self, place: PlaceId, more: usize) -> Vec<Key> {
        let more = u32::try_from(more).unwrap_or(u32::MAX);
        let full = self.places.get(&place).is_some_and(|p| !p.takes(more));
        if !full {
            return Vec::new();
        }
        let near = self.near.get(&place).into_iter().flatten();
        near.map(|p| Key::Subject(Subject::Place(*p)))
            .chain([Key::Near(place)])
            .collect()
    }

    /// A piece, what it is in, and who has that: what a count holds against the record.
    fn ask_outward(&self, piece: Piece, ask: &mut impl FnMut(Subject)) {
        let mut at = piece;
        for _ in 0..=MAX_DEPTH {
            ask(at.into());
            let Some(custody) = self.custody(at) else {
                return;
            };
            match (custody.inside, &custody.holder) {
                (Some(package), _) => at = Piece::Package(package),
                (None, Holder::Person { person }) => return ask(Subject::Person(*person)),
                (None, Holder::Place { place }) => return ask(Subject::Place(*place)),
                (None, _) => return,
            }
        }
    }
}
