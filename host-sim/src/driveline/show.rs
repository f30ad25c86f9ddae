//! Shows one diagnostic on a terminal: place, message, source line, underline, fix.

use super::diagnostics::{Diagnostic, Severity, Span};

/// Widest line of output.
const COLUMNS: usize = 80;
/// Columns before the source text: line number and bar.
const GUTTER: usize = 9;
/// A tab is shown as this many blanks wherever it stands, so that underlines fit.
const TAB: usize = 4;

/// Colour codes, or nothing.
pub(super) struct Paint {
    on: bool,
}

impl Paint {
    /// Codes only when `on`.
    pub(super) fn new(on: bool) -> Paint {
        Paint { on }
    }

    fn wrap(&self, code: &str, text: &str) -> String {
        if self.on { format!("\u{1b}[{code}m{text}\u{1b}[0m") } else { text.to_string() }
    }

    fn severity(&self, severity: Severity, text: &str) -> String {
        self.wrap(if severity == Severity::Error { "1;31" } else { "1;33" }, text)
    }
}

/// Line and column of a byte offset, both from 1; offsets past the end count as the end.
pub(super) fn line_column(text: &str, at: usize) -> (usize, usize) {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let before = &text[..at];
    let start = before.rfind('\n').map_or(0, |i| i + 1);
    (before.matches('\n').count() + 1, before[start..].chars().count() + 1)
}

/// Append one diagnostic to `out`.
pub(super) fn one(out: &mut String, name: &str, text: &str, d: &Diagnostic, paint: &Paint) {
    let word = d.severity.word();
    let place = match &d.span {
        Some(span) => {
            let (line, column) = line_column(text, span.start);
            format!("{name}:{line}:{column}: ")
        }
        None => format!("{name}: "),
    };
    let head = wrap(&format!("{place}{word}: {}", d.message), 4);
    // Colour is put in after wrapping, so that codes do not count as columns.
    let marked = format!("{place}{word}:");
    let painted = format!("{place}{}", paint.severity(d.severity, &format!("{word}:")));
    out.push_str(&match head.strip_prefix(&marked) {
        Some(rest) => format!("{painted}{rest}"),
        None => head,
    });
    out.push('\n');
    if let Some(span) = &d.span {
        source_line(out, text, span, d.severity, paint);
    }
    out.push_str(&wrap(&format!("    fix: {}", d.fix), 9));
    out.push('\n');
}

/// The source line with the offending part underlined.
fn source_line(out: &mut String, text: &str, span: &Span, severity: Severity, paint: &Paint) {
    let (number, _) = line_column(text, span.start);
    let (cells, from, to) = cells_of_line(text, span);
    let room = COLUMNS - GUTTER - 6;
    // A long line is cut to a window that shows the beginning of the underlined part.
    let total: usize = cells.iter().map(|c| c.width).sum();
    let first = if total <= room { 0 } else { start_of_window(&cells, from, room) };
    let mut shown = String::new();
    let mut under = String::new();
    if first > 0 {
        shown.push_str("...");
        under.push_str("   ");
    }
    let mut used = 0;
    for (index, cell) in cells.iter().enumerate().skip(first) {
        if used + cell.width > room {
            shown.push_str("...");
            break;
        }
        used += cell.width;
        shown.push_str(&cell.text);
        // An empty span is shown as a mark at its place.
        let marked = (from..to.max(from + 1)).contains(&index);
        let mark = if marked { "^" } else { " " };
        under.push_str(&mark.repeat(cell.width));
    }
    if from >= cells.len() {
        under.push('^');
    }
    out.push_str(format!("{number:>6} | {shown}").trim_end());
    out.push('\n');
    out.push_str(&format!("{:>6} | {}\n", "", paint.severity(severity, under.trim_end())));
}

/// First cell to show so that the underlined part is in the window.
fn start_of_window(cells: &[Cell], from: usize, room: usize) -> usize {
    let mut first = from.min(cells.len());
    let mut width = 0;
    while first > 0 && width + cells[first - 1].width <= room / 3 {
        first -= 1;
        width += cells[first].width;
    }
    // Near the beginning nothing needs to be cut.
    let before: usize = cells[..from.min(cells.len())].iter().map(|c| c.width).sum();
    if before <= room / 2 { 0 } else { first }
}

/// One character as it is shown.
struct Cell {
    text: String,
    width: usize,
}

