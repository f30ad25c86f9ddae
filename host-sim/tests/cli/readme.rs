//! What the pages for readers show is run again, command by command, and must print what they show.
//!
//! In a block marked `console` a line `$ command` is run in one folder for all blocks of its page;
//! the lines after it must be what it prints (stdout, then stderr), where a line `...` stands for
//! any number of lines, and an exit code other than 0 is shown as `[exit code 1]`. Words are
//! parted at spaces; besides `slipwarden` only `sed` is known. A block marked `toml NAME` is
//! appended to that file in the folder. In blocks marked `sh`, and between backticks, commands of
//! ours are looked up: the command and each of its options must exist. Any other block says in the
//! line before it why it is not run: `<!-- not run: reason -->`.

use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;

use crate::program::{Folder, run};

/// A fenced block: what follows the fence, whether a reason stands before it, its lines.
struct Block {
    mark: String,
    excused: bool,
    lines: Vec<String>,
}

/// README and the book, by name.
fn pages() -> BTreeMap<String, String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let docs = std::fs::read_dir(root.join("docs")).expect("docs").flatten().map(|e| e.path());
    let all = docs.chain(["README.md", "DEVELOPERS.md"].map(|name| root.join(name)));
    all.filter(|p| p.extension().is_some_and(|e| e == "md"))
        .map(|p| {
            let name = p.strip_prefix(&root).expect("below the root").display().to_string();
            (name, std::fs::read_to_string(&p).expect("a page"))
        })
        .collect()
}

fn blocks(text: &str) -> Vec<Block> {
    let mut found: Vec<Block> = Vec::new();
    let (mut inside, mut before) = (false, "");
    for line in text.lines() {
        match (inside, line.strip_prefix("```")) {
            (false, Some(mark)) => {
                let excused = before.starts_with("<!-- not run: ") && before.ends_with(" -->");
                found.push(Block { mark: mark.to_string(), excused, lines: Vec::new() });
                inside = true;
            }
            (true, Some("")) => inside = false,
            (true, _) => {
                if let Some(block) = found.last_mut() {
                    block.lines.push(line.to_string());
                }
            }
            (false, None) => {}
        }
        before = line;
    }
    assert!(!inside, "a block has no end");
    found
}

