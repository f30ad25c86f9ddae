//! What is wrong with a file, where, and what to do: collected, sorted and shown.
//!
//! Nothing here knows drivelines: every TOML file of this program reports through it.

use std::fmt;
use std::ops::Range;

use super::show;

/// Most diagnostics that are kept; more are only counted, so that a junk file stays quick and readable.
const MAX_KEPT: usize = 60;

/// A stretch of the source text, in bytes.
pub type Span = Range<usize>;

/// How bad it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The file is refused.
    Error,
    /// The file is accepted, but a person should look.
    Warning,
}

impl Severity {
    /// The word a person reads.
    pub fn word(self) -> &'static str {
        match self {
            Severity::Error => "error",
            Severity::Warning => "warning",
        }
    }
}

/// One fault of a file: where it is, what it is, and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostic {
    /// Error or warning.
    pub severity: Severity,
    /// The offending text; `None` when the fault is the whole file's.
    pub span: Option<Span>,
    /// What is wrong, in one sentence.
    pub message: String,
    /// What to do, in one sentence.
    pub fix: String,
}

/// Everything found in one file, with the text it was found in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Diagnostics {
    name: String,
    text: String,
    list: Vec<Diagnostic>,
    left_out: usize,
    errors: usize,
}

impl Diagnostics {
    /// Nothing found yet in the text `text` of the file `name`.
    pub fn new(name: &str, text: &str) -> Diagnostics {
        Diagnostics {
            name: name.to_string(),
            text: text.to_string(),
            list: Vec::new(),
            left_out: 0,
            errors: 0,
        }
    }

    /// An empty collector over the same text.
    pub fn fresh(&self) -> Diagnostics {
        Diagnostics::new(&self.name, &self.text)
    }

    /// Report an error at `span`.
    pub fn error(&mut self, span: Span, message: impl Into<String>, fix: impl Into<String>) {
        let (message, fix) = (message.into(), fix.into());
        self.push(Diagnostic { severity: Severity::Error, span: Some(span), message, fix });
    }

    /// Report a warning at `span`.
    pub fn warning(&mut self, span: Span, message: impl Into<String>, fix: impl Into<String>) {
        let (message, fix) = (message.into(), fix.into());
        self.push(Diagnostic { severity: Severity::Warning, span: Some(span), message, fix });
    }

    /// Report an error of the whole file.
    pub fn whole(&mut self, message: impl Into<String>, fix: impl Into<String>) {
        let (message, fix) = (message.into(), fix.into());
        self.push(Diagnostic { severity: Severity::Error, span: None, message, fix });
    }

    /// Add a diagnostic; beyond a fixed number they are only counted.
    pub fn push(&mut self, diagnostic: Diagnostic) {
        self.errors += usize::from(diagnostic.severity == Severity::Error);
        if self.is_full() {
            self.left_out += 1;
        } else {
            self.list.push(diagnostic);
        }
    }

    /// Whether more diagnostics would only be counted (so their wording need not be worked out).
    pub fn is_full(&self) -> bool {
        self.list.len() >= MAX_KEPT
    }

    /// Whether an error was reported.
    pub fn has_errors(&self) -> bool {
        self.errors > 0
    }

    /// Number of errors, shown or not.
    pub fn error_count(&self) -> usize {
        self.errors
    }

    /// Whether nothing was reported.
    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// The kept diagnostics, by place in the file.
    pub fn sorted(&self) -> Vec<&Diagnostic> {
        let mut all: Vec<&Diagnostic> = self.list.iter().collect();
        all.sort_by_key(|d| d.span.as_ref().map_or((0, 0), |s| (s.start + 1, s.end)));
        all
    }

    /// The file's name as given by the caller.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The text that spans refer to.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Line and column, both from 1; a column is a character, whatever its width.
    pub fn line_column(&self, at: usize) -> (usize, usize) {
        show::line_column(&self.text, at)
    }

    /// Everything as a person reads it, at most 80 columns wide apart from long names.
    pub fn render(&self, colour: bool) -> String {
        let paint = show::Paint::new(colour);
        let mut out = String::new();
        for diagnostic in self.sorted() {
            show::one(&mut out, &self.name, &self.text, diagnostic, &paint);
            out.push('\n');
        }
        if self.left_out > 0 {
            out.push_str(&format!("and {} more not shown\n\n", self.left_out));
        }
        out.push_str(&self.summary());
        out.push('\n');
        out
    }

    /// "2 errors, 1 warning in FILE".
    fn summary(&self) -> String {
        let warnings = self.list.len() + self.left_out - self.errors;
        let count = |n: usize, word: &str| format!("{n} {word}{}", if n == 1 { "" } else { "s" });
        let parts = match (self.errors, warnings) {
            (0, 0) => "nothing to report".to_string(),
            (errors, 0) => count(errors, "error"),
            (0, warnings) => count(warnings, "warning"),
            (errors, warnings) => {
                format!("{}, {}", count(errors, "error"), count(warnings, "warning"))
            }
        };
        format!("{parts} in {}", self.name)
    }
}

impl fmt::Display for Diagnostics {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.render(false))
    }
}

impl std::error::Error for Diagnostics {}
