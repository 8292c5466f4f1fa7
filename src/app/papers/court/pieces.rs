//! The items and packages that papers of a case speak of: those that were chosen, or all.

use super::{MOST_PIECES, PaperError};
use crate::app::reader::{Part, Reader};
use crate::custody::State;
use crate::custody::state::{Holder, Item, Package};
use crate::ids::{CaseId, Piece, Subject};

/// The items of a case, by number.
pub(super) async fn items(reader: &Reader<'_>, case: CaseId) -> Result<Vec<Item>, PaperError> {
    let mut out: Vec<Item> = Vec::new();
    let mut part = Part::default();
    loop {
        let page = reader.items_of(case, &part).await?;
        out.extend(page.rows);
        if out.len() > MOST_PIECES {
            return Err(too_many());
        }
        part.after = page.next;
        if part.after.is_none() {
            return Ok(out);
        }
    }
}

/// The packages of a case, by number.
pub(super) async fn packages(
    reader: &Reader<'_>,
    case: CaseId,
) -> Result<Vec<Package>, PaperError> {
    let mut out: Vec<Package> = Vec::new();
    let mut part = Part::default();
    loop {
        let page = reader.packages_of(case, &part).await?;
        out.extend(page.rows);
        if out.len() > MOST_PIECES {
            return Err(too_many());
        }
        part.after = page.next;
        if part.after.is_none() {
            return Ok(out);
        }
    }
}

fn too_many() -> PaperError {
    PaperError::Count(format!(
        "the case has more than {MOST_PIECES} items or packages. Choose those that the paper is about"
    ))
}

/// The chosen pieces of the case with what their words need; of none chosen, everything of the case that is in no package
/// and was not disposed of.
pub(super) async fn chosen(
    reader: &Reader<'_>,
    case: CaseId,
    chosen: &[Piece],
) -> Result<(Vec<Piece>, State), PaperError> {
    if chosen.len() > MOST_PIECES {
        return Err(too_many());
    }
    let mut list: Vec<Piece> = Vec::new();
    if chosen.is_empty() {
        let packages = packages(reader, case).await?;
        let items = items(reader, case).await?;
        let here = |inside: Option<_>, holder: &Holder| {
            inside.is_none() && !matches!(holder, Holder::Disposed { .. })
        };
        list.extend(
            packages
                .iter()
                .filter(|p| here(p.custody.inside, &p.custody.holder))
                .map(|p| Piece::Package(p.id)),
        );
        list.extend(
            items
                .iter()
                .filter(|i| here(i.custody.inside, &i.custody.holder))
                .map(|i| Piece::Item(i.id)),
        );
    } else {
        for piece in chosen {
            if reader.thing(*piece).await?.case() != case {
                return Err(PaperError::Count(
                    "what was chosen is not all of this case".into(),
                ));
            }
            if !list.contains(piece) {
                list.push(*piece);
            }
        }
    }
    let subjects: Vec<Subject> = list.iter().map(|p| Subject::from(*p)).collect();
    Ok((list, reader.around(&subjects).await?))
}

/// The items in these pieces, each once, by number.
pub(super) fn items_in<'a>(state: &'a State, pieces: &[Piece]) -> Vec<&'a Item> {
    let mut out: Vec<&Item> = pieces.iter().flat_map(|p| state.items_in(*p)).collect();
    out.sort_by_key(|i| i.number);
    out.dedup_by_key(|i| i.id);
    out
}

/// The case and these pieces, as subjects.
pub(super) fn subjects(case: CaseId, pieces: impl IntoIterator<Item = Piece>) -> Vec<Subject> {
    let mut out = vec![Subject::Case(case)];
    out.extend(pieces.into_iter().map(Subject::from));
    out
}
