//! `campaign`, `merge` and `replay` as they are used: divided, killed, damaged, gone on with.

use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::OnceLock;
use std::time::Duration;

use host_sim::plant::random::Random;
use serde_json::Value;

use crate::program::{Folder, Ran, program, run};

/// Three blocks of cases.
const CASES: &str = "260";
/// What a campaign writes.
const OUTPUTS: [&str; 3] = ["campaign.json", "campaign.xml", "margins.csv"];

type Outputs = [Vec<u8>; 3];

/// A campaign of the axle.
fn campaign(folder: &Path, args: &[&str]) -> Ran {
    run(folder, &[&["campaign", "axle", "--cases", CASES, "--shrink", "0"], args].concat())
}

fn outputs(folder: &Path) -> Outputs {
    OUTPUTS.map(|name| std::fs::read(folder.join(name)).unwrap_or_else(|e| panic!("{name}: {e}")))
}

fn json_of(outputs: &Outputs) -> Value {
    serde_json::from_slice(&outputs[0]).expect("JSON")
}

fn findings(campaign: &Value) -> usize {
    campaign["findings"].as_array().expect("a list").len()
}

/// What an undisturbed run on one thread gives.
fn undisturbed() -> &'static Outputs {
    static ONCE: OnceLock<Outputs> = OnceLock::new();
    ONCE.get_or_init(|| {
        let folder = Folder::new("campaign-undisturbed");
        let ran = campaign(folder.path(), &["--threads", "1", "--out", "one"]);
        let all = outputs(&folder.path().join("one"));
        let campaign = json_of(&all);
        assert_eq!(ran.code, i32::from(findings(&campaign) > 0), "{}", ran.stderr);
        assert_eq!(campaign["whole"], true);
        let wide = ran.stdout.lines().find(|line| line.chars().count() > 80);
        assert_eq!(wide, None, "it fits a terminal");
        assert_eq!(campaign["ran"].as_u64().zip(campaign["not_run"].as_u64()), Some((260, 0)));
        all
    })
}

/// CRC-32C bit by bit, from its polynomial (RFC 3720, B.4 and 12.1: reflected 0x82f63b78).
pub(crate) fn crc32c(bytes: &[u8]) -> u32 {
    let shifted = |crc: u32, _| (crc >> 1) ^ (0x82f6_3b78 * (crc & 1));
    !bytes.iter().fold(!0u32, |crc, b| (0..8).fold(crc ^ u32::from(*b), shifted))
}

