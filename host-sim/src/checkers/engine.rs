//! `SW-ENGINE`: the engine is never turned backwards and never stalled by us.

use supervisor::io::LockOrder;

use super::reaction_s;
use super::{Checker, Finding, Findings, LockSets, Margin, RPM, TickTruth, Worst};
use crate::driveline::{Driveline, Lock, ShaftId};

const RULE: &str = "SW-ENGINE";

/// An open lock drags by a fault when it drags so many times as much as a sound one.
const DRAG_TIMES: f64 = 3.0;

/// What was seen of the engine.
#[derive(Clone, Copy, Debug, Default)]
struct Seen {
    ran: bool,
    backwards: bool,
    /// To what a fault has turned it, rpm below zero, while it comes to rest by itself.
    left_rpm: Option<f64>,
    /// Since when a lock holds or lets go against its order by a fault alone, a machine's torque
    /// is wrong, and the wheels do not turn with the road: each its own time.
    acts_since_s: [Option<f64>; 3],
    /// Locks that stood, closed by order.
    stood: u8,
    /// When the drag of an open lock at its shaft was last made larger by a fault.
    dragged_s: Option<f64>,
    /// When its own torque was falsified last.
    own_s: Option<f64>,
    worst_back: Worst,
    lowest: Worst,
}

/// Watches the engine's shaft and whether it fires.
#[derive(Clone, Debug)]
pub struct EngineChecker {
    engine: Option<(ShaftId, f64)>,
    /// Locks that end at the engine's shaft.
    beside: Vec<usize>,
    /// Of each lock set whether gears and closed locks lead from the engine to the wheels.
    tied: Vec<bool>,
    /// Drag of each open lock without a fault, Nm.
    drag_nm: Vec<f64>,
    machine: usize,
    reaction_s: f64,
    rest_rpm: f64,
    seen: Seen,
    findings: Findings,
}

impl EngineChecker {
    /// For the engine of a driveline; without one it finds nothing.
    pub fn new(driveline: &Driveline) -> EngineChecker {
        let engine = driveline.engine().map(|(m, e)| (driveline.machines[m].shaft, e.stall_rpm));
        let at = engine.map(|(shaft, _)| shaft);
        let touches = |lock: &Lock| Some(lock.a) == at || at.is_some() && lock.b == at;
        let locks = driveline.locks.iter().enumerate();
        EngineChecker {
            engine,
            beside: locks.filter(|(_, lock)| touches(lock)).map(|(i, _)| i).collect(),
            drag_nm: driveline.locks.iter().map(|lock| lock.drag_nm).collect(),
            tied: tied_to_wheels(driveline),
            machine: driveline.engine().map_or(0, |(m, _)| m),
            reaction_s: reaction_s(driveline),
            rest_rpm: driveline.timing.rest_rpm,
            seen: Seen::default(),
            findings: Findings::default(),
        }
    }
}

/// Of each lock set whether gears and closed locks lead from the engine's shaft to the output.
fn tied_to_wheels(driveline: &Driveline) -> Vec<bool> {
    let sets = 0..1usize << driveline.locks.len();
    let Some((engine, _)) = driveline.engine() else { return sets.map(|_| false).collect() };
    let gears = driveline.planetaries.iter().map(|p| vec![p.sun, p.ring, p.carrier]);
    let gears: Vec<_> = gears.chain(driveline.gear_pairs.iter().map(|g| vec![g.a, g.b])).collect();
    sets.map(|set| {
        let closed = driveline.locks.iter().enumerate().filter(|(i, _)| set >> i & 1 == 1);
        let mut links = gears.clone();
        links.extend(closed.filter_map(|(_, lock)| Some(vec![lock.a, lock.b?])));
        let mut reached = vec![driveline.machines[engine].shaft];
        for _ in 0..driveline.shafts.len() {
            let near = links.iter().filter(|link| link.iter().any(|shaft| reached.contains(shaft)));
            let near: Vec<ShaftId> = near.flatten().copied().collect();
            reached.extend(near);
            reached.sort_unstable();
            reached.dedup();
        }
        reached.contains(&driveline.output.shaft)
    })
    .collect()
}

impl EngineChecker {
    /// A lock that a fault presses or lets go against its order cannot be kept out, or in, nor a
    /// torque that a machine gives wrongly, nor wheels that lose their grip: what they do to the engine
    /// must be over within the reaction time. The drag that a fault gives an open lock at the engine's
    /// own shaft is nobody's to take away.
    fn is_excused(&mut self, truth: &TickTruth, sets: &LockSets) -> bool {
        // Plates that a fault lets drag pull as suddenly as those that it presses.
        let drags_hard = |i: usize, nm: f64| nm.abs() > DRAG_TIMES * self.drag_nm[i];
        let seen = &mut self.seen;
        // Tyres that carry less than the weight always slide a little.
        let slides = truth.wheel_slip_radps.abs() > self.rest_rpm * RPM;
        let [mut acts, wrong] = [false, truth.faults.machine_acts];
        if !truth.has_actuator_fault_of(u8::MAX) {
            // Then of all that follows only this is left.
            acts |= sets.pressed != 0;
            seen.stood = (seen.stood | sets.sticking) & sets.ordered_closed;
            return self.is_recent(truth.t_s, [acts, wrong, slides]);
        }
        for (i, lock) in truth.locks.iter().take(self.drag_nm.len()).enumerate() {
            let faulty = truth.has_actuator_fault(i);
            acts |= match lock.engaged {
                true => lock.forced,
                false => faulty && drags_hard(i, lock.torque_nm),
            };
            let bit = 1u8 << i;
            match (lock.order == LockOrder::Close, lock.sticking) {
                (false, _) => seen.stood &= !bit,
                (true, true) => seen.stood |= bit,
                (true, false) => acts |= faulty && seen.stood & bit != 0,
            }
        }
        let drags = |i: &usize| truth.has_actuator_fault(*i) && !truth.locks[*i].engaged;
        if self.beside.iter().any(drags) {
            seen.dragged_s = Some(truth.t_s);
        }
        self.is_recent(truth.t_s, [acts, wrong, slides])
    }

