//! Runs the built program in a folder of its own.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

/// An empty folder that goes when it is dropped.
pub(crate) struct Folder(PathBuf);

impl Folder {
    /// A fresh one; `name` tells tests that run at once apart.
    pub(crate) fn new(name: &str) -> Folder {
        let path = std::env::temp_dir().join(format!("slipwarden-{name}-{}", std::process::id()));
        let _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).expect("a folder");
        Folder(path)
    }

    pub(crate) fn path(&self) -> &Path {
        &self.0
    }

    pub(crate) fn write(&self, name: &str, bytes: impl AsRef<[u8]>) {
        std::fs::write(self.0.join(name), bytes).expect("written");
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

/// What array jobs tell their tasks: a test may itself run in one.
const OF_ARRAY_JOBS: [&str; 5] = [
    "JOB_COMPLETION_INDEX",
    "SLURM_ARRAY_TASK_COUNT",
    "SLURM_ARRAY_TASK_ID",
    "SLURM_ARRAY_TASK_MIN",
    "SLURM_ARRAY_TASK_STEP",
];

/// The program, to be run in `folder`, without colours asked for or forbidden.
pub(crate) fn program(folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_slipwarden"));
    command.current_dir(folder).env_remove("NO_COLOR").env_remove("RUST_BACKTRACE");
    for name in OF_ARRAY_JOBS {
        command.env_remove(name);
    }
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// What came of a run.
pub(crate) struct Ran {
    pub(crate) code: i32,
    pub(crate) stdout: String,
    pub(crate) stderr: String,
}

impl Ran {
    pub(crate) fn of(output: Output, what: &str) -> Ran {
        let stderr = String::from_utf8(output.stderr).expect("UTF-8 on stderr");
        assert!(!stderr.contains("panicked"), "{what}: {stderr}");
        let code = output.status.code().unwrap_or_else(|| panic!("{what}: ended by a signal"));
        assert!((0..=3).contains(&code), "{what}: exit code {code}");
        let stdout = String::from_utf8(output.stdout).expect("UTF-8 on stdout");
        Ran { code, stdout, stderr }
    }
}

/// Run to the end; a run of more than two minutes is a failure.
pub(crate) fn run(folder: &Path, args: &[&str]) -> Ran {
    let what = format!("slipwarden {}", args.join(" "));
    let out = folder.join(".stdout");
    let err = folder.join(".stderr");
    let file = |path: &Path| std::fs::File::create(path).expect("a file");
    let mut child = program(folder)
        .args(args)
        .stdout(file(&out))
        .stderr(file(&err))
        .spawn()
        .expect("it starts");
    let begun = Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait().expect("its status") {
            break status;
        }
        if begun.elapsed() > Duration::from_secs(120) {
            let _ = child.kill();
            panic!("{what}: still running after two minutes");
        }
        std::thread::sleep(Duration::from_millis(2));
    };
    let read = |path: &Path| std::fs::read(path).expect("read");
    Ran::of(Output { status, stdout: read(&out), stderr: read(&err) }, &what)
}
