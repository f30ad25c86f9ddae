//! The commands that work on the driveline file alone: new, check, schema.
//!
//! Each prints and returns the exit code: 0 all well, 2 misuse.

use std::path::Path;

use super::{Driveline, Failure, Severity};
use crate::input::print;
use crate::text::shell_word;

/// Write a commented starter file to `path`; `name` is the driveline's name, taken from the
/// file's name when absent. An existing file is kept unless `force`.
pub fn new(path: &str, name: Option<&str>, force: bool) -> i32 {
    let from_path = || Path::new(path).file_stem().and_then(|s| s.to_str()).unwrap_or("driveline");
    let name = name.unwrap_or_else(from_path);
    let text = super::starter(name);
    // The reader is the judge of the name.
    if super::parse(path, &text).is_err() {
        eprintln!(
            "error: {} cannot be the name of a driveline\n    fix: give a name of letters, digits, \
             - and _ that begins with a letter",
            super::suggest::quoted(name)
        );
        return 2;
    }
    let mut options = std::fs::OpenOptions::new();
    options.write(true);
    if force {
        options.create(true).truncate(true)
    } else {
        options.create_new(true)
    };
    let written = options.open(path).and_then(|mut file| {
        use std::io::Write;
        file.write_all(text.as_bytes())
    });
    match written {
        Ok(()) => print(&format!(
            "wrote {path}: an invented driveline to start from\nnext: slipwarden check {}\n",
            shell_word(path)
        )),
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {
            eprintln!(
                "error: {path} exists\n    fix: choose another name, or overwrite it by --force"
            );
            2
        }
        Err(error) => {
            eprintln!("error: {path} cannot be written: {error}");
            2
        }
    }
}

/// Check a driveline file: errors and warnings to stderr, one line of result to stdout.
pub fn check(path: &str) -> i32 {
    match super::read(path) {
        Ok(checked) => {
            if !checked.warnings.is_empty() {
                eprint!("{}", checked.warnings.render(colour()));
            }
            print(&format!("{}\n", summary(path, &checked)))
        }
        Err(failure) => {
            complain(&failure);
            2
        }
    }
}

/// Print the JSON Schema of the driveline file.
pub fn schema() -> i32 {
    print(&format!("{:#}\n", super::schema()))
}

/// Print a failure to stderr, in colour on a terminal.
pub fn complain(failure: &Failure) {
    eprint!("{}", failure.render(colour()));
}

/// Whether stderr takes colour: a terminal, and the user has not asked for none (NO_COLOR).
pub fn colour() -> bool {
    crate::terminal::takes_colour(&std::io::stderr())
}

/// "ok: FILE: 5 shafts, ..., enough for driving the plant".
fn summary(path: &str, checked: &super::Checked) -> String {
    let Driveline { shafts, locks, machines, arrangements, sensors, .. } = &checked.driveline;
    let count = |n: usize, word: &str| format!("{n} {word}{}", if n == 1 { "" } else { "s" });
    let parts = [
        count(shafts.len(), "shaft"),
        count(locks.len(), "lock"),
        count(machines.len(), "machine"),
        count(sensors.len(), "sensor"),
        count(arrangements.len(), "arrangement"),
    ];
    let warnings =
        checked.warnings.sorted().iter().filter(|d| d.severity == Severity::Warning).count();
    let warned =
        if warnings == 0 { String::new() } else { format!(", {}", count(warnings, "warning")) };
    format!("ok: {path}: {}{warned}\nenough for: {}", parts.join(", "), enough_for(checked))
}

/// The commands for which nothing is missing, and what the next one lacks.
fn enough_for(checked: &super::Checked) -> String {
    use super::Purpose::{Plant, Table};
    let lacks = |purpose| match checked.ready_for(purpose) {
        Ok(()) => None,
        Err(found) => Some(found.error_count()),
    };
    match (lacks(Table), lacks(Plant)) {
        (Some(n), _) => format!("survey (table lacks {n} keys or tables)"),
        (None, Some(n)) => format!("survey, table (drive and review lack {n} keys or tables)"),
        (None, None) => "survey, table, drive, review".into(),
    }
}
