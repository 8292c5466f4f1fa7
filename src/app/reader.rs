//! What pages, the interface for programs and commands read: always for somebody, and never what they may not see.
//!
//! The permission table is asked here once for all readers; that a case is restricted is asked here too, so no page can
//! forget it.

mod error;
mod part;
mod thing;
mod viewer;

use std::collections::{BTreeMap, BTreeSet, HashSet};

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde::de::DeserializeOwned;

use super::house::House;
use super::past;
use super::record::Sent;
use crate::custody::count::Count;
use crate::custody::kit::lot_key;
use crate::custody::state::{Case, Item, Mark, Package, Person, Place};
use crate::custody::{Act, Command, Signed, State, paper};
use crate::ids::{
    CaseId, Code, CountId, ItemId, MarkId, PackageId, PersonId, Piece, PlaceId, Subject,
};
use crate::ledger::event::{Event, Source};
use crate::people::Action;
use crate::store::{DocFilter, DocOrder, DocRow, LIST_MAX};

pub use self::error::ReadError;
pub use self::part::{Page, Part};
pub use self::thing::Thing;
pub use self::viewer::Viewer;
pub use past::{HISTORY_MAX, Past, opened};

/// Reads for somebody.
pub struct Reader<'a> {
    house: &'a House,
    viewer: &'a Viewer,
}

impl House {
    /// Reads for this viewer.
    #[must_use]
    pub fn reader<'a>(&'a self, viewer: &'a Viewer) -> Reader<'a> {
        Reader {
            house: self,
            viewer,
        }
    }

    /// The person who signed in, as the ledger has them now; none for an unknown one. Asks no permission: it is what
    /// permissions are asked of.
    ///
    /// # Errors
    /// [`ReadError::Unavailable`], [`ReadError::Corrupt`].
    pub async fn person(&self, id: PersonId) -> Result<Option<Person>, ReadError> {
        let row = self.store.doc(&Subject::Person(id).to_string()).await?;
        row.map(|r| read(&r)).transpose()
    }

    /// The person of a user name, for signing in.
    ///
    /// # Errors
    /// [`ReadError::Unavailable`], [`ReadError::Corrupt`].
    pub async fn person_by_user_name(&self, name: &str) -> Result<Option<Person>, ReadError> {
        let row = self.store.doc_by_name("person", name).await?;
        row.map(|r| read(&r)).transpose()
    }
}

fn read<T: DeserializeOwned>(row: &DocRow) -> Result<T, ReadError> {
    serde_json::from_str(&row.doc)
        .map_err(|e| ReadError::Corrupt(format!("the document of {}: {e}", row.subject)))
}

