//! The commands `slipwarden campaign` and `slipwarden merge`.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use super::case::case;
use super::header::Header;
use super::junit::junit;
use super::merge::{MergeError, Merged, merge};
use super::progress::Shown;
use super::report::{campaign_json, margins_csv, numbers, text};
use super::results::{Results, ResultsError};
use super::run::{Share, run};
use super::scenario::scenario_text;
use super::shard::{Shard, shard_of_job};
use super::shrink::shrink;
use super::tally::Tally;
use super::world::World;
use crate::drive::simulate::simulate;
use crate::explore::command::{INCONCLUSIVE, Stop};
use crate::input::print;
use crate::picture::TimelineText;
use crate::review::Subject;
use crate::text::shell_word;

/// What to run.
#[derive(Clone, Debug)]
pub struct Options {
    /// Driveline file or demo.
    pub file: String,
    /// Number of cases of the whole campaign.
    pub cases: u64,
    /// Seed of the campaign.
    pub seed: u64,
    /// Faults injected in each case.
    pub faults: u8,
    /// Which share; read from an array job when none is given.
    pub shard: Option<Shard>,
    /// How many shares there are, where the array job does not say it.
    pub shards: Option<u64>,
    /// Stop after this long.
    pub time: Option<Duration>,
    /// Threads; none for as many as the machine has.
    pub threads: Option<usize>,
    /// Folder to write into.
    pub out: Option<PathBuf>,
    /// Go on with what is in the folder.
    pub resume: bool,
    /// Findings of each rule to shrink.
    pub shrink: usize,
}

/// Run a campaign. Returns the exit code: 0 every case ran and nothing was found, 1 a finding,
/// 2 misuse, 3 stopped before every case ran.
pub fn campaign(options: &Options) -> i32 {
    let subject = match Subject::read(&options.file, options.seed) {
        Ok(subject) => subject,
        Err(code) => return code,
    };
    let Some(shard) = shard_of(options) else { return 2 };
    let world = World::new(subject);
    let name = format!("campaign-{}", world.driveline().name);
    let out = options.out.clone().unwrap_or_else(|| PathBuf::from(name));
    eprintln!("seed {}", options.seed);
    let share = Share { seed: options.seed, cases: options.cases, faults: options.faults, shard };
    let stop = Stop::new();
    let path = match run_share(options, &world, &share, (&out, &stop)) {
        Ok(path) => path,
        Err(error) => {
            eprintln!("error: {error}");
            return 2;
        }
    };
    if shard != Shard::WHOLE {
        return end_of_share(&path, shard);
    }
    conclude(options, &world, &path, (&out, &stop))
}

/// Shrink what the one results file of a whole campaign holds, and tell it all. The exit code.
pub(crate) fn conclude(
    options: &Options,
    world: &World,
    path: &Path,
    (out, stop): (&Path, &Stop),
) -> i32 {
    match merge(&[path.to_owned()], |_, _| {}) {
        Ok(merged) => {
            let found = findings(options, world, &merged, (out, stop));
            finish(&merged, &options.file, out, &found)
        }
        Err(error) => complain(&error),
    }
}

/// The share to run; `None` after a complaint.
fn shard_of(options: &Options) -> Option<Shard> {
    if let Some(shard) = options.shard {
        return Some(shard);
    }
    match shard_of_job(options.shards, |name| std::env::var(name).ok()) {
        Ok(Some((shard, from))) => {
            eprintln!("share {} of {} ({from})", shard.index, shard.of);
            Some(shard)
        }
        Ok(None) if options.shards.is_some_and(|n| n > 1) => {
            eprintln!("error: --shards says how many there are, but nothing says which this is");
            eprintln!("    fix: give --shard i/n, or run as a task of an array job");
            None
        }
        Ok(None) => Some(Shard::WHOLE),
        Err(why) => {
            eprintln!("error: {why}");
            eprintln!("    fix: give --shard i/n");
            None
        }
    }
}

/// Name of the results file of a share.
pub(crate) fn results_name(shard: Shard) -> String {
    format!("share-{}-of-{}.results", shard.index, shard.of)
}

