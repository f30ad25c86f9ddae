//! Road-speed windows: where every shaft can stay inside its limits, exactly.
//!
//! In one lock set the shaft speeds are a linear function of the free motions. The window is
//! the range of output speeds for which the free motions can be chosen so that no limit is
//! passed: two exact linear programmes, whose multipliers name the limits that end it.

use num_traits::{One, Signed, Zero};

use super::Kinematics;
use super::simplex::{Outcome, maximise};
use crate::driveline::{Driveline, Engine, EngineUse, MachineKind, ShaftId};
use crate::exact::{Q, Row, from_f64, to_f64};

/// What a speed limit comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LimitKind {
    /// Highest speed of the shaft.
    ShaftMax,
    /// Lowest (signed) speed of the shaft.
    ShaftMin,
    /// The running engine's idle speed.
    EngineIdle,
    /// The engine's highest speed.
    EngineMax,
    /// The engine never turns in reverse.
    EngineNoReverse,
    /// The vehicle's highest speed, forward or in reverse (converted to output rpm in f64: the
    /// tyre brings in pi, so this limit alone is not exact).
    VehicleMax,
    /// A speed that the question fixed.
    Asked,
}

/// One limit on the speed of one shaft.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limit {
    /// What it comes from.
    pub kind: LimitKind,
    /// The shaft it limits.
    pub shaft: ShaftId,
    /// The limit in rpm, signed.
    pub rpm: Q,
    /// Whether it limits from above; otherwise from below.
    pub upper: bool,
}

/// A limit that ends a window, and how strongly.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EndedBy {
    /// The limit.
    pub limit: Limit,
    /// Change of the end's output speed per rpm of change of the limit (never zero).
    pub output_per_limit: Q,
}

/// One end of a window.
#[derive(Clone, Debug, PartialEq)]
pub struct End {
    /// Output speed in rpm, signed; `None`: nothing limits it on this side.
    pub output_rpm: Option<Q>,
    /// Road speed in km/h; `None` without a limit, final drive or tyre.
    pub road_kmh: Option<f64>,
    /// Limits reached at this end, that together end it (fewest that prove it).
    pub ended_by: Vec<EndedBy>,
    /// Shaft speeds in rpm at this end, one choice of the free motions; empty without a limit.
    pub speeds_rpm: Row,
}

/// How the engine's shaft is tied in a lock set.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum EngineLink {
    /// There is no engine.
    Absent,
    /// It is held at zero.
    Held,
    /// It can turn or stand while the output and every electric machine do as they like.
    Alone,
    /// It is geared to other shafts; standing takes a machine that keeps it at rest.
    Joined,
    /// It turns with the output at this fixed ratio (engine per output).
    WithOutput(Q),
}

/// Output speeds at which every shaft can be inside its limits.
#[derive(Clone, Debug, PartialEq)]
pub struct Window {
    /// Closed locks.
    pub closed: u8,
    /// Whether the engine runs.
    pub engine: EngineUse,
    /// Lower (often reverse) end.
    pub low: End,
    /// Upper end.
    pub high: End,
    /// How the engine is tied; with the engine off, anything but `Absent` and `Alone` needs care.
    pub engine_link: EngineLink,
}

/// There is no output speed at all at which every limit is kept.
#[derive(Clone, Debug, PartialEq)]
pub struct NoWindow {
    /// Closed locks.
    pub closed: u8,
    /// Whether the engine runs.
    pub engine: EngineUse,
    /// Limits that contradict each other in this lock set.
    pub because: Vec<Limit>,
}

/// km/h of road speed per rpm of the output; `None` without final drive and tyre.
pub fn kmh_per_output_rpm(d: &Driveline) -> Option<f64> {
    Some(std::f64::consts::TAU / 60.0 / d.output_radps_per_kmh()?)
}

/// Windows of the named arrangements, in file order.
pub fn windows(d: &Driveline, k: &Kinematics) -> Vec<Result<Window, NoWindow>> {
    d.arrangements.iter().map(|a| find_window(d, k, a.closed, a.engine)).collect()
}

/// Window of any lock set; `None` when no output speed keeps every limit.
pub fn window_of(d: &Driveline, k: &Kinematics, closed: u8, engine: EngineUse) -> Option<Window> {
    find_window(d, k, closed, engine).ok()
}

