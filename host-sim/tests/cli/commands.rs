//! The built program as a shell sees it: exit codes, what goes to stdout and what to stderr,
//! closed pipes, full disks, and no input that makes it panic.

use std::io::{BufRead, BufReader, Read};
use std::process::Stdio;

use crate::program::{Folder, Ran, program, run};
use host_sim::driveline::{DEMOS, demo, starter};
use proptest::prelude::*;

/// 0 all well, 1 a finding, 2 misuse. Misuse prints nothing to stdout and says what to do.
#[test]
fn exit_codes_tell_success_finding_and_misuse() {
    let folder = Folder::new("codes");
    folder.write("mine.toml", starter("mine"));
    folder.write("empty.toml", "");
    folder.write("junk.toml", [0xff, 0x00, b'[', b'\n']);
    folder.write("torn.toml", "format = 1\nname = \"x\n");
    std::fs::create_dir(folder.path().join("notes")).expect("a folder");
    folder.write("notes/a.txt", "mine");
    let cases: &[(i32, &[&str])] = &[
        (0, &["--help"]),
        (0, &["--version"]),
        (0, &["new", "fresh.toml"]),
        (0, &["check", "mine.toml"]),
        (0, &["survey", "mine.toml"]),
        (0, &["table", "mine.toml"]),
        (0, &["explain", "shuttle", "series", "power-split"]),
        (0, &["explain", "shuttle", "series", "series"]),
        (0, &["drive", "shuttle", "shuttle-tour"]),
        (1, &["explain", "shuttle", "dual-electric", "single-electric", "--speed", "122"]),
        (2, &["explain", "shuttle", "series", "power-split", "--speed", "500"]),
        (2, &[]),
        (2, &["frobnicate"]),
        (2, &["new", "mine.toml"]),
        (2, &["new", "no-such-folder/mine.toml"]),
        (2, &["new", "bad name.toml"]),
        (2, &["check", "no-such-file.toml"]),
        (2, &["check", "notes"]),
        (2, &["check", "empty.toml"]),
        (2, &["check", "junk.toml"]),
        (2, &["survey", "torn.toml"]),
        (2, &["table", "empty.toml"]),
        (2, &["table", "shuttle", "--rust", "--json"]),
        (2, &["explain", "shuttle", "serie", "power-split"]),
        (2, &["explain", "shuttle", "series", "power-split", "--speed", "nan"]),
        (2, &["explain", "shuttle", "series", "power-split", "--speed", "fast"]),
        (2, &["drive", "shuttle", "no-such-scenario"]),
        (2, &["drive", "axle", "shuttle-tour"]),
        (2, &["drive", "shuttle", "shuttle-tour", "--every", "0"]),
        (2, &["drive", "shuttle", "shuttle-tour", "--svg", "no-such-folder/a.svg"]),
        (2, &["drive", "shuttle", "shuttle-tour", "--svg", "-", "--json", "-"]),
        (2, &["review", "no-such-file.toml"]),
        (2, &["review", "--out", "mine.toml"]),
        (2, &["review", "--out", "notes"]),
    ];
    for (code, args) in cases {
        let ran = run(folder.path(), args);
        assert_eq!(ran.code, *code, "{args:?}: {}{}", ran.stdout, ran.stderr);
        if *code == 2 {
            assert_eq!(ran.stdout, "", "{args:?}");
            let told = ran.stderr.contains("error: ") || ran.stderr.contains("Usage: ");
            assert!(told, "{args:?}: {}", ran.stderr);
        } else {
            assert_ne!(ran.stdout, "", "{args:?}");
            assert!(!ran.stderr.contains("error"), "{args:?}: {}", ran.stderr);
        }
    }
    assert_eq!(std::fs::read(folder.path().join("notes/a.txt")).expect("kept"), b"mine");
}

fn texts() -> Vec<Vec<&'static str>> {
    let mut all = Vec::new();
    for name in DEMOS {
        all.push(vec!["survey", name]);
        all.push(vec!["table", name]);
    }
    all.push(vec!["explain", "shuttle", "series", "power-split"]);
    all.push(vec!["explain", "railcar", "climb-electric", "direct"]);
    all.push(vec!["explain", "axle", "low", "high", "--speed", "40"]);
    all.push(vec!["drive", "shuttle", "shuttle-tour"]);
    all.push(vec!["check", "shuttle"]);
    all.push(vec!["energy", "axle", "--columns", "12", "--rows", "8"]);
    all.push(vec!["schedule", "shuttle"]);
    all
}