/// Run what is left of a share; the path of its results file.
fn run_share(
    options: &Options,
    world: &World,
    share: &Share,
    (out, stop): (&Path, &Stop),
) -> Result<PathBuf, ResultsError> {
    fs::create_dir_all(out).map_err(|error| ResultsError::Io(out.to_owned(), error))?;
    let path = out.join(results_name(share.shard));
    let header = Header::new(world, share.seed, share.cases, share.faults, share.shard);
    let mut done = Tally::default();
    let mut left: Vec<u64> = (0..share.blocks()).collect();
    let mut results = if options.resume && path.exists() {
        let (results, reading) = Results::go_on(&path, &header)?;
        if reading.torn_bytes > 0 {
            eprintln!(
                "{}: {} bytes of a line that was not finished are dropped",
                path.display(),
                reading.torn_bytes
            );
        }
        left.retain(|b| reading.blocks.binary_search_by_key(b, |(block, _)| *block).is_err());
        reading.blocks.iter().for_each(|(_, tally)| done.add(tally));
        results
    } else {
        Results::begin(&path, &header)?
    };
    let threads = options
        .threads
        .unwrap_or_else(|| std::thread::available_parallelism().map_or(1, |n| n.get()));
    let begun = Instant::now();
    let of = share.shard.share_of(share.cases);
    let mut shown = Shown::new(done.cases + done.not_run, of, done.findings.len());
    let mut failed = None;
    let ran = run(world, share, &left, threads, |block| {
        if let Some((number, tally)) = block {
            match results.append(number, tally) {
                Ok(()) => shown.add(tally),
                Err(error) => failed = Some(error),
            }
        }
        shown.show();
        let late = options.time.is_some_and(|most| begun.elapsed() >= most);
        failed.is_none() && !stop.is_asked() && !late
    });
    shown.end();
    if let Err(error) = ran {
        // The file was checked to be enough for a plant before.
        return Err(ResultsError::Other(path, error.to_string()));
    }
    if let Some(error) = failed {
        return Err(error);
    }
    if shown.done() < of {
        eprintln!(
            "stopped after {} of {of} cases; go on with --resume and the same options",
            shown.done()
        );
    }
    Ok(path)
}

/// A share says only how it ended: the campaign is told from all of them.
fn end_of_share(path: &Path, shard: Shard) -> i32 {
    let merged = match merge(&[path.to_owned()], |_, _| {}) {
        Ok(merged) => merged,
        Err(error) => return complain(&error),
    };
    let whole = merged.short.is_empty();
    let findings = merged.tally.findings.len();
    let code = print(&format!(
        "share {} of {}: {} cases{}, {findings} findings\nput the shares together: slipwarden merge \
         {}\n",
        shard.index,
        shard.of,
        merged.tally.cases + merged.tally.not_run,
        if whole { "" } else { " (NOT WHOLE)" },
        path.parent().unwrap_or(Path::new(".")).display()
    ));
    match (code, findings, whole) {
        (0, 1.., _) => 1,
        (0, 0, false) => INCONCLUSIVE,
        (code, ..) => code,
    }
}

/// The findings of each rule that were shrunk, each as its own scenario and timeline.
fn findings(
    options: &Options,
    world: &World,
    merged: &Merged,
    (out, stop): (&Path, &Stop),
) -> Vec<String> {
    let mut told = Vec::new();
    let folder = out.join("findings");
    let mut count = std::collections::BTreeMap::<&str, usize>::new();
    for found in &merged.tally.findings {
        let n = count.entry(&found.rule).or_default();
        *n += 1;
        if *n > options.shrink || stop.is_asked() {
            continue;
        }
        eprintln!("shrinking case {} ({})", found.case, found.rule);
        let whole = case(world, options.seed, options.faults, found.case);
        let Some((small, finding)) = shrink(world, &whole, &found.rule, &|| !stop.is_asked())
        else {
            told.push(format!("case {} does not repeat: please report this", found.case));
            continue;
        };
        let stem = format!("{}-{}", found.rule.to_lowercase(), found.case);
        let scenario = scenario_text(world.driveline(), &small, &stem, &finding.text);
        let path = folder.join(format!("{stem}.toml"));
        let written =
            fs::create_dir_all(&folder).and_then(|()| fs::write(&path, scenario)).and_then(|()| {
                fs::write(folder.join(format!("{stem}.svg")), picture(world, &small, &stem))
            });
        match written {
            Ok(()) => told.push(format!(
                "{}: {} (at {:.3} s)\n    slipwarden replay {} {}",
                found.rule,
                finding.text,
                finding.t_s,
                shell_word(&options.file),
                shell_word(&path.display().to_string())
            )),
            Err(error) => eprintln!("warning: {} cannot be written: {error}", path.display()),
        }
    }
    told
}

