//! Code 128 and QR as rectangles, with the quiet zones that scanners need.
//!
//! Sizes are whole dots at 300 dpi. Code 128 (ISO/IEC 15417): quiet zone 10 X on each side, X at least 0.25 mm, bars at
//! least as high as the larger of 5 mm and 15 % of the width. QR (ISO/IEC 18004): quiet zone 4 modules, module at least
//! 0.396 mm. The least sizes for general scanning are from memory of the general specifications.

use barcoders::sym::code128::Code128;
use fast_qr::{ECL, QRBuilder};

use super::ReportError;

/// Narrowest bar of a Code 128, mm: three dots at 300 dpi.
pub const X: f64 = 0.254;
/// Side of a QR module, mm: five dots at 300 dpi.
pub const MODULE: f64 = 25.4 / 60.0;

/// A dark rectangle, mm from the top left corner of the symbol with its quiet zone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bar {
    /// From the left.
    pub x: f64,
    /// From the top.
    pub y: f64,
    /// Width.
    pub w: f64,
    /// Height.
    pub h: f64,
}

/// A symbol with its quiet zone.
#[derive(Clone, Debug, PartialEq)]
pub struct Symbol {
    /// Whole width with the quiet zone, mm.
    pub w: f64,
    /// Whole height with the quiet zone, mm.
    pub h: f64,
    /// Width of one module, mm.
    pub module: f64,
    /// The dark rectangles.
    pub bars: Vec<Bar>,
}

/// Code 128, code set B, of printable ASCII.
///
/// # Errors
/// [`ReportError::Barcode`] for an empty or longer text than 40 characters, or other characters.
pub fn code128(text: &str, field: &str) -> Result<Symbol, ReportError> {
    let refuse = || ReportError::Barcode {
        field: field.to_owned(),
    };
    if text.is_empty() || text.len() > 40 || !text.bytes().all(|b| (0x20..0x7f).contains(&b)) {
        return Err(refuse());
    }
    let bits = Code128::new(format!("\u{0181}{text}"))
        .map_err(|_| refuse())?
        .encode();
    let width = bits.len() as f64 * X;
    let h = (width * 0.15).max(5.0) + 0.1;
    let mut bars: Vec<Bar> = Vec::new();
    let mut before = 0_u8;
    for (i, &bit) in bits.iter().enumerate() {
        if bit == 1 {
            match bars.last_mut().filter(|_| before == 1) {
                Some(bar) => bar.w += X,
                None => bars.push(Bar {
                    x: (i as f64 + 10.0) * X,
                    y: 0.0,
                    w: X,
                    h,
                }),
            }
        }
        before = bit;
    }
    Ok(Symbol {
        w: width + 20.0 * X,
        h,
        module: X,
        bars,
    })
}

/// QR with error correction M.
///
/// # Errors
/// [`ReportError::Barcode`] for an empty or longer text than 200 bytes.
pub fn qr(text: &str, field: &str) -> Result<Symbol, ReportError> {
    let refuse = || ReportError::Barcode {
        field: field.to_owned(),
    };
    if text.is_empty() || text.len() > 200 {
        return Err(refuse());
    }
    let code = QRBuilder::new(text)
        .ecl(ECL::M)
        .build()
        .map_err(|_| refuse())?;
    let mut bars: Vec<Bar> = Vec::new();
    for row in 0..code.size {
        let mut before = false;
        for col in 0..code.size {
            let dark = code[row][col].value();
            if dark {
                match bars.last_mut().filter(|_| before) {
                    Some(bar) => bar.w += MODULE,
                    None => bars.push(Bar {
                        x: (col as f64 + 4.0) * MODULE,
                        y: (row as f64 + 4.0) * MODULE,
                        w: MODULE,
                        h: MODULE,
                    }),
                }
            }
            before = dark;
        }
    }
    let side = (code.size as f64 + 8.0) * MODULE;
    Ok(Symbol {
        w: side,
        h: side,
        module: MODULE,
        bars,
    })
}
