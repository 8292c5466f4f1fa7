//! The form of what a picture is worth for comparison.

use super::mark::{facts, name, within};
use super::{Sheet, address};
use crate::app::{ReadError, Reader};
use crate::custody::value::Value;
use crate::ids::{Digest, Subject};
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};
use crate::web::frame::Link;

/// Say what a picture of a mark or an item is worth.
pub(super) async fn assess(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let of: Subject = typed.read("of")?;
    let digest: Digest = typed.read("digest")?;
    let (mark, item) = match of {
        Subject::Mark(id) => (reader.mark(id).await?, None),
        Subject::Item(id) => {
            let item = reader.item(id).await?;
            (reader.mark(item.mark).await?, Some(item))
        }
        _ => return Err(ReadError::NotFound("picture").into()),
    };
    let case = reader.case(mark.case).await?;
    let images = item.as_ref().map_or(&mark.images, |i| &i.images);
    let image = images
        .iter()
        .find(|i| i.digest == digest)
        .ok_or(ReadError::NotFound("picture"))?;
    let thing = match &item {
        Some(item) => format!("item {}", item.number),
        None => name(&mark),
    };
    let mut told = facts(&case, &mark);
    told.push(("Picture".into(), format!("{}, of {thing}", image.name)));
    told.push(("It reads".into(), image.reads.clone()));
    if let Some(said) = &image.assessed {
        told.push((
            "Said until now".into(),
            format!(
                "{}, by {}: {}",
                said.value.words(),
                said.examiner,
                said.reason
            ),
        ));
    }
    let values = Value::ALL
        .iter()
        .map(|v| Choice::new(v.word(), v.words()))
        .collect();
    let mut crumbs = within(&case, &mark);
    if let Some(item) = &item {
        crumbs.pop();
        crumbs.push(Link::new(
            format!("/items/{}", item.id),
            format!("item {}", item.number),
        ));
    }
    Ok(Sheet {
        title: format!("Say what {} is worth", image.name),
        thing: format!("a picture of {thing} of case {}", case.number),
        intro: "It says whether the picture can be compared, not with what: comparison is done elsewhere. It goes along when \
                the picture is handed off to an AFIS (field 9.353)."
            .into(),
        facts: told,
        inputs: vec![
            Input::hidden("of", of.to_string()),
            Input::hidden("digest", digest.to_string()),
            Input::new("value", "Value", Kind::One(values)),
            Input::lines("reason", "Why")
                .hint("What is seen: how much of it, how clear, what disturbs it."),
        ],
        submit: "Put it on the record".into(),
        crumbs,
        done: address(of).unwrap_or_else(|| "/".into()),
        about: Some(case),
        ..Sheet::default()
    })
}
