//! What other tools make of our files: units for co-simulation and measurement files. The other
//! tools come by `bash .ci/python`; without them these tests fail.

mod measurement;
mod outside;
mod units;

use std::path::{Path, PathBuf};

/// The repository.
fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// A Python with the packages of the tests.
fn python() -> PathBuf {
    let path = root().join(".venv/bin/python");
    assert!(path.exists(), "{} is missing\n    fix: bash .ci/python", path.display());
    path
}
