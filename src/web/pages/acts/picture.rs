//! Forms about a picture: how it was taken, and its scale.

use serde_json::{Map, Value};

use super::case::crumbs;
use super::{Sheet, wrong};
use crate::app::{Reader, copies};
use crate::custody::Refusal;
use crate::custody::state::ImageRef;
use crate::ids::{Digest, Subject};
use crate::imaging::resolution::{Length, Scale, Span, measure};
use crate::lifting::handedness::{self, Step, Tone};
use crate::web::error::Failure;
use crate::web::form::{Choice, Input, Kind, Typed};
use crate::web::frame::Link;

/// A picture, what it shows, and where that stands.
struct Of {
    subject: Subject,
    name: String,
    page: String,
    crumbs: Vec<Link>,
    image: ImageRef,
    /// View steps that it may have been taken by, without those of tone.
    views: Vec<(Vec<Step>, String)>,
}

/// The page of a picture.
#[must_use]
pub fn page_of(of: Subject, digest: Digest) -> String {
    format!("/pictures/{digest}?of={of}")
}

async fn of(reader: &Reader<'_>, typed: &Typed) -> Result<Of, Failure> {
    let subject: Subject = typed.read("of")?;
    let digest: Digest = typed.read("digest")?;
    let image = copies::picture(reader, subject, digest).await?;
    let (case, name, views) = match subject {
        Subject::Item(id) => {
            let item = reader.item(id).await?;
            let views = match reader.house().rules.medium(&item.recovered.medium) {
                Some(medium) => medium
                    .views
                    .iter()
                    .map(|v| (v.steps.clone(), v.name.clone()))
                    .collect(),
                None => Vec::new(),
            };
            (item.case, format!("item {}", item.number), views)
        }
        Subject::Mark(id) => {
            let mark = reader.mark(id).await?;
            let row = |steps: &[Step], said: &str| (steps.to_vec(), said.to_owned());
            let views = vec![
                row(&[Step::Front], "straight at the mark, from its own side"),
                row(
                    &[Step::ThroughSubstrate],
                    "from the far side, through what bears it",
                ),
                row(
                    &[Step::SetOff, Step::Front],
                    "a mark that another surface had left there",
                ),
                row(&[Step::Skin], "the skin itself, not its print"),
            ];
            (mark.case, format!("mark M{}", mark.number), views)
        }
        _ => return Err(crate::app::ReadError::NotFound("picture").into()),
    };
    let case = reader.case(case).await?;
    let mut way = crumbs(&case);
    way.push(Link::new(
        super::address(subject).unwrap_or_else(|| "/".into()),
        name.clone(),
    ));
    way.push(Link::new(page_of(subject, digest), image.name.clone()));
    Ok(Of {
        subject,
        page: page_of(subject, digest),
        crumbs: way,
        name,
        image,
        views,
    })
}

impl Of {
    fn facts(&self) -> Vec<(String, String)> {
        vec![
            ("Picture".into(), self.image.name.clone()),
            ("Of".into(), self.name.clone()),
            ("SHA-256".into(), self.image.digest.to_string()),
        ]
    }

    fn hidden(&self) -> Vec<Input> {
        vec![
            Input::hidden("of", self.subject.to_string()),
            Input::hidden("digest", self.image.digest.to_string()),
        ]
    }
}

/// Whether a step speaks of light and dark only.
fn of_tone(step: Step) -> bool {
    let alone = handedness::read(&[step]);
    let neutral = handedness::read(&[Step::Front]);
    alone.lateral == neutral.lateral
        && alone.relief == neutral.relief
        && (alone.tone != Tone::AsInk || step == Step::DarkPowder)
}

fn joined(steps: &[Step]) -> String {
    let names: Vec<&str> = steps.iter().map(|s| s.name()).collect();
    names.join(" ")
}