#[test]
fn text_fits_eighty_columns_and_is_the_same_every_time() {
    let folder = Folder::new("texts");
    for args in texts() {
        let first = run(folder.path(), &args);
        let mut narrow = program(folder.path());
        narrow.args(&args).env("COLUMNS", "40").env("NO_COLOR", "1");
        let narrow = Ran::of(narrow.output().expect("it starts"), "narrow");
        assert_eq!(first.stdout, narrow.stdout, "{args:?}");
        for line in first.stdout.lines().chain(first.stderr.lines()) {
            assert!(line.chars().count() <= 80, "{args:?}: {line}");
            assert!(!line.contains('\u{1b}') && line.trim_end() == line, "{args:?}: {line:?}");
        }
    }
}

#[test]
fn what_programs_read_is_alone_on_stdout() {
    let folder = Folder::new("json");
    let json: &[&[&str]] = &[
        &["schema"],
        &["survey", "railcar", "--json"],
        &["table", "railcar", "--json"],
        &["drive", "shuttle", "shuttle-tour", "--json", "-"],
    ];
    for args in json {
        let ran = run(folder.path(), args);
        assert_eq!(ran.code, 0, "{args:?}: {}", ran.stderr);
        serde_json::from_str::<serde_json::Value>(&ran.stdout)
            .unwrap_or_else(|e| panic!("{args:?}: {e}"));
    }
    let svg = run(folder.path(), &["table", "axle", "--diagram"]).stdout;
    assert!(svg.starts_with("<svg ") && svg.ends_with("</svg>\n"));
    let csv = run(
        folder.path(),
        &["drive", "shuttle", "shuttle-tour", "--trace", "-", "--every", "1000"],
    );
    let columns: Vec<usize> = csv.stdout.lines().map(|l| l.split(',').count()).collect();
    assert!(columns.len() > 90 && columns.iter().all(|n| *n == columns[0]), "{columns:?}");
}

#[test]
fn pictures_go_where_they_are_asked_to_go_or_one_sentence_says_why_not() {
    let folder = Folder::new("pictures");
    for args in [vec!["survey", "shuttle"], vec!["survey", "shuttle", "--show", "series"]] {
        let ran = run(folder.path(), &[&args[..], &["--svg", "-"]].concat());
        assert_eq!(ran.code, 0, "{args:?}: {}", ran.stderr);
        let svg = ran.stdout;
        assert!(svg.starts_with("<svg ") && svg.ends_with("</svg>\n"), "{args:?}");
        assert_eq!(svg.contains("series"), args.len() > 2, "{args:?}");
    }
    for command in ["survey", "table"] {
        let ran = run(folder.path(), &[command, "axle", "--svg", "picture.svg"]);
        assert_eq!(ran.code, 0, "{command}: {}", ran.stderr);
        let text = std::fs::read_to_string(folder.path().join("picture.svg")).expect("written");
        assert!(text.starts_with("<svg "), "{command}");
        assert!(!ran.stdout.is_empty() && !ran.stdout.contains("<svg"), "{command}: text as well");
        for bad in [".", "no/such/folder/picture.svg"] {
            let ran = run(folder.path(), &[command, "axle", "--svg", bad]);
            assert_eq!(ran.code, 2, "{command} {bad}");
            assert_eq!(ran.stderr.matches("error: ").count(), 1, "{command}: {}", ran.stderr);
            assert!(ran.stderr.contains(bad), "{command}: {}", ran.stderr);
        }
    }
    let unknown = run(folder.path(), &["survey", "axle", "--svg", "-", "--show", "nowhere"]);
    assert_eq!(unknown.code, 2, "{}", unknown.stderr);
}

/// `slipwarden ... | head -1`: the reader goes after one line.
#[test]
fn a_reader_that_goes_early_is_no_fault() {
    let folder = Folder::new("pipes");
    let cases: &[&[&str]] = &[
        &["schema"],
        &["survey", "railcar"],
        &["survey", "railcar", "--json"],
        &["table", "railcar", "--rust"],
        &["table", "railcar", "--json"],
        &["drive", "shuttle", "shuttle-tour", "--trace", "-"],
    ];
    for args in cases {
        let mut child = program(folder.path()).args(*args).spawn().expect("it starts");
        // The rest must not run full, or the child would wait for us.
        let mut err = child.stderr.take().expect("piped");
        let drain = std::thread::spawn(move || {
            let mut text = String::new();
            err.read_to_string(&mut text).map(|_| text)
        });
        let mut line = String::new();
        let mut out = BufReader::with_capacity(64, child.stdout.take().expect("piped"));
        out.read_line(&mut line).expect("a line");
        drop(out);
        let status = child.wait().expect("it ends");
        let err = drain.join().expect("drained").expect("UTF-8");
        assert!(!line.is_empty() && !err.contains("panicked"), "{args:?}: {err}");
        assert_eq!(status.code(), Some(0), "{args:?}: {err}");
    }
}

