//! From a case with a finding to the smallest one that still has it: fewer faults, fewer
//! requests, a shorter and plainer drive, smaller and rounder values.

use super::case::Case;
use super::judged::Court;
use super::seed::rounded;
use super::world::World;
use crate::checkers::Finding;
use crate::drive::closed_loop::Setup;
use crate::drive::driver::Wish;
use crate::drive::faults::Injected;
use crate::drive::scenario::words::words;

/// Runs that shrinking one case may take.
const MOST_RUNS: usize = 600;
/// Driven on after the finding, s.
const TAIL_S: f64 = 0.2;

struct Shrinking<'a> {
    court: Court<'a>,
    rule: &'a str,
    best: Case,
    finding: Finding,
    runs: usize,
}

/// The smallest case found that breaks the same rule, with what was found in it. `None` where the
/// case does not break that rule. `goes_on` may end it early: what was reached comes back.
pub fn shrink(
    world: &World,
    case: &Case,
    rule: &str,
    goes_on: &dyn Fn() -> bool,
) -> Option<(Case, Finding)> {
    let prepared = world.prepared().ok()?;
    let mut court = Court::new(world, &prepared);
    let finding = first(&mut court, case, rule)?;
    let mut s = Shrinking { court, rule, best: case.clone(), finding, runs: 1 };
    loop {
        let before = s.best.clone();
        for pass in [cut, fewer_faults, fewer_requests, plainer, smaller, earlier, rounder] {
            if s.runs >= MOST_RUNS || !goes_on() {
                return Some((s.best, s.finding));
            }
            pass(&mut s);
        }
        if s.best == before {
            return Some((s.best, s.finding));
        }
    }
}

fn first(court: &mut Court, case: &Case, rule: &str) -> Option<Finding> {
    court.judge(case).ok()?.findings.into_iter().find(|f| f.rule == rule)
}

impl Shrinking<'_> {
    /// Take a smaller setup if it still has the finding.
    fn try_setup(&mut self, setup: Setup) -> bool {
        if setup == self.best.setup || self.runs >= MOST_RUNS {
            return false;
        }
        self.runs += 1;
        let case = Case { setup, ..self.best.clone() };
        match first(&mut self.court, &case, self.rule) {
            Some(finding) => {
                (self.best, self.finding) = (case, finding);
                true
            }
            None => false,
        }
    }

    fn changed(&mut self, change: impl FnOnce(&mut Setup)) -> bool {
        let mut setup = self.best.setup.clone();
        change(&mut setup);
        self.try_setup(setup)
    }
}

fn cut(s: &mut Shrinking) {
    let end_s = rounded(s.finding.t_s + TAIL_S + 0.05, 10.0);
    if end_s < s.best.setup.duration_s {
        s.changed(|setup| {
            setup.duration_s = end_s;
            setup.faults.retain(|f| f.from_s < end_s);
            setup.requests.retain(|r| r.0 < end_s);
        });
    }
}

/// From the last to the first, so that those before keep their numbers.
fn fewer_faults(s: &mut Shrinking) {
    for i in (0..s.best.setup.faults.len()).rev() {
        s.changed(|setup| {
            setup.faults.remove(i);
        });
    }
}

fn fewer_requests(s: &mut Shrinking) {
    for i in (0..s.best.setup.requests.len()).rev() {
        s.changed(|setup| {
            setup.requests.remove(i);
        });
    }
}

fn plainer(s: &mut Shrinking) {
    for i in (0..s.best.setup.start_rises_k.len()).rev() {
        s.changed(|setup| {
            setup.start_rises_k.remove(i);
        });
    }
    s.changed(|setup| setup.grade.clear());
    s.changed(|setup| setup.grade.truncate(1));
    let start = s.best.setup.start_speed_kmh;
    s.changed(|setup| setup.wish = Wish::Speed(vec![(0.0, start)]));
    for i in (1..points(&s.best.setup.wish)).rev() {
        s.changed(|setup| match &mut setup.wish {
            Wish::Speed(points) | Wish::Pedal(points) => {
                points.remove(i);
            }
        });
    }
    let window = s.court.world().driveline().battery.as_ref().map(|b| b.charge_window);
    if let Some([low, high]) = window {
        s.changed(|setup| setup.start_charge = rounded(0.5 * (low + high), 100.0));
    }
}

fn points(wish: &Wish) -> usize {
    match wish {
        Wish::Speed(points) | Wish::Pedal(points) => points.len(),
    }
}

