//! What can be handed off: the pictures of an item and of its mark, their working copies, and how each reads.

use crate::app::reader::{ReadError, Reader};
use crate::custody::state::{Case, CopyRef, ImageRef, Item, Mark};
use crate::disclosure::itl::{Capture, Density, Tone};
use crate::ids::{Digest, Subject};
use crate::imaging::resolution::{self, Scale};
use crate::imaging::view::with_recipe;
use crate::lifting::handedness::{self, Lateral, Step};

/// Everything that a hand-off is made from.
pub struct Whole {
    /// The case.
    pub case: Case,
    /// The mark.
    pub mark: Mark,
    /// The item, where it is asked of one.
    pub item: Option<Item>,
}

/// A picture that can go: an original, or a working copy of it.
#[derive(Clone, Copy)]
pub struct Pick<'a> {
    /// The mark or item that it shows.
    pub shown: Subject,
    /// The picture.
    pub image: &'a ImageRef,
    /// The working copy; none for the original as it is.
    pub copy: Option<&'a CopyRef>,
}

impl Pick<'_> {
    /// SHA-256 of its bytes.
    #[must_use]
    pub fn digest(&self) -> Digest {
        self.copy.map_or(self.image.digest, |c| c.digest)
    }

    /// The steps from the mark to these pixels; none where one of them is not known to this version.
    fn steps(&self) -> Option<Vec<Step>> {
        let steps: Option<Vec<Step>> = self.image.view.iter().map(|s| s.parse().ok()).collect();
        let steps = steps?;
        Some(match self.copy {
            Some(copy) => with_recipe(&steps, &copy.recipe),
            None => steps,
        })
    }

    /// Which way round it reads, and whether its ridges are dark.
    #[must_use]
    pub fn reading(&self) -> (Lateral, Tone) {
        let Some(steps) = self.steps() else {
            return (Lateral::Unknown, Tone::Unknown);
        };
        let reading = handedness::read(&steps);
        let tone = match reading.tone {
            handedness::Tone::AsInk => Tone::Positive,
            handedness::Tone::Reversed => Tone::Negative,
            handedness::Tone::Unknown => Tone::Unknown,
        };
        (reading.lateral, tone)
    }

    pub(super) fn scale(&self) -> Option<Scale> {
        match self.copy {
            Some(copy) => copy.scale,
            None => self.image.scale,
        }
    }

    /// Density of these pixels.
    #[must_use]
    pub fn density(&self) -> Density {
        let known = match self.copy {
            Some(copy) => copy.ppi,
            None => self
                .image
                .scale
                .and_then(|s| resolution::measure(&s).ok())
                .and_then(|d| d.ppi()),
        };
        known.map_or(Density::UNKNOWN, Density::PerInch)
    }

    /// In words: `contact.png, left and right exchanged; reads direct; 1000 pixels an inch`.
    #[must_use]
    pub fn words(&self) -> String {
        let (lateral, _) = self.reading();
        let done = match self.copy {
            Some(copy) => format!("working copy of {}: {}", self.image.name, copy.recipe),
            None => format!("{}, as it is", self.image.name),
        };
        let density = match self.density() {
            Density::PerInch(ppi) => format!("{ppi} pixels an inch"),
            Density::Unknown { .. } => "density not known".into(),
        };
        format!("{done}; reads {}; {density}", word(lateral))
    }
}

/// The word on the record.
#[must_use]
pub fn word(lateral: Lateral) -> &'static str {
    match lateral {
        Lateral::Direct => "direct",
        Lateral::Reversed => "reversed",
        Lateral::Unknown => "unknown",
    }
}

impl Whole {
    /// What an item or a mark has, where the viewer may see it.
    ///
    /// # Errors
    /// [`ReadError`].
    pub async fn load(reader: &Reader<'_>, of: Subject) -> Result<Self, ReadError> {
        let (item, mark) = match of {
            Subject::Item(id) => {
                let item = reader.item(id).await?;
                let mark = reader.mark(item.mark).await?;
                (Some(item), mark)
            }
            Subject::Mark(id) => (None, reader.mark(id).await?),
            _ => return Err(ReadError::NotFound("item or mark")),
        };
        let case = reader.case(mark.case).await?;
        Ok(Self { case, mark, item })
    }

    /// `HR-26-0417/3`.
    #[must_use]
    pub fn number(&self) -> String {
        match &self.item {
            Some(item) => format!("{}/{}", self.case.number, item.number),
            None => format!("{}/M{}", self.case.number, self.mark.number),
        }
    }

    /// Pictures with what they show: the item's first, then the mark's.
    pub fn images(&self) -> impl Iterator<Item = (Subject, &ImageRef)> {
        let item = self.item.iter().flat_map(|i| {
            let shown = Subject::Item(i.id);
            i.images.iter().map(move |image| (shown, image))
        });
        let shown = Subject::Mark(self.mark.id);
        item.chain(self.mark.images.iter().map(move |image| (shown, image)))
    }

    /// Everything that can go, the likeliest first: of an item its own pictures before those of its mark; of them working
    /// copies before originals, what reads direct before the rest, known densities before unknown, newer before older.
    #[must_use]
    pub fn picks(&self) -> Vec<Pick<'_>> {
        let mut out: Vec<Pick<'_>> = Vec::new();
        for (shown, image) in self.images() {
            let one = |copy| Pick { shown, image, copy };
            out.push(one(None));
            out.extend(image.copies.iter().map(|copy| one(Some(copy))));
        }
        // Images and copies are kept oldest first, and the sort is stable.
        out.reverse();
        out.sort_by_key(|p| {
            let own = self.item.is_none() || matches!(p.shown, Subject::Item(_));
            let direct = p.reading().0 == Lateral::Direct;
            let dense = p.density() != Density::UNKNOWN;
            (!own, p.copy.is_none(), !direct, !dense)
        });
        out
    }

    /// What was imaged, by what the record says.
    #[must_use]
    pub fn capture(&self, shown: Subject) -> Capture {
        match (&self.item, shown) {
            (Some(item), Subject::Item(_)) => match item.recovered.form.as_str() {
                "card-lift" | "gel" | "film" => Capture::Lift,
                "cast" => Capture::Cast,
                // An object that bears the mark, or a photograph as the recovery: taken from the mark itself.
                _ => Capture::Impression,
            },
            _ => Capture::Impression,
        }
    }

    /// The methods on record, in order, each once; `VIS` where there is none.
    #[must_use]
    pub fn methods(&self) -> Vec<String> {
        let mut out: Vec<String> = Vec::new();
        for d in &self.mark.developments {
            if !out.contains(&d.method) {
                out.push(d.method.clone());
            }
        }
        if out.is_empty() {
            out.push("VIS".into());
        }
        out
    }
}
