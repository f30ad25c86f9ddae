//! No panic can be reached from the supervisor's tick: a small image for the target, whose panic
//! handler calls a symbol that exists nowhere, links. With a panic path planted it does not.

use std::path::Path;
use std::process::{Command, Output};

const TARGET: &str = "thumbv7em-none-eabihf";

fn link(features: &[&str]) -> Output {
    let package = Path::new(env!("CARGO_MANIFEST_DIR")).join("on-target/no-panic");
    let target_dir = Path::new(env!("CARGO_TARGET_TMPDIR")).join("no-panic");
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    Command::new(cargo)
        .args(["build", "--release", "--locked", "--target", TARGET, "--target-dir"])
        .arg(target_dir)
        .args(features)
        .current_dir(package)
        .env_remove("RUSTFLAGS")
        .env_remove("CARGO_ENCODED_RUSTFLAGS")
        .output()
        .expect("cargo runs")
}

#[test]
fn no_panic_can_be_reached() {
    let sound = link(&[]);
    let said = String::from_utf8_lossy(&sound.stderr);
    assert!(sound.status.success(), "a panic can be reached, or the build failed:\n{said}");
    // The same with a panic path planted in it: the method finds it.
    let planted = link(&["--features", "planted"]);
    let said = String::from_utf8_lossy(&planted.stderr);
    assert!(!planted.status.success(), "the planted panic path was not found");
    assert!(said.contains("a_panic_can_be_reached"), "it failed for another reason:\n{said}");
}