/// Window of any lock set.
///
/// # Errors
/// [`NoWindow`] with the contradicting limits when no output speed keeps every limit.
pub fn find_window(
    d: &Driveline,
    k: &Kinematics,
    closed: u8,
    engine: EngineUse,
) -> Result<Window, NoWindow> {
    window_within(d, k, closed, engine, &Q::one())
}

/// Window of any lock set in which every shaft keeps within `share` (0 to 1) of its stated largest
/// speeds, forward and in reverse; limits of the engine and of the vehicle stand as they are.
///
/// # Errors
/// [`NoWindow`] with the contradicting limits when no output speed keeps every limit.
pub fn window_within(
    d: &Driveline,
    k: &Kinematics,
    closed: u8,
    engine: EngineUse,
    share: &Q,
) -> Result<Window, NoWindow> {
    let problem = Problem::new(k, closed, limits(d, engine, share));
    let end = |sign: Q| {
        problem.end(d, d.output.shaft, &sign).map_err(|because| NoWindow {
            closed,
            engine,
            because,
        })
    };
    let (low, high) = (end(-Q::one())?, end(Q::one())?);
    Ok(Window { closed, engine, low, high, engine_link: engine_link(d, k, closed) })
}

/// Range of the speed of `shaft` in rpm (`None`: no limit) while the output turns at
/// `output_rpm` and every limit is kept; `None` when that is impossible.
pub fn shaft_range(
    d: &Driveline,
    k: &Kinematics,
    closed: u8,
    engine: EngineUse,
    output_rpm: &Q,
    shaft: ShaftId,
) -> Option<(Option<Q>, Option<Q>)> {
    let asked = |upper| Limit {
        kind: LimitKind::Asked,
        shaft: d.output.shaft,
        rpm: output_rpm.clone(),
        upper,
    };
    let mut limits = limits(d, engine, &Q::one());
    limits.extend([asked(true), asked(false)]);
    let problem = Problem::new(k, closed, limits);
    let end =
        |sign: Q| problem.end(d, shaft, &sign).ok().map(|end| end.speeds_rpm.get(shaft).cloned());
    Some((end(-Q::one())?, end(Q::one())?))
}

/// How the engine (the first, if there are several) is tied in a lock set.
pub fn engine_link(d: &Driveline, k: &Kinematics, closed: u8) -> EngineLink {
    let Some((id, _)) = d.engine() else { return EngineLink::Absent };
    let shaft = d.machines[id].shaft;
    let set = k.set(closed);
    if set.held.contains(&shaft) {
        return EngineLink::Held;
    }
    if let Some(ratio) = &set.per_output[shaft] {
        return EngineLink::WithOutput(ratio.clone());
    }
    // The engine is alone when its speed is no combination of the others' speeds.
    let electric = d.machines.iter().filter(|m| matches!(m.kind, MachineKind::Electric(_)));
    let others = [d.output.shaft].into_iter().chain(electric.map(|m| m.shaft));
    let speeds = |s: ShaftId| -> Row { set.basis.iter().map(|motion| motion[s].clone()).collect() };
    let others = crate::exact::Matrix::new(set.mobility, others.map(speeds).collect());
    match others.combine_rows(&speeds(shaft)) {
        Some(_) => EngineLink::Joined,
        None => EngineLink::Alone,
    }
}

