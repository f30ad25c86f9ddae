//! Walking a way of the table with exact speeds: what every shaft does at each step.

use supervisor::bits::MAX_SENSORS;
use supervisor::table::{Action, Duty, EngineNeed, Step, StepDuty, Stuck, Why};

use crate::driveline::{Driveline, EngineUse, LockKind};
use crate::exact::to_f64;
use crate::kinematics::{Kinematics, lock_row};
use crate::table::{RPM, TableData, synchronisers};

/// One step with its numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct StepExplained {
    /// Number in the table.
    pub number: u16,
    /// Lock set before it.
    pub from: u8,
    /// Slip of the lock before it, rpm.
    pub slip_rpm: f64,
    /// Machine that brings the slip to zero, and its speed before and after, rpm.
    pub sync: Option<(usize, f64, f64)>,
    /// Torque of each machine that takes the push over, Nm.
    pub takes_nm: Vec<(usize, f64)>,
    /// Estimated time, s.
    pub time_s: f64,
    /// Estimated time without push at the wheels, s.
    pub gap_s: f64,
    /// Estimated friction work, J.
    pub work_j: f64,
    /// Shaft speeds after it, rpm.
    pub speeds_rpm: Vec<f64>,
    /// Whether it waits for the engine to start.
    pub starts_engine: bool,
}

/// Why a way ends before its target.
#[derive(Clone, Debug, PartialEq)]
pub enum Blocked {
    /// The table has no step.
    NoWay(Why),
    /// The road speed is outside the window of the arrangement asked for (km/h).
    ArrangementSpeed {
        /// Lowest, km/h.
        min_kmh: f64,
        /// Highest, km/h.
        max_kmh: f64,
    },
    /// The road speed is outside the step's window (km/h).
    RoadSpeed {
        /// The step.
        step: u16,
        /// Lowest, km/h.
        min_kmh: f64,
        /// Highest, km/h.
        max_kmh: f64,
        /// Shaft that ends the window at the top.
        by: Option<String>,
    },
    /// A shaft would turn beyond its limits.
    Speed {
        /// The step.
        step: u16,
        /// The shaft or machine.
        what: String,
        /// Speed it would have, rpm.
        rpm: f64,
        /// Lowest allowed, rpm.
        min_rpm: f64,
        /// Highest allowed, rpm.
        max_rpm: f64,
    },
    /// The demand is more than can be handed over.
    Torque {
        /// The step.
        step: u16,
        /// Demand, Nm.
        demand_nm: f64,
        /// Largest, Nm.
        max_nm: f64,
        /// What limits it.
        by: Option<String>,
    },
}

/// A way, walked.
#[derive(Clone, Debug, PartialEq)]
pub struct Explained {
    /// Way number, 0 is the preferred one.
    pub way: u8,
    /// Steps that can be taken, in order.
    pub steps: Vec<StepExplained>,
    /// Why it ends before its target.
    pub blocked: Option<Blocked>,
}

impl Explained {
    /// Estimated time of all steps, s.
    pub fn time_s(&self) -> f64 {
        self.steps.iter().map(|s| s.time_s).sum()
    }

    /// Estimated time without push at the wheels, s.
    pub fn gap_s(&self) -> f64 {
        self.steps.iter().map(|s| s.gap_s).sum()
    }
}

/// Shaft speeds, rad/s, with the output and some shafts given; the rest as small as it can be
/// (least squares). Shafts in a lock set obey its exact motions.
pub fn speeds_in(d: &Driveline, k: &Kinematics, set: u8, given: &[(usize, f64)]) -> Vec<f64> {
    let basis: Vec<Vec<f64>> =
        k.set(set).basis.iter().map(|n| n.iter().map(to_f64).collect()).collect();
    let n = basis.len();
    // Normal equations with heavy weights on what is given.
    let mut a = vec![vec![0.0; n + 1]; n];
    let mut add = |row: &dyn Fn(usize) -> f64, value: f64, weight: f64| {
        for (i, line) in a.iter_mut().enumerate() {
            for (j, x) in line.iter_mut().enumerate() {
                let right = if j == n { value } else { row(j) };
                *x += weight * row(i) * right;
            }
        }
    };
    let small = (0..d.shafts.len()).map(|shaft| (shaft, 0.0, 1e-6));
    let wished = given.iter().map(|&(shaft, value)| (shaft, value, 1e6));
    for (shaft, value, weight) in small.chain(wished) {
        add(&|i| basis[i][shaft], value, weight);
    }
    let q = solve(a);
    (0..d.shafts.len()).map(|s| basis.iter().zip(&q).map(|(b, q)| b[s] * q).sum()).collect()
}

