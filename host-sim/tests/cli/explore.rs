//! `explore` as it is used: stopped, gone on with, damaged, excused.

use std::process::Command;
use std::time::Duration;

use crate::program::{Folder, Ran, program, run};

fn json(ran: &Ran) -> serde_json::Value {
    serde_json::from_str(&ran.stdout)
        .unwrap_or_else(|e| panic!("{e}: {}{}", ran.stdout, ran.stderr))
}

/// A search that met a bound and went on ends like one that was never stopped.
#[test]
fn a_search_that_goes_on_ends_like_one_that_was_not_stopped() {
    let folder = Folder::new("explore-resume");
    let run =
        |args: &[&str]| run(folder.path(), &[&["explore", "axle", "--faults", "0"], args].concat());
    let stopped = run(&["--states", "3000", "--checkpoint", "half", "--json"]);
    assert_eq!(stopped.code, 3, "{}", stopped.stderr);
    assert_eq!(json(&stopped)["verdict"], "inconclusive");
    assert!(stopped.stderr.contains("--resume half"), "{}", stopped.stderr);
    let further = run(&["--states", "9000", "--resume", "half", "--threads", "1", "--json"]);
    assert_eq!(further.code, 3, "{}", further.stderr);
    assert!(json(&further)["states"].as_u64() > json(&stopped)["states"].as_u64());
    let resumed = run(&["--resume", "half", "--json"]);
    let whole = run(&["--json"]);
    assert_eq!((resumed.code, whole.code), (0, 0), "{}{}", resumed.stderr, whole.stderr);
    let without_memory = |ran: &Ran| {
        let mut value = json(ran);
        value["bytes_per_state"] = 0.into();
        value
    };
    assert_eq!(without_memory(&resumed), without_memory(&whole));
}

/// Ctrl-C loses nothing.
#[test]
fn ctrl_c_leaves_a_checkpoint() {
    let folder = Folder::new("explore-stop");
    let mut child = program(folder.path());
    let child = child.args(["explore", "railcar", "--json"]).spawn().expect("it starts");
    std::thread::sleep(Duration::from_secs(3));
    let kill = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
    assert!(kill.expect("there is kill").success());
    let ran = Ran::of(child.wait_with_output().expect("it ends"), "stopped");
    assert_eq!(ran.code, 3, "{}", ran.stderr);
    let reached = json(&ran)["states"].as_u64();
    assert!(folder.path().join("explore-railcar.checkpoint").exists(), "{}", ran.stderr);
    let args =
        ["explore", "railcar", "--states", "1", "--json", "--resume", "explore-railcar.checkpoint"];
    let again = run(folder.path(), &args);
    assert_eq!((again.code, json(&again)["states"].as_u64()), (3, reached), "{}", again.stderr);
}

/// A checkpoint that is not whole, or not of this exploration, is refused in one sentence.
#[test]
fn a_checkpoint_that_is_no_good_is_refused() {
    let folder = Folder::new("explore-damaged");
    let stop = ["explore", "axle", "--faults", "0", "--states", "3000", "--checkpoint", "good"];
    assert_eq!(run(folder.path(), &stop).code, 3);
    let good = std::fs::read(folder.path().join("good")).expect("it is there");
    let refused = |name: &str, file: &str, faults: &str, says: &str| {
        let ran = run(folder.path(), &["explore", file, "--faults", faults, "--resume", name]);
        assert_eq!(ran.code, 2, "{name}: {}", ran.stderr);
        assert!(ran.stderr.contains(says) && ran.stderr.contains("fix:"), "{name}: {}", ran.stderr);
    };
    refused("good", "shuttle", "0", "another exploration");
    refused("good", "axle", "1", "another exploration");
    refused("missing", "axle", "0", "cannot go on");
    let line = good.iter().position(|&b| b == b'\n').expect("a first line");
    for at in [line + 9, line + good[line..].len() / 2, good.len() - 1] {
        let mut bad = good.clone();
        bad[at] ^= 0x10;
        folder.write("bad", &bad);
        refused("bad", "axle", "0", "no whole checkpoint");
    }
    for length in [0, 10, line + 1, good.len() / 2, good.len() - 1] {
        folder.write("short", &good[..length]);
        refused("short", "axle", "0", "no whole checkpoint");
    }
    folder.write("long", [&good[..], b"x"].concat());
    refused("long", "axle", "0", "no whole checkpoint");
}

/// An excuse needs a reason.
#[test]
fn an_excuse_without_a_reason_is_none() {
    let folder = Folder::new("explore-excuse");
    for excuse in ["refusal:hot", "refusal:hot=", "refusal:hot=  "] {
        let ran = run(folder.path(), &["explore", "axle", "--excuse", excuse]);
        assert_eq!(ran.code, 2);
        assert!(ran.stderr.contains("gives no reason"), "{}", ran.stderr);
    }
}
