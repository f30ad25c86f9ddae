//! The true road-speed window of a lock set, proved by two motions.
//!
//! The ends come from the kinematics' linear programmes; here they are only believed with a
//! witness: at each end a motion of the lock set that keeps every shaft inside its limits. Motions
//! and limits are convex, so between two witnesses every output speed can be driven.

use num_traits::{One, Signed, Zero};

use crate::driveline::{EngineUse, MachineKind};
use crate::exact::{Q, Row, dot, ratio};
use crate::kinematics::{gear_rows, lock_row, window_within};

use super::context::Context;
use super::numbers::{exact, radps_above, radps_below};

/// Output speeds at which every limit can be kept, rad/s; `None` at an end: nothing limits it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct TrueWindow {
    pub low: Option<Q>,
    pub high: Option<Q>,
}

/// The true window; `None` when no output speed keeps every limit, or a witness is false.
pub(super) fn true_window(context: &Context, set: u8, engine_runs: bool) -> Option<TrueWindow> {
    if let Some(known) = context.windows.borrow().get(&(set, engine_runs)) {
        return known.clone();
    }
    let found = find(context, set, engine_runs, &Q::one());
    context.windows.borrow_mut().insert((set, engine_runs), found.clone());
    found
}

/// The true window in which every shaft keeps within 97 % of its largest speeds: where an
/// arrangement may stay, a fault finds room to be met.
pub(super) fn staying_window(context: &Context, set: u8, engine_runs: bool) -> Option<TrueWindow> {
    find(context, set, engine_runs, &speed_share())
}

fn find(context: &Context, set: u8, engine_runs: bool, share: &Q) -> Option<TrueWindow> {
    let engine = if engine_runs { EngineUse::On } else { EngineUse::Either };
    let window = window_within(context.d, context.k, set, engine, share).ok()?;
    let end = |end: &crate::kinematics::End| -> Result<Option<Q>, ()> {
        let Some(rpm) = &end.output_rpm else { return Ok(None) };
        let witness = &end.speeds_rpm;
        let moves = witness.len() == context.d.shafts.len() && is_motion(context, set, witness);
        let fits = moves && witness[context.d.output.shaft] == *rpm;
        if fits && keeps_limits(context, witness, engine_runs, share) {
            Ok(Some(rpm.clone()))
        } else {
            Err(())
        }
    };
    let (low, high) = (end(&window.low).ok()?, end(&window.high).ok()?);
    Some(TrueWindow {
        low: low.map(|rpm| radps_above(&rpm)),
        high: high.map(|rpm| radps_below(&rpm)),
    })
}

fn is_motion(context: &Context, set: u8, speeds: &Row) -> bool {
    let gears = gear_rows(context.d);
    let locks = (0..context.d.locks.len()).filter(|l| set >> l & 1 == 1);
    gears.rows().iter().all(|row| dot(row, speeds).is_zero())
        && locks.into_iter().all(|l| dot(&lock_row(context.d, l), speeds).is_zero())
}

fn keeps_limits(context: &Context, speeds_rpm: &Row, engine_runs: bool, share: &Q) -> bool {
    (0..context.d.shafts.len()).all(|shaft| {
        let (low, high) = shared_limits_rpm(context, shaft, engine_runs, share);
        let speed = &speeds_rpm[shaft];
        low.is_none_or(|low| *speed >= low) && high.is_none_or(|high| *speed <= high)
    })
}

/// Lowest and highest speed to which a step may bring a shaft, rpm: beyond 97 % of a largest speed
/// the torque may be cut, and nobody would hold it there.
pub(super) fn step_limits_rpm(
    context: &Context,
    shaft: usize,
    engine_runs: bool,
) -> (Option<Q>, Option<Q>) {
    shared_limits_rpm(context, shaft, engine_runs, &speed_share())
}

fn speed_share() -> Q {
    ratio(97, 100)
}

/// An engine never turns in reverse and, where it runs, not below idle.
fn shared_limits_rpm(
    context: &Context,
    shaft: usize,
    engine_runs: bool,
    share: &Q,
) -> (Option<Q>, Option<Q>) {
    let data = &context.d.shafts[shaft];
    let least = data.min_rpm.or(data.max_rpm.map(|max| -max)).map(exact);
    let least = least.map(|rpm| if rpm.is_negative() { rpm * share } else { rpm });
    let most = data.max_rpm.map(exact);
    let most = most.map(|rpm| if rpm.is_positive() { rpm * share } else { rpm });
    let mut low: Vec<Q> = least.into_iter().collect();
    let mut high: Vec<Q> = most.into_iter().collect();
    for machine in context.d.machines.iter().filter(|m| m.shaft == shaft) {
        if let MachineKind::Engine(engine) = &machine.kind {
            low.push(exact(if engine_runs { engine.idle_rpm } else { 0.0 }));
            high.push(exact(engine.max_rpm));
        }
    }
    (low.into_iter().max(), high.into_iter().min())
}