/// Gauss elimination with pivoting on an augmented matrix; unknowns without a pivot are zero.
fn solve(mut a: Vec<Vec<f64>>) -> Vec<f64> {
    let n = a.len();
    for col in 0..n {
        let pivot = (col..n).max_by(|&x, &y| a[x][col].abs().total_cmp(&a[y][col].abs()));
        let Some(pivot) = pivot.filter(|&p| a[p][col].abs() > 1e-12) else { continue };
        a.swap(col, pivot);
        let lead = a[col].clone();
        for (row, line) in a.iter_mut().enumerate() {
            if row != col {
                let factor = line[col] / lead[col];
                line.iter_mut().zip(&lead).for_each(|(x, l)| *x -= factor * l);
            }
        }
    }
    (0..n).map(|i| if a[i][i].abs() > 1e-12 { a[i][n] / a[i][i] } else { 0.0 }).collect()
}

/// Shaft speeds, rad/s, while an arrangement stands at an output speed (rad/s), by its duties.
pub fn arrangement_speeds(
    d: &Driveline,
    k: &Kinematics,
    data: &TableData,
    arrangement: usize,
    output: f64,
) -> Vec<f64> {
    let a = &data.arrangements[arrangement];
    let pace = f64::from(a.pace.per_output) * output;
    let pace = pace.clamp(f64::from(a.pace.min), f64::from(a.pace.max.max(a.pace.min)));
    let mut given = vec![(d.output.shaft, output)];
    for (machine, duty) in d.machines.iter().zip(&a.duties) {
        if let Duty::Hold { per_output, per_pace } = duty {
            let speed = f64::from(*per_output) * output + f64::from(*per_pace) * pace;
            given.push((machine.shaft, speed));
        }
    }
    speeds_in(d, k, a.closed.0, &given)
}

/// Walk one way from one arrangement to another at an output speed (rad/s) and demand (Nm).
pub fn explain_way(
    d: &Driveline,
    k: &Kinematics,
    data: &TableData,
    way: u8,
    (from, to): (usize, usize),
    (output, demand_nm): (f64, f64),
) -> Explained {
    let table = data.table();
    let mut speeds = arrangement_speeds(d, k, data, from, output);
    let mut engine = d.arrangements[from].engine == EngineUse::On;
    let mut set = data.arrangements[from].closed;
    let mut done = Explained { way, steps: Vec::new(), blocked: None };
    let window = &data.arrangements[to].window;
    let (min, max) = (f64::from(window.min), f64::from(window.max));
    if output < min || output > max {
        let per_kmh = d.output_radps_per_kmh().unwrap_or(1.0);
        let (min_kmh, max_kmh) = (min / per_kmh, max / per_kmh);
        done.blocked = Some(Blocked::ArrangementSpeed { min_kmh, max_kmh });
        return done;
    }
    for _ in 0..=data.sets.len() {
        let number = match table.next_step(way, Stuck::None, set, to as u8) {
            Ok(number) => number,
            Err(Why::Arrived) => return done,
            Err(why) => {
                done.blocked = Some(Blocked::NoWay(why));
                return done;
            }
        };
        let step = &data.steps[usize::from(number)];
        let starts_engine = step.engine == EngineNeed::Running && !engine;
        if starts_engine {
            start_engine(d, &mut speeds);
            engine = true;
        }
        let here = Here { d, k, data, step, number, output, demand_nm };
        match here.take(&mut speeds) {
            Ok(mut explained) => {
                if let (true, Some((_, e))) = (starts_engine, d.engine()) {
                    explained.time_s += e.start_ms / 1000.0;
                    explained.starts_engine = true;
                }
                done.steps.push(explained);
            }
            Err(blocked) => {
                done.blocked = Some(blocked);
                return done;
            }
        }
        set = set.with(step.lock, !set.has(step.lock));
    }
    done
}

/// The engine idles while it is not joined.
fn start_engine(d: &Driveline, speeds: &mut [f64]) {
    if let Some((m, engine)) = d.engine() {
        speeds[d.machines[m].shaft] = engine.idle_rpm * RPM;
    }
}

struct Here<'a> {
    d: &'a Driveline,
    k: &'a Kinematics,
    data: &'a TableData,
    step: &'a Step,
    number: u16,
    output: f64,
    demand_nm: f64,
}

