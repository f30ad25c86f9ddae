//! The README's tour is run again, command by command, and must print what the README shows.
//!
//! In a block marked `console` a line `$ command` is run in one folder for all blocks; the
//! lines after it must be what it prints (stdout, then stderr), where a line `...` stands for
//! any number of lines, and an exit code other than 0 is shown as `[exit code 1]`. Words are
//! parted at spaces; besides `slipwarden` only `sed` is known.

use std::path::Path;
use std::process::Command;

use crate::program::{Folder, run};

fn readme() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md");
    std::fs::read_to_string(path).expect("a README")
}

/// Commands of the `console` blocks with the lines shown after them.
fn tour(text: &str) -> Vec<(String, Vec<String>)> {
    let mut found: Vec<(String, Vec<String>)> = Vec::new();
    let mut inside = false;
    for line in text.lines() {
        match (inside, line.strip_prefix("$ ")) {
            (false, _) => inside = line == "```console",
            (true, _) if line == "```" => inside = false,
            (true, Some(command)) => found.push((command.to_string(), Vec::new())),
            (true, None) => match found.last_mut() {
                Some((_, shown)) => shown.push(line.to_string()),
                None => panic!("{line:?} stands before any command"),
            },
        }
    }
    found
}

/// Whether `shown`, with `...` for any number of lines, is what was printed.
fn agrees(shown: &[String], printed: &[String]) -> bool {
    match shown.split_first() {
        None => printed.is_empty(),
        Some((first, rest)) if first == "..." => {
            (0..=printed.len()).any(|skipped| agrees(rest, &printed[skipped..]))
        }
        Some((first, rest)) => printed.first() == Some(first) && agrees(rest, &printed[1..]),
    }
}

#[test]
fn dots_stand_for_any_lines_and_nothing_else_does() {
    let lines = |text: &str| text.lines().map(str::to_string).collect::<Vec<_>>();
    let printed = lines("a\nb\nc\nd");
    assert!(agrees(&lines("a\n...\nd"), &printed) && agrees(&lines("...\na\nb\nc\nd"), &printed));
    assert!(!agrees(&lines("a\n...\nc"), &printed) && !agrees(&lines("a\nb\nc"), &printed));
    assert!(!agrees(&lines("a\n...\ne\n..."), &printed) && !agrees(&[], &printed));
}

#[test]
fn the_tour_prints_what_the_readme_shows() {
    let folder = Folder::new("tour");
    let tour = tour(&readme());
    let mut used: Vec<String> = Vec::new();
    for (command, shown) in &tour {
        let words: Vec<&str> = command.split_whitespace().collect();
        let args = match words.split_first() {
            Some((&"slipwarden", args)) => args,
            Some((&"sed", args)) => {
                let done = Command::new("sed").args(args).current_dir(folder.path()).status();
                assert!(done.expect("sed starts").success() && shown.is_empty(), "{command}");
                continue;
            }
            _ => panic!("{command:?} is not a command that the tour may use"),
        };
        let ran = run(folder.path(), args);
        let mut printed: Vec<String> =
            ran.stdout.lines().chain(ran.stderr.lines()).map(str::to_string).collect();
        if ran.code != 0 {
            printed.push(format!("[exit code {}]", ran.code));
        }
        assert!(
            agrees(shown, &printed),
            "$ {command}\nshown:\n{}\nprinted:\n{}",
            shown.join("\n"),
            printed.join("\n")
        );
        used.push(args.first().unwrap_or(&"").to_string());
    }
    for command in ["new", "check", "survey", "table", "explain", "drive", "review"] {
        assert!(used.iter().any(|u| u == command), "the tour leaves out {command}");
    }
}
