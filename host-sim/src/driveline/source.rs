//! From bytes to a TOML document with spans: size, encoding, syntax.

use std::collections::BTreeSet;

use toml_edit::Document;

use super::diagnostics::{Diagnostics, Span};
use super::suggest;

/// Largest file that is read, bytes. A full driveline file is some 20 kB.
pub const MOST_BYTES: usize = 1 << 20;
/// Syntax errors that are looked for in one file.
const MOST_SYNTAX_ERRORS: usize = 10;

/// Text of a file, or what is wrong with its bytes.
pub fn text_of(name: &str, bytes: &[u8]) -> Result<String, Diagnostics> {
    if bytes.len() > MOST_BYTES {
        let mut found = Diagnostics::new(name, "");
        found.whole(
            format!("the file is larger than {} bytes", MOST_BYTES),
            "give a driveline or scenario file; a complete one is some 20 kB",
        );
        return Err(found);
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok(text.strip_prefix('\u{feff}').unwrap_or(text).to_string()),
        Err(error) => {
            let at = error.valid_up_to();
            let text = String::from_utf8_lossy(bytes).into_owned();
            let mut found = Diagnostics::new(name, &text);
            found.error(
                at..at + '\u{fffd}'.len_utf8(),
                format!("the file is not UTF-8 text: byte 0x{:02x} cannot stand here", bytes[at]),
                "save the file as UTF-8",
            );
            Err(found)
        }
    }
}

/// A document, and what had to be left out of it because of syntax errors.
pub struct Parsed {
    /// The document; spans refer to the original text.
    pub document: Document<String>,
    /// What was left out.
    pub gaps: Gaps,
}

/// Lines that were left out: what seems to be missing may have stood there.
#[derive(Clone, Debug, Default)]
pub struct Gaps {
    /// Keys that began a left-out line.
    keys: BTreeSet<String>,
    /// Whether a left-out line was no `key = value`, but perhaps a header.
    is_wide: bool,
}

impl Gaps {
    /// Whether this key may have stood in a left-out line.
    pub fn may_hold(&self, key: &str) -> bool {
        self.is_wide || self.keys.contains(key)
    }

    /// Whether a table header may have stood in a left-out line.
    pub fn may_hold_tables(&self) -> bool {
        self.is_wide
    }

    /// Note a line that is left out.
    fn note(&mut self, line: &str) {
        let is_key = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        let word: String = line.trim_start().chars().take_while(|c| is_key(*c)).collect();
        if word.is_empty() {
            self.is_wide = true;
        } else {
            self.keys.insert(word);
        }
    }
}

/// Parse; syntax errors go to `found`. A faulty line is blanked and the rest read on, so that
/// every error is reported at once; `None` when the rest cannot be made sense of.
pub fn parse(text: &str, found: &mut Diagnostics) -> Option<Parsed> {
    let mut current = text.to_string();
    let mut last_line = None;
    let mut gaps = Gaps::default();
    for index in 0..MOST_SYNTAX_ERRORS {
        let error = match Document::parse(current.clone()) {
            Ok(document) => return Some(Parsed { document, gaps }),
            Err(error) => error,
        };
        let span = visible(text, error.span().unwrap_or(0..0));
        let (line, _) = found.line_column(span.start);
        // An error that follows the last one closely is most often its echo.
        if last_line.is_some_and(|last: usize| line <= last + 1) {
            return None;
        }
        last_line = Some(line);
        let (message, fix) = in_plain_words(error.message(), text, &span);
        found.error(span.clone(), message, fix);
        gaps.note(line_at(text, span.start));
        if !blank_line(&mut current, span.start, index) {
            return None;
        }
    }
    None
}

/// A span that begins on a character of its line, not on the line break after it.
fn visible(text: &str, span: Span) -> Span {
    let start = span.start.min(text.len());
    let end = span.end.clamp(start, text.len());
    let mut start = start;
    while !text.is_char_boundary(start) {
        start -= 1;
    }
    let mut end = end;
    while !text.is_char_boundary(end) {
        end += 1;
    }
    start..end
}

