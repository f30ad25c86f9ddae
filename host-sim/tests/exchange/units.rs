//! Units for co-simulation, made by the built program, checked by FMPy (the reference checker of
//! the standard) and run in it: plant and supervisor tick by tick against `slipwarden drive`.
//!
//! FMPy comes by `bash .ci/python`; without it these tests fail.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::{Arc, OnceLock};

use host_sim::drive::closed_loop::{Prepared, Run};
use host_sim::drive::scenario::parse;
use host_sim::generated::demo_table;

use crate::{python, root};

/// Faults of every sort that makes its own path through a unit: missed ticks, both resets, lost
/// supply, wheels that slip, sensors and torques that lie. The numbers are invented.
const HARD: &str = r#"
format = 1
name = "hard"
duration_s = 12
start_speed_kmh = 20
start_arrangement = "power-split"
start_charge = 0.55
seed = 77
[[speed]]
t_s = 0
kmh = 20
[[speed]]
t_s = 8
kmh = 60
[[grade]]
t_s = 0
percent = 3
[[request]]
t_s = 0.5
arrangement = "ARRANGEMENT"
[[fault]]
kind = "tick-jitter"
from_s = 1
to_s = 3
value = 4
[[fault]]
kind = "reset"
from_s = 3.5
[[fault]]
kind = "wheel-slip"
from_s = 4
to_s = 4.5
value = 0.1
[[fault]]
kind = "supply-cold-dip"
from_s = 6
to_s = 6.2
"#;

/// A folder for what the tests make, and in it the library, built once.
fn folder() -> &'static Path {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER.get_or_init(|| {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("units");
        std::fs::create_dir_all(&folder).expect("a folder");
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let target = Path::new(env!("CARGO_BIN_EXE_slipwarden")).ancestors().nth(2);
        let mut build = Command::new(cargo);
        // As `cargo test --workspace` does: what it has built is not built once more with other features.
        build.args(["build", "--locked", "--workspace", "--lib", "--tests", "--target-dir"]);
        build.arg(target.expect("a target folder")).current_dir(root());
        if !cfg!(debug_assertions) {
            build.arg("--release");
        }
        let built = build.output().expect("cargo runs");
        let said = String::from_utf8_lossy(&built.stderr);
        assert!(built.status.success(), "the library cannot be built:\n{said}");
        folder
    })
}

fn program(args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_slipwarden"));
    command.current_dir(folder()).args(args).output().expect("it runs")
}

/// Export a unit; its file.
fn unit(name: &str, driveline: &str, more: &[&str]) -> String {
    let file = format!("{name}.fmu");
    let mut args = vec!["export", driveline, "--out", &file];
    args.extend(more);
    let out = program(&args);
    assert!(out.status.success(), "{args:?}: {}", String::from_utf8_lossy(&out.stderr));
    file
}

/// Run the checker; what it prints.
fn check(args: &[&str]) -> String {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/exchange/units.py");
    let out = Command::new(python())
        .arg("-B")
        .arg(script)
        .args(args)
        .current_dir(folder())
        .output()
        .expect("Python runs");
    let (text, said) = (out.stdout, String::from_utf8_lossy(&out.stderr).into_owned());
    assert!(out.status.success(), "{args:?}:\n{said}");
    String::from_utf8(text).expect("text").trim().to_owned()
}

/// Digest of the plant after so many ticks of a scenario, without any unit.
fn digest(driveline: &str, scenario: &str, seed: u64, ticks: u64) -> String {
    let (d, table) = demo_table(driveline).expect("an embedded demo");
    let setup = parse("scenario", scenario, &d).expect("it is good").setup;
    let prepared = Arc::new(Prepared::new(&d, table.table()).expect("demos have a plant"));
    let mut run = Run::of(&prepared, &setup, seed).expect("it starts");
    for _ in 0..ticks {
        run.next_tick().expect("it is long enough");
    }
    format!("{:016x}", run.plant().digest())
}

/// Both units of both versions against the trace and the digest of the same drive.
fn compare(name: &str, driveline: &str, text: &str, seed: u64, ticks: u64, versions: &[&str]) {
    let (scenario, trace) = (format!("{name}.toml"), format!("{name}.csv"));
    std::fs::write(folder().join(&scenario), text).expect("written");
    let out = program(&["drive", driveline, &scenario, "--trace", &trace]);
    assert!(matches!(out.status.code(), Some(0 | 1)), "{}", String::from_utf8_lossy(&out.stderr));
    let expected = digest(driveline, text, seed, ticks);
    for version in versions {
        let of = |part| ["--fmi", version, "--unit", part];
        let inside = [&of("plant")[..], &["--scenario", &scenario]].concat();
        let plant = unit(&format!("{name}-plant-{version}"), driveline, &inside);
        let overseer = format!("{name}-supervisor-{version}");
        let overseer = unit(&overseer, driveline, &of("supervisor"));
        let got = check(&["loop", &plant, &overseer, &trace, &ticks.to_string()]);
        assert_eq!(got, expected, "{name}, FMI {version}: the plants differ in some bit");
    }
}

