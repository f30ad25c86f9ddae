//! The repository as text, and just enough reading of Rust source for the tidy test: comments
//! and literals blanked out, functions with their length, paths that a module uses.

use std::path::{Path, PathBuf};
use std::process::Command;

/// The repository's root.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Paths of all files of the repository, from its root and with `/`, sorted: those that git
/// tracks, or (without git) all that stand there but build output and hidden folders.
pub fn paths() -> Vec<String> {
    let mut paths = tracked().unwrap_or_else(|| {
        let mut found = Vec::new();
        walk(&root(), "", &mut found);
        found
    });
    paths.retain(|p| root().join(p).is_file());
    paths.sort();
    paths
}

fn tracked() -> Option<Vec<String>> {
    let out = Command::new("git").arg("-C").arg(root()).args(["ls-files", "-z"]).output().ok()?;
    let text = String::from_utf8(out.stdout).ok()?;
    let paths: Vec<String> =
        text.split('\0').filter(|p| !p.is_empty()).map(str::to_string).collect();
    (out.status.success() && !paths.is_empty()).then_some(paths)
}

fn walk(folder: &Path, prefix: &str, found: &mut Vec<String>) {
    let Ok(entries) = std::fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let name = entry.file_name().to_string_lossy().into_owned();
        let path = format!("{prefix}{name}");
        if entry.path().is_file() {
            found.push(path);
        } else if name != "target" && (!name.starts_with('.') || name == ".ci") {
            walk(&entry.path(), &format!("{path}/"), found);
        }
    }
}

/// Text of a file by its path from the root.
pub fn read(path: &str) -> String {
    std::fs::read_to_string(root().join(path)).unwrap_or_else(|e| panic!("{path}: {e}"))
}

/// Rust source with comments, strings and characters blanked out; lines stay where they are.
pub fn blanked(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len());
    let mut at = 0;
    while at < chars.len() {
        let end = literal_end(&chars, at);
        if end == at {
            out.push(chars[at]);
            at += 1;
        } else {
            out.extend(chars[at..end].iter().map(|&c| if c == '\n' { c } else { ' ' }));
            at = end;
        }
    }
    out
}

/// Where the comment or literal that begins at `at` ends; `at` itself when none begins there.
fn literal_end(chars: &[char], at: usize) -> usize {
    let next = |n: usize| chars.get(at + n).copied().unwrap_or('\0');
    let in_word = at > 0 && (chars[at - 1].is_alphanumeric() || chars[at - 1] == '_');
    match (chars[at], next(1)) {
        ('/', '/') => (at..chars.len()).find(|&i| chars[i] == '\n').unwrap_or(chars.len()),
        ('/', '*') => block_comment_end(chars, at),
        ('"', _) => string_end(chars, at),
        ('r', '"' | '#') if !in_word || chars[at - 1] == 'b' => raw_string_end(chars, at),
        ('\'', '\\') => (at + 3..chars.len()).find(|&i| chars[i] == '\'').map_or(at, |i| i + 1),
        ('\'', _) if next(2) == '\'' => at + 3,
        _ => at,
    }
}

fn block_comment_end(chars: &[char], at: usize) -> usize {
    let mut depth = 0;
    let mut i = at;
    while i < chars.len() {
        match (chars[i], chars.get(i + 1)) {
            ('/', Some('*')) => (depth, i) = (depth + 1, i + 2),
            ('*', Some('/')) => (depth, i) = (depth - 1, i + 2),
            _ => i += 1,
        }
        if depth == 0 {
            return i;
        }
    }
    chars.len()
}

fn string_end(chars: &[char], at: usize) -> usize {
    let mut i = at + 1;
    while i < chars.len() {
        match chars[i] {
            '\\' => i += 2,
            '"' => return i + 1,
            _ => i += 1,
        }
    }
    chars.len()
}

fn raw_string_end(chars: &[char], at: usize) -> usize {
    let hashes = chars[at + 1..].iter().take_while(|&&c| c == '#').count();
    let open = at + 1 + hashes;
    if chars.get(open) != Some(&'"') {
        return at;
    }
    let closes =
        |i: usize| chars[i] == '"' && (1..=hashes).all(|n| chars.get(i + n).copied() == Some('#'));
    (open + 1..chars.len()).find(|&i| closes(i)).map_or(chars.len(), |i| i + 1 + hashes)
}

/// Whether a file holds tests alone: an integration test, or a module that its parent declares
/// under `#[cfg(test)]`.
pub fn is_test(path: &str) -> bool {
    if path.contains("/tests/") || path.contains("/benches/") {
        return true;
    }
    let Some((folder, file)) = path.rsplit_once('/') else { return false };
    let module = file.trim_end_matches(".rs");
    let parents = [format!("{folder}.rs"), format!("{folder}/mod.rs"), format!("{folder}/lib.rs")];
    // What a module of tests declares is of the tests too.
    let parents = parents.iter().filter(|p| *p != path && root().join(p).is_file());
    parents.into_iter().any(|p| declares_test(&read(p), module) || is_test(p))
}

