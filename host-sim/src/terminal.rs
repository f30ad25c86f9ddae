//! Messages for a person on stderr that never break a run: in this crate `eprint!` and
//! `eprintln!` are these macros, not those of the standard library, which panic when the
//! reader at the other end of a pipe has gone.

/// Write to stderr; what cannot be written is dropped.
pub(crate) fn write_to_stderr(text: std::fmt::Arguments<'_>) {
    use std::io::Write;
    let _ = std::io::stderr().lock().write_fmt(text);
}

macro_rules! eprint {
    ($($words:tt)*) => { $crate::terminal::write_to_stderr(format_args!($($words)*)) };
}

macro_rules! eprintln {
    () => { eprint!("\n") };
    ($($words:tt)*) => { eprint!("{}\n", format_args!($($words)*)) };
}

/// Whether a stream takes colour: a terminal, and the user has not asked for none
/// (any value of `NO_COLOR` but an empty one: common practice, no source).
pub(crate) fn takes_colour(stream: &impl std::io::IsTerminal) -> bool {
    stream.is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
}

/// What is well, what is broken, and what is neither; the words say it themselves, the colour
/// (green, bold red, yellow) only makes them quick to find.
const WORDS: [(&str, &[&str]); 3] = [
    ("32", &["holds", "found", "reached", "ok", "no finding", "drives"]),
    (
        "1;31",
        &["broken", "survived", "SURVIVED", "FINDING", "holds-output", "holds-engine", "forbidden"],
    ),
    (
        "33",
        &[
            "refused",
            "Refused",
            "excused",
            "inconclusive",
            "INCONCLUSIVE",
            "PARTIAL",
            "NOT WHOLE",
            "not judged",
            "not broken so far",
            "holds-machine",
            "neutral",
        ],
    ),
];

/// The colour of a cell: a verdict alone, after a count, or with a colon behind it.
fn colour(cell: &str) -> Option<&'static str> {
    let bare = cell.trim_start_matches(|c: char| c.is_ascii_digit()).trim_start();
    let known = |words: &[&str]| words.contains(&cell) || words.contains(&bare) && bare != cell;
    WORDS.iter().find(|(_, words)| known(words)).map(|(code, _)| *code)
}

/// A text for a person with its verdicts coloured. A verdict is a cell of its own: two blanks or
/// an end of the line on both sides, or a colon behind it. So no word of a sentence is taken for
/// one. What is for programs (JSON, SVG, Rust) begins with a sign and stays as it is.
pub(crate) fn painted(text: &str) -> String {
    if text.starts_with(['{', '[', '<', '/']) {
        return text.to_owned();
    }
    text.split_inclusive('\n').map(painted_line).collect()
}

fn painted_line(line: &str) -> String {
    let mut out = String::with_capacity(line.len());
    let mut rest = line;
    while !rest.is_empty() {
        let blanks = rest.len() - rest.trim_start_matches([' ', '\n']).len();
        out.push_str(&rest[..blanks]);
        rest = &rest[blanks..];
        // A cell ends at two blanks, or behind a colon.
        let end = rest.find("  ").or_else(|| rest.find('\n')).unwrap_or(rest.len());
        let end = rest[..end].find([':', ';']).map_or(end, |at| at.min(end));
        let (cell, after) = rest.split_at(end);
        match colour(cell) {
            Some(code) => out.push_str(&format!("\u{1b}[{code}m{cell}\u{1b}[0m")),
            None => out.push_str(cell),
        }
        // What follows the sign up to the next two blanks is no cell.
        let skipped = match after.starts_with([':', ';']) {
            true => after.find("  ").or_else(|| after.find('\n')).unwrap_or(after.len()),
            false => 0,
        };
        out.push_str(&after[..skipped]);
        rest = &after[skipped..];
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The text without colours.
    fn bare(text: &str) -> String {
        let mut out = String::new();
        let mut parts = text.split('\u{1b}');
        out.push_str(parts.next().unwrap_or(""));
        for part in parts {
            out.push_str(part.split_once('m').map_or(part, |(_, rest)| rest));
        }
        out
    }

    #[test]
    fn verdicts_are_coloured_and_nothing_else_changes() {
        let text = "rules\n  SW-I1   holds        clutch: holds 3 rpm\n  SW-SLIP 3 broken\n\
                    \n  SW-SLIP   3 broken      x\n    refused: no way holds\nok: axle: 4 shafts\n\
                    x  holds-output  all\n  exploration  FINDING: broken: EX-1\n";
        let shown = painted(text);
        assert_eq!(bare(&shown), text);
        let coloured: Vec<&str> =
            shown.split("\u{1b}[").filter_map(|p| p.split_once('m')).map(|p| p.1).collect();
        let words: Vec<&str> = coloured
            .into_iter()
            .filter(|p| !p.starts_with(['\n', ' ', ':']) && !p.is_empty())
            .collect();
        assert_eq!(words, ["holds", "3 broken", "refused", "ok", "holds-output", "FINDING"]);
    }

    #[test]
    fn sentences_and_programs_text_stay_as_they_are() {
        for text in [
            "closing c1 while c2 is closed holds the output at zero\n",
            "holds the output and is refused by nobody\n",
            "{\n  \"verdict\":  \"holds\"\n}\n",
            "<svg>  holds  </svg>\n",
            "// holds\n  holds\n",
            "",
        ] {
            assert_eq!(painted(text), text);
        }
    }
}
