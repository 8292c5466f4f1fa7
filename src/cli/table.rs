//! Lists as lines of text in columns.

use std::io::Write;

/// Rows of a list when nobody says otherwise.
pub(super) const LIMIT: u32 = 500;
/// The most rows of a list.
pub(super) const MOST: u32 = 20_000;

/// How many rows the next page may bring.
pub(super) fn left(limit: u32, have: usize) -> u32 {
    limit
        .saturating_sub(u32::try_from(have).unwrap_or(u32::MAX))
        .max(1)
}

/// Says on the error stream that there is more.
pub(super) fn more(limit: u32) {
    let _ = writeln!(
        std::io::stderr(),
        "There are more than {limit}; ask for them with --limit"
    );
}

/// Columns as wide as their widest cell; the last one runs on. Control characters are shown as spaces.
pub(super) fn print<const N: usize>(
    out: &mut dyn Write,
    heads: [&str; N],
    rows: Vec<[String; N]>,
) -> std::io::Result<()> {
    let mut all = vec![heads.map(str::to_owned)];
    all.extend(rows.into_iter().map(|row| row.map(plain)));
    let mut widths = [0; N];
    for row in &all {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = (*width).max(cell.chars().count());
        }
    }
    for row in &all {
        let mut line = String::new();
        for (width, cell) in widths.iter().zip(row) {
            line.push_str(cell);
            let pad = width.saturating_sub(cell.chars().count()) + 2;
            line.extend(std::iter::repeat_n(' ', pad));
        }
        writeln!(out, "{}", line.trim_end())?;
    }
    Ok(())
}

fn plain(text: String) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}