fn declares_test(text: &str, module: &str) -> bool {
    let mut lines = text.lines().map(str::trim).peekable();
    while let Some(line) = lines.next() {
        let next = lines.peek().copied().unwrap_or("");
        if line == "#[cfg(test)]" && next.ends_with(&format!("mod {module};")) {
            return true;
        }
    }
    false
}

/// Source before its unit tests.
pub fn before_tests(text: &str) -> &str {
    text.find("#[cfg(test)]\nmod tests {").map_or(text, |i| &text[..i])
}

/// Name, first line (from 1) and number of lines of every function with a body.
pub fn functions(text: &str) -> Vec<(String, usize, usize)> {
    let blank = blanked(text);
    let mut found = Vec::new();
    for (at, _) in blank.match_indices("fn ") {
        let name: String =
            blank[at + 3..].chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
        let starts_a_word = blank[..at].chars().next_back().is_none_or(|c| !is_word(c));
        let Some(open) = body_or_end(&blank, at) else { continue };
        if name.is_empty() || !starts_a_word || blank[open..].starts_with(';') {
            continue;
        }
        let close = matching_brace(&blank, open);
        let line = 1 + blank[..at].matches('\n').count();
        found.push((name, line, 1 + blank[at..close].matches('\n').count()));
    }
    found
}

/// The first `{` or `;` from `at` that is not inside brackets of the signature.
fn body_or_end(text: &str, at: usize) -> Option<usize> {
    let mut depth = 0i32;
    for (i, c) in text[at..].char_indices() {
        match c {
            '(' | '[' => depth += 1,
            ')' | ']' => depth -= 1,
            '{' | ';' if depth == 0 => return Some(at + i),
            _ => {}
        }
    }
    None
}

fn matching_brace(text: &str, open: usize) -> usize {
    let mut depth = 0usize;
    for (i, c) in text[open..].char_indices() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            _ => {}
        }
        if depth == 0 {
            return open + i;
        }
    }
    text.len()
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// What follows `prefix::` in code, to two names: `a::b`, for each branch of a `{...}` too.
pub fn used(text: &str, prefix: &str) -> Vec<String> {
    let blank = blanked(text);
    let mut found = Vec::new();
    let start = format!("{prefix}::");
    for (at, _) in blank.match_indices(&start) {
        if blank[..at].chars().next_back().is_some_and(|c| is_word(c) || c == ':') {
            continue;
        }
        branches(&blank[at + start.len()..], "", &mut found);
    }
    found.sort();
    found.dedup();
    found
}

fn branches(text: &str, before: &str, found: &mut Vec<String>) {
    if text.starts_with('{') {
        let close = matching_brace(text, 0);
        for part in split_at_top(&text[1..close]) {
            branches(part.trim(), before, found);
        }
        return;
    }
    let name: String = text.chars().take_while(|&c| is_word(c)).collect();
    if name.is_empty() {
        return;
    }
    match (before.is_empty(), text[name.len()..].strip_prefix("::")) {
        (true, Some(rest)) => branches(rest, &format!("{name}::"), found),
        _ => found.push(format!("{before}{name}")),
    }
}

fn split_at_top(text: &str) -> Vec<&str> {
    let (mut depth, mut from, mut parts) = (0, 0, Vec::new());
    for (i, c) in text.char_indices() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            ',' if depth == 0 => {
                parts.push(&text[from..i]);
                from = i + 1;
            }
            _ => {}
        }
    }
    parts.push(&text[from..]);
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn literals_and_comments_are_blanked_and_lines_kept() {
        let text =
            "a /* { /* x */ } */ b // {\n\"{ \\\" {\" r#\"{\"{\"# '{' '\\'' 'a: &'static str\n";
        let blank = blanked(text);
        assert_eq!(blank.matches('\n').count(), 2);
        assert!(!blank.contains('{') && !blank.contains('}'), "{blank}");
        assert!(blank.contains("'a: &'static str"), "{blank}");
    }

    #[test]
    fn modules_for_tests_alone_are_known() {
        let text = "mod a;\n#[cfg(test)]\npub(crate) mod b;\nmod c;\n";
        assert!(declares_test(text, "b"));
        assert!(!declares_test(text, "a") && !declares_test(text, "c"));
        assert!(is_test("tests/tests/tidy.rs") && !is_test("tests/src/source.rs"));
    }

    #[test]
    fn functions_are_measured_with_their_signature_and_closing_brace() {
        let text = "fn one() {}\ntrait T { fn no_body(); }\nconst fn two(\n    x: [u8; 2],\n) -> u8 {\n    \
                    if x > 0 { 1 } else { 2 }\n}\n// fn comment() {\n";
        let expected = [("one".to_string(), 1, 1), ("two".to_string(), 3, 5)];
        assert_eq!(functions(text), expected);
    }

    #[test]
    fn used_paths_are_found_in_groups_too() {
        let text =
            "use crate::{a, b::{self, c::D}, e::F};\nfn f() { crate::g::h(); }\n// crate::no\n";
        assert_eq!(used(text, "crate"), ["a", "b::c", "b::self", "e::F", "g::h"]);
        assert_eq!(used("use supervisor::table as t;", "supervisor"), ["table"]);
    }
}
