//! Making the drives: each twice, spread over the cores, results in the order of the drives.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, mpsc};

use crate::drive::closed_loop::{Prepared, Run, Setup};
use crate::drive::reason::refusal_text;
use crate::drive::record::TickRecord;
use crate::drive::simulate::simulate_from;
use crate::drive::summary::Summary;
use crate::picture::TimelineText;

use super::cases::{Drive, REFUSAL_STANDS_S, TAIL_S};
use super::subject::Subject;

/// Ticks between two lines of a trace are chosen so that this much time lies between them, ms.
const TRACE_STEP_MS: f64 = 50.0;

/// How a request ended.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// In the arrangement.
    Reached,
    /// In a refusal, with its reason.
    Refused(String),
    /// In neither (a judge finds this too).
    Unanswered,
    /// The drive did not come to the request as it should; it is no evidence.
    NotRun(String),
}

impl Answer {
    /// The word in tables and JSON.
    pub fn word(&self) -> &'static str {
        match self {
            Answer::Reached => "reached",
            Answer::Refused(_) => "refused",
            Answer::Unanswered => "unanswered",
            Answer::NotRun(_) => "not-run",
        }
    }
}

/// What one drive came to.
#[derive(Clone, Debug)]
pub struct DriveResult {
    /// How the last request ended.
    pub answer: Answer,
    /// From the last request to its answer, s.
    pub took_s: Option<f64>,
    /// Length of the drive, s.
    pub duration_s: f64,
    /// Whether a second run ended in the same state of the plant, bit for bit.
    pub repeats: bool,
    /// Digest of the plant's last state.
    pub digest: u64,
    /// Everything that happened, findings and margins included.
    pub summary: Summary,
    /// Picture of the drive as SVG; empty when it was not run.
    pub timeline: String,
    /// Thinned trace as CSV; empty when it was not run.
    pub trace: Vec<u8>,
}

/// Ticks from one line of a trace to the next.
pub(super) fn trace_every(subject: &Subject) -> u64 {
    (TRACE_STEP_MS / subject.driveline.timing.tick_ms).round().max(1.0) as u64
}

/// Make all drives on `threads` threads; `done` is told the number of finished drives and the
/// last one, on the calling thread, and says whether to go on: drives that were not begun then
/// are told as not run. The results do not depend on `threads`.
pub fn run_all(
    subject: &Subject,
    drives: &[Drive],
    threads: usize,
    mut done: impl FnMut(usize, &Drive, &DriveResult) -> bool,
) -> Vec<DriveResult> {
    let prepared = Prepared::new(&subject.driveline, subject.table.table()).map(Arc::new);
    let (next, stop) = (AtomicUsize::new(0), AtomicBool::new(false));
    let (sender, receiver) = mpsc::channel();
    let mut results: Vec<Option<DriveResult>> = drives.iter().map(|_| None).collect();
    std::thread::scope(|scope| {
        for _ in 0..threads.clamp(1, drives.len().max(1)) {
            let (sender, next, prepared, stop) = (sender.clone(), &next, &prepared, &stop);
            scope.spawn(move || {
                while let Some((i, drive)) = {
                    let i = next.fetch_add(1, Ordering::Relaxed);
                    drives.get(i).map(|drive| (i, drive))
                } {
                    // The receiver outlives the threads: sending fails only after a panic there.
                    let result = match prepared {
                        _ if stop.load(Ordering::Relaxed) => not_run("stopped".to_owned()),
                        Ok(prepared) => run_one(subject, prepared, drive),
                        Err(why) => not_run(why.to_string()),
                    };
                    if sender.send((i, result)).is_err() {
                        return;
                    }
                }
            });
        }
        drop(sender);
        for (count, (i, result)) in receiver.iter().enumerate() {
            if !done(count + 1, &drives[i], &result) {
                stop.store(true, Ordering::Relaxed);
            }
            results[i] = Some(result);
        }
    });
    results.into_iter().flatten().collect()
}

fn not_run(why: String) -> DriveResult {
    DriveResult {
        answer: Answer::NotRun(why),
        took_s: None,
        duration_s: 0.0,
        repeats: true,
        digest: 0,
        summary: Summary::default(),
        timeline: String::new(),
        trace: Vec::new(),
    }
}

/// The setup of a drive, as long as it was driven.
pub(super) fn driven_setup(drive: &Drive, duration_s: f64) -> Setup {
    Setup { duration_s, ..drive.setup.clone() }
}