/// The lines of a results file, each held against its checksum.
fn lines(path: &Path) -> Vec<Value> {
    // RFC 3720, B.4: 32 bytes of zeros.
    assert_eq!(crc32c(&[0; 32]), 0x8a91_36aa);
    let text = std::fs::read_to_string(path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    text.lines()
        .map(|line| {
            let (sum, text) = line.split_once(' ').expect("a checksum and a text");
            assert_eq!(sum, format!("{:08x}", crc32c(text.as_bytes())));
            serde_json::from_str(text).expect("JSON")
        })
        .collect()
}

#[test]
fn the_result_does_not_show_threads() {
    let folder = Folder::new("campaign-threads");
    for threads in ["2", "5"] {
        campaign(folder.path(), &["--threads", threads, "--out", threads]);
        assert!(outputs(&folder.path().join(threads)) == *undisturbed(), "{threads} threads");
    }
}

/// Numbers of cases that a line of a results file names.
fn cases_named(line: &Value) -> Vec<u64> {
    let of = |key: &str, at: usize| -> Vec<u64> {
        let list = line[key].as_array().expect("a list");
        list.iter().map(|entry| entry[at].as_u64().expect("a number")).collect()
    };
    [of("margins", 6), of("findings", 0)].concat()
}

#[test]
fn the_result_does_not_show_shards() {
    let folder = Folder::new("campaign-shards");
    for of in [3u64, 7] {
        let out = format!("of-{of}");
        for index in (0..of).rev() {
            let ran = campaign(
                folder.path(),
                &["--shard", &format!("{index}/{of}"), "--out", &out, "--threads", "2"],
            );
            let file = folder.path().join(&out).join(format!("share-{index}-of-{of}.results"));
            let lines = lines(&file);
            let found: usize =
                lines[1..].iter().map(|l| l["findings"].as_array().expect("a list").len()).sum();
            assert_eq!(ran.code, i32::from(found > 0), "{}", ran.stderr);
            let named: Vec<u64> = lines[1..].iter().flat_map(cases_named).collect();
            assert!(named.len() > 10 && named.iter().all(|case| case % of == index), "{named:?}");
            let ran: u64 = lines[1..].iter().map(|l| l["cases"].as_u64().expect("a number")).sum();
            assert_eq!(ran, (0..260).filter(|case| case % of == index).count() as u64);
        }
        let merged = run(folder.path(), &["merge", &out]);
        assert_eq!(merged.code, i32::from(findings(&json_of(undisturbed())) > 0));
        assert!(outputs(&folder.path().join(&out)) == *undisturbed(), "{of} shards");
    }
}

/// A campaign on its way that goes on with what is in the folder.
fn begin(folder: &Path, out: &str) -> std::process::Child {
    let mut command = program(folder);
    let args = ["--shrink", "0", "--threads", "2", "--resume", "--out", out];
    command.args(["campaign", "axle", "--cases", CASES]).args(args);
    command.stdout(Stdio::null()).spawn().expect("it starts")
}

#[test]
fn a_campaign_that_is_killed_again_and_again_ends_like_one_that_is_not() {
    let folder = Folder::new("campaign-killed");
    let seed = 20;
    println!("seed {seed}");
    let mut random = Random::new(seed);
    let mut killed = 0;
    for _ in 0..6 {
        let mut child = begin(folder.path(), "out");
        std::thread::sleep(Duration::from_millis(random.below(900)));
        killed += u32::from(child.try_wait().expect("its status").is_none());
        // SIGKILL on Unix: no handler runs.
        child.kill().expect("killed");
        child.wait().expect("it ended");
    }
    assert!(killed > 0, "every process was done before it was killed: nothing was tried");
    let ran = campaign(folder.path(), &["--resume", "--out", "out"]);
    assert!(ran.code < 2, "{}", ran.stderr);
    assert!(outputs(&folder.path().join("out")) == *undisturbed());
}

#[test]
fn ctrl_c_leaves_a_folder_to_go_on_with() {
    let folder = Folder::new("campaign-stop");
    let out = folder.path().join("out");
    let mut child = begin(folder.path(), "out");
    // From when the file is there the handler is set.
    while !out.join("share-0-of-1.results").exists() {
        assert!(child.try_wait().expect("its status").is_none(), "it ended before it was asked to");
        std::thread::sleep(Duration::from_millis(2));
    }
    let kill = Command::new("kill").args(["-INT", &child.id().to_string()]).status();
    assert!(kill.expect("there is kill").success());
    let ran = Ran::of(child.wait_with_output().expect("it ends"), "stopped");
    let stopped = json_of(&outputs(&out));
    assert_eq!(stopped["whole"], false, "it was done before it could be stopped");
    assert_eq!(ran.code, if findings(&stopped) > 0 { 1 } else { 3 }, "{}", ran.stderr);
    assert!(ran.stderr.contains("stopped after"), "{}", ran.stderr);
    let xml = std::fs::read_to_string(out.join("campaign.xml")).expect("it is there");
    assert!(xml.contains("<error message=\"the campaign is not whole\"/>"), "{xml}");
    campaign(folder.path(), &["--resume", "--out", "out"]);
    assert!(outputs(&out) == *undisturbed());
}

/// A small campaign: a block of 128 cases and one of two.
fn small(folder: &Path, args: &[&str]) -> Ran {
    let fixed = ["campaign", "axle", "--cases", "130", "--faults", "0", "--shrink", "0"];
    run(folder, &[&fixed, args].concat())
}

#[test]
fn a_torn_end_is_dropped_and_anything_else_is_refused() {
    let folder = Folder::new("campaign-torn");
    let code = small(folder.path(), &["--threads", "1", "--out", "out"]).code;
    assert!(code < 2);
    let file = folder.path().join("out/share-0-of-1.results");
    let good = std::fs::read(&file).expect("it is there");
    let whole = outputs(&folder.path().join("out"));
    let ends: Vec<usize> = (0..good.len()).filter(|&i| good[i] == b'\n').collect();
    assert_eq!(ends.len(), 3, "a head and two blocks");
    let resumed = |bytes: &[u8], torn: usize| {
        std::fs::write(&file, bytes).expect("written");
        let ran = small(folder.path(), &["--resume", "--out", "out"]);
        assert_eq!(ran.code, code, "{torn}: {}", ran.stderr);
        let says = format!("{torn} bytes of a line that was not finished are dropped");
        assert_eq!(ran.stderr.contains(&says), torn > 0, "{torn}: {}", ran.stderr);
        assert!(outputs(&folder.path().join("out")) == whole, "torn by {torn}");
        assert!(std::fs::read(&file).expect("it is there") == good, "torn by {torn}");
    };
    let last = ends[1] + 1;
    for at in [last, last + 1, last + 8, last + 9, (last + good.len()) / 2, good.len() - 1] {
        resumed(&good[..at], at - last);
    }
    let mut random = Random::new(21);
    let bytes: Vec<u8> = (0..3000).map(|_| random.below(256) as u8).collect();
    assert!(bytes.contains(&b'\n'));
    let half = &good[last..last + 100];
    for tail in [&b"x"[..], b"\n", b"\n\n", &[0; 4096], &bytes, half, &[half, b"\n"].concat()] {
        resumed(&[&good, tail].concat(), tail.len());
    }
    let refused = |bytes: &[u8], says: &str| {
        std::fs::write(&file, bytes).expect("written");
        for ran in [
            small(folder.path(), &["--resume", "--out", "out"]),
            run(folder.path(), &["merge", "out/share-0-of-1.results", "--out", "merged"]),
        ] {
            assert_eq!(ran.code, 2, "{says}: {}", ran.stderr);
            assert!(ran.stderr.contains(says) && ran.stderr.contains("fix:"), "{}", ran.stderr);
        }
        assert!(std::fs::read(&file).expect("it is there") == bytes, "a refused file is kept");
    };
    for at in [ends[0] + 3, ends[0] + 11, (ends[0] + ends[1]) / 2, ends[1] - 1] {
        let mut bad = good.clone();
        bad[at] ^= 0x04;
        refused(&bad, "is damaged");
    }
    refused(&[&good, &good[last..]].concat(), "there twice");
    refused(&[&good, half, b"\n", &good[last..]].concat(), "is damaged");
    for at in [0, 1, ends[0] / 2, ends[0]] {
        refused(&good[..at], "no head");
    }
}

#[test]
fn what_is_there_is_never_overwritten_or_mixed() {
    let folder = Folder::new("campaign-mixed");
    let few = |args: &[&str]| {
        run(folder.path(), &[&["campaign", "axle", "--cases", "6", "--faults", "0"], args].concat())
    };
    assert_eq!(few(&["--out", "out"]).code, 0);
    let file = folder.path().join("out/share-0-of-1.results");
    let good = std::fs::read(&file).expect("it is there");
    let refused = |ran: &Ran, says: &str| {
        assert_eq!(ran.code, 2, "{says}: {}", ran.stderr);
        assert!(ran.stderr.contains(says) && ran.stderr.contains("fix:"), "{}", ran.stderr);
        assert!(std::fs::read(&file).expect("it is there") == good, "{says}");
    };
    refused(&few(&["--out", "out"]), "is there already");
    for (args, says) in [
        (["--seed", "2"], "seed"),
        (["--cases", "7"], "number of cases"),
        (["--faults", "1"], "faults a case"),
    ] {
        let first = ["campaign", "axle", "--resume", "--out", "out"];
        let rest: &[&str] = match args[0] {
            "--seed" => &["--cases", "6", "--faults", "0"],
            "--cases" => &["--faults", "0"],
            _ => &["--cases", "6"],
        };
        let ran = run(folder.path(), &[&first, rest, &args].concat());
        refused(&ran, &format!("another campaign ({says}"));
    }
    let other =
        ["campaign", "shuttle", "--cases", "6", "--faults", "0", "--resume", "--out", "out"];
    refused(&run(folder.path(), &other), "another campaign (driveline");
    assert_eq!(few(&["--resume", "--out", "out"]).code, 0);
}

#[test]
fn merge_takes_shares_of_one_campaign_once_each() {
    let folder = Folder::new("campaign-merge");
    let share = |out: &str, driveline: &str, args: &[&str]| {
        let fixed = ["campaign", driveline, "--out", out, "--shard"];
        let ran = run(folder.path(), &[&fixed, args].concat());
        assert_eq!(ran.code, 0, "{}", ran.stderr);
    };
    let plain = ["--cases", "8", "--faults", "0"];
    for i in ["0/4", "2/4", "3/4"] {
        share("all", "axle", &[&[i], &plain[..]].concat());
    }
    let merged = run(folder.path(), &["merge", "all"]);
    assert_eq!(merged.code, 3, "{}", merged.stderr);
    assert!(merged.stderr.contains("no results of shares 1"), "{}", merged.stderr);
    assert!(merged.stdout.contains("NOT WHOLE: no results of shares 1"), "{}", merged.stdout);
    let all = outputs(&folder.path().join("all"));
    assert_eq!((&json_of(&all)["whole"], &json_of(&all)["ran"]), (&false.into(), &6.into()));
    let refused = |with: &str, says: &str| {
        let ran = run(folder.path(), &["merge", "all", with, "--out", "merged"]);
        assert_eq!(ran.code, 2, "{with}: {}", ran.stderr);
        assert!(ran.stderr.contains(says) && ran.stderr.contains("fix:"), "{}", ran.stderr);
    };
    share("again", "axle", &[&["2/4"], &plain[..]].concat());
    refused("again", "of the same share");
    for (out, driveline, args, says) in [
        ("seed", "axle", &["1/4", "--cases", "8", "--faults", "0", "--seed", "2"][..], "(seed"),
        ("cases", "axle", &["1/4", "--cases", "9", "--faults", "0"], "(number of cases"),
        ("shards", "axle", &["1/5", "--cases", "8", "--faults", "0"], "(number of shards"),
        ("other", "shuttle", &["1/4", "--cases", "8", "--faults", "0"], "(driveline"),
    ] {
        share(out, driveline, args);
        refused(out, &format!("different campaigns {says}"));
    }
    let fault = ["campaign", "axle", "--cases", "8", "--faults", "1", "--shard", "1/4"];
    run(folder.path(), &[&fault[..], &["--out", "fault"]].concat());
    refused("fault", "different campaigns (faults a case");
    share("rest", "axle", &[&["1/4"], &plain[..]].concat());
    assert_eq!(run(folder.path(), &["merge", "all", "rest", "--out", "whole"]).code, 0);
    assert_eq!(json_of(&outputs(&folder.path().join("whole")))["whole"], true);
    std::fs::create_dir(folder.path().join("empty")).expect("made");
    for nothing in ["empty", "missing"] {
        assert_eq!(run(folder.path(), &["merge", nothing]).code, 2, "{nothing}");
    }
}

/// A campaign of a few cases as a task of an array job.
fn task(folder: &Path, variables: &[(&str, &str)], args: &[&str]) -> Ran {
    let mut command = program(folder);
    command.args(["campaign", "axle", "--cases", "8", "--faults", "0", "--resume", "--out", "out"]);
    command.args(args).envs(variables.iter().copied());
    Ran::of(command.output().expect("it runs"), "task")
}

#[test]
fn tasks_of_array_jobs_find_their_share() {
    let folder = Folder::new("campaign-array");
    let slurm: &[_] = &[
        ("SLURM_ARRAY_TASK_ID", "5"),
        ("SLURM_ARRAY_TASK_MIN", "1"),
        ("SLURM_ARRAY_TASK_STEP", "2"),
        ("SLURM_ARRAY_TASK_COUNT", "3"),
    ];
    let indexed: &[_] = &[("JOB_COMPLETION_INDEX", "1")];
    for (variables, args, file) in [
        (slurm, &[][..], "share-2-of-3"),
        (&slurm[..1], &["--shards", "6"], "share-5-of-6"),
        (indexed, &["--shards", "3"], "share-1-of-3"),
        (slurm, &["--shard", "0/3"], "share-0-of-3"),
        (&[], &["--shards", "1"], "share-0-of-1"),
    ] {
        let ran = task(folder.path(), variables, args);
        assert_eq!(ran.code, 0, "{}", ran.stderr);
        let path = folder.path().join(format!("out/{file}.results"));
        assert!(path.exists(), "{file}: {}", ran.stderr);
        std::fs::rename(path, folder.path().join(format!("{file}.results"))).expect("moved");
    }
    let thirds = ["0", "1", "2"].map(|i| format!("share-{i}-of-3.results"));
    let merge = ["merge", &thirds[0], &thirds[1], &thirds[2]];
    assert_eq!(run(folder.path(), &merge).code, 0);
    for (variables, args) in [
        (&slurm[..1], &[][..]),
        (&[("SLURM_ARRAY_TASK_ID", "x"), ("SLURM_ARRAY_TASK_COUNT", "3")], &[]),
        (&[("SLURM_ARRAY_TASK_ID", "3"), ("SLURM_ARRAY_TASK_COUNT", "3")], &[]),
        (indexed, &[]),
        (indexed, &["--shards", "1"]),
        (&[("JOB_COMPLETION_INDEX", "-1")], &["--shards", "3"]),
        (&[], &["--shards", "3"]),
    ] {
        let ran = task(folder.path(), variables, args);
        assert_eq!(ran.code, 2, "{variables:?} {args:?}: {}", ran.stderr);
        assert!(ran.stderr.contains("fix:"), "{}", ran.stderr);
    }
}

#[test]
fn misuse_is_told_with_code_2() {
    let folder = Folder::new("campaign-misuse");
    folder.write("file", "no folder");
    for args in [
        &["campaign", "axle", "--cases", "0"][..],
        &["campaign", "axle", "--faults", "4"],
        &["campaign", "axle", "--shard", "3/3"],
        &["campaign", "axle", "--shard", "0/3", "--shards", "3"],
        &["campaign", "axle", "--time", "0"],
        &["campaign", "axle", "--threads", "0"],
        &["campaign", "axle", "--cases", "1", "--out", "file"],
        &["campaign", "missing.toml"],
        &["merge"],
        &["replay", "axle"],
        &["replay", "axle", "--seed", "1"],
        &["replay", "axle", "axle-shift", "--case", "1"],
        &["replay", "axle", "axle-shift", "--write", "x"],
        &["replay", "axle", "--case", "1", "--write", "missing/x"],
        &["replay", "axle", "--case", "1", "--trace", "missing/x"],
        &["replay", "axle", "--case", "1", "--defect", "99999"],
    ] {
        let ran = run(folder.path(), args);
        assert_eq!(ran.code, 2, "{args:?}: {}", ran.stderr);
        assert!(ran.stderr.contains("error:"), "{args:?}: {}", ran.stderr);
    }
}

#[test]
fn a_time_that_is_up_is_inconclusive() {
    let folder = Folder::new("campaign-time");
    let args = ["--cases", "1000000", "--faults", "0", "--time", "1s", "--out", "out"];
    let ran = run(folder.path(), &[&["campaign", "axle"], &args[..]].concat());
    assert_eq!(ran.code, 3, "{}", ran.stderr);
    assert!(ran.stdout.contains("NOT WHOLE"), "{}", ran.stdout);
}

#[test]
fn a_reader_that_has_seen_enough_is_no_fault() {
    let folder = Folder::new("campaign-pipe");
    let mut command = program(folder.path());
    command.args(["campaign", "axle", "--cases", "4", "--faults", "0", "--out", "out"]);
    let mut child = command.spawn().expect("it starts");
    drop(child.stdout.take());
    let ran = Ran::of(child.wait_with_output().expect("it ends"), "closed pipe");
    assert_eq!((ran.code, ran.stderr.as_str()), (0, "seed 1\n"));
    assert!(folder.path().join("out/margins.csv").exists());
}