/// The cells of the line in which `span` begins, and the cell range the span covers.
fn cells_of_line(text: &str, span: &Span) -> (Vec<Cell>, usize, usize) {
    let mut at = span.start.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let start = text[..at].rfind('\n').map_or(0, |i| i + 1);
    let end = text[at..].find('\n').map_or(text.len(), |i| at + i);
    let line = text[start..end].trim_end_matches('\r');
    // A line may be a megabyte of junk: what is far from the span is never shown.
    let low = nearest_boundary(line, (at - start).saturating_sub(4 * COLUMNS));
    let high = nearest_boundary(line, (at - start + 8 * COLUMNS).min(line.len()));
    let mut cells = Vec::new();
    let (mut from, mut to) = (usize::MAX, 0);
    for (offset, c) in line[low..high].char_indices() {
        let place = start + low + offset;
        if place >= span.start && place < span.end {
            from = from.min(cells.len());
            to = cells.len() + 1;
        }
        cells.push(cell(c));
    }
    if from == usize::MAX {
        let after = line[low..high].char_indices().filter(|(o, _)| start + low + o < at).count();
        (from, to) = (after, after);
    }
    (cells, from, to)
}

/// The char boundary at or before `at`.
fn nearest_boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// How a character is shown: tabs as blanks, control characters as a dot.
fn cell(c: char) -> Cell {
    match c {
        '\t' => Cell { text: " ".repeat(TAB), width: TAB },
        c if c.is_control() || is_direction_mark(c) => Cell { text: "\u{b7}".into(), width: 1 },
        c => Cell { text: c.to_string(), width: width(c) },
    }
}

/// Marks that turn the direction of text: shown as a dot, or they would garble the terminal.
fn is_direction_mark(c: char) -> bool {
    matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}

/// Columns a character takes, after the ranges of Unicode Standard Annex 11 (from memory, coarse).
fn width(c: char) -> usize {
    match u32::from(c) {
        0x0300..=0x036f | 0x200b..=0x200d | 0xfe00..=0xfe0f | 0x20d0..=0x20ff | 0xfeff => 0,
        0x1100..=0x115f
        | 0x2e80..=0x303e
        | 0x3041..=0xa4cf
        | 0xac00..=0xd7a3
        | 0xf900..=0xfaff
        | 0xfe30..=0xfe6f
        | 0xff00..=0xff60
        | 0xffe0..=0xffe6
        | 0x1f300..=0x1f64f
        | 0x1f900..=0x1f9ff
        | 0x20000..=0x3fffd => 2,
        _ => 1,
    }
}

/// Columns of a text.
fn text_width(text: &str) -> usize {
    text.chars().map(width).sum()
}

/// Break `text` at blanks to at most 80 columns, later lines indented by `indent`.
pub(super) fn wrap(text: &str, indent: usize) -> String {
    wrap_to(text, indent, COLUMNS)
}

/// Break `text` at blanks to at most `columns`.
pub(super) fn wrap_to(text: &str, indent: usize, columns: usize) -> String {
    let lead = text.len() - text.trim_start().len();
    let mut lines: Vec<String> = Vec::new();
    let mut line = " ".repeat(lead);
    let mut empty = true;
    for word in text.split_whitespace() {
        let room = text_width(&line) + usize::from(!empty) + text_width(word) <= columns;
        if !room && !empty {
            lines.push(std::mem::take(&mut line));
            line = " ".repeat(indent);
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line.push_str(word);
        empty = false;
    }
    lines.push(line);
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(text: &str, span: Span) -> String {
        let d = Diagnostic {
            severity: Severity::Error,
            span: Some(span),
            message: "wrong".into(),
            fix: "mend it".into(),
        };
        let mut out = String::new();
        one(&mut out, "f", text, &d, &Paint::new(false));
        out
    }

    #[test]
    fn a_long_line_is_cut_around_the_fault() {
        let text = format!("{} = {}HERE{}", "k".repeat(300), "v".repeat(500), "w".repeat(9000));
        let at = text.find("HERE").expect("there");
        let out = shown(&text, at..at + 4);
        let lines: Vec<&str> = out.lines().collect();
        assert!(lines.iter().all(|l| l.len() <= COLUMNS), "{out}");
        let column = lines[1].find("HERE").expect("shown");
        assert_eq!(lines[2].find('^'), Some(column), "{out}");
        assert_eq!(lines[2].matches('^').count(), 4);
    }

    #[test]
    fn the_end_of_the_text_can_be_pointed_at() {
        assert!(
            shown("a = 1", 5..5).contains("f:1:6: error: wrong\n     1 | a = 1\n       |      ^\n")
        );
        assert!(shown("a = 1\n", 6..6).contains("f:2:1:"));
        assert!(shown("", 0..0).contains("f:1:1:"));
        assert!(shown("a", 90..99).contains("f:1:2:"), "past the end");
    }

    #[test]
    fn a_fault_over_several_lines_is_underlined_to_the_end_of_its_first() {
        let out = shown("a = [\n1,\n]\n", 4..10);
        assert!(out.contains("     1 | a = [\n       |     ^\n"), "{out}");
    }

    #[test]
    fn words_wrap_at_eighty_columns() {
        let text = wrap(&"word ".repeat(40), 4);
        assert!(text.lines().all(|l| l.len() <= COLUMNS));
        assert!(text.lines().nth(1).is_some_and(|l| l.starts_with("    word")));
    }
}