/// Faults that stay need one number less; values go half-way to what is sound.
fn smaller(s: &mut Shrinking) {
    for i in 0..s.best.setup.faults.len() {
        s.changed(|setup| setup.faults[i].to_s = f64::INFINITY);
        for _ in 0..8 {
            let Some(less) = halved(&s.best.setup.faults[i].fault) else { break };
            if !s.changed(|setup| setup.faults[i].fault = less) {
                break;
            }
        }
    }
}

/// Half of what is wrong; `None` for a fault without a value.
fn halved(fault: &Injected) -> Option<Injected> {
    words(fault)?.value?;
    let half = |value: f64, sound: f64| rounded(sound + 0.5 * (value - sound), 100.0);
    Some(match *fault {
        Injected::SlowClose(i, times) => Injected::SlowClose(i, half(times, 1.0)),
        Injected::SlowRelease(i, times) => Injected::SlowRelease(i, half(times, 1.0)),
        Injected::TorqueSlow(i, times) => Injected::TorqueSlow(i, half(times, 1.0)),
        Injected::ExtraDrag(i, nm) => Injected::ExtraDrag(i, half(nm, 0.0)),
        Injected::SensorBias(i, rpm) => Injected::SensorBias(i, half(rpm, 0.0)),
        Injected::SensorScale(i, factor) => Injected::SensorScale(i, half(factor, 1.0)),
        Injected::SensorNoise(i, rpm) => Injected::SensorNoise(i, half(rpm, 0.02)),
        Injected::SensorCoarse(i, rpm) => Injected::SensorCoarse(i, half(rpm, 0.02)),
        Injected::SensorLate(i, ms) => Injected::SensorLate(i, half(ms, 0.02)),
        Injected::SensorJitter(i, ms) => Injected::SensorJitter(i, half(ms, 0.02)),
        Injected::TorqueOffset(i, nm) => Injected::TorqueOffset(i, half(nm, 0.0)),
        Injected::TorqueScale(i, factor) => Injected::TorqueScale(i, half(factor, 1.0)),
        Injected::WheelSlip(share) => Injected::WheelSlip(half(share, 1.0)),
        Injected::TickJitter(most) if most > 1 => Injected::TickJitter(most / 2),
        _ => return None,
    })
}

/// Everything after the start comes sooner.
fn earlier(s: &mut Shrinking) {
    let setup = &s.best.setup;
    let requests = setup.requests.iter().map(|r| r.0).filter(|t| *t > 0.0);
    let first_s = requests.chain(setup.faults.iter().map(|f| f.from_s)).fold(f64::MAX, f64::min);
    if first_s == f64::MAX {
        return;
    }
    for share in [1.0, 0.5, 0.25] {
        let by = rounded(share * (first_s - 0.1).max(0.0), 100.0);
        let sooner = |t: f64| if t > 0.0 { rounded((t - by).max(0.0), 1000.0) } else { t };
        let moved = s.changed(|setup| {
            setup.requests.iter_mut().for_each(|r| r.0 = sooner(r.0));
            setup.requests.dedup_by(|b, a| a.0 == b.0);
            for fault in &mut setup.faults {
                (fault.from_s, fault.to_s) = (sooner(fault.from_s), sooner(fault.to_s));
            }
            setup.duration_s = rounded((setup.duration_s - by).max(0.1), 10.0);
        });
        if moved {
            return;
        }
    }
}

fn rounder(s: &mut Shrinking) {
    for per in [0.1, 1.0] {
        s.changed(|setup| setup.start_speed_kmh = rounded(setup.start_speed_kmh, per));
    }
    let start = s.best.setup.start_speed_kmh;
    if let Wish::Speed(points) = &s.best.setup.wish
        && points.len() == 1
    {
        s.changed(|setup| setup.wish = Wish::Speed(vec![(0.0, start)]));
    }
    for i in 0..s.best.setup.start_rises_k.len() {
        s.changed(|setup| {
            let rise_k = &mut setup.start_rises_k[i].1;
            *rise_k = rounded(*rise_k, 0.1);
        });
    }
    for i in 0..s.best.setup.faults.len() {
        for per in [2.0, 10.0, 100.0] {
            let fault = s.best.setup.faults[i];
            let (from_s, to_s) = (rounded(fault.from_s, per), rounded(fault.to_s, per));
            if from_s < to_s && s.changed(|setup| setup.faults[i].from_s = from_s) {
                break;
            }
        }
    }
    for i in 0..s.best.setup.requests.len() {
        for per in [2.0, 10.0, 100.0] {
            let t_s = rounded(s.best.setup.requests[i].0, per);
            let list = &s.best.setup.requests;
            let fits = (i == 0 || list[i - 1].0 < t_s) && list.get(i + 1).is_none_or(|r| t_s < r.0);
            if fits && s.changed(|setup| setup.requests[i].0 = t_s) {
                break;
            }
        }
    }
}
