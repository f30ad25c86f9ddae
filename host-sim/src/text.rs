//! Plain text for a terminal: wrapped paragraphs, and tables whose last column wraps.

/// Width of a text on a terminal, in characters.
pub(crate) fn chars(text: &str) -> usize {
    text.chars().count()
}

/// A word as a POSIX shell takes it whole: quoted where it holds more than plain signs, so that a
/// printed command can be copied with any path in it.
pub(crate) fn shell_word(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./,:+=@%".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        return word.to_owned();
    }
    format!("'{}'", word.replace('\'', "'\\''"))
}

/// Lines of at most `width` characters; a longer word stands alone on its line.
pub(crate) fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        if !line.is_empty() && chars(&line) + 1 + chars(word) > width {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line += word;
    }
    lines.push(line);
    lines
}

/// A wrapped paragraph, each line indented, with a line end.
pub(crate) fn paragraph(text: &str, indent: usize, width: usize) -> String {
    labelled("", text, indent, width)
}

/// A wrapped paragraph that hangs behind a label.
pub(crate) fn labelled(label: &str, text: &str, indent: usize, width: usize) -> String {
    let hang = indent + chars(label);
    let mut out = String::new();
    for (i, line) in wrap(text, width.saturating_sub(hang).max(LAST_MIN)).iter().enumerate() {
        let start = if i == 0 { format!("{:indent$}{label}", "") } else { " ".repeat(hang) };
        out += format!("{start}{line}").trim_end();
        out.push('\n');
    }
    out
}

/// Columns as wide as their widest cell; the last one takes the rest and wraps.
pub(crate) struct Table {
    head: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// Blank columns between table columns, and before the first.
const GAP: usize = 2;
/// The last column moves to a line of its own below this width.
const LAST_MIN: usize = 14;

impl Table {
    pub(crate) fn new<S: ToString>(head: &[S]) -> Table {
        Table { head: head.iter().map(S::to_string).collect(), rows: Vec::new() }
    }

    pub(crate) fn row(&mut self, cells: Vec<String>) {
        debug_assert_eq!(cells.len(), self.head.len());
        self.rows.push(cells);
    }

    /// Width of all columns but the last, gaps included.
    fn fixed_width(&self) -> usize {
        self.widths().iter().map(|w| w + GAP).sum::<usize>() + GAP
    }

    /// Whether the last column has room beside the others.
    pub(crate) fn fits(&self, width: usize) -> bool {
        let last = self.head.len() - 1;
        let words = self.rows.iter().flat_map(|row| row[last].split_whitespace().map(chars));
        self.fixed_width() + words.max().unwrap_or(0).max(LAST_MIN) <= width
    }

    fn widths(&self) -> Vec<usize> {
        let cells = |col: usize| {
            [&self.head].into_iter().chain(&self.rows).map(move |row| chars(&row[col]))
        };
        (0..self.head.len() - 1).map(|col| cells(col).max().unwrap_or(0)).collect()
    }

    /// The table under a title; empty without rows.
    pub(crate) fn titled(&self, title: &str, width: usize) -> String {
        if self.rows.is_empty() {
            return String::new();
        }
        paragraph(title, 0, width) + &self.render(width)
    }

    pub(crate) fn render(&self, width: usize) -> String {
        let widths = self.widths();
        let mut out = String::new();
        for row in [&self.head].into_iter().chain(&self.rows) {
            let mut start = " ".repeat(GAP);
            for (cell, width) in row.iter().zip(&widths) {
                start += cell;
                start += &" ".repeat(width - chars(cell) + GAP);
            }
            let last = &row[row.len() - 1];
            if self.fits(width) {
                out += &labelled(&start, last, 0, width);
            } else {
                out += start.trim_end();
                out.push('\n');
                if !last.is_empty() && last != "-" {
                    out += &paragraph(last, 4 * GAP, width);
                }
            }
        }
        out
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The shell itself is the judge: it must hand the very word on.
    #[test]
    fn a_shell_takes_a_quoted_word_whole() {
        for word in [
            "plain/path-1.toml",
            "my gear box.toml",
            "it's",
            "'",
            "$HOME `id` \"x\" \\ !",
            "a;b|c&d>e<f*g?[h]{i}~#",
            "~",
            "",
            "line\nbreak\ttab",
            "Übersetzung",
        ] {
            let line = format!("printf '%s|' {} end", shell_word(word));
            let out = std::process::Command::new("sh").args(["-c", &line]).output();
            let out = out.expect("a POSIX shell");
            assert_eq!(String::from_utf8_lossy(&out.stdout), format!("{word}|end|"), "{line}");
        }
        assert_eq!(shell_word("review/axle.toml"), "review/axle.toml", "no signs without need");
    }

    #[test]
    fn wrapping_keeps_every_word_and_the_width() {
        let text = "one two three four five six seven";
        for width in 5..40 {
            let lines = wrap(text, width);
            assert!(lines.iter().all(|l| chars(l) <= width));
            assert_eq!(lines.join(" "), text);
        }
    }

    #[test]
    fn a_table_too_wide_puts_its_last_column_below() {
        let mut table = Table::new(&["first", "last"]);
        table.row(vec!["x".repeat(30), "some words that wrap".into()]);
        let out = table.render(40);
        assert!(out.lines().all(|l| chars(l) <= 40), "{out}");
        assert!(out.contains("\n        some words that wrap\n"), "{out}");
    }
}
