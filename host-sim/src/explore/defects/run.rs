//! All defects through all judges, spread over the threads; the results are in the order of the
//! defects and do not depend on how many threads there are.

use std::collections::BTreeSet;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;

use supervisor::check::check_all;

use super::drives::Drives;
use super::explored::{Explored, Explorer};
use super::judged::Judged;
use super::list::Defect;
use super::reasons::reason;
use crate::audit::{Audited, Scope, examine};
use crate::driveline::Driveline;
use crate::kinematics::Kinematics;
use crate::table::TableData;

/// All judges of one driveline, with the good table.
pub struct Judges<'a> {
    /// The driveline.
    pub d: &'a Driveline,
    /// Its kinematics.
    pub k: &'a Kinematics,
    /// The table as it should be.
    pub good: &'a TableData,
    /// The second judge.
    pub explorer: Explorer<'a>,
    /// The audit of the good table.
    pub audited: Audited,
    /// The last judge; none where the driveline cannot be driven.
    pub drives: Option<Drives>,
}

impl Judges<'_> {
    /// What all judges say of one defect. `stop` may end it early: `None`.
    pub fn judge(&self, number: usize, defect: &Defect, stop: &dyn Fn() -> bool) -> Option<Judged> {
        let broken = defect.planted(self.good);
        let mut judged = Judged::new(number, defect);
        judged.board = check_all(&broken.table()).err().map(|fault| format!("{fault:?}"));
        judged.explored = match judged.board {
            // The board refuses to run it, so there is nothing to explore.
            Some(_) => Explored::Not("the board refuses it"),
            None => self.explorer.judge(defect, stop),
        };
        let audited = examine(self.d, self.k, &broken, Scope { timing: true });
        for finding in &audited.findings {
            if !judged.audit.contains(&finding.id) {
                judged.audit.push(finding.id);
            }
        }
        if !judged.found_by().contains(&true) {
            let tables = (self.good, &broken);
            judged.reason = reason(tables, (&self.audited, &audited), &judged.explored);
        }
        if judged.reason.is_none() && !judged.found_by().contains(&true) {
            judged.driven = self.drives.as_ref().map(|drives| drives.judge(&broken, stop));
        }
        (!stop()).then_some(judged)
    }
}

/// Which of `all` defects a sample of `wanted` takes: evenly spread over the list.
pub fn sample(all: usize, wanted: usize) -> Vec<usize> {
    match wanted.min(all) {
        0 => Vec::new(),
        count => (0..count).map(|i| i * all / count).collect(),
    }
}

/// A message is at most so wide.
const LINE_MAX: usize = 80;

/// Which of the defects are tried: all of these kinds (of every kind when none is named), or so many
/// of them, evenly spread.
///
/// # Errors
/// What to tell the user of a kind that there is not.
pub fn choose(
    defects: &[Defect],
    kinds: &[String],
    wanted: Option<usize>,
) -> Result<Vec<usize>, String> {
    if let Some(strange) = kinds.iter().find(|kind| defects.iter().all(|d| d.kind != **kind)) {
        let known: BTreeSet<&str> = defects.iter().map(|d| d.kind).collect();
        let mut fix = String::from("    fix: name one of these:");
        let mut column = LINE_MAX;
        for kind in known {
            let word = format!(" {kind:?}");
            if column + word.len() > LINE_MAX {
                fix += "\n       ";
                column = 7;
            }
            column += word.len();
            fix += &word;
        }
        return Err(format!("--kind {strange:?}: there is no defect of that kind\n{fix}"));
    }
    let named = |d: &Defect| kinds.is_empty() || kinds.iter().any(|kind| d.kind == *kind);
    let of_kind: Vec<usize> = (0..defects.len()).filter(|&i| named(&defects[i])).collect();
    let places = sample(of_kind.len(), wanted.unwrap_or(of_kind.len()));
    Ok(places.into_iter().map(|place| of_kind[place]).collect())
}

/// Judge the `chosen` of the defects on `threads` threads. `done` is told the number of judged
/// defects on the calling thread, now and then without a new one, and may stop everything: what
/// was judged so far comes back then.
pub fn run(
    judges: &Judges,
    defects: &[Defect],
    chosen: &[usize],
    threads: usize,
    mut done: impl FnMut(usize) -> bool,
) -> Vec<Judged> {
    let (next, stop) = (AtomicUsize::new(0), AtomicBool::new(false));
    let (sender, receiver) = mpsc::channel();
    let mut results = Vec::new();
    std::thread::scope(|scope| {
        for _ in 0..threads.clamp(1, chosen.len().max(1)) {
            let (sender, next, stop) = (sender.clone(), &next, &stop);
            scope.spawn(move || {
                let stopped = || stop.load(Ordering::Relaxed);
                while let Some(&number) = chosen.get(next.fetch_add(1, Ordering::Relaxed)) {
                    // Sending fails only after a panic of the receiver.
                    let judged = judges.judge(number, &defects[number], &stopped);
                    if judged.is_none_or(|judged| sender.send(judged).is_err()) {
                        return;
                    }
                }
            });
        }
        drop(sender);
        let wait = std::time::Duration::from_millis(100);
        loop {
            match receiver.recv_timeout(wait) {
                Ok(judged) => results.push(judged),
                Err(mpsc::RecvTimeoutError::Timeout) => {}
                Err(mpsc::RecvTimeoutError::Disconnected) => break,
            }
            if !done(results.len()) {
                stop.store(true, Ordering::Relaxed);
            }
        }
    });
    results.sort_by_key(|judged| judged.number);
    results
}
