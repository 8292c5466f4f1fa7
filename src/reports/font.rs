//! The embedded fonts: which characters they have, how wide a text is, and the subset that goes into a PDF.

use std::collections::BTreeSet;
use std::sync::OnceLock;

use allsorts::binary::read::ReadScope;
use allsorts::font_data::FontData;
use allsorts::subset::{CmapTarget, SubsetProfile, subset};
use printpdf::ParsedFont;

use super::ReportError;

/// Millimetres in a point.
pub const MM_PER_PT: f64 = 25.4 / 72.0;

/// The faces used on paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Face {
    /// Running text.
    Sans,
    /// Headings and warnings.
    Bold,
    /// Numbers, codes, digests.
    Mono,
}

static SANS: OnceLock<Option<ParsedFont>> = OnceLock::new();
static BOLD: OnceLock<Option<ParsedFont>> = OnceLock::new();
static MONO: OnceLock<Option<ParsedFont>> = OnceLock::new();

impl Face {
    /// All faces.
    pub const ALL: [Self; 3] = [Self::Sans, Self::Bold, Self::Mono];

    fn bytes(self) -> &'static [u8] {
        match self {
            Self::Sans => dejavu::sans::regular(),
            Self::Bold => dejavu::sans::bold(),
            Self::Mono => dejavu::sans_mono::regular(),
        }
    }

    /// Name inside the PDF; fixed, so that the same model gives the same bytes.
    pub(super) fn id(self) -> &'static str {
        match self {
            Self::Sans => "FSANSA",
            Self::Bold => "FBOLDA",
            Self::Mono => "FMONOA",
        }
    }

    fn parsed(self) -> Result<&'static ParsedFont, ReportError> {
        let cell = match self {
            Self::Sans => &SANS,
            Self::Bold => &BOLD,
            Self::Mono => &MONO,
        };
        cell.get_or_init(|| ParsedFont::from_bytes(self.bytes(), 0, &mut Vec::new()))
            .as_ref()
            .ok_or_else(|| ReportError::Inner("an embedded font can't be read".into()))
    }

    fn glyph(self, ch: char) -> Result<Option<u16>, ReportError> {
        let found = self.parsed()?.codepoint_to_glyph.get(&u32::from(ch));
        Ok(found.copied().filter(|&g| g != 0))
    }
}

/// Refuses a text with a character that the face lacks. A line break is no character here; the setter breaks on it.
///
/// # Errors
/// [`ReportError::Glyph`] with the first such character and the name of the field.
pub fn check(face: Face, text: &str, field: &str) -> Result<(), ReportError> {
    for ch in text.chars().filter(|&c| c != '\n') {
        if ch.is_control() || face.glyph(ch)?.is_none() {
            return Err(ReportError::Glyph {
                ch,
                field: field.to_owned(),
            });
        }
    }
    Ok(())
}

/// Width of a text in millimetres at a size in points, without kerning (the PDF is set without it too).
///
/// # Errors
/// Only if the embedded font can't be read.
pub fn width(face: Face, size: f64, text: &str) -> Result<f64, ReportError> {
    let font = face.parsed()?;
    let mut units = 0_u32;
    for ch in text.chars() {
        if let Some(g) = face.glyph(ch)? {
            units += u32::from(font.glyph_widths.get(&g).copied().unwrap_or(0));
        }
    }
    Ok(f64::from(units) / f64::from(font.units_per_em.max(1)) * size * MM_PER_PT)
}

/// The face reduced to the given characters.
///
/// # Errors
/// If the embedded font can't be read or reduced.
pub(super) fn reduced(face: Face, chars: &BTreeSet<char>) -> Result<ParsedFont, ReportError> {
    let inner = |e: &dyn std::fmt::Display| ReportError::Inner(format!("font: {e}"));
    let data = ReadScope::new(face.bytes())
        .read::<FontData<'_>>()
        .map_err(|e| inner(&e))?;
    let provider = data.table_provider(0).map_err(|e| inner(&e))?;
    let mut glyphs = BTreeSet::from([0_u16]);
    for &ch in chars {
        glyphs.extend(face.glyph(ch)?);
    }
    let glyphs: Vec<u16> = glyphs.into_iter().collect();
    let bytes = subset(&provider, &glyphs, &SubsetProfile::Pdf, CmapTarget::Unicode)
        .map_err(|e| inner(&e))?;
    let mut font = ParsedFont::from_bytes(&bytes, 0, &mut Vec::new())
        .ok_or_else(|| ReportError::Inner("a reduced font can't be read".into()))?;
    font.font_name = Some(
        match face {
            Face::Sans => "DejaVuSans",
            Face::Bold => "DejaVuSans-Bold",
            Face::Mono => "DejaVuSansMono",
        }
        .to_owned(),
    );
    Ok(font)
}

/// Breaks a text into lines no wider than `room` millimetres: at spaces, and inside a word only where the word alone is
/// wider than a line (a digest).
///
/// # Errors
/// [`ReportError::Glyph`], or [`ReportError::TooLong`] if a line can't hold one character.
pub fn wrap(
    face: Face,
    size: f64,
    room: f64,
    text: &str,
    field: &str,
) -> Result<Vec<String>, ReportError> {
    check(face, text, field)?;
    let mut lines = Vec::new();
    for part in text.split('\n') {
        let mut line = String::new();
        for word in part.split(' ').filter(|w| !w.is_empty()) {
            let longer = if line.is_empty() {
                word.to_owned()
            } else {
                format!("{line} {word}")
            };
            if width(face, size, &longer)? <= room {
                line = longer;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            for ch in word.chars() {
                line.push(ch);
                if width(face, size, &line)? > room {
                    line.pop();
                    if line.is_empty() {
                        return Err(ReportError::TooLong {
                            field: field.to_owned(),
                        });
                    }
                    lines.push(std::mem::take(&mut line));
                    line.push(ch);
                }
            }
        }
        lines.push(line);
    }
    Ok(lines)
}