/// Every limit, the tightest one a shaft and side; the first named wins a tie. Of the shafts' stated
/// largest speeds only `share` counts.
fn limits(d: &Driveline, engine: EngineUse, share: &Q) -> Vec<Limit> {
    let mut all: Vec<Limit> = Vec::new();
    let mut add = |kind, shaft, rpm: Option<Q>, upper| {
        let Some(rpm) = rpm else { return };
        match all.iter_mut().find(|l| l.shaft == shaft && l.upper == upper) {
            Some(old) if (upper && rpm < old.rpm) || (!upper && rpm > old.rpm) => {
                *old = Limit { kind, shaft, rpm, upper };
            }
            Some(_) => {}
            None => all.push(Limit { kind, shaft, rpm, upper }),
        }
    };
    for (id, shaft) in d.shafts.iter().enumerate() {
        let min = shaft.min_rpm.or(shaft.max_rpm.map(|max| -max));
        let max = shaft.max_rpm.and_then(from_f64);
        let max = max.map(|rpm| if rpm.is_positive() { rpm * share } else { rpm });
        let min = min.and_then(from_f64);
        let min = min.map(|rpm| if rpm.is_negative() { rpm * share } else { rpm });
        add(LimitKind::ShaftMax, id, max, true);
        add(LimitKind::ShaftMin, id, min, false);
    }
    for machine in &d.machines {
        if let MachineKind::Engine(Engine { idle_rpm, max_rpm, .. }) = &machine.kind {
            let (kind, lowest) = match engine {
                EngineUse::On => (LimitKind::EngineIdle, from_f64(*idle_rpm)),
                EngineUse::Off | EngineUse::Either => (LimitKind::EngineNoReverse, Some(Q::zero())),
            };
            add(kind, machine.shaft, lowest, false);
            add(LimitKind::EngineMax, machine.shaft, from_f64(*max_rpm), true);
        }
    }
    if let (Some(vehicle), Some(kmh_per_rpm)) = (&d.vehicle, kmh_per_output_rpm(d)) {
        let rpm = from_f64(vehicle.max_speed_kmh / kmh_per_rpm.abs());
        add(LimitKind::VehicleMax, d.output.shaft, rpm.clone(), true);
        add(LimitKind::VehicleMax, d.output.shaft, rpm.map(|rpm| -rpm), false);
    }
    all
}

/// Limits of one lock set as rows over its free motions: `rows[i] . z <= bounds[i]`.
struct Problem<'a> {
    basis: &'a [Row],
    limits: Vec<Limit>,
    rows: Vec<Row>,
    bounds: Row,
}

impl<'a> Problem<'a> {
    fn new(k: &'a Kinematics, closed: u8, limits: Vec<Limit>) -> Problem<'a> {
        let basis = &k.set(closed).basis[..];
        let sign = |limit: &Limit| if limit.upper { Q::one() } else { -Q::one() };
        let rows = limits
            .iter()
            .map(|l| basis.iter().map(|motion| &motion[l.shaft] * sign(l)).collect())
            .collect();
        let bounds = limits.iter().map(|l| &l.rpm * sign(l)).collect();
        Problem { basis, limits, rows, bounds }
    }

    /// The end of the range of `sign` x speed of `shaft`; the limits in contradiction if there
    /// is no range.
    fn end(&self, d: &Driveline, shaft: ShaftId, sign: &Q) -> Result<End, Vec<Limit>> {
        let goal: Row = self.basis.iter().map(|motion| &motion[shaft] * sign).collect();
        let taking_part = |multipliers: &[Q]| -> Vec<(Limit, Q)> {
            let pairs = self.limits.iter().cloned().zip(multipliers.iter().cloned());
            pairs.filter(|(_, m)| !m.is_zero()).collect()
        };
        match maximise(&self.rows, &self.bounds, &goal) {
            Outcome::Nowhere { multipliers } => {
                Err(taking_part(&multipliers).into_iter().map(|(limit, _)| limit).collect())
            }
            Outcome::Unbounded => Ok(End {
                output_rpm: None,
                road_kmh: None,
                ended_by: Vec::new(),
                speeds_rpm: Vec::new(),
            }),
            Outcome::Best { value, point, multipliers } => {
                let output_rpm = value * sign;
                let ended_by = taking_part(&multipliers)
                    .into_iter()
                    .map(|(limit, m)| {
                        // The multiplier is per unit of the "at most" form on both sides.
                        let side = if limit.upper == sign.is_positive() { m } else { -m };
                        EndedBy { limit, output_per_limit: side }
                    })
                    .collect();
                let road_kmh = kmh_per_output_rpm(d).map(|kmh| to_f64(&output_rpm) * kmh);
                let speeds_rpm = self.speeds(&point, d.shafts.len());
                Ok(End { output_rpm: Some(output_rpm), road_kmh, ended_by, speeds_rpm })
            }
        }
    }

    fn speeds(&self, point: &[Q], shafts: usize) -> Row {
        let mut speeds = vec![Q::zero(); shafts];
        for (motion, share) in self.basis.iter().zip(point) {
            for (speed, m) in speeds.iter_mut().zip(motion) {
                *speed += m * share;
            }
        }
        speeds
    }
}