fn ready(name: &str) -> &'static str {
    host_sim::drive::scenario::by_name(name).expect("a ready scenario").text
}

#[test]
fn the_reference_checker_finds_no_problem() {
    let mut units = vec!["validate".to_owned()];
    for driveline in host_sim::driveline::DEMOS {
        for version in ["2", "3"] {
            for part in ["plant", "supervisor"] {
                let name = format!("valid-{driveline}-{part}-{version}");
                units.push(unit(&name, driveline, &["--fmi", version, "--unit", part]));
            }
        }
    }
    let driven = ["--fmi", "3", "--unit", "plant", "--scenario", "railcar-climb"];
    units.push(unit("valid-driven", "railcar", &driven));
    check(&units.iter().map(String::as_str).collect::<Vec<_>>());
}

/// Reset in the middle of a closing, locks that stay, and the driver, request and faults inside.
#[test]
fn two_units_are_the_drive_of_the_shuttle() {
    compare("reset", "shuttle", ready("shuttle-reset"), 1, 30_000, &["2", "3"]);
}

#[test]
fn two_units_are_the_drive_of_the_axle() {
    compare("axle", "axle", ready("axle-shift"), 1, 10_000, &["3"]);
}

#[test]
fn two_units_are_a_drive_with_faults() {
    let (d, _) = demo_table("shuttle").expect("an embedded demo");
    let other = d.arrangements.iter().find(|a| a.name != "power-split").expect("more than one");
    let text = HARD.replace("ARRANGEMENT", &other.name);
    compare("hard", "shuttle", &text, 77, 12_000, &["2", "3"]);
}

/// The master of FMPy itself, with a start time that is not zero.
#[test]
fn each_unit_runs_alone() {
    for version in ["2", "3"] {
        for part in ["plant", "supervisor"] {
            let name = format!("alone-{part}-{version}");
            check(&["simulate", &unit(&name, "shuttle", &["--fmi", version, "--unit", part])]);
        }
    }
}

#[test]
fn wrong_calls_are_refused_and_change_nothing() {
    for version in ["2", "3"] {
        for part in ["plant", "supervisor"] {
            let name = format!("hostile-{part}-{version}");
            check(&["hostile", &unit(&name, "shuttle", &["--fmi", version, "--unit", part])]);
        }
    }
}

#[test]
fn a_saved_state_is_gone_back_to() {
    for version in ["2", "3"] {
        let of = |part| ["--fmi", version, "--unit", part];
        let inside = [&of("plant")[..], &["--scenario", "shuttle-tour"]].concat();
        let plant = unit(&format!("states-plant-{version}"), "shuttle", &inside);
        let overseer = unit(&format!("states-supervisor-{version}"), "shuttle", &of("supervisor"));
        check(&["states", &plant, &overseer, "2500"]);
    }
}

/// A unit whose supervisor is of another driveline than its plant does not come to the same: the
/// comparison can fail.
#[test]
fn a_planted_difference_is_found() {
    let scenario = ready("axle-shift").replace("duration_s", "start_speed_kmh = 1\nduration_s");
    std::fs::write(folder().join("planted.toml"), scenario).expect("written");
    let out = program(&["drive", "axle", "axle-shift", "--trace", "planted.csv"]);
    assert!(matches!(out.status.code(), Some(0 | 1)));
    let driven = ["--fmi", "3", "--unit", "plant", "--scenario", "planted.toml"];
    let plant = unit("planted-plant", "axle", &driven);
    let overseer = unit("planted-supervisor", "axle", &["--fmi", "3", "--unit", "supervisor"]);
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/exchange/units.py");
    let out = Command::new(python())
        .args(["-B".as_ref(), script.as_os_str()])
        .args(["loop", &plant, &overseer, "planted.csv", "100"])
        .current_dir(folder())
        .output()
        .expect("Python runs");
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(!out.status.success() && said.contains("tick 0, "), "{said}");
}

#[test]
fn misuse_is_told_in_words() {
    let args = ["export", "shuttle", "--fmi", "3", "--unit", "supervisor", "--out", "x.fmu"];
    let said = |more: &[&str]| {
        let out = program(&[&args[..], more].concat());
        assert_eq!(out.status.code(), Some(2), "{more:?}");
        String::from_utf8_lossy(&out.stderr).into_owned()
    };
    let text = said(&["--library", "no-such-library.so"]);
    assert!(text.contains("no-such-library.so") && text.contains("cargo build"), "{text}");
    let text = said(&["--scenario", "shuttle-tour"]);
    assert!(text.contains("fix:"), "{text}");
    let args = ["export", "shuttle", "--fmi", "3", "--unit", "plant", "--out", "no/such/x.fmu"];
    let out = program(&args);
    assert_eq!(out.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&out.stderr).contains("cannot be written"));
}
