//! The examiner's desk beyond what is in hand: pictures that need something before they can be compared.

use std::collections::BTreeSet;

use super::attention::needs;
use super::desk::{Line, Made, When};
use super::words;
use crate::app::reader::{Part, ReadError};
use crate::custody::mark::MarkKind;
use crate::custody::state::{ImageRef, Mark};
use crate::ids::{CaseId, Digest, ItemId, Piece, Subject};

/// How many pictures are looked at.
const MOST_PICTURES: usize = 2000;

/// A picture with what it shows.
struct Shown {
    subject: Subject,
    case: CaseId,
    name: String,
    place: String,
    image: ImageRef,
    mine: bool,
}

fn of_mark(mark: &Mark, mine: bool) -> Vec<Shown> {
    if mark.noted.mark_kind != MarkKind::FrictionRidge {
        return Vec::new();
    }
    let shown = |image: &ImageRef| Shown {
        subject: Subject::Mark(mark.id),
        case: mark.case,
        name: format!("Mark M{}", mark.number),
        place: format!("{}, {}", mark.noted.object, mark.noted.exact_place),
        image: image.clone(),
        mine,
    };
    mark.images.iter().map(shown).collect()
}

impl Made<'_> {
    /// Pictures of friction ridge marks: of what I hold, and of the cases that I am assigned to.
    pub(super) async fn examiner(&mut self) -> Result<(), ReadError> {
        let mut all: Vec<Shown> = Vec::new();
        let mut held: BTreeSet<ItemId> = BTreeSet::new();
        if let Some(me) = self.reader.viewer().id() {
            let page = self.reader.held_by(me, &Part::default()).await?;
            let state = self.state(&page.rows).await?;
            for thing in &page.rows {
                held.extend(state.items_in(thing.piece()).iter().map(|i| i.id));
            }
            for id in &held {
                if let Some(item) = state.items.get(id)
                    && let Some(mark) = state.marks.get(&item.mark)
                {
                    self.item_pictures(&mut all, item, mark, true);
                }
            }
        }
        for case in self.my_cases().await? {
            let marks = self.reader.marks_of(case.id, &Part::default()).await?.rows;
            let items = self.reader.items_of(case.id, &Part::default()).await?.rows;
            for item in items.iter().filter(|i| !held.contains(&i.id)) {
                if let Some(mark) = marks.iter().find(|m| m.id == item.mark) {
                    self.item_pictures(&mut all, item, mark, false);
                }
            }
            for mark in &marks {
                all.extend(of_mark(mark, false));
            }
        }
        let mut seen: BTreeSet<(Subject, Digest)> = BTreeSet::new();
        all.retain(|s| seen.insert((s.subject, s.image.digest)));
        all.truncate(MOST_PICTURES);
        for shown in all {
            self.picture_line(shown).await?;
        }
        Ok(())
    }

    fn item_pictures(
        &self,
        all: &mut Vec<Shown>,
        item: &crate::custody::state::Item,
        mark: &Mark,
        mine: bool,
    ) {
        if mark.noted.mark_kind != MarkKind::FrictionRidge {
            return;
        }
        all.extend(item.images.iter().map(|image| Shown {
            subject: Piece::Item(item.id).into(),
            case: item.case,
            name: format!("Item {}", item.number),
            place: format!("{}, {}", mark.noted.object, mark.noted.exact_place),
            image: image.clone(),
            mine,
        }));
        all.extend(of_mark(mark, mine));
    }

    async fn picture_line(&mut self, shown: Shown) -> Result<(), ReadError> {
        let needs = needs(&shown.image);
        let Some(first) = needs.first() else {
            return Ok(());
        };
        let when = match (first.blocks, shown.mine) {
            (true, true) => When::Now,
            (true, false) | (false, true) => When::Soon,
            (false, false) => When::Later,
        };
        let why: Vec<&str> = needs.iter().map(|n| n.why.as_str()).collect();
        let case = self.reader.case(shown.case).await?;
        self.push(
            when,
            Line {
                subject: shown.subject,
                case: shown.case,
                case_number: case.number,
                restricted: false,
                name: shown.name,
                what: format!("{}, {}", shown.image.name, words::reads(&shown.image.reads)),
                place: shown.place,
                why: why.join(" "),
                badge: first.badge.into(),
                next_act: None,
            },
        );
        Ok(())
    }
}