/// Set how a picture was taken.
pub(super) async fn set_view(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let of = of(reader, typed).await?;
    let mirrored = copies::tag_mirrors(reader, &of.image).await?;
    let now: Vec<Step> = of
        .image
        .view
        .iter()
        .filter_map(|s| s.parse().ok())
        .collect();
    let tone: Vec<Step> = now.iter().copied().filter(|s| of_tone(*s)).collect();
    let mut choices = Vec::new();
    let mut offer = |steps: &[Step], said: &str| {
        let mut whole = steps.to_vec();
        whole.extend(tone.iter().filter(|t| !steps.contains(t)));
        if mirrored {
            whole.push(Step::Flip);
        }
        let value = joined(&whole);
        if !choices.iter().any(|c: &Choice| c.value == value) {
            let reads = crate::app::views::words::reads(match handedness::read(&whole).lateral {
                handedness::Lateral::Direct => "direct",
                handedness::Lateral::Reversed => "reversed",
                handedness::Lateral::Unknown => "unknown",
            });
            choices.push(Choice::new(value, format!("{said}: {reads}")));
        }
    };
    for (steps, said) in &of.views {
        offer(steps, said);
        let with = |last: Step| {
            let mut more = steps.clone();
            more.push(last);
            more
        };
        offer(&with(Step::Mirror), &format!("{said}, in a mirror"));
        offer(
            &with(Step::Flip),
            &format!("{said}, and flipped in the camera or in software"),
        );
    }
    choices.push(Choice::new("unknown", "nobody can say any more"));
    let value = of.image.view.join(" ");
    if !choices.iter().any(|c| c.value == value) {
        choices.push(Choice::new(value.clone(), "as it is on record now"));
    }
    let names: Vec<&str> = Step::ALL.iter().map(|s| s.name()).collect();
    let mut facts = of.facts();
    facts.push(("On record".into(), of.image.view.join(", ")));
    if mirrored {
        facts.push((
            "Orientation tag".into(),
            "it mirrors the picture wherever it is shown, which counts as one flip".into(),
        ));
    }
    let mut inputs = of.hidden();
    inputs.extend([
        Input::new("view", "How it was looked at", Kind::One(choices))
            .hint("Of the picture as it is shown. Steps that speak of light and dark stay as they are.")
            .value(value),
        Input::line("steps", "Or the steps one by one, in their order")
            .hint(format!("Names with spaces between them: {}.", names.join(", ")))
            .optional(),
        Input::lines("reason", "Why it is set otherwise"),
    ]);
    Ok(Sheet {
        title: format!("Set how {} was taken", of.image.name),
        thing: format!("picture {} of {}", of.image.name, of.name),
        intro: "Which way round the picture reads follows from these steps; working copies are judged by them anew. The \
                original stays as it is."
            .into(),
        facts,
        inputs,
        submit: "Set the view steps".into(),
        done: of.page,
        crumbs: of.crumbs,
        arrange: Some(|fields: &mut Map<String, Value>| {
            let steps = fields.remove("steps");
            let text = |v: Option<&Value>| {
                v.and_then(Value::as_str).unwrap_or_default().trim().to_owned()
            };
            let mut chosen = text(steps.as_ref());
            if chosen.is_empty() {
                chosen = text(fields.get("view"));
            }
            let list = chosen
                .split([' ', ','])
                .filter(|s| !s.is_empty())
                .map(|s| Value::String(s.to_owned()))
                .collect();
            fields.insert("view".into(), Value::Array(list));
        }),
        ..Sheet::default()
    })
}

/// Fields of the form that are not the command's own.
const TYPED: [&str; 14] = [
    "kind",
    "x1",
    "y1",
    "x2",
    "y2",
    "length",
    "unit",
    "x3",
    "y3",
    "x4",
    "y4",
    "second_length",
    "picking",
    "scanner",
];

/// A number of pixels with at most one decimal, in tenths.
fn tenths(typed: &Typed, name: &str, what: &str) -> Result<u32, Refusal> {
    let text = typed.get(name).trim().replace(',', ".");
    let value = text
        .parse::<f64>()
        .ok()
        .filter(|v| (0.0..=20_000.0).contains(v));
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "between 0 and 20000"
    )]
    value.map(|v| (v * 10.0).round() as u32).ok_or_else(|| {
        wrong(
            "bad-value",
            format!("{what} is no number of pixels between 0 and 20000."),
            "Type the pixels from the left or upper edge, with at most one decimal.",
            name,
        )
    })
}

fn span(typed: &Typed, names: [&str; 4], length: &str) -> Result<Span, Refusal> {
    let [x1, y1, x2, y2] = names;
    let said = typed.get(length).trim();
    let unit = match typed.get("unit") {
        "in" => "in",
        _ => "mm",
    };
    let parsed = said.parse().or_else(|_| format!("{said} {unit}").parse());
    Ok(Span {
        x1: tenths(typed, x1, "Across of the first point")?,
        y1: tenths(typed, y1, "Down of the first point")?,
        x2: tenths(typed, x2, "Across of the second point")?,
        y2: tenths(typed, y2, "Down of the second point")?,
        length: parsed.map_err(|e: crate::imaging::resolution::NotALength| {
            wrong(
                "bad-value",
                format!("The length cannot be read: {e}."),
                "Type what the scale says between the two points.",
                length,
            )
        })?,
    })
}

/// The scale that was typed.
fn typed_scale(typed: &Typed) -> Result<Option<Scale>, Refusal> {
    let scale = match typed.get("kind") {
        "none" => return Ok(None),
        "scanner" => Scale::Scanner {
            ppi: typed.get("scanner").trim().parse().map_err(|_| {
                wrong(
                    "bad-value",
                    "The scanner's density is no whole number.",
                    "Type the pixels an inch that the scanner was set to.",
                    "scanner",
                )
            })?,
        },
        _ => Scale::Picked {
            first: span(typed, ["x1", "y1", "x2", "y2"], "length")?,
            second: if typed.get("x3").trim().is_empty() {
                None
            } else {
                Some(span(typed, ["x3", "y3", "x4", "y4"], "second_length")?)
            },
            picking_tenths: tenths(typed, "picking", "The picking error")?,
        },
    };
    measure(&scale).map_err(|e| {
        wrong(
            "bad-value",
            format!("This scale gives no density: {e}."),
            "Pick both ends of the scale again and give its length.",
            if matches!(scale, Scale::Scanner { .. }) {
                "scanner"
            } else {
                "length"
            },
        )
    })?;
    Ok(Some(scale))
}

