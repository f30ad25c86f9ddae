//! Images for the board, built once for each set of features.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::{Mutex, PoisonError};

use host_sim::drive::closed_loop::{Prepared, Run, Setup};
use host_sim::drive::scenario::{by_name, parse};
use host_sim::driveline::Driveline;
use host_sim::generated::demo_table;
use host_sim::rig::command::own_hello;
use host_sim::rig::link::Link;
use host_sim::rig::lockstep::Lockstep;
use host_sim::rig::{Address, RigError, Via};
use host_sim::table::TableData;

const TARGET: &str = "thumbv7em-none-eabihf";

/// Path of an image, built with a profile (`release` or `fast`) and these features.
pub(crate) fn image(bin: &str, profile: &str, features: &str) -> PathBuf {
    let workspace = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/on-target");
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("board");
    // Tests run side by side, and another set of features would take its place.
    static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());
    let _alone = ONE_AT_A_TIME.lock().unwrap_or_else(PoisonError::into_inner);
    let kept = folder.join(format!("{bin}-{profile}-{features}"));
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let built = Command::new(cargo)
        .args([
            "build",
            "--locked",
            "-p",
            "board",
            "--bin",
            bin,
            "--profile",
            profile,
            "--no-default-features",
        ])
        .args(["--features", features, "--target", TARGET, "--target-dir"])
        .arg(&folder)
        .current_dir(workspace)
        .env_remove("RUSTFLAGS")
        .env_remove("CARGO_ENCODED_RUSTFLAGS")
        .output()
        .expect("cargo runs");
    let said = String::from_utf8_lossy(&built.stderr);
    assert!(built.status.success(), "{bin} with {features} cannot be built:\n{said}");
    std::fs::copy(folder.join(TARGET).join(profile).join(bin), &kept).expect("it can be kept");
    kept
}

/// A demo and its table.
pub(crate) struct Demo {
    pub(crate) driveline: Driveline,
    pub(crate) table: TableData,
}

impl Demo {
    pub(crate) fn new(name: &str) -> Demo {
        let (driveline, table) = demo_table(name).expect("an embedded demo");
        Demo { driveline, table }
    }

    /// A ready scenario.
    pub(crate) fn setup(&self, scenario: &str) -> Setup {
        let text = by_name(scenario).expect("a ready scenario").text;
        parse(scenario, text, &self.driveline).expect("it is good").setup
    }

    /// What all runs share.
    pub(crate) fn prepared(&self) -> std::sync::Arc<Prepared<'_>> {
        Prepared::new(&self.driveline, self.table.table()).expect("demos have a plant").into()
    }

    /// A link to an image of this demo.
    pub(crate) fn link(&self, image: PathBuf, via: Via) -> Result<Link, RigError> {
        Link::open(&Address::Qemu(image, via), own_hello(&self.table.table()), None)
    }
}

/// Drive a setup on the board, or its first ticks; panics when the link fails. The number of ticks.
pub(crate) fn drive(demo: &Demo, board: &mut Lockstep, setup: &Setup, most: u64) -> u64 {
    let (prepared, table) = (demo.prepared(), demo.table.table());
    let mut run = Run::of(&prepared, setup, 1).expect("it starts");
    board.begin(&run, &table, 1000).expect("the board begins");
    let before = board.ticks;
    while board.ticks - before < most && board.step(&mut run, &table) {}
    if let Some(error) = board.failed.take() {
        panic!("{error}");
    }
    board.ticks - before
}

/// The examples for other frames compile; they are for boards that no emulator has.
#[test]
fn the_frames_compile() {
    let workspace = Path::new(env!("CARGO_MANIFEST_DIR")).join("../tests/on-target");
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let checked = Command::new(cargo)
        .args([
            "check",
            "--locked",
            "--release",
            "-p",
            "frames",
            "--target",
            TARGET,
            "--target-dir",
        ])
        .arg(Path::new(env!("CARGO_TARGET_TMPDIR")).join("frames"))
        .current_dir(workspace)
        .env_remove("RUSTFLAGS")
        .env_remove("CARGO_ENCODED_RUSTFLAGS")
        .output()
        .expect("cargo runs");
    let said = String::from_utf8_lossy(&checked.stderr);
    assert!(checked.status.success(), "{said}");
    assert!(!said.contains("warning"), "{said}");
}