impl Here<'_> {
    fn take(&self, speeds: &mut [f64]) -> Result<StepExplained, Blocked> {
        let (d, step) = (self.d, self.step);
        self.check_window()?;
        let lock = usize::from(step.lock);
        let slip_row: Vec<f64> = lock_row(d, lock).iter().map(to_f64).collect();
        let slip: f64 = slip_row.iter().zip(&*speeds).map(|(r, w)| r * w).sum();
        let mut explained = StepExplained {
            number: self.number,
            from: step.from.0,
            slip_rpm: slip / RPM,
            sync: None,
            takes_nm: Vec::new(),
            time_s: 0.0,
            gap_s: 0.0,
            work_j: 0.0,
            speeds_rpm: Vec::new(),
            starts_engine: false,
        };
        let dwell_s = d.timing.sync_dwell_ms / 1000.0;
        match step.action {
            Action::Close => {
                let moved_s = self.synchronise(speeds, slip, &mut explained)?;
                let (lock_s, work_j) = self.closing();
                explained.time_s = moved_s + dwell_s + lock_s;
                explained.work_j = work_j;
            }
            Action::Open => {
                self.check_demand()?;
                for (m, duty) in step.duties.iter().enumerate() {
                    if let StepDuty::Take { share } = duty {
                        explained.takes_nm.push((m, f64::from(*share) * self.demand_nm));
                    }
                }
                let unload_s = 0.05;
                explained.time_s = unload_s + dwell_s + d.locks[lock].release_ms / 1000.0;
            }
        }
        if !step.keeps_push {
            explained.gap_s = explained.time_s;
        }
        explained.speeds_rpm = speeds.iter().map(|w| w / RPM).collect();
        Ok(explained)
    }

    fn check_window(&self) -> Result<(), Blocked> {
        let window = &self.step.window;
        let (min, max) = (f64::from(window.min), f64::from(window.max));
        if min <= self.output && self.output <= max {
            return Ok(());
        }
        let per_kmh = self.d.output_radps_per_kmh().unwrap_or(1.0);
        Err(Blocked::RoadSpeed {
            step: self.number,
            min_kmh: min / per_kmh,
            max_kmh: max / per_kmh,
            by: self.data.notes[usize::from(self.number)].window_limit.clone(),
        })
    }

    fn check_demand(&self) -> Result<(), Blocked> {
        let max_nm = f64::from(self.step.demand_max);
        if self.demand_nm.abs() <= max_nm {
            return Ok(());
        }
        Err(Blocked::Torque {
            step: self.number,
            demand_nm: self.demand_nm,
            max_nm,
            by: self.data.notes[usize::from(self.number)].demand_limit.clone(),
        })
    }

    /// Move the synchronising machine; returns the time that takes, s.
    fn synchronise(
        &self,
        speeds: &mut [f64],
        slip: f64,
        explained: &mut StepExplained,
    ) -> Result<f64, Blocked> {
        self.check_demand()?;
        let d = self.d;
        let Some(machine) = self.data.notes[usize::from(self.number)].synchroniser else {
            return Ok(0.0);
        };
        let found = synchronisers(d, self.k, self.step.from.0, usize::from(self.step.lock));
        let Some(sync) = found.into_iter().find(|s| s.machine == machine) else {
            return Err(Blocked::NoWay(Why::NothingSynchronises));
        };
        let before = speeds[d.machines[machine].shaft];
        let change = -slip / to_f64(&sync.slip_per_speed);
        self.check_speeds(speeds, machine)?;
        for (speed, moved) in speeds.iter_mut().zip(&sync.motion) {
            *speed += change * to_f64(moved);
        }
        let after = speeds[d.machines[machine].shaft];
        explained.sync = Some((machine, before / RPM, after / RPM));
        Ok(change.abs() / (d.timing.sync_rate_max_rpm_per_s * RPM))
    }

    /// The board's own limit rows, fed with these speeds.
    fn check_speeds(&self, speeds: &[f64], machine: usize) -> Result<(), Blocked> {
        let sensed: Vec<f64> = self.d.sensors.iter().map(|s| speeds[s.shaft]).collect();
        let value = |row: &[f32; MAX_SENSORS]| -> f64 {
            row.iter().zip(&sensed).map(|(c, w)| f64::from(*c) * w).sum()
        };
        let step = self.step;
        let target = value(&step.target_row);
        let outside = |x: f64, min: f32, max: f32| x < f64::from(min) || x > f64::from(max);
        let blocked = |what: String, rpm: f64, min: f32, max: f32| Blocked::Speed {
            step: self.number,
            what,
            rpm: rpm / RPM,
            min_rpm: f64::from(min) / RPM,
            max_rpm: f64::from(max) / RPM,
        };
        if outside(target, step.target_min, step.target_max) {
            let name = self.d.machines[machine].name.clone();
            return Err(blocked(name, target, step.target_min, step.target_max));
        }
        let table = self.data.table();
        let shafts = &self.data.notes[usize::from(self.number)].limit_shafts;
        for (limit, &shaft) in table.limits_of(step).iter().zip(shafts) {
            let speed = value(&limit.row);
            if outside(speed, limit.min, limit.max) {
                let what = self.d.shafts[shaft].name.clone();
                return Err(blocked(what, speed, limit.min, limit.max));
            }
        }
        Ok(())
    }

    /// Time of the closing itself, s, and its friction work, J: the tightened slip limit taken
    /// as the slip left over, half of the ramp's torque.
    fn closing(&self) -> (f64, f64) {
        let lock = &self.d.locks[usize::from(self.step.lock)];
        match &lock.kind {
            LockKind::Friction(f) => {
                let left = f64::from(self.data.locks[usize::from(self.step.lock)].slip_max) * 0.25;
                let capacity = lock.capacity_nm.unwrap_or(0.0);
                let work = 0.5 * capacity * left * 0.1 * f.ramp_ms / 1000.0;
                ((lock.close_ms + f.ramp_ms) / 1000.0, work)
            }
            LockKind::Dog(_) => (lock.close_ms / 1000.0, 0.0),
        }
    }
}