/// Make one drive: once until the request is answered, then again under the judges, as long as
/// that took and as `slipwarden drive` repeats it.
fn run_one(subject: &Subject, prepared: &Arc<Prepared>, drive: &Drive) -> DriveResult {
    let first = match until_answered(subject, prepared, drive) {
        Ok(first) => first,
        Err(why) => return not_run(why),
    };
    let setup = driven_setup(drive, first.duration_s);
    let d = &subject.driveline;
    let mut trace = Vec::new();
    let every = Some((&mut trace as &mut dyn std::io::Write, trace_every(subject)));
    let outcome = match simulate_from(prepared, &subject.kinematics, &setup, drive.seed, every) {
        Ok(outcome) => outcome,
        Err(error) => return not_run(error.to_string()),
    };
    let title = format!(
        "{} to {}, {}",
        d.arrangements[drive.from].name,
        d.arrangements[drive.to].name,
        drive.case.word()
    );
    let subtitle = format!(
        "{}, drive {}: {} km/h, {} % slope, seed {}",
        d.name, drive.number, drive.speed_kmh, drive.slope_percent, drive.seed
    );
    let text = TimelineText { title, subtitle };
    let timeline = outcome.timeline.draw(&text, &outcome.summary.findings);
    DriveResult {
        answer: first.answer,
        took_s: first.took_s,
        duration_s: first.duration_s,
        repeats: first.digest == outcome.digest,
        digest: outcome.digest,
        summary: outcome.summary,
        timeline,
        trace,
    }
}

struct First {
    answer: Answer,
    took_s: Option<f64>,
    duration_s: f64,
    digest: u64,
}

/// Watches for the answer to the last request.
struct Watch {
    asked: u8,
    asked_at_s: f64,
    reached_s: Option<f64>,
    refused: Option<(f64, f64, String)>,
}

impl Watch {
    /// Look at a tick; true when the drive may end.
    fn ends(&mut self, subject: &Subject, record: &TickRecord) -> bool {
        let truth = &record.truth;
        if truth.t_s <= self.asked_at_s || truth.request != Some(self.asked) {
            return false;
        }
        if truth.stated_reached == Some(self.asked) && record.status.goal == Some(self.asked) {
            let reached = *self.reached_s.get_or_insert(truth.t_s);
            return truth.t_s - reached >= TAIL_S;
        }
        match (record.status.refusal, truth.stated_refusal && record.step.is_none()) {
            (Some(refusal), true) => {
                let text = refusal_text(&subject.driveline, &subject.table.table(), refusal);
                let since = match &self.refused {
                    Some((_, since, known)) if *known == text => *since,
                    _ => truth.t_s,
                };
                let first = self.refused.as_ref().map_or(truth.t_s, |r| r.0);
                self.refused = Some((first, since, text));
                truth.t_s - since >= REFUSAL_STANDS_S
            }
            _ => {
                if let Some((_, since, _)) = &mut self.refused {
                    *since = truth.t_s;
                }
                false
            }
        }
    }
}

fn until_answered(
    subject: &Subject,
    prepared: &Arc<Prepared>,
    drive: &Drive,
) -> Result<First, String> {
    let d = &subject.driveline;
    let mut run = Run::of(prepared, &drive.setup, drive.seed).map_err(|e| e.to_string())?;
    let mut watch = Watch {
        asked: u8::try_from(drive.asked()).unwrap_or(u8::MAX),
        asked_at_s: drive.asked_at_s(),
        reached_s: None,
        refused: None,
    };
    let start = u8::try_from(drive.from).ok();
    let tick_s = d.timing.tick_ms / 1e3;
    let mut ticks = 0u64;
    let mut stood_before = None;
    while let Some(record) = run.next_tick() {
        ticks += 1;
        if record.truth.request == start && record.truth.t_s < drive.setup.requests[1].0 {
            stood_before = record.status.arrangement;
        }
        if watch.ends(subject, record) {
            break;
        }
    }
    if stood_before != start {
        let name = &d.arrangements[drive.from].name;
        return Err(format!("{name} did not stand when the next arrangement was asked for"));
    }
    let (answer, at) = match (watch.reached_s, watch.refused) {
        (Some(t_s), _) => (Answer::Reached, Some(t_s)),
        (None, Some((first, _, text))) => (Answer::Refused(text), Some(first)),
        (None, None) => (Answer::Unanswered, None),
    };
    let duration_s = (ticks as f64 * tick_s * 1e6).round() / 1e6;
    let took_s = at.map(|t_s| t_s - watch.asked_at_s);
    Ok(First { answer, took_s, duration_s, digest: run.plant().digest() })
}
