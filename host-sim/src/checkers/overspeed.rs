//! `SW-OVERSPEED`: every shaft stays within its speed limits; after a fault, within what it was
//! tested to bear.

use std::sync::Arc;

use super::{
    Checker, Finding, Findings, LockSets, MAX_SHAFTS, Margin, RPM, TickTruth, Worst, reaction_s,
};
use crate::driveline::{Driveline, Shaft};

const RULE: &str = "SW-OVERSPEED";

/// What is allowed of a shaft and what was seen of it, rad/s. Tested speeds are beyond the limits or the
/// same.
#[derive(Clone, Copy, Debug, Default)]
struct Watched {
    low: f64,
    high: f64,
    tested_low: f64,
    tested_high: f64,
    tested_s: f64,
    /// Time beyond the limits so far, with a fault to blame, s.
    beyond_s: f64,
    /// Beyond the limits with a fault to blame, in the tick before.
    borne: bool,
    /// Beyond what is allowed, in the tick before.
    beyond: bool,
    worst_up: Worst,
    worst_down: Worst,
    faulty_up: Worst,
    faulty_down: Worst,
}

/// Watches the true speed of every shaft with a limit.
#[derive(Clone, Debug)]
pub struct OverspeedChecker {
    driveline: Arc<Driveline>,
    count: usize,
    reaction_s: f64,
    /// When a fault was last present, s; before all time when none was.
    faulty_s: f64,
    watched: [Watched; MAX_SHAFTS],
    findings: Findings,
}

/// Lowest and highest allowed speed of a shaft, rpm.
fn limits_rpm(shaft: &Shaft) -> (f64, f64) {
    let high = shaft.max_rpm.unwrap_or(f64::INFINITY);
    (shaft.min_rpm.unwrap_or(-high), high)
}

/// Lowest and highest speed that it was shown to bear, rpm.
fn tested_rpm(shaft: &Shaft) -> (f64, f64) {
    let (low, high) = shaft.tested_limits_rpm();
    (low.unwrap_or(f64::NEG_INFINITY), high.unwrap_or(f64::INFINITY))
}

impl Watched {
    fn of(shaft: &Shaft) -> Watched {
        let ((low, high), (tested_low, tested_high)) = (limits_rpm(shaft), tested_rpm(shaft));
        Watched {
            low: low * RPM,
            high: high * RPM,
            tested_low: tested_low * RPM,
            tested_high: tested_high * RPM,
            tested_s: shaft.tested_s,
            ..Watched::default()
        }
    }

    /// Whether a shaft beyond its limits is beyond what is allowed of it; `faulty`: a fault may be to
    /// blame.
    fn is_beyond(&mut self, radps: f64, truth: &TickTruth, faulty: bool) -> bool {
        let bears = self.tested_high > self.high || self.tested_low < self.low;
        if !(bears && (faulty || self.borne)) {
            self.worst_up.see(radps, truth.t_s);
            self.worst_down.see(-radps, truth.t_s);
            return true;
        }
        self.borne = true;
        self.beyond_s += truth.dt_s;
        self.faulty_up.see(radps, truth.t_s);
        self.faulty_down.see(-radps, truth.t_s);
        !(self.tested_low..=self.tested_high).contains(&radps) || self.beyond_s > self.tested_s
    }

    fn forgotten(&self) -> Watched {
        let &Watched { low, high, tested_low, tested_high, tested_s, .. } = self;
        Watched { low, high, tested_low, tested_high, tested_s, ..Watched::default() }
    }
}

impl OverspeedChecker {
    /// For the shafts of a driveline.
    pub fn new(driveline: &Arc<Driveline>) -> OverspeedChecker {
        let count = driveline.shafts.len().min(MAX_SHAFTS);
        let mut watched = [Watched::default(); MAX_SHAFTS];
        for (w, shaft) in watched.iter_mut().zip(&driveline.shafts) {
            *w = Watched::of(shaft);
        }
        OverspeedChecker {
            driveline: driveline.clone(),
            count,
            reaction_s: reaction_s(driveline),
            faulty_s: f64::NEG_INFINITY,
            watched,
            findings: Findings::default(),
        }
    }

    #[cold]
    fn report(&mut self, s: usize, radps: f64, t_s: f64) {
        let (shaft, w) = (&self.driveline.shafts[s], &self.watched[s]);
        let (name, rpm, (low, high)) = (&shaft.name, radps / RPM, limits_rpm(shaft));
        let mut text =
            format!("{name} turned at {rpm:.0} rpm; allowed is {low:.0} to {high:.0} rpm");
        if w.borne && w.beyond_s > w.tested_s {
            text += &format!(", and it was beyond that for more than {} s in all", w.tested_s);
        } else if w.borne {
            let (low, high) = tested_rpm(shaft);
            text += &format!(", and tested was {low:.0} to {high:.0} rpm");
        }
        self.findings.add(RULE, t_s, text);
    }

    /// The margins of one shaft one way: the worst that no fault is to blame for, and the worst beyond the
    /// limits that one is.
    fn margins_one_way(&self, seen: [&Worst; 2], subject: &str, limits: [f64; 2]) -> Vec<Margin> {
        let in_rpm = |m: Margin| Margin { worst: m.worst / RPM, ..m };
        let faulty = format!("{subject} after a fault");
        let subjects = [subject, &faulty];
        let all = (0..2).filter(|i| limits[*i].is_finite());
        all.filter_map(|i| seen[i].margin_if_positive(RULE, subjects[i], limits[i], "rpm"))
            .map(in_rpm)
            .collect()
    }
}

impl Checker for OverspeedChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, _: &LockSets) {
        if truth.faults.any || truth.engine_fault {
            self.faulty_s = truth.t_s;
        }
        let faulty = truth.t_s - self.faulty_s <= self.reaction_s;
        for s in 0..self.count.min(MAX_SHAFTS) {
            let w = &mut self.watched[s];
            let radps = truth.speed_radps[s];
            if radps >= w.low && radps <= w.high {
                w.worst_up.see(radps, truth.t_s);
                w.worst_down.see(-radps, truth.t_s);
                (w.borne, w.beyond) = (false, false);
                continue;
            }
            let beyond = w.is_beyond(radps, truth, faulty);
            if beyond && !std::mem::replace(&mut w.beyond, beyond) {
                self.report(s, radps, truth.t_s);
            } else {
                w.beyond = beyond;
            }
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let mut margins = Vec::new();
        for (shaft, w) in self.driveline.shafts.iter().zip(&self.watched).take(self.count) {
            let ((low, high), tested) = (limits_rpm(shaft), tested_rpm(shaft));
            let up = [&w.worst_up, &w.faulty_up];
            margins.extend(self.margins_one_way(up, &shaft.name, [high, tested.1]));
            let (down, subject) =
                ([&w.worst_down, &w.faulty_down], format!("{} backwards", shaft.name));
            margins.extend(self.margins_one_way(down, &subject, [-low, -tested.0]));
        }
        margins
    }

    fn reset(&mut self) {
        self.faulty_s = f64::NEG_INFINITY;
        for w in &mut self.watched {
            *w = w.forgotten();
        }
        self.findings.clear();
    }
}
