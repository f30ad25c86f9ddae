//! Running a share of a campaign on some threads, block by block.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;
use std::time::Duration;

use super::case::{Case, case};
use super::judged::Court;
use super::shard::Shard;
use super::tally::Tally;
use super::world::World;
use crate::drive::closed_loop::CannotRun;

/// Cases of a block: what is in flight when a process is killed is lost.
pub const BLOCK_CASES: u64 = 128;
/// Cases that a thread runs side by side; what comes of them does not depend on it. From four on
/// the measured time hardly depends on it either.
const SIDE_BY_SIDE: usize = 12;

/// A share of a campaign.
#[derive(Clone, Copy, Debug)]
pub struct Share {
    /// Seed of the campaign.
    pub seed: u64,
    /// Number of cases of the whole campaign.
    pub cases: u64,
    /// Faults injected in each case.
    pub faults: u8,
    /// Which share.
    pub shard: Shard,
}

impl Share {
    /// Number of blocks.
    pub fn blocks(&self) -> u64 {
        self.shard.share_of(self.cases).div_ceil(BLOCK_CASES)
    }

    /// Sums over one block; `None` when `stop` ended it early.
    fn block(&self, court: &mut Court, block: u64, stop: &AtomicBool) -> Option<Tally> {
        let from = block * BLOCK_CASES;
        let to = (from + BLOCK_CASES).min(self.shard.share_of(self.cases));
        let world = court.world();
        let of = |n| case(world, self.seed, self.faults, self.shard.case(n));
        let cases: Vec<Case> = (from..to).map(of).collect();
        let judged = court.judge_each(&cases, SIDE_BY_SIDE, stop)?;
        let mut tally = Tally::default();
        for (case, judged) in cases.iter().zip(&judged) {
            match judged {
                Ok(judged) => tally.take(case.number, judged),
                Err(_) => tally.take_not_run(),
            }
        }
        Some(tally)
    }
}

/// Run the `left` blocks of a share on `threads` threads. `done` gets each finished block on the
/// calling thread, in no fixed order, and `None` now and then; it says whether to go on.
///
/// # Errors
/// When the driveline lacks data for the plant.
pub fn run(
    world: &World,
    share: &Share,
    left: &[u64],
    threads: usize,
    mut done: impl FnMut(Option<(u64, &Tally)>) -> bool,
) -> Result<(), CannotRun> {
    let prepared = world.prepared()?;
    let (next, stop) = (AtomicUsize::new(0), AtomicBool::new(false));
    let (sender, receiver) = mpsc::channel();
    std::thread::scope(|scope| {
        for _ in 0..threads.clamp(1, left.len().max(1)) {
            let (sender, next, stop) = (sender.clone(), &next, &stop);
            let mut court = Court::new(world, &prepared);
            scope.spawn(move || {
                while let Some(&block) = left.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let Some(tally) = share.block(&mut court, block, stop) else { return };
                    // Sending fails only when the receiver has gone after a panic.
                    if sender.send((block, tally)).is_err() {
                        return;
                    }
                }
            });
        }
        drop(sender);
        loop {
            let goes_on = match receiver.recv_timeout(Duration::from_millis(100)) {
                Ok((block, tally)) => done(Some((block, &tally))),
                Err(mpsc::RecvTimeoutError::Timeout) => done(None),
                Err(mpsc::RecvTimeoutError::Disconnected) => break,
            };
            if !goes_on {
                stop.store(true, Ordering::Relaxed);
            }
        }
    });
    Ok(())
}
