//! Quiet zones and sizes, computed from the drawn rectangles. Rules: ISO/IEC 15417 and 18004 as remembered (least sizes
//! from memory).

use super::sample::CODE;
use liftledger::reports::barcode::{code128, qr};

#[test]
fn code_128_has_its_quiet_zone_width_and_height() {
    let s = code128(CODE, "Code").unwrap();
    let narrow = s.bars.iter().map(|b| b.w).fold(f64::MAX, f64::min);
    let left = s.bars[0].x;
    let last = s.bars.last().unwrap();
    let right = last.x + last.w;
    assert!(narrow >= 0.25);
    assert!(left >= 10.0 * narrow - 1e-9);
    assert!(s.w - right >= 10.0 * narrow - 1e-9);
    // 12 characters, start, check (11 modules each) and stop (13).
    assert!(((right - left) / narrow - 167.0).abs() < 1e-6);
    for bar in &s.bars {
        assert!(bar.h >= 5.0 && bar.h >= 0.15 * (right - left));
    }
}

#[test]
fn qr_has_its_quiet_zone_and_module() {
    let s = qr(CODE, "Code").unwrap();
    let (mut l, mut t, mut r, mut b) = (f64::MAX, f64::MAX, 0.0_f64, 0.0_f64);
    for bar in &s.bars {
        assert!(bar.h >= 0.396);
        l = l.min(bar.x);
        t = t.min(bar.y);
        r = r.max(bar.x + bar.w);
        b = b.max(bar.y + bar.h);
    }
    let quiet = 4.0 * s.bars[0].h - 1e-9;
    assert!(l >= quiet && t >= quiet && s.w - r >= quiet && s.h - b >= quiet);
    // 12 alphanumeric characters at level M fit version 1: 21 modules.
    assert!(((r - l) / s.bars[0].h - 21.0).abs() < 1e-6);
}

#[test]
fn texts_that_are_no_code_are_refused() {
    assert!(code128("Wąsik", "Code").is_err());
    assert!(code128("", "Code").is_err());
    assert!(qr(&"x".repeat(201), "Code").is_err());
}