/// Overwrite the line at `at` with blanks; `false` when it holds nothing. A header gives way to
/// one that stands for it, so that the keys below do not fall to the table before.
fn blank_line(text: &mut String, at: usize, index: usize) -> bool {
    let start = text[..at].rfind('\n').map_or(0, |i| i + 1);
    let end = text[at..].find('\n').map_or(text.len(), |i| at + i);
    let line = text[start..end].trim_end_matches('\r');
    let instead = if line.trim_start().starts_with('[') {
        format!("[{STAND_IN}{index}]")
    } else {
        String::new()
    };
    if line.trim().is_empty() || instead.len() > line.len() {
        return false;
    }
    let padded = format!("{instead}{}", " ".repeat(line.len() - instead.len()));
    let end = start + line.len();
    text.replace_range(start..end, &padded);
    true
}

/// The line in which `at` lies.
fn line_at(text: &str, at: usize) -> &str {
    let start = text[..at].rfind('\n').map_or(0, |i| i + 1);
    let end = text[at..].find('\n').map_or(text.len(), |i| at + i);
    &text[start..end]
}

/// Begin of the name of a table that stands for one with a faulty header.
const STAND_IN: &str = "_";

/// Whether a table only stands for one with a faulty header.
pub(super) fn is_stand_in(table: &str) -> bool {
    table.strip_prefix(STAND_IN).is_some_and(|rest| rest.parse::<usize>().is_ok())
}

/// The parser's message and what to do about it.
fn in_plain_words(message: &str, text: &str, span: &Span) -> (String, String) {
    let word = text.get(span.clone()).unwrap_or("").lines().next().unwrap_or("").trim();
    let has = |part: &str| message.contains(part);
    let first = message.split(", expected").next().unwrap_or(message);
    if has("duplicate key") {
        return (
            format!("{} is already given in this table", suggest::quoted(word)),
            "remove one of the two; or, if a new part begins here, put its header such as \
             [[shaft]] on the line before"
                .into(),
        );
    }
    if has("string values must be quoted") && word.is_empty() {
        let fix = "write a value after =, text in quotes, numbers with a point for decimals";
        return ("this is not TOML: missing value".into(), fix.into());
    }
    if has("array") && !has("table") && line_at(text, span.start).trim_start().starts_with('[') {
        let fix = "look for the [ above that has no ], and close it";
        return ("this is not TOML: a list that begins above is not closed".into(), fix.into());
    }
    let fix = if has("recurs") {
        "this file needs no brackets nested so deeply: close them"
    } else if has("string values must be quoted") {
        "put text in quotes: name = \"ring\""
    } else if has("unclosed array table") || has("unclosed table") {
        "close the header: [[shaft]] has two brackets on each side, [output] has one"
    } else if has("unclosed array") || has("between array elements") {
        "separate the values of a list by commas and close it with ]"
    } else if has("inline table") || has("between key-value pairs") {
        "write a table in braces as { key = value, key = value }"
    } else if has("missing value") || has("invalid value") {
        "write a value after =, text in quotes, numbers with a point for decimals"
    } else if has("key with no value") || has("missing assignment") || has("`=`") {
        "write key = value, one on a line"
    } else if has("unquoted key") || has(" key") {
        "write key = value; a key has letters, digits, - and _"
    } else if has("quote") || has(" string") || has("escape") || has("unicode") {
        "close the text with the same quote that opens it; write a backslash as \\\\"
    } else if has("overflow") || has("digits") || has("radix") || has("sign") || has("leading") {
        "write the number in plain digits, with a point for decimals"
    } else if has("carriage return") || has("comment") {
        "remove the control character"
    } else {
        "one `key = value`, one [table] or one [[table]] header on a line"
    };
    (format!("this is not TOML: {first}"), fix.into())
}