fn pixels(tenths: u32) -> String {
    format!("{}.{}", tenths / 10, tenths % 10)
}

/// The fields of a scale, filled with the one on record.
fn scale_inputs(now: Option<&Scale>) -> Vec<Input> {
    let mut kinds = vec![
        Choice::new("picked", "two points picked on a scale in the picture"),
        Choice::new("scanner", "a flatbed's own density"),
    ];
    if now.is_some() {
        kinds.push(Choice::new(
            "none",
            "take the scale away: density not known",
        ));
    }
    let unit = vec![
        Choice::new("mm", "millimetres"),
        Choice::new("in", "inches"),
    ];
    let line = |name: &str, label: &str| Input::line(name, label).optional();
    let mut out = vec![
        Input::new("kind", "How the density is known", Kind::One(kinds)).value("picked"),
        line("x1", "First point, pixels from the left"),
        line("y1", "First point, pixels from above"),
        line("x2", "Second point, pixels from the left"),
        line("y2", "Second point, pixels from above"),
        line("length", "Length on the scale between the two points")
            .hint("What the scale says, not what the screen shows: 10, 2.5, 0.5."),
        Input::new("unit", "Unit", Kind::One(unit)).value("mm"),
        line("x3", "Other direction: third point, from the left")
            .hint("A second scale, across the first one, gives each axis by itself. Empty takes one density for both."),
        line("y3", "Third point, from above"),
        line("x4", "Fourth point, from the left"),
        line("y4", "Fourth point, from above"),
        line("second_length", "Length between the third and fourth point"),
        line("picking", "How far a picked point may be off, in pixels")
            .hint("The uncertainty follows from it.")
            .value("1.0"),
        line("scanner", "Flatbed: pixels an inch"),
    ];
    let mut set = |name: &str, value: String| {
        if let Some(input) = out.iter_mut().find(|i| i.name == name) {
            input.values = vec![value];
        }
    };
    let mut ends = |span: &Span, names: [&str; 4]| {
        for (name, value) in names.into_iter().zip([span.x1, span.y1, span.x2, span.y2]) {
            set(name, pixels(value));
        }
    };
    match now {
        Some(Scale::Picked {
            first,
            second,
            picking_tenths,
        }) => {
            ends(first, ["x1", "y1", "x2", "y2"]);
            if let Some(second) = second {
                ends(second, ["x3", "y3", "x4", "y4"]);
            }
            let parts = |length: Length| {
                let text = length.to_string();
                let (number, unit) = text.split_once(' ').unwrap_or((&text, "mm"));
                (number.to_owned(), unit.to_owned())
            };
            let (number, unit) = parts(first.length);
            set("length", number);
            set("unit", unit);
            if let Some(second) = second {
                // With its own unit, which may be another one.
                set("second_length", second.length.to_string());
            }
            set("picking", pixels(*picking_tenths));
        }
        Some(Scale::Scanner { ppi }) => {
            set("kind", "scanner".into());
            set("scanner", ppi.to_string());
        }
        None => {}
    }
    out
}

/// Set the scale of a picture.
pub(super) async fn set_scale(reader: &Reader<'_>, typed: &Typed) -> Result<Sheet, Failure> {
    let of = of(reader, typed).await?;
    let mut inputs = of.hidden();
    inputs.extend(scale_inputs(of.image.scale.as_ref()));
    let reason = Input::lines("reason", "Why it is set anew");
    inputs.push(if of.image.scale.is_some() {
        reason
    } else {
        Input::lines("reason", "Note").optional()
    });
    let mut facts = of.facts();
    if let Some(density) = of.image.scale.as_ref().and_then(|s| measure(s).ok()) {
        facts.push(("On record".into(), density.words()));
    }
    let (mut known, mut bad) = (Vec::new(), None);
    if typed.has("sent") {
        match typed_scale(typed) {
            Ok(scale) => {
                let value = serde_json::to_value(scale).unwrap_or(Value::Null);
                known.push(("scale".to_owned(), value));
            }
            Err(refusal) => bad = Some(refusal),
        }
    }
    Ok(Sheet {
        title: format!("Set the scale of {}", of.image.name),
        thing: format!("picture {} of {}", of.image.name, of.name),
        intro: "Two points on the scale in the picture and the length between them. On the picture's page they can be \
                picked with a finger, a mouse or the keyboard. The scale must lie in the plane of the mark."
            .into(),
        facts,
        inputs,
        submit: "Set the scale".into(),
        done: of.page,
        crumbs: of.crumbs,
        arrange: Some(|fields: &mut Map<String, Value>| {
            for name in TYPED {
                fields.remove(name);
            }
        }),
        known,
        wrong: bad,
        ..Sheet::default()
    })
}
