//! Canonical JSON by RFC 8785: one value, one sequence of bytes.
//!
//! Keys are sorted by their UTF-16 code units, numbers are printed as ECMAScript prints them, strings carry only the
//! escapes they must. The ledger itself stores no fractions (see [`super::payload::check`]); they are covered here so
//! that the public vectors of the standard can be held against this code.

use std::io::Write as _;

use serde_json::{Number, Value};

/// How deep a value may be nested. The same bound as the reader's.
pub const MAX_DEPTH: usize = 128;

/// Why a value has no canonical form, or why bytes are not one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CanonicalError {
    /// The bytes are not JSON in UTF-8.
    #[error("this is not JSON")]
    NotJson,
    /// JSON, but not written in its canonical form.
    #[error("this is JSON, but not in its canonical form")]
    NotCanonical,
    /// An integer that a double cannot carry as it stands; printing it would change it.
    #[error("an integer is too large to be carried exactly")]
    Inexact,
    /// Nested deeper than [`MAX_DEPTH`].
    #[error("a value is nested too deeply")]
    TooDeep,
}

/// The canonical bytes of `value`.
///
/// # Errors
/// [`CanonicalError::Inexact`] for an integer whose canonical text would differ from itself, and
/// [`CanonicalError::TooDeep`].
pub fn to_bytes(value: &Value) -> Result<Vec<u8>, CanonicalError> {
    printable(value, 0)?;
    let mut out = Vec::with_capacity(128);
    write_value(value, &mut out);
    Ok(out)
}

/// Reads bytes that are exactly the canonical form of what they say: no space, no repeated key, no other spelling.
///
/// A fraction whose nearest double the JSON reader misses by one unit in the last place is refused, never altered.
///
/// # Errors
/// [`CanonicalError::NotJson`] or [`CanonicalError::NotCanonical`].
pub fn parse_strict(bytes: &[u8]) -> Result<Value, CanonicalError> {
    let value: Value = serde_json::from_slice(bytes).map_err(|_| CanonicalError::NotJson)?;
    match to_bytes(&value) {
        Ok(again) if again == bytes => Ok(value),
        _ => Err(CanonicalError::NotCanonical),
    }
}

fn printable(value: &Value, depth: usize) -> Result<(), CanonicalError> {
    if depth > MAX_DEPTH {
        return Err(CanonicalError::TooDeep);
    }
    match value {
        Value::Null | Value::Bool(_) | Value::String(_) => Ok(()),
        Value::Number(n) => {
            if n.is_f64() {
                return Ok(());
            }
            let mut out = Vec::new();
            write_number(n, &mut out);
            if out == n.to_string().as_bytes() {
                Ok(())
            } else {
                Err(CanonicalError::Inexact)
            }
        }
        Value::Array(list) => list.iter().try_for_each(|v| printable(v, depth + 1)),
        Value::Object(map) => map.values().try_for_each(|v| printable(v, depth + 1)),
    }
}

/// Appends the canonical form. An integer that [`to_bytes`] would refuse is printed as the nearest double.
pub(crate) fn write_value(value: &Value, out: &mut Vec<u8>) {
    match value {
        Value::Null => out.extend_from_slice(b"null"),
        Value::Bool(true) => out.extend_from_slice(b"true"),
        Value::Bool(false) => out.extend_from_slice(b"false"),
        Value::Number(n) => write_number(n, out),
        Value::String(s) => write_string(s, out),
        Value::Array(list) => {
            out.push(b'[');
            for (i, v) in list.iter().enumerate() {
                if i > 0 {
                    out.push(b',');
                }
                write_value(v, out);
            }
            out.push(b']');
        }
        Value::Object(map) => {
            let mut entries: Vec<_> = map.iter().collect();
            entries.sort_by(|(a, _), (b, _)| a.encode_utf16().cmp(b.encode_utf16()));
            out.push(b'{');
            for (i, (k, v)) in entries.into_iter().enumerate() {
                if i > 0 {
                    out.push(b',');
                }
                write_string(k, out);
                out.push(b':');
                write_value(v, out);
            }
            out.push(b'}');
        }
    }
}

/// Appends a string with its quotes and the escapes of RFC 8785 section 3.2.2.2.
pub(crate) fn write_string(s: &str, out: &mut Vec<u8>) {
    const HEX: &[u8; 16] = b"0123456789abcdef";
    out.push(b'"');
    for &b in s.as_bytes() {
        match b {
            b'"' => out.extend_from_slice(b"\\\""),
            b'\\' => out.extend_from_slice(b"\\\\"),
            0x08 => out.extend_from_slice(b"\\b"),
            0x09 => out.extend_from_slice(b"\\t"),
            0x0a => out.extend_from_slice(b"\\n"),
            0x0c => out.extend_from_slice(b"\\f"),
            0x0d => out.extend_from_slice(b"\\r"),
            0x00..=0x1f => {
                out.extend_from_slice(b"\\u00");
                out.push(HEX[usize::from(b >> 4)]);
                out.push(HEX[usize::from(b & 15)]);
            }
            _ => out.push(b),
        }
    }
    out.push(b'"');
}

fn write_number(n: &Number, out: &mut Vec<u8>) {
    const EXACT: u64 = 1 << 53;
    // Writing to a Vec cannot fail.
    let _ = match (n.as_u64(), n.as_i64()) {
        (Some(u), _) if u <= EXACT => write!(out, "{u}"),
        (_, Some(i)) if i.unsigned_abs() <= EXACT => write!(out, "{i}"),
        _ => {
            write_double(n.as_f64().unwrap_or_default(), out);
            Ok(())
        }
    };
}

/// Prints a finite double as ECMAScript's `Number::toString` does: the shortest digits that read back as the same
/// double, without an exponent between 1e-6 and 1e21.
fn write_double(x: f64, out: &mut Vec<u8>) {
    if x == 0.0 {
        out.push(b'0');
        return;
    }
    if x < 0.0 {
        out.push(b'-');
    }
    // The JSON writer prints the shortest digits that read back, the nearest of those, and the even one of two equally
    // near; the standard library does not keep to the last rule. Only the digits and the exponent are taken from it.
    let text = Number::from_f64(x.abs()).map_or_else(|| "0".to_owned(), |n| n.to_string());
    let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
    let (whole, fraction) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    let all = [whole, fraction].concat();
    let leading = all.len() - all.trim_start_matches('0').len();
    let digits = all.trim_matches('0').as_bytes();
    let length = |n: usize| i32::try_from(n).unwrap_or_default();
    // The decimal point stands behind this many digits.
    let point = exponent.parse::<i32>().unwrap_or_default() + length(whole.len()) - length(leading);
    let count = length(digits.len());
    let zeros = |n: i32| std::iter::repeat_n(b'0', usize::try_from(n).unwrap_or_default());
    if count <= point && point <= 21 {
        out.extend_from_slice(digits);
        out.extend(zeros(point - count));
    } else if 0 < point && point <= 21 {
        let (whole, rest) = digits.split_at(usize::try_from(point).unwrap_or_default());
        out.extend_from_slice(whole);
        out.push(b'.');
        out.extend_from_slice(rest);
    } else if -6 < point && point <= 0 {
        out.extend_from_slice(b"0.");
        out.extend(zeros(-point));
        out.extend_from_slice(digits);
    } else {
        out.push(digits[0]);
        if digits.len() > 1 {
            out.push(b'.');
            out.extend_from_slice(&digits[1..]);
        }
        let exponent = point - 1;
        let sign = if exponent < 0 { '-' } else { '+' };
        let _ = write!(out, "e{sign}{}", exponent.abs());
    }
}