/// Commands of a `console` block with the lines shown after them.
fn tour(block: &Block) -> Vec<(String, Vec<String>)> {
    let mut found: Vec<(String, Vec<String>)> = Vec::new();
    for line in &block.lines {
        match (line.strip_prefix("$ "), found.last_mut()) {
            (Some(command), _) => found.push((command.to_string(), Vec::new())),
            (None, Some((_, shown))) => shown.push(line.clone()),
            (None, None) => panic!("{line:?} stands before any command"),
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

/// Run one command of a page; the name of ours, if it is one.
fn runs_as_shown(folder: &Path, page: &str, command: &str, shown: &[String]) -> Option<String> {
    let words: Vec<&str> = command.split_whitespace().collect();
    let args = match words.split_first() {
        Some((&"slipwarden", args)) => args,
        Some((&"sed", args)) => {
            let done = Command::new("sed").args(args).current_dir(folder).status();
            assert!(done.expect("sed starts").success() && shown.is_empty(), "{page}: {command}");
            return None;
        }
        _ => panic!("{page}: {command:?} is not a command that a page may use"),
    };
    let ran = run(folder, args);
    let mut printed: Vec<String> =
        ran.stdout.lines().chain(ran.stderr.lines()).map(str::to_string).collect();
    if ran.code != 0 {
        printed.push(format!("[exit code {}]", ran.code));
    }
    assert!(
        agrees(shown, &printed),
        "{page}\n$ {command}\nshown:\n{}\nprinted:\n{}",
        shown.join("\n"),
        printed.join("\n")
    );
    args.first().map(ToString::to_string)
}

/// Run a page from top to bottom in a folder of its own; the commands of ours that it used.
fn run_page(page: &str, text: &str) -> Vec<String> {
    let folder = Folder::new(&format!("page-{}", page.replace(['/', '.'], "-")));
    let mut used = Vec::new();
    for block in blocks(text) {
        match block.mark.split_once(' ') {
            Some(("toml", file)) => {
                let path = folder.path().join(file);
                let mut own = std::fs::read_to_string(&path).unwrap_or_default();
                own += &(if own.is_empty() { "" } else { "\n" }.to_string()
                    + &block.lines.join("\n")
                    + "\n");
                std::fs::write(path, own).expect("written");
            }
            None if block.mark == "console" => {
                for (command, shown) in tour(&block) {
                    used.extend(runs_as_shown(folder.path(), page, &command, &shown));
                }
            }
            _ => {}
        }
    }
    used
}

#[test]
fn the_tour_prints_what_the_readme_shows() {
    let used = run_page("README.md", &pages()["README.md"]);
    for command in ["new", "check", "survey", "table", "explain", "drive", "review"] {
        assert!(used.iter().any(|u| u == command), "the tour leaves out {command}");
    }
}

#[test]
fn the_book_prints_what_its_pages_show() {
    let mut used = Vec::new();
    for (page, text) in pages().iter().filter(|p| p.0.starts_with("docs/")) {
        used.extend(run_page(page, text));
    }
    for command in ["check", "survey", "table", "explain", "drive", "energy", "review"] {
        assert!(used.iter().any(|u| u == command), "the book leaves out {command}");
    }
}

#[test]
fn every_block_is_run_or_says_why_not() {
    let mut excused = 0;
    for (page, text) in pages() {
        for block in blocks(&text) {
            let known = block.mark == "console" || block.mark.starts_with("toml ");
            let ours = |l: &String| l.starts_with("slipwarden ") || l.starts_with("cargo ");
            let sh = block.mark == "sh" && block.lines.iter().all(ours);
            assert!(known || sh || block.excused, "{page}: a block marked {:?}", block.mark);
            excused += usize::from(block.excused);
        }
    }
    // More of them than now need a look at each.
    assert!(excused <= 20, "{excused}");
}

/// Options of one of our commands, from its help; `None` when there is no such command.
fn options_of(
    name: &str,
    known: &mut BTreeMap<String, Option<Vec<String>>>,
) -> Option<Vec<String>> {
    let folder = std::env::temp_dir();
    let ask = || {
        let ran = run(&folder, &[name, "--help"]);
        let option = |word: &str| {
            let bare = word.trim_end_matches([',', '.', ';', ':', ')', ']', '=']);
            bare.starts_with("--").then(|| bare.to_string())
        };
        (ran.code == 0).then(|| ran.stdout.split_whitespace().filter_map(option).collect())
    };
    known.entry(name.to_string()).or_insert_with(ask).clone()
}

/// Commands of ours in `sh` blocks and between backticks.
fn told_commands(text: &str) -> Vec<String> {
    let mut prose = String::new();
    let mut inside = false;
    for line in text.lines() {
        let fence = line.starts_with("```");
        inside ^= fence;
        if !inside && !fence {
            prose += &format!("{line}\n");
        }
    }
    let spans = prose.split('`').skip(1).step_by(2).map(|s| s.replace('\n', " "));
    let sh = blocks(text).into_iter().filter(|b| b.mark == "sh").flat_map(|b| b.lines);
    let ours = |s: String| {
        let run =
            s.strip_prefix("cargo run --release -- ").map(|rest| format!("slipwarden {rest}"));
        run.unwrap_or(s).strip_prefix("slipwarden ").map(str::to_string)
    };
    spans.chain(sh).filter_map(ours).collect()
}

#[test]
fn every_command_that_a_page_names_exists_with_its_options() {
    let mut known = BTreeMap::new();
    let mut checked = 0;
    for (page, text) in pages() {
        for told in told_commands(&text) {
            let words = told.split('#').next().unwrap_or(&told).split_whitespace();
            let words: Vec<&str> = words.collect();
            let Some(name) = words.first() else { continue };
            // `survey|table` names several.
            for name in name.split('|') {
                let options = options_of(name, &mut known);
                let options = options.unwrap_or_else(|| panic!("{page}: there is no {told:?}"));
                for option in words.iter().filter(|w| w.starts_with("--")) {
                    let bare = option.split('=').next().unwrap_or(option);
                    assert!(options.iter().any(|o| o == bare), "{page}: {told:?} has no {bare}");
                    checked += 1;
                }
                checked += 1;
            }
        }
    }
    assert!(checked > 60, "{checked}");
    assert!(options_of("no-such-command", &mut known).is_none());
}
