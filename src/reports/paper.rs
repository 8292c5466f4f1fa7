//! Sizes of papers, cards and labels, in millimetres.

/// Width and height in millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// Width, mm.
    pub w: f64,
    /// Height, mm.
    pub h: f64,
}

impl Size {
    /// Turned by a quarter.
    #[must_use]
    pub fn turned(self) -> Self {
        Self {
            w: self.h,
            h: self.w,
        }
    }
}

/// Paper of an office printer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Paper {
    /// 8.5 by 11 inches.
    #[default]
    Letter,
    /// 210 by 297 mm (ISO 216).
    A4,
}

impl Paper {
    /// The upright page.
    #[must_use]
    pub fn size(self) -> Size {
        match self {
            Self::Letter => Size { w: 215.9, h: 279.4 },
            Self::A4 => Size { w: 210.0, h: 297.0 },
        }
    }
}

/// Card that a lift is put on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Card {
    /// 3 by 5 inches, the long side across.
    #[default]
    ThreeByFive,
    /// 4 by 6 inches, the long side across.
    FourBySix,
}

impl Card {
    /// The card with its long side across.
    #[must_use]
    pub fn size(self) -> Size {
        match self {
            Self::ThreeByFive => Size { w: 127.0, h: 76.2 },
            Self::FourBySix => Size { w: 152.4, h: 101.6 },
        }
    }
}

/// Label for a box.
pub const BOX_LABEL: Size = Size { w: 100.0, h: 62.0 };
/// Label for an envelope: A7 across (ISO 216).
pub const ENVELOPE_LABEL: Size = Size { w: 105.0, h: 74.0 };
/// Strip for the place where a seal goes.
pub const SEAL_STRIP: Size = Size { w: 150.0, h: 30.0 };