fn picture(world: &World, case: &super::case::Case, name: &str) -> String {
    let (d, k, table) = (world.driveline(), world.kinematics(), world.table.table());
    match simulate(d, k, table, &case.setup, case.plant_seed, None) {
        Ok(outcome) => {
            let text = TimelineText {
                title: format!("{}, {name}", d.name),
                subtitle: format!("case {}, shrunk, seed {}", case.number, case.plant_seed),
            };
            outcome.timeline.draw(&text, &outcome.summary.findings)
        }
        Err(_) => String::new(),
    }
}

/// Write all outputs of a campaign, print it and give the exit code.
fn finish(merged: &Merged, file: &str, out: &Path, found: &[String]) -> i32 {
    let files = [
        ("campaign.json", format!("{:#}\n", campaign_json(merged))),
        ("campaign.xml", junit(merged, file)),
        ("margins.csv", margins_csv(merged)),
    ];
    for (name, content) in files {
        let path = out.join(name);
        if let Err(error) = fs::write(&path, content) {
            eprintln!("error: {} cannot be written: {error}", path.display());
            return 2;
        }
    }
    let mut told = text(merged, file);
    if !found.is_empty() {
        told += &format!("\nshrunk\n  {}\n", found.join("\n  "));
    }
    told += &format!("written to {}\n", out.display());
    match (print(&told), merged.tally.findings.is_empty(), merged.is_whole()) {
        (0, false, _) => 1,
        (0, true, false) => INCONCLUSIVE,
        (code, ..) => code,
    }
}

fn complain(error: &MergeError) -> i32 {
    eprintln!("error: {error}");
    2
}

/// Put shares together. `paths` are results files or folders of them. Returns the exit code:
/// 0 whole and nothing found, 1 a finding, 2 misuse, 3 shares or cases are missing.
pub fn merge_command(paths: &[PathBuf], file: Option<&str>, out: Option<&Path>) -> i32 {
    let files = match results_files(paths) {
        Ok(files) => files,
        Err(sentence) => {
            eprintln!("error: {sentence}");
            return 2;
        }
    };
    let merged = merge(&files, |path, bytes| {
        eprintln!("{}: {bytes} bytes of a line that was not finished are left out", path.display());
    });
    let merged = match merged {
        Ok(merged) => merged,
        Err(error) => return complain(&error),
    };
    let file = file.unwrap_or(&merged.header.driveline);
    if !merged.missing.is_empty() {
        eprintln!("warning: no results of shares {}", numbers(&merged.missing));
    }
    let folder = || paths.iter().find(|p| p.is_dir()).cloned().unwrap_or(PathBuf::from("."));
    let out = out.map_or_else(folder, Path::to_owned);
    if let Err(error) = fs::create_dir_all(&out) {
        eprintln!("error: {} cannot be made: {error}", out.display());
        return 2;
    }
    finish(&merged, file, &out, &[])
}

/// Files as they are, and the results files of folders, in the order of their names.
fn results_files(paths: &[PathBuf]) -> Result<Vec<PathBuf>, String> {
    let mut files = Vec::new();
    for path in paths {
        if !path.is_dir() {
            files.push(path.clone());
            continue;
        }
        let entries = fs::read_dir(path).map_err(|e| format!("{}: {e}", path.display()))?;
        let mut inside: Vec<PathBuf> = entries
            .filter_map(|entry| Some(entry.ok()?.path()))
            .filter(|p| p.extension().is_some_and(|e| e == "results"))
            .collect();
        inside.sort();
        files.extend(inside);
    }
    Ok(files)
}

/// "90", "90s", "10m", "2h" as a time.
///
/// # Errors
/// A sentence that says what to write.
pub fn time_from(text: &str) -> Result<Duration, String> {
    let wrong = || format!("{text:?} is no time: write a number and s, m or h, like 10m");
    let (number, unit) = match text.char_indices().next_back() {
        Some((at, 's' | 'm' | 'h')) => text.split_at(at),
        _ => (text, "s"),
    };
    let number: u64 = number.parse().map_err(|_| wrong())?;
    let each = match unit {
        "h" => 3600,
        "m" => 60,
        _ => 1,
    };
    number.checked_mul(each).filter(|s| *s > 0).map(Duration::from_secs).ok_or_else(wrong)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_read() {
        let s = |text| time_from(text).map(|d| d.as_secs());
        assert_eq!((s("90"), s("5s"), s("10m"), s("2h")), (Ok(90), Ok(5), Ok(600), Ok(7200)));
        for wrong in ["", "m", "0", "-1s", "1d", "1.5h", "99999999999999999999h"] {
            assert!(s(wrong).is_err(), "{wrong}");
        }
    }
}
