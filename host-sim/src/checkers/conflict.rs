//! `SW-CONFLICT`: no forbidden lock set is truly closed while a shaft that it holds turns.

use std::sync::Arc;

use super::truth::set_text;
use super::{Checker, Finding, Findings, MAX_SHAFTS, Margin, RPM, TickTruth, Worst, reaction_s};
use crate::driveline::{Driveline, ShaftId};
use crate::kinematics::Kinematics;

const RULE: &str = "SW-CONFLICT";

#[derive(Clone, Debug)]
struct Watched {
    locks: u8,
    holds: Vec<ShaftId>,
    reason: String,
    /// When the set was closed and by a fault alone.
    since: Option<(f64, bool)>,
    reported: bool,
    worst: Worst,
}

/// Watches every smallest forbidden lock set.
#[derive(Clone, Debug)]
pub struct ConflictChecker {
    driveline: Arc<Driveline>,
    rest_radps: f64,
    reaction_s: f64,
    /// Lock sets in which any watched one is closed, one bit a set.
    concerned: [u64; 4],
    watched: Vec<Watched>,
    engaged_before: u8,
    speed_before: [f64; MAX_SHAFTS],
    findings: Findings,
}

impl ConflictChecker {
    /// For the conflicts that the kinematics derives.
    pub fn new(driveline: &Arc<Driveline>, kinematics: &Kinematics) -> ConflictChecker {
        let watched: Vec<Watched> = kinematics
            .conflicts
            .iter()
            .filter(|c| c.locks != 0)
            .map(|c| Watched {
                locks: c.locks,
                holds: c.holds.clone(),
                reason: c.reason.clone(),
                since: None,
                reported: false,
                worst: Worst::default(),
            })
            .collect();
        let mut concerned = [0u64; 4];
        for set in 0..=u8::MAX {
            if watched.iter().any(|w| w.locks & !set == 0) {
                concerned[usize::from(set >> 6)] |= 1 << (set & 63);
            }
        }
        ConflictChecker {
            driveline: driveline.clone(),
            rest_radps: driveline.timing.rest_rpm * RPM,
            reaction_s: reaction_s(driveline),
            concerned,
            watched,
            engaged_before: 0,
            speed_before: [0.0; MAX_SHAFTS],
            findings: Findings::default(),
        }
    }
}

impl Checker for ConflictChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn observe(&mut self, truth: &TickTruth) {
        let engaged = truth.engaged_set();
        let fresh = engaged & !self.engaged_before;
        // What is closed now and what was decide alike while nothing of it is watched.
        let concerns = |set: u8| self.concerned[usize::from(set >> 6)] >> (set & 63) & 1 == 1;
        let calm = !concerns(engaged) && !concerns(self.engaged_before);
        self.engaged_before = engaged;
        if calm {
            self.speed_before = truth.speed_radps;
            return;
        }
        let rest = self.rest_radps;
        for watched in &mut self.watched {
            if watched.locks & !engaged != 0 {
                watched.since = None;
                watched.reported = false;
                continue;
            }
            // A lock that a fault closes against its order cannot be kept out; the others
            // of the conflict must then be let go within the reaction time.
            let closers = fresh & watched.locks;
            let forced = closers != 0
                && (0..8).filter(|i| closers >> i & 1 == 1).all(|i| truth.locks[i].forced);
            let at_onset = watched.since.is_none();
            let (since, by_fault) = *watched.since.get_or_insert((truth.t_s, forced));
            // Dogs stop a shaft within the tick: at the onset the speed before counts too.
            let speed_of = |s: ShaftId| {
                let (now, before) = (truth.speed_radps[s], self.speed_before[s]);
                if at_onset && before.abs() > now.abs() { before } else { now }
            };
            let fastest = watched
                .holds
                .iter()
                .map(|&s| (s, speed_of(s)))
                .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
            let Some((shaft, speed)) = fastest else { continue };
            watched.worst.see(speed.abs() / RPM, truth.t_s);
            let excused = by_fault && truth.t_s - since <= self.reaction_s;
            if speed.abs() > rest && !excused && !watched.reported {
                watched.reported = true;
                let text = format!(
                    "{} closed together while {} turns at {:.0} rpm: {}",
                    set_text(&self.driveline, watched.locks),
                    self.driveline.shafts[shaft].name,
                    speed / RPM,
                    watched.reason,
                );
                self.findings.add(RULE, truth.t_s, text);
            }
        }
        self.speed_before = truth.speed_radps;
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let limit = self.driveline.timing.rest_rpm;
        let margin =
            |w: &Watched| w.worst.margin(RULE, &set_text(&self.driveline, w.locks), limit, "rpm");
        self.watched.iter().filter_map(margin).collect()
    }

    fn reset(&mut self) {
        for w in &mut self.watched {
            (w.since, w.reported, w.worst) = (None, false, Worst::default());
        }
        self.engaged_before = 0;
        self.speed_before = [0.0; MAX_SHAFTS];
        self.findings.clear();
    }
}
