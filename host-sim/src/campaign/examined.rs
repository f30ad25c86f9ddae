//! What is seen of planted defects before the first case: what the audit finds, and which of them are
//! none. No table reaches a board without the audit, so that a defect which it finds is found; it is
//! told beside what the cases find, never instead of it.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;
use std::time::Duration;

use super::world::World;
use crate::audit::{Audited, Scope, examine};
use crate::explore::defects::{Defect, excuse_unexplored, read_alike};

/// What an examination of one broken table tells.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Examined {
    /// Identifiers of the audit's findings, each once.
    pub audit: Vec<&'static str>,
    /// Why it is no defect, where that is shown.
    pub excuse: Option<String>,
}

/// Examines each of the `chosen` on `threads` threads, in their order; `None` for what `goes_on` left
/// out. It is asked now and then.
pub(super) fn examine_all(
    world: &World,
    list: &[Defect],
    chosen: &[usize],
    threads: usize,
    mut goes_on: impl FnMut() -> bool,
) -> Vec<Option<Examined>> {
    let audited = audit_of(world, &world.table);
    let (next, stop) = (AtomicUsize::new(0), AtomicBool::new(false));
    let (sender, receiver) = mpsc::channel();
    let mut results = vec![None; chosen.len()];
    std::thread::scope(|scope| {
        for _ in 0..threads.clamp(1, chosen.len().max(1)) {
            let (sender, next, stop, audited) = (sender.clone(), &next, &stop, &audited);
            scope.spawn(move || {
                while !stop.load(Ordering::Relaxed) {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    let Some(&number) = chosen.get(at) else { return };
                    let examined = examined(world, &list[number], audited);
                    // Sending fails only when the receiver has gone after a panic.
                    if sender.send((at, examined)).is_err() {
                        return;
                    }
                }
            });
        }
        drop(sender);
        loop {
            match receiver.recv_timeout(Duration::from_millis(200)) {
                Ok((at, examined)) => results[at] = Some(examined),
                Err(mpsc::RecvTimeoutError::Timeout) => {}
                Err(mpsc::RecvTimeoutError::Disconnected) => break,
            }
            if !goes_on() {
                stop.store(true, Ordering::Relaxed);
            }
        }
    });
    results
}

fn audit_of(world: &World, table: &crate::table::TableData) -> Audited {
    examine(world.driveline(), world.kinematics(), table, Scope { timing: true })
}

fn examined(world: &World, defect: &Defect, before: &Audited) -> Examined {
    let (good, broken) = (&world.table, defect.planted(&world.table));
    let after = audit_of(world, &broken);
    let mut audit: Vec<&'static str> = Vec::new();
    for finding in &after.findings {
        // What it has against the good table it does not find in the broken one.
        let known = before.findings.contains(finding);
        if !known && !audit.contains(&finding.id) {
            audit.push(finding.id);
        }
    }
    let as_good = || {
        let audits = (before, &after);
        before.findings.is_empty().then(|| excuse_unexplored((good, &broken), audits))?
    };
    Examined { audit, excuse: read_alike(good, &broken).or_else(as_good) }
}
