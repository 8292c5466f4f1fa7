//! The parts of a transaction, each from the record, and the rules that each must keep.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};

use super::choice::{Pick, Whole, word};
use super::picture::Encoded;
use crate::app::papers::PaperError;
use crate::app::reader::{ReadError, Reader};
use crate::custody::mark::MarkKind;
use crate::custody::state::{ImageRef, Mark};
use crate::disclosure::itl::{
    Assessment, Capture, ContextPicture, Descriptive, ItlRefusal, ItlRule, Operation, Tone,
};
use crate::ids::Digest;
use crate::lifting::handedness::Lateral;
use crate::receivers::{Content, FieldSource, Receiver};

pub(super) fn no(rule: ItlRule, why: impl Into<String>, next: &str) -> ItlRefusal {
    ItlRefusal::new(rule, why, next)
}

pub(super) fn receiver<'a>(
    all: &'a [Receiver],
    asked: Option<&str>,
) -> Result<&'a Receiver, ItlRefusal> {
    let next = "Name one of receivers.toml in the data folder.";
    match (asked, all) {
        (Some(id), all) => all.iter().find(|r| r.id == id).ok_or_else(|| {
            let id: String = id.chars().take(40).collect();
            no(
                ItlRule::NoReceiver,
                format!("There is no receiver {id}."),
                next,
            )
        }),
        (None, [only]) => Ok(only),
        (None, []) => Err(no(
            ItlRule::NoReceiver,
            "No receiver is set up, so the agencies' identifiers are missing.",
            "Have whoever runs the server write receivers.toml in the data folder, as the receiving agency says.",
        )),
        (None, _) => Err(no(
            ItlRule::NoReceiver,
            "There are several receivers.",
            next,
        )),
    }
}

pub(super) fn pick<'a>(whole: &'a Whole, asked: Option<Digest>) -> Result<Pick<'a>, ItlRefusal> {
    let picks = whole.picks();
    if picks.is_empty() {
        return Err(no(
            ItlRule::NoImage,
            format!("{} has no picture.", whole.number()),
            "Add a photograph or a scan, with a scale in it.",
        ));
    }
    match asked {
        None => Ok(picks[0]),
        Some(digest) => picks
            .into_iter()
            .find(|p| p.digest() == digest)
            .ok_or_else(|| {
                no(
                    ItlRule::NoImage,
                    format!(
                        "{} has no picture and no working copy of that digest.",
                        whole.number()
                    ),
                    "Choose one of its pictures.",
                )
            }),
    }
}

pub(super) fn methods(
    whole: &Whole,
    asked: Option<&Vec<String>>,
) -> Result<Vec<String>, ItlRefusal> {
    let known = whole.methods();
    let Some(asked) = asked else {
        return Ok(known);
    };
    for m in asked {
        if m != "VIS" && !known.contains(m) {
            let m: String = m.chars().take(10).collect();
            return Err(no(
                ItlRule::UnknownCode,
                format!("{m} is not on record as a method by which the mark was developed."),
                "Choose among those on record; record the development first if one is missing.",
            ));
        }
    }
    Ok(asked.clone())
}

/// What the file states, in words.
pub(super) fn statement(lateral: Lateral, tone: Tone, with_features: bool) -> String {
    let left_right = match lateral {
        Lateral::Direct => "The image in the file reads direct; no lateral reversal is stated.",
        Lateral::Reversed => {
            "The image in the file reads reversed left for right, and the file states it (9.315 L)."
        }
        Lateral::Unknown => {
            "Which way round the image in the file reads is not known, and the file states it (9.315 U)."
        }
    };
    let light_dark = match tone {
        Tone::Positive => "Its ridges are dark; no tonal reversal is stated.",
        Tone::Negative => "Its ridges are light, and the file states it (9.314 N).",
        Tone::Partial => "Its ridges are partly light, and the file states it (9.314 P).",
        Tone::Unknown => {
            "Whether its ridges are dark is not known, and the file states it (9.314 U)."
        }
    };
    let none = if with_features {
        ""
    } else {
        " There is no Type-9 record."
    };
    format!("{left_right} {light_dark}{none}")
}

pub(super) fn operations(pick: &Pick<'_>, encoded: &Encoded, now: DateTime<Utc>) -> Vec<Operation> {
    let one = |at, program: String, what: String| Operation {
        at,
        program,
        owner: "liftledger".into(),
        what,
    };
    let mut out = Vec::new();
    if let Some(copy) = pick.copy {
        let program = format!(
            "liftledger working copy, recipe version {}",
            copy.recipe.version
        );
        out.extend(
            copy.recipe
                .words()
                .into_iter()
                .map(|what| one(copy.made_at.to_utc(), program.clone(), what)),
        );
    }
    let program = concat!("liftledger ", env!("CARGO_PKG_VERSION"));
    out.extend(
        encoded
            .done
            .iter()
            .map(|what| one(now, program.into(), (*what).into())),
    );
    out
}

