//! What a terminal shows and what a pipe gets: colours only on a terminal and only when they are
//! wanted, and never more than 80 columns.
//!
//! A pseudo-terminal is opened by Python's `pty`, which CI needs anyway.

use std::path::Path;
use std::process::Command;

use crate::program::{Folder, run};

/// Runs a program under a terminal of 80 columns and hands on all that it shows there.
const UNDER_A_TERMINAL: &str = r#"
import fcntl, os, pty, struct, sys, termios
pid, screen = pty.fork()
if pid == 0:
    fcntl.ioctl(1, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    os.execv(sys.argv[1], sys.argv[1:])
shown = b""
while True:
    try:
        piece = os.read(screen, 65536)
    except OSError:  # Linux: the other end is closed
        break
    if not piece:
        break
    shown += piece
status = os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])
sys.stdout.buffer.write(shown)
sys.exit(status)
"#;

/// All that a terminal gets, its line ends made plain, and the exit code.
fn shown(folder: &Path, no_color: Option<&str>, args: &[&str]) -> (String, i32) {
    let mut command = Command::new("python3");
    command.args(["-c", UNDER_A_TERMINAL, env!("CARGO_BIN_EXE_slipwarden")]).args(args);
    command.current_dir(folder).env_remove("NO_COLOR").env("TERM", "xterm");
    if let Some(value) = no_color {
        command.env("NO_COLOR", value);
    }
    let out = command.output().expect("python3 must be installed");
    let complaint = String::from_utf8_lossy(&out.stderr);
    assert!(complaint.is_empty(), "{args:?}: {complaint}");
    let text = String::from_utf8(out.stdout).expect("UTF-8");
    (text.replace("\r\n", "\n"), out.status.code().expect("an exit code"))
}

/// The text without its colours (ECMA-48 "select graphic rendition": escape, bracket, numbers, m)
/// and without the sign that wipes the rest of a line ("erase in line": escape, bracket, K).
fn bare(text: &str) -> String {
    let mut parts = text.split('\u{1b}');
    let mut out = parts.next().unwrap_or("").to_owned();
    for part in parts {
        if let Some(rest) = part.strip_prefix("[K") {
            out += rest;
            continue;
        }
        let (code, rest) = part.split_once('m').unwrap_or_else(|| panic!("no colour: {part:?}"));
        let numbers = code.strip_prefix('[').unwrap_or_else(|| panic!("no colour: {part:?}"));
        assert!(numbers.chars().all(|c| c.is_ascii_digit() || c == ';'), "no colour: {code:?}");
        out += rest;
    }
    out
}

/// Commands whose words hold verdicts, with their exit codes.
const COLOURED: [(&[&str], i32); 4] = [
    (&["survey", "shuttle"], 0),
    (&["check", "shuttle"], 0),
    (&["check", "faulty.toml"], 2),
    (&["explain", "shuttle", "single-electric", "power-split", "--speed=-103"], 1),
];

#[test]
fn colours_are_for_terminals_only_and_change_no_word() {
    let folder = Folder::new("terminal");
    folder.write("faulty.toml", "name = \"x\"\nnmae = 3\n");
    for (args, code) in COLOURED {
        let (colourful, ended) = shown(folder.path(), None, args);
        assert_eq!(ended, code, "{args:?}: {colourful}");
        assert!(colourful.contains("\u{1b}["), "{args:?}: no colour on a terminal: {colourful}");
        let piped = run(folder.path(), args);
        let all = format!("{}{}", piped.stdout, piped.stderr);
        assert!(!all.contains('\u{1b}'), "{args:?}: colour in a pipe");
        assert_eq!(bare(&colourful), all, "{args:?}");
        // An empty value asks for nothing; any other for no colours.
        assert_eq!(shown(folder.path(), Some(""), args).0, colourful, "{args:?}");
        assert_eq!(shown(folder.path(), Some("1"), args).0, all, "{args:?}: NO_COLOR");
    }
}

/// Progress lines are rewritten in place: one that is too long would wrap and leave rests behind.
#[test]
fn nothing_is_wider_than_a_terminal_of_80_columns() {
    let folder = Folder::new("wide");
    folder.write("faulty.toml", "name = \"x\"\nnmae = 3\n");
    let more: [&[&str]; 4] = [
        &["table", "railcar"],
        &["explore", "axle", "--faults", "0", "--states", "20000"],
        &["campaign", "axle", "--cases", "12", "--out", "c"],
        &["energy", "axle", "--columns", "8", "--rows", "6"],
    ];
    for args in COLOURED.iter().map(|of| of.0).chain(more) {
        let (text, _) = shown(folder.path(), None, args);
        assert!(text.lines().count() > 0, "{args:?} says nothing");
        for line in bare(&text).split(['\n', '\r']) {
            assert!(line.chars().count() <= 80, "{args:?}: {line:?}");
        }
    }
}
