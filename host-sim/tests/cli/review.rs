//! The review as a user runs it: depth, date, evidence, and Ctrl-C.

use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};

/// Ctrl-C in the middle of the work: nothing is written, and nothing is called a pass.
#[test]
fn an_interrupted_review_leaves_no_folder() {
    let folder = std::env::temp_dir().join(format!("slipwarden-{}-interrupt", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a temporary folder");
    let mut child = Command::new(env!("CARGO_BIN_EXE_slipwarden"))
        .args(["review", "shuttle", "--out", "review", "--depth", "full"])
        .current_dir(&folder)
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let told = BufReader::new(child.stderr.take().expect("stderr"));
    let mut last = String::new();
    for line in told.lines().map_while(Result::ok) {
        // A full exploration of the shuttle takes minutes: this comes in the middle of it.
        if line.starts_with("exploration") && !last.starts_with("exploration") {
            let kill = Command::new("kill").arg("-INT").arg(child.id().to_string()).status();
            assert!(kill.expect("kill").success());
        }
        last = line;
    }
    assert_eq!(child.wait().expect("it ends").code(), Some(3));
    assert!(last.contains("nothing was written"), "{last}");
    let left: Vec<_> = std::fs::read_dir(&folder).expect("a folder").collect();
    assert!(left.is_empty(), "{left:?}");
    let _ = std::fs::remove_dir_all(&folder);
}

/// A wrong date, depth or file of evidence is misuse, said before any work is done.
#[test]
fn misuse_of_a_review_is_told_at_once() {
    for args in [
        &["review", "axle", "--date", "2026-13-01"][..],
        &["review", "axle", "--date", "yesterday"],
        &["review", "axle", "--depth", "deep"],
        &["review", "axle", "--evidence", "no-such-file.json"],
    ] {
        let out = Command::new(env!("CARGO_BIN_EXE_slipwarden"))
            .args(args)
            .current_dir(std::env::temp_dir())
            .output()
            .expect("the program starts");
        assert_eq!(out.status.code(), Some(2), "{args:?}");
        let told = String::from_utf8_lossy(&out.stderr);
        assert!(told.contains("error: "), "{args:?}: {told}");
    }
}