pub(super) async fn assessment(
    reader: &Reader<'_>,
    image: &ImageRef,
    agency: &str,
) -> Result<Option<Assessment>, ReadError> {
    let Some(a) = &image.assessed else {
        return Ok(None);
    };
    // The name as it was then; a person's names are one text, of which the last word is taken for the last name.
    let name = if a.examiner.is_empty() {
        reader.person(a.by).await?.name
    } else {
        a.examiner.clone()
    };
    let (first, last) = match name.trim().rsplit_once(' ') {
        Some((first, last)) => (first.trim().to_owned(), last.to_owned()),
        None => ("not given".to_owned(), name.trim().to_owned()),
    };
    Ok(Some(Assessment {
        value: a.value,
        last_name: last,
        first_name: first,
        affiliation: agency.to_owned(),
        at: a.at.to_utc(),
        comment: Some(a.reason.clone()),
    }))
}

pub(super) fn descriptive(
    receiver: &Receiver,
    whole: &Whole,
    person: &str,
    agency: &str,
) -> Result<Descriptive, ItlRefusal> {
    let mut fields = BTreeMap::new();
    let scene = whole
        .case
        .scenes
        .iter()
        .find(|s| s.id == whole.mark.noted.scene);
    for rule in &receiver.fields {
        let text = match &rule.content {
            Content::Text(text) => text.clone(),
            Content::Record(from) => match from {
                FieldSource::CaseNumber => whole.case.number.clone(),
                FieldSource::CaseTitle => whole.case.title.clone(),
                FieldSource::Offence => whole.case.offence.clone(),
                FieldSource::Number => whole.number(),
                FieldSource::Code => match &whole.item {
                    Some(item) => item.code.grouped(),
                    None => whole.number(),
                },
                FieldSource::Object => whole.mark.noted.object.clone(),
                FieldSource::ExactPlace => whole.mark.noted.exact_place.clone(),
                FieldSource::Scene => scene.map_or_else(String::new, |s| s.name.clone()),
                FieldSource::Person => person.to_owned(),
                FieldSource::Agency => agency.to_owned(),
            },
        };
        // What the record leaves empty is left out.
        if text.trim().is_empty() {
            continue;
        }
        if text.chars().count() > rule.most {
            return Err(no(
                ItlRule::TextLength,
                format!(
                    "Field 2.{:03} takes {} characters at most, and the record has more.",
                    rule.number, rule.most
                ),
                "Shorten what it is taken from, or change the receiver's profile.",
            ));
        }
        fields.insert(rule.number, text);
    }
    Ok(Descriptive { fields })
}

pub(super) fn comment(
    whole: &Whole,
    pick: &Pick<'_>,
    capture: Capture,
    lateral: Lateral,
) -> String {
    let what = match &whole.item {
        Some(item) => format!("item {} of {}", item.number, whole.case.number),
        None => format!("mark M{} of {}", whole.mark.number, whole.case.number),
    };
    let original = format!("; original {}", pick.image.digest);
    let said = format!("{what}, {}, reads {}", capture.word(), word(lateral));
    // 126 characters are all there is; the digest is not cut.
    let room = 126 - original.chars().count();
    let said: String = said.chars().take(room).collect();
    format!("{said}{original}")
}

pub(super) fn friction_ridge(mark: &Mark) -> Result<(), ItlRefusal> {
    if mark.noted.mark_kind == MarkKind::FrictionRidge {
        return Ok(());
    }
    Err(no(
        ItlRule::NotFrictionRidge,
        format!("Mark M{} is no friction ridge mark.", mark.number),
        "Hand it off in another way; amend what was noted if it is one.",
    ))
}

pub(super) async fn context_picture(
    reader: &Reader<'_>,
    whole: &Whole,
    asked: Option<Digest>,
) -> Result<Option<ContextPicture>, PaperError> {
    let Some(digest) = asked else {
        return Ok(None);
    };
    let Some((_, image)) = whole.images().find(|(_, i)| i.digest == digest) else {
        return Err(no(
            ItlRule::NoImage,
            "There is no such context picture.",
            "Choose one of the photographs here, or none.",
        )
        .into());
    };
    let file_type = match image.media_type.as_str() {
        "image/png" => "PNG",
        "image/jpeg" => "JPG",
        "image/tiff" => "TIF",
        _ => {
            return Err(no(
                ItlRule::UnknownCode,
                format!("{} is no PNG, JPEG or TIFF.", image.name),
                "Choose another context picture, or none.",
            )
            .into());
        }
    };
    let data = reader.house().originals.read_aside(digest).await?;
    Ok(Some(ContextPicture {
        taken: image.taken_at.date_naive(),
        file_type: file_type.into(),
        comment: None,
        data,
    }))
}
