//! What a review leaves that was stopped: each part of the evidence, kept as soon as it is whole,
//! so that the next run need not make it again.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::command::Options;
use super::evidence::{Kind, Part, State};
use crate::text::shell_word;

/// The folder beside that of the review, as long as the review is not written.
#[derive(Debug)]
pub(super) struct Unfinished {
    folder: PathBuf,
}

impl Unfinished {
    /// For a review that will be written to `out`.
    pub(super) fn of(out: &Path) -> Unfinished {
        let mut name = out.file_name().unwrap_or_default().to_owned();
        name.push(".parts");
        Unfinished { folder: out.with_file_name(name) }
    }

    fn path(&self, kind: Kind) -> PathBuf {
        self.folder.join(format!("{}.json", kind.word()))
    }

    /// Keep a part, unless it is not whole: half a part is of no use to the next run.
    pub(super) fn keep(&self, part: &Part) -> io::Result<()> {
        if matches!(part.state(), State::Inconclusive(_)) {
            return Ok(());
        }
        fs::create_dir_all(&self.folder)?;
        // Written beside it and renamed: a run that is killed leaves no half of a file.
        let path = self.path(part.kind);
        let half = path.with_extension("half");
        fs::write(&half, format!("{:#}\n", part.value))?;
        fs::rename(&half, &path)
    }

    /// What is kept, in the order of the page.
    fn kept(&self) -> impl Iterator<Item = PathBuf> {
        Kind::ALL.into_iter().map(|kind| self.path(kind)).filter(|path| path.exists())
    }

    /// What an earlier run left and this one was not told to use.
    pub(super) fn unused(&self, given: &[PathBuf]) -> Vec<PathBuf> {
        self.kept().filter(|path| !given.contains(path)).collect()
    }

    /// The command that goes on where this run was stopped; `None` where nothing is kept.
    pub(super) fn go_on(&self, options: &Options) -> Option<String> {
        let kept: Vec<PathBuf> = self.kept().collect();
        if kept.is_empty() {
            return None;
        }
        let mut line = format!(
            "slipwarden review {} --out {} --depth {} --seed {}",
            shell_word(&options.file),
            shell_word(&options.out),
            options.depth.word(),
            options.seed
        );
        if let Some(date) = &options.date {
            line += &format!(" --date {date}");
        }
        if options.force {
            line += " --force";
        }
        let mut all = options.evidence.clone();
        all.extend(kept.into_iter().filter(|path| !options.evidence.contains(path)));
        for path in all {
            line += &format!(" --evidence {}", shell_word(&path.display().to_string()));
        }
        Some(line)
    }

    /// The review is written: all this is in its folder now.
    pub(super) fn remove(&self) {
        for path in self.kept() {
            let _ = fs::remove_file(path);
        }
        // Kept where something else lies in it.
        let _ = fs::remove_dir(&self.folder);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::evidence::Origin;
    use crate::review::{Depth, Work};

    /// Paths with blanks and quotes: a shell splits the line that goes on into the same words.
    #[test]
    fn the_command_that_goes_on_can_be_copied_into_a_shell() {
        let folder = std::env::temp_dir()
            .join(format!("slipwarden-{} the driver's folder", std::process::id()));
        let out = folder.join("my review");
        let unfinished = Unfinished::of(&out);
        let options = Options {
            file: "gear box.toml".to_owned(),
            out: out.display().to_string(),
            force: true,
            seed: 7,
            depth: Depth::Quick,
            work: Work::LEAST,
            evidence: vec![PathBuf::from("old part.json")],
            date: Some("2026-11-26".to_owned()),
        };
        assert_eq!(unfinished.go_on(&options), None, "nothing is kept");
        let value = serde_json::json!({ "energy": 1, "complete": true });
        let part = Part { kind: Kind::Energy, origin: Origin::Made(String::new()), value };
        unfinished.keep(&part).expect("kept");
        let line = unfinished.go_on(&options).expect("something is kept");
        let shown = std::process::Command::new("sh")
            .args(["-c", &format!("printf '%s\\n' {line}")])
            .output()
            .expect("a POSIX shell");
        let words = String::from_utf8(shown.stdout).expect("text");
        let kept = unfinished.path(Kind::Energy).display().to_string();
        let expected = [
            "slipwarden",
            "review",
            "gear box.toml",
            "--out",
            &options.out,
            "--depth",
            "quick",
            "--seed",
            "7",
            "--date",
            "2026-11-26",
            "--force",
            "--evidence",
            "old part.json",
            "--evidence",
            &kept,
        ];
        assert_eq!(words.lines().collect::<Vec<&str>>(), expected, "{line}");
        unfinished.remove();
        assert!(!folder.join("my review.parts").exists());
        let _ = fs::remove_dir(&folder);
    }
}
