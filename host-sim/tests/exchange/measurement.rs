//! Measurement files, read back by asammdf, against the CSV of the same drive.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use crate::python;

fn folder() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("measurement");
    std::fs::create_dir_all(&folder).expect("a folder");
    folder
}

fn program(args: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_slipwarden"));
    command.current_dir(folder()).args(args).output().expect("it runs")
}

fn check(args: &[&str]) -> Output {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/exchange/measurement.py");
    let mut command = Command::new(python());
    command.arg("-B").arg(script).args(args).current_dir(folder()).output().expect("Python runs")
}

/// Names, units and values are those of the CSV, faults and refusals in words included; the same
/// drive gives the same bytes.
#[test]
fn a_measurement_file_says_what_the_trace_says() {
    for (driveline, scenario, every) in
        [("shuttle", "shuttle-stuck-ring-brake", "1"), ("axle", "axle-shift", "7")]
    {
        let (csv, mdf) = (format!("{scenario}.csv"), format!("{scenario}.mf4"));
        let args = ["drive", driveline, scenario, "--trace", &csv, "--mdf", &mdf, "--every", every];
        let out = program(&args);
        let code = out.status.code();
        assert!(matches!(code, Some(0 | 1)), "{}", String::from_utf8_lossy(&out.stderr));
        let out = check(&[&mdf, &csv]);
        assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
        let again = format!("{scenario}-again.mf4");
        program(&["drive", driveline, scenario, "--mdf", &again, "--every", every]);
        let bytes = |name| std::fs::read(folder().join(name)).expect("written");
        assert!(bytes(mdf) == bytes(again), "{scenario}: other bytes");
    }
}

/// The comparison can fail: another scenario's trace is found to differ.
#[test]
fn another_drive_is_found_to_differ() {
    program(&["drive", "axle", "axle-shift", "--mdf", "one.mf4"]);
    program(&["drive", "axle", "axle-shift", "--seed", "2", "--trace", "other.csv"]);
    let out = check(&["one.mf4", "other.csv"]);
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(!out.status.success() && said.contains("AssertionError"), "{said}");
}

#[test]
fn a_measurement_file_that_cannot_be_written_is_told() {
    for (path, word) in [("-", "fix:"), ("no/such/folder.mf4", "cannot be written")] {
        let out = program(&["drive", "axle", "axle-shift", "--mdf", path]);
        assert_eq!(out.status.code(), Some(2), "{path}");
        assert!(String::from_utf8_lossy(&out.stderr).contains(word), "{path}");
    }
}