/// `slipwarden check bad.toml 2>&1 | head -0`: nobody reads the complaints.
#[test]
fn complaints_that_nobody_reads_do_not_change_the_exit_code() {
    let folder = Folder::new("complaints");
    folder.write("torn.toml", "format = 1\nname = \"x\n");
    let cases: &[(i32, &[&str])] = &[
        (2, &["check", "torn.toml"]),
        (2, &["check", "no-such-file"]),
        (2, &["explain", "shuttle", "a", "b"]),
        (0, &["drive", "shuttle", "shuttle-tour", "--svg", "tour.svg"]),
    ];
    for (code, args) in cases {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let mut command = program(folder.path());
        let mut child =
            command.args(*args).stdout(Stdio::null()).stderr(writer).spawn().expect("it starts");
        assert_eq!(child.wait().expect("it ends").code(), Some(*code), "{args:?}");
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_told() {
    let folder = Folder::new("full");
    let cases: &[&[&str]] = &[
        &["schema"],
        &["check", "shuttle"],
        &["survey", "shuttle"],
        &["table", "shuttle"],
        &["explain", "shuttle", "series", "power-split"],
    ];
    for args in cases {
        let full = std::fs::File::options().write(true).open("/dev/full").expect("it is there");
        let ran = program(folder.path()).args(*args).stdout(full).output().expect("it starts");
        let ran = Ran::of(ran, "full");
        assert_eq!(ran.code, 2, "{args:?}");
        assert!(ran.stderr.contains("error: "), "{args:?}: {}", ran.stderr);
    }
}

/// A demo or the starter with a few of its words and numbers changed.
fn damaged() -> impl Strategy<Value = String> {
    let number = prop_oneof![
        Just("0"),
        Just("-1"),
        Just("1"),
        Just("1e300"),
        Just("-7.5"),
        Just("nan"),
        Just("inf"),
        Just("\"1/0\""),
        Just("9223372036854775807"),
        Just("1e-300"),
        Just("\"case\""),
        Just("[]"),
    ];
    let change = (any::<prop::sample::Index>(), 0..4u8, number);
    (0..=DEMOS.len(), prop::collection::vec(change, 1..4)).prop_map(|(which, changes)| {
        let text =
            DEMOS.get(which).and_then(|n| demo(n)).map_or_else(|| starter("s"), str::to_string);
        let mut lines: Vec<String> = text.lines().map(str::to_string).collect();
        for (at, kind, value) in changes {
            let at = at.index(lines.len());
            match (kind, lines[at].split_once(" = ").map(|(key, _)| key.to_string())) {
                (0, Some(_)) => drop(lines.remove(at)),
                (1, _) => lines.insert(at, lines[at].clone()),
                (_, Some(key)) => lines[at] = format!("{key} = {value}"),
                (_, None) => {}
            }
        }
        lines.join("\n")
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever stands in the file: an answer or a complaint with its place, in good time.
    #[test]
    fn no_driveline_file_makes_a_command_panic(text in damaged(), seed in 0..1000u32) {
        let folder = Folder::new("damaged");
        folder.write("d.toml", &text);
        let seed = seed.to_string();
        let commands: &[&[&str]] = &[
            &["check", "d.toml"],
            &["survey", "d.toml", "--json"],
            &["table", "d.toml"],
            &["explain", "d.toml", "series", "power-split"],
            &["drive", "d.toml", "shuttle-tour", "--seed", &seed],
        ];
        for args in commands {
            let ran = run(folder.path(), args);
            if ran.code == 2 {
                prop_assert!(ran.stderr.contains("error: "), "{:?}: {}", args, ran.stderr);
            }
        }
    }

    /// Whatever is typed.
    #[test]
    fn no_arguments_make_it_panic(args in prop::collection::vec(
        prop_oneof![
            "[ -~]{0,12}",
            prop::sample::select(vec![
                "check", "survey", "table", "explain", "schema", "shuttle", "axle", "series",
                "low", "high", "--json", "--rust", "--speed", "-1", "1e9", "--demand", "--", "\u{e9}",
            ]).prop_map(str::to_string),
        ], 0..6))
    {
        // Only commands that write no files.
        prop_assume!(!args.iter().any(|a| ["new", "drive", "review"].contains(&a.as_str())));
        let folder = Folder::new("typed");
        let args: Vec<&str> = args.iter().map(String::as_str).collect();
        run(folder.path(), &args);
    }
}
