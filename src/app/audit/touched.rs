//! The index of which events touch a subject, held against the touches of the headers: the same events, in the same order.
//!
//! Of a subject's touches no list is kept, since there are several for each event, but a digest that each one goes into, by a key
//! that is drawn anew each time: two different lists have the same digest by chance alone, in one of 2^64 cases.

use std::collections::HashMap;
use std::hash::{BuildHasher as _, RandomState};

use super::Disagreement;
use crate::ids::{Seq, Subject};
use crate::store::{RAW_MAX, Store, StoreError};

/// The touches of one subject so far.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Run {
    count: u64,
    digest: u64,
}

impl Run {
    fn add(&mut self, key: &RandomState, n: i64, seq: i64) {
        self.count += 1;
        self.digest = key.hash_one((self.digest, n, seq));
    }
}

/// What the headers say: each subject's touches, and its last event.
#[derive(Debug, Default)]
pub(super) struct Touched {
    key: RandomState,
    of: HashMap<Subject, (Run, Seq)>,
}

impl Touched {
    /// The next event of the ledger is the subject's `n`th.
    pub(super) fn add(&mut self, subject: Subject, n: u64, seq: Seq) {
        let (run, last) = self.of.entry(subject).or_default();
        run.add(&self.key, n.cast_signed(), seq.cast_signed());
        *last = seq;
    }

    /// The last event of a subject.
    pub(super) fn last(&self, subject: Subject) -> Option<Seq> {
        self.of.get(&subject).map(|(_, seq)| *seq)
    }

    /// Every subject that has an event, in no particular order.
    pub(super) fn subjects(&self) -> impl Iterator<Item = Subject> {
        self.of.keys().copied()
    }

    /// Holds the index against it.
    ///
    /// # Errors
    /// Where the database cannot be read.
    pub(super) async fn compare(
        &self,
        store: &dyn Store,
        models: &mut Vec<Disagreement>,
    ) -> Result<(), StoreError> {
        let (mut listed, mut strange) = (HashMap::<Subject, Run>::new(), Vec::new());
        let mut after = (String::new(), i64::MIN);
        loop {
            let page = store.touches((&after.0, after.1), RAW_MAX).await?;
            let Some(last) = page.last() else { break };
            after = (
                last.subject.clone(),
                last.at.last().map_or(after.1, |(n, _)| *n),
            );
            for row in page {
                match Subject::named(&row.subject).filter(|s| self.of.contains_key(s)) {
                    Some(subject) => {
                        let run = listed.entry(subject).or_default();
                        for (n, seq) in row.at {
                            run.add(&self.key, n, seq);
                        }
                    }
                    None if strange.last() != Some(&row.subject) => strange.push(row.subject),
                    None => {}
                }
            }
        }
        let mut wrong: Vec<_> = self
            .of
            .iter()
            .filter(|(subject, (run, _))| listed.get(subject) != Some(run))
            .collect();
        wrong.sort_unstable_by_key(|(subject, _)| **subject);
        for (subject, (run, last)) in wrong {
            let n = listed.get(subject).map_or(0, |found| found.count);
            let (code, text) = if n == run.count {
                (
                    "touches-differ",
                    format!(
                        "the index of the events of {subject} leads to others than those that name it"
                    ),
                )
            } else {
                (
                    "count-differs",
                    format!("the index lists {n} events of {subject}; its events count otherwise"),
                )
            };
            models.push(Disagreement {
                code,
                seq: Some(*last),
                text,
            });
        }
        models.extend(strange.into_iter().map(|subject| Disagreement {
            code: "count-differs",
            seq: None,
            text: format!("the index lists events of {subject}, which has none"),
        }));
        Ok(())
    }
}
