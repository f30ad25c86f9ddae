//! Lines of a table of comma-separated values, with their places in the text.

use std::ops::Range;

/// A line that holds something: its place, its text and its cells.
pub(super) struct Line<'a> {
    pub(super) span: Range<usize>,
    pub(super) bare: &'a str,
    pub(super) cells: Vec<&'a str>,
}

/// All lines but empty ones and those that begin with `#`.
pub(super) fn lines(text: &str) -> impl Iterator<Item = Line<'_>> {
    let mut at = 0;
    let placed = text.split_inclusive('\n').map(move |line| {
        let start = at;
        at += line.len();
        let bare = line.trim_end_matches(['\n', '\r']);
        Line { span: start..start + bare.len(), bare, cells: bare.split(',').collect() }
    });
    placed.filter(|l| !l.bare.trim().is_empty() && !l.bare.trim_start().starts_with('#'))
}
