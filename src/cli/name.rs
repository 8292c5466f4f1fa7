//! What people call things on the command line: a label code, a case number, `CASE-NUMBER/3`, or an identifier.

use anyhow::{Context, bail};
use uuid::Uuid;

use crate::app::reader::{ReadError, Reader};
use crate::ids::{CaseId, Code, IdError, ItemId, PackageId, PlaceId, Subject};

/// A case by its number or its identifier.
pub(super) async fn case(reader: &Reader<'_>, text: &str) -> anyhow::Result<CaseId> {
    match reader.case_by_number(text).await {
        Ok(case) => return Ok(case.id),
        Err(ReadError::NotFound(_)) => {}
        Err(e) => return Err(e.into()),
    }
    let bare = text.strip_prefix("case:").unwrap_or(text);
    if let Ok(id) = Uuid::try_parse(bare) {
        return Ok(reader.case(CaseId(id)).await?.id);
    }
    bail!("there is no case {text}; list them with: liftledger case list --data DIR")
}

/// An item, a package, a place or a case.
pub(super) async fn thing(reader: &Reader<'_>, text: &str) -> anyhow::Result<Subject> {
    let text = text.trim();
    if let Ok(subject) = text.parse::<Subject>() {
        return Ok(subject);
    }
    match text.parse::<Code>() {
        Ok(code) => {
            return reader
                .subject_of_code(&code)
                .await
                .with_context(|| format!("code {}", code.grouped()));
        }
        // It has the shape of a code and was mistyped; a case number of that shape is tried before it is said.
        Err(IdError::CheckCharacter) if reader.case_by_number(text).await.is_err() => {
            bail!("{text}: {}", IdError::CheckCharacter)
        }
        Err(_) => {}
    }
    if let Some((number, within)) = text.rsplit_once('/')
        && let Ok(case) = case(reader, number).await
    {
        return inside(reader, case, number, within).await;
    }
    if let Ok(id) = Uuid::try_parse(text) {
        if reader.item(ItemId(id)).await.is_ok() {
            return Ok(Subject::Item(ItemId(id)));
        }
        if reader.package(PackageId(id)).await.is_ok() {
            return Ok(Subject::Package(PackageId(id)));
        }
        if reader.place(PlaceId(id)).await.is_ok() {
            return Ok(Subject::Place(PlaceId(id)));
        }
    }
    match case(reader, text).await {
        Ok(id) => Ok(Subject::Case(id)),
        Err(e) if e.is::<ReadError>() => Err(e),
        Err(_) => bail!(
            "there is no {text}; give the code on the label, CASE-NUMBER/3 for item 3, CASE-NUMBER/P2 for package 2, or a case number"
        ),
    }
}

/// `3` is item 3 of the case, `P2` its package 2.
async fn inside(
    reader: &Reader<'_>,
    case: CaseId,
    number: &str,
    within: &str,
) -> anyhow::Result<Subject> {
    let package = within.strip_prefix(['P', 'p']);
    let Ok(n) = package.unwrap_or(within).parse::<u32>() else {
        bail!("{within} is neither an item's number (3) nor a package's (P2)");
    };
    let found = if package.is_some() {
        let found = reader.package_numbered(case, n).await?;
        found.map(|x| Subject::Package(x.id))
    } else {
        let found = reader.item_numbered(case, n).await?;
        found.map(|x| Subject::Item(x.id))
    };
    found.ok_or_else(|| {
        let what = if package.is_some() {
            "package P"
        } else {
            "item "
        };
        anyhow::anyhow!("case {number} has no {what}{n}")
    })
}

/// A mark of a case by its number.
pub(super) async fn mark(
    reader: &Reader<'_>,
    case: CaseId,
    number: u32,
) -> anyhow::Result<Subject> {
    match reader.mark_numbered(case, number).await? {
        Some(mark) => Ok(Subject::Mark(mark.id)),
        None => bail!("the case has no mark M{number}"),
    }
}