    /// Whether something that `acts` now, or did, or a drag, began so lately that it excuses.
    #[inline]
    fn is_recent(&mut self, t_s: f64, acts: [bool; 3]) -> bool {
        let seen = &mut self.seen;
        // What it has turned the engine to takes time to pass as well.
        let mut recent = seen.dragged_s.is_some_and(|s| t_s - s <= self.reaction_s);
        for (acts, since_s) in acts.into_iter().zip(&mut seen.acts_since_s) {
            if acts && since_s.is_none() {
                *since_s = Some(t_s);
            }
            let still = since_s.is_some_and(|s| t_s - s <= self.reaction_s);
            if !acts && !still {
                *since_s = None;
            }
            recent |= still;
        }
        recent
    }
}

impl Checker for EngineChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, sets: &LockSets) {
        let Some((shaft, stall_rpm)) = self.engine else { return };
        let rpm = truth.speed_radps[shaft] / RPM;
        let excused = self.is_excused(truth, sets);
        let seen = &mut self.seen;
        let turns = rpm < -self.rest_rpm;
        // A flywheel that a fault has turned backwards needs time to stand when the wheels turn it no more.
        let free = !self.tied[usize::from(sets.engaged)];
        let falls = turns && (excused || free && seen.left_rpm.is_some_and(|left| rpm >= left));
        seen.left_rpm = falls.then_some(rpm);
        let backwards = turns && !falls;
        if !excused && !falls {
            seen.worst_back.see(-rpm, truth.t_s);
        }
        if backwards && !seen.backwards {
            let text = format!("the engine was turned backwards at {rpm:.0} rpm");
            self.findings.add(RULE, truth.t_s, text);
        }
        seen.backwards = backwards;
        if truth.engine_running && truth.engine_run_order && !excused {
            seen.lowest.see(-rpm, truth.t_s);
        }
        let stopped = seen.ran && !truth.engine_running;
        // An engine whose own torque is falsified is not stalled by anything else; nor by what that leaves.
        if truth.faults.machines >> self.machine & 1 == 1 {
            seen.own_s = Some(truth.t_s);
        }
        let own = seen.own_s.is_some_and(|s| truth.t_s - s <= self.reaction_s);
        if stopped && truth.engine_run_order && !truth.engine_fault && !own && !excused {
            let text = format!(
                "the engine stalled at {rpm:.0} rpm (it stalls below {stall_rpm:.0} rpm) although \
                 it was to run"
            );
            self.findings.add(RULE, truth.t_s, text);
        }
        seen.ran = truth.engine_running;
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let Some((_, stall_rpm)) = self.engine else { return Vec::new() };
        let back =
            self.seen.worst_back.margin_if_positive(RULE, "engine backwards", self.rest_rpm, "rpm");
        let low = self.seen.lowest.margin(RULE, "engine while it is to run", stall_rpm, "rpm");
        let low = low.map(|m| Margin { worst: -m.worst, at_least: true, ..m });
        back.into_iter().chain(low).collect()
    }

    fn reset(&mut self) {
        self.seen = Seen::default();
        self.findings.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The second method looks at each lock: a fault of a lock that does not exist makes it so.
        #[test]
        fn without_a_fault_of_an_actuator_the_sets_say_all(
            ticks in prop::collection::vec((any::<[u8; 4]>(), 0..6u8), 1..60),
        ) {
            let text = crate::driveline::demo("shuttle").expect("an embedded demo");
            let driveline = crate::driveline::parse("shuttle", text).expect("a valid file").driveline;
            let locks = driveline.locks.len();
            let mut by_sets = EngineChecker::new(&driveline);
            let mut by_each = by_sets.clone();
            for (tick, (bits, machines)) in ticks.into_iter().enumerate() {
                let mut truth = TickTruth { t_s: tick as f64 * 0.1, dt_s: 0.1, ..TickTruth::default() };
                truth.faults.machine_acts = machines / 5 == 1;
                for (i, lock) in truth.locks.iter_mut().enumerate().take(locks) {
                    let [ordered, sticking, engaged, forced] = bits.map(|set| set >> i & 1 == 1);
                    lock.order = if ordered { LockOrder::Close } else { LockOrder::Prefill };
                    (lock.sticking, lock.engaged, lock.forced) = (sticking, engaged, forced);
                }
                let excused = by_sets.is_excused(&truth, &truth.lock_sets());
                truth.faults.actuators = 1 << locks;
                prop_assert_eq!(excused, by_each.is_excused(&truth, &truth.lock_sets()));
                prop_assert_eq!(format!("{:?}", by_sets.seen), format!("{:?}", by_each.seen));
            }
        }
    }
}