impl<'a> Reader<'a> {
    /// The house that is read.
    #[must_use]
    pub fn house(&self) -> &'a House {
        self.house
    }

    /// Who reads.
    #[must_use]
    pub fn viewer(&self) -> &'a Viewer {
        self.viewer
    }

    /// The permission table's answer.
    ///
    /// # Errors
    /// [`ReadError::Forbidden`].
    pub fn must(&self, action: Action) -> Result<(), ReadError> {
        if self.viewer.may(action) {
            Ok(())
        } else {
            Err(ReadError::Forbidden(action))
        }
    }

    /// The documents of these subjects, each once, in no order; those that are not there are left out.
    async fn docs<T: DeserializeOwned>(
        &self,
        subjects: impl IntoIterator<Item = String>,
    ) -> Result<Vec<T>, ReadError> {
        let asked: BTreeSet<String> = subjects.into_iter().collect();
        let asked: Vec<String> = asked.into_iter().collect();
        let mut out = Vec::with_capacity(asked.len());
        for part in asked.chunks(LIST_MAX as usize) {
            for row in self.house.store.docs(part).await? {
                out.push(read(&row)?);
            }
        }
        Ok(out)
    }

    async fn doc<T: DeserializeOwned>(
        &self,
        subject: Subject,
        what: &'static str,
    ) -> Result<T, ReadError> {
        let row = self.house.store.doc(&subject.to_string()).await?;
        read(&row.ok_or(ReadError::NotFound(what))?)
    }

    /// A person, by anybody who has an account.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn person(&self, id: PersonId) -> Result<Person, ReadError> {
        self.doc(Subject::Person(id), "person").await
    }

    /// People by user name: everybody picks a recipient from them.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn people(
        &self,
        active: Option<bool>,
        part: &Part,
    ) -> Result<Page<Person>, ReadError> {
        let filter = DocFilter {
            kind: Some("person".into()),
            active,
            order: DocOrder::Name,
            ..DocFilter::default()
        };
        self.list(filter, part).await
    }

    /// A case that the viewer may see.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn case(&self, id: CaseId) -> Result<Case, ReadError> {
        self.must(Action::ReadEvidence)?;
        let case: Case = self.doc(Subject::Case(id), "case").await?;
        self.seen(&case)?;
        Ok(case)
    }

    /// Several cases, read together; each must be one that the viewer may see.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn cases_of(
        &self,
        ids: impl IntoIterator<Item = CaseId>,
    ) -> Result<BTreeMap<CaseId, Case>, ReadError> {
        self.must(Action::ReadEvidence)?;
        let ids: BTreeSet<CaseId> = ids.into_iter().collect();
        let mut out = BTreeMap::new();
        let subjects = ids.iter().map(|c| Subject::Case(*c).to_string());
        for case in self.docs::<Case>(subjects).await? {
            self.seen(&case)?;
            out.insert(case.id, case);
        }
        if out.len() < ids.len() {
            return Err(ReadError::NotFound("case"));
        }
        Ok(out)
    }

    /// A case by its number.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn case_by_number(&self, number: &str) -> Result<Case, ReadError> {
        self.must(Action::ReadEvidence)?;
        let row = self.house.store.doc_by_name("case", number).await?;
        let case: Case = read(&row.ok_or(ReadError::NotFound("case"))?)?;
        self.seen(&case)?;
        Ok(case)
    }

    fn seen(&self, case: &Case) -> Result<(), ReadError> {
        if case.seen_by(self.viewer.id()) {
            Ok(())
        } else {
            Err(ReadError::Restricted)
        }
    }

    /// Puts the reading of a restricted case on the record, in the viewer's name. Call it before anything of the case
    /// is shown; for a case that is open to all it does nothing. `what` says which page or answer.
    ///
    /// # Errors
    /// [`ReadError::Record`].
    pub async fn note_reading(
        &self,
        case: &Case,
        what: &str,
        signed: Signed,
        source: Source,
    ) -> Result<(), ReadError> {
        let Some(person) = self.viewer.id() else {
            return Ok(());
        };
        if !case.restricted {
            return Ok(());
        }
        let act = Act::CaseRead(paper::CaseRead {
            case: case.id,
            what: what.chars().take(100).collect(),
        });
        let command = Command::now(act);
        let sent = Sent {
            person: Some(person),
            signed,
            beside: None,
            source,
            command,
        };
        self.house.recorder.record(sent).await?;
        Ok(())
    }

    /// Cases that the viewer may see, newest first. A part may hold fewer rows than its limit and still go on.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn cases(&self, part: &Part) -> Result<Page<Case>, ReadError> {
        self.must(Action::ReadEvidence)?;
        let filter = DocFilter {
            kind: Some("case".into()),
            order: DocOrder::Newest,
            ..DocFilter::default()
        };
        let mut page: Page<Case> = self.list(filter, part).await?;
        page.rows.retain(|c| c.seen_by(self.viewer.id()));
        Ok(page)
    }

    /// A mark, its case seen.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn mark(&self, id: MarkId) -> Result<Mark, ReadError> {
        self.must(Action::ReadEvidence)?;
        let mark: Mark = self.doc(Subject::Mark(id), "mark").await?;
        self.case(mark.case).await?;
        Ok(mark)
    }

    /// An item, its case seen.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn item(&self, id: ItemId) -> Result<Item, ReadError> {
        self.must(Action::ReadEvidence)?;
        let item: Item = self.doc(Subject::Item(id), "item").await?;
        self.case(item.case).await?;
        Ok(item)
    }

    /// A package, its case seen.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn package(&self, id: PackageId) -> Result<Package, ReadError> {
        self.must(Action::ReadEvidence)?;
        let package: Package = self.doc(Subject::Package(id), "package").await?;
        self.case(package.case).await?;
        Ok(package)
    }

    /// An item or a package, its case seen.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn thing(&self, piece: Piece) -> Result<Thing, ReadError> {
        Ok(match piece {
            Piece::Item(id) => Thing::Item(Box::new(self.item(id).await?)),
            Piece::Package(id) => Thing::Package(Box::new(self.package(id).await?)),
        })
    }

    /// A place in the storeroom.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn place(&self, id: PlaceId) -> Result<Place, ReadError> {
        self.must(Action::ReadEvidence)?;
        self.doc(Subject::Place(id), "place").await
    }

    /// A place by its name.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn place_by_name(&self, name: &str) -> Result<Place, ReadError> {
        self.must(Action::ReadEvidence)?;
        let row = self.house.store.doc_by_name("place", name).await?;
        read(&row.ok_or(ReadError::NotFound("place"))?)
    }

    /// Places by name.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn places(&self, part: &Part) -> Result<Page<Place>, ReadError> {
        self.must(Action::ReadEvidence)?;
        let filter = DocFilter {
            kind: Some("place".into()),
            order: DocOrder::Name,
            ..DocFilter::default()
        };
        self.list(filter, part).await
    }

    /// A count. What it expects is in it: views show that only when it is ended.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn count(&self, id: CountId) -> Result<Count, ReadError> {
        self.must(Action::ReadEvidence)?;
        self.doc(Subject::Count(id), "count").await
    }

    /// Counts, newest first; only those that are not done with, or only those that are.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn counts(
        &self,
        active: Option<bool>,
        part: &Part,
    ) -> Result<Page<Count>, ReadError> {
        self.must(Action::ReadEvidence)?;
        let filter = DocFilter {
            kind: Some("count".into()),
            active,
            order: DocOrder::Newest,
            ..DocFilter::default()
        };
        self.list(filter, part).await
    }

    /// What bears this code. The caller reads it by its own function, which asks whether it may be seen.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn subject_of_code(&self, code: &Code) -> Result<Subject, ReadError> {
        self.must(Action::ReadEvidence)?;
        let row = self.house.store.doc_by_code(code.as_str()).await?;
        let row = row.ok_or(ReadError::NotFound("item, package or place"))?;
        row.subject
            .parse()
            .map_err(|_| ReadError::Corrupt(format!("the subject {}", row.subject)))
    }

    /// Marks of a case, by number.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn marks_of(&self, case: CaseId, part: &Part) -> Result<Page<Mark>, ReadError> {
        self.of_case(case, "mark", part).await
    }

    /// Items of a case, by number.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn items_of(&self, case: CaseId, part: &Part) -> Result<Page<Item>, ReadError> {
        self.of_case(case, "item", part).await
    }

    /// Packages of a case, by number.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn packages_of(&self, case: CaseId, part: &Part) -> Result<Page<Package>, ReadError> {
        self.of_case(case, "package", part).await
    }

    /// The mark of this number in a case; none where there is none.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn mark_numbered(&self, case: CaseId, n: u32) -> Result<Option<Mark>, ReadError> {
        self.numbered(case, "mark", n).await
    }

    /// The item of this number in a case; none where there is none.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn item_numbered(&self, case: CaseId, n: u32) -> Result<Option<Item>, ReadError> {
        self.numbered(case, "item", n).await
    }

    /// The package of this number in a case; none where there is none.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn package_numbered(
        &self,
        case: CaseId,
        n: u32,
    ) -> Result<Option<Package>, ReadError> {
        self.numbered(case, "package", n).await
    }

    async fn numbered<T: DeserializeOwned>(
        &self,
        case: CaseId,
        kind: &str,
        n: u32,
    ) -> Result<Option<T>, ReadError> {
        self.case(case).await?;
        let filter = DocFilter {
            kind: Some(kind.into()),
            case_id: Some(case.to_string()),
            number: Some(i64::from(n)),
            order: DocOrder::Number,
            ..DocFilter::default()
        };
        Ok(self.list(filter, &Part::first(1)).await?.rows.pop())
    }

    async fn of_case<T: DeserializeOwned>(
        &self,
        case: CaseId,
        kind: &str,
        part: &Part,
    ) -> Result<Page<T>, ReadError> {
        self.case(case).await?;
        let filter = DocFilter {
            kind: Some(kind.into()),
            case_id: Some(case.to_string()),
            order: DocOrder::Number,
            ..DocFilter::default()
        };
        self.list(filter, part).await
    }

    /// Items and packages that fit the filter, those of cases that the viewer may not see left out. The filter's kind,
    /// cursor and limit are set here. A part may hold fewer rows than its limit and still go on.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn things(&self, filter: DocFilter, part: &Part) -> Result<Page<Thing>, ReadError> {
        self.must(Action::ReadEvidence)?;
        let rows = self.rows(filter, part).await?;
        let cases = rows.rows.iter().filter_map(|r| r.case_id.as_ref());
        let cases = self.docs(cases.map(|c| format!("case:{c}"))).await?;
        let hidden: HashSet<String> = cases
            .iter()
            .filter(|c: &&Case| !c.seen_by(self.viewer.id()))
            .map(|c| c.id.to_string())
            .collect();
        let mut out = Vec::with_capacity(rows.rows.len());
        for row in rows.rows {
            if row.case_id.as_ref().is_some_and(|c| hidden.contains(c)) {
                continue;
            }
            match row.kind.as_str() {
                "item" => out.push(Thing::Item(Box::new(read(&row)?))),
                "package" => out.push(Thing::Package(Box::new(read(&row)?))),
                _ => {}
            }
        }
        Ok(Page {
            rows: out,
            next: rows.next,
        })
    }

    /// Items that were made with a lot of a medium, oldest first, those of cases that the viewer may not see left out. A
    /// part may hold fewer rows than its limit and still go on. A blank lot made nothing.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn made_with(
        &self,
        medium: &str,
        lot: &str,
        part: &Part,
    ) -> Result<Page<Thing>, ReadError> {
        let Some(key) = lot_key(medium, lot) else {
            self.must(Action::ReadEvidence)?;
            return Ok(Page {
                rows: Vec::new(),
                next: None,
            });
        };
        let filter = DocFilter {
            lot: Some(key),
            ..DocFilter::default()
        };
        self.things(filter, part).await
    }

    /// What a person has in their own hands, not counting what is inside packages.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn held_by(&self, person: PersonId, part: &Part) -> Result<Page<Thing>, ReadError> {
        let filter = DocFilter {
            holder: Some(Subject::Person(person).to_string()),
            ..DocFilter::default()
        };
        self.things(filter, part).await
    }

    /// What is offered to a person.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn offered_to(
        &self,
        person: PersonId,
        part: &Part,
    ) -> Result<Page<Thing>, ReadError> {
        let filter = DocFilter {
            offer_to: Some(Subject::Person(person).to_string()),
            ..DocFilter::default()
        };
        self.things(filter, part).await
    }

    /// What is offered to anybody, by whom it is offered to.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn offered(&self, part: &Part) -> Result<Page<Thing>, ReadError> {
        let filter = DocFilter {
            order: DocOrder::Offer,
            ..DocFilter::default()
        };
        self.things(filter, part).await
    }

    /// What stands in a place.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn stored_in(&self, place: PlaceId, part: &Part) -> Result<Page<Thing>, ReadError> {
        let filter = DocFilter {
            place: Some(Subject::Place(place).to_string()),
            ..DocFilter::default()
        };
        self.things(filter, part).await
    }

    /// What must be back before a time (RFC 3339, UTC, as [`crate::ledger::times::recorded`] writes it), most urgent
    /// first.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn due_before(&self, time: &str, part: &Part) -> Result<Page<Thing>, ReadError> {
        let filter = DocFilter {
            due_before: Some(time.to_owned()),
            order: DocOrder::Due,
            ..DocFilter::default()
        };
        self.things(filter, part).await
    }

    /// The history of a subject, oldest first, at most [`HISTORY_MAX`] events. Whether the subject may be seen, the
    /// caller has asked before.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn history(&self, subject: Subject) -> Result<Vec<Past>, ReadError> {
        self.must(Action::ReadEvidence)?;
        past::history(self.house.store.as_ref(), subject).await
    }

    /// One event by its place. Those of a case that the viewer may not see, and those of no case, are refused to
    /// whoever may not see them.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn event(&self, seq: u64) -> Result<Event, ReadError> {
        let raw = self.house.store.event(seq).await?;
        let event = opened(raw.ok_or(ReadError::NotFound("event"))?)?;
        match event.header.case {
            Some(case) => {
                self.case(case).await?;
            }
            None => self.must(Action::ReadEvidence)?,
        }
        Ok(event)
    }

    /// Everything around some subjects that their words need: what they are in and what is in them, their cases and
    /// marks, and the people and places that hold them or are named by an offer. Whether they may be seen, the caller
    /// has asked before. At most some thousands of records.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn around(&self, subjects: &[Subject]) -> Result<State, ReadError> {
        past::around(self.house.store.as_ref(), subjects).await
    }

    /// The names of people, for tables; unknown ones are left out.
    ///
    /// # Errors
    /// See [`ReadError`].
    pub async fn names(
        &self,
        people: impl IntoIterator<Item = PersonId>,
    ) -> Result<BTreeMap<PersonId, String>, ReadError> {
        let subjects = people.into_iter().map(|p| Subject::Person(p).to_string());
        let people = self.docs::<Person>(subjects).await?;
        Ok(people.into_iter().map(|p| (p.id, p.name)).collect())
    }

    async fn rows(&self, mut filter: DocFilter, part: &Part) -> Result<Page<DocRow>, ReadError> {
        let limit = part.limit();
        filter.after = part.cursor()?;
        if let Some(cursor) = &filter.after
            && filter.order == DocOrder::Number
            && cursor.key.parse::<i64>().is_err()
        {
            return Err(ReadError::BadCursor);
        }
        filter.limit = limit;
        let order = filter.order;
        let rows = self.house.store.list_docs(&filter).await?;
        let next = match rows.last() {
            Some(last) if rows.len() >= limit as usize => {
                let cursor = last.cursor(order);
                let text = serde_json::to_vec(&(cursor.key, cursor.subject))
                    .map_err(|e| ReadError::Corrupt(e.to_string()))?;
                Some(URL_SAFE_NO_PAD.encode(text))
            }
            _ => None,
        };
        Ok(Page { rows, next })
    }

    /// A part of a list of documents of one kind. Whether they may be seen, the caller asks.
    pub(super) async fn list<T: DeserializeOwned>(
        &self,
        filter: DocFilter,
        part: &Part,
    ) -> Result<Page<T>, ReadError> {
        let page = self.rows(filter, part).await?;
        Ok(Page {
            rows: page.rows.iter().map(read).collect::<Result<_, _>>()?,
            next: page.next,
        })
    }
}
