//! The faults that are present in a tick: worked out when one of them begins or ends, not in every
//! tick, because most ticks of a campaign lie between.

use crate::checkers::FaultTruth;
use crate::drive::faults::{Injected, TimedFault, faults_at, present_mask};
use crate::drive::witness::fault_truth;
use crate::plant::{Faults, Suspects};

/// What a run has to know of its faults; right from one [`FaultsNow::come_to`] to the next.
#[derive(Clone, Debug)]
pub(super) struct FaultsNow {
    /// Nothing begins or ends before this time, s.
    until_s: f64,
    /// Which are present, bit `i` is the i-th.
    pub(super) mask: u32,
    /// The same as the judges see it, without resets.
    pub(super) truth: FaultTruth,
    /// The parts of the plant that have one.
    pub(super) suspects: Suspects,
    /// Whether one is present that takes ticks from the supervisor.
    pub(super) takes_ticks: bool,
    /// Whether something began or ended in this tick or the one before: a reset can be due then
    /// only. (Rounding of the tick's time may shift it by one.)
    pub(super) is_fresh: bool,
    was_fresh: bool,
}

impl Default for FaultsNow {
    fn default() -> FaultsNow {
        FaultsNow {
            until_s: f64::NEG_INFINITY,
            mask: 0,
            truth: FaultTruth::default(),
            suspects: Suspects::NONE,
            takes_ticks: false,
            is_fresh: false,
            was_fresh: false,
        }
    }
}

impl FaultsNow {
    /// The list says something else from now on.
    pub(super) fn forget(&mut self) {
        self.until_s = f64::NEG_INFINITY;
    }

    /// Come to the tick at `t_s`; times only rise. `faults` are those of the plant's inputs.
    #[inline]
    pub(super) fn come_to(&mut self, list: &[TimedFault], t_s: f64, faults: &mut Faults) {
        let changes = t_s >= self.until_s;
        self.is_fresh = changes || self.was_fresh;
        self.was_fresh = changes;
        if changes {
            self.work_out(list, t_s, faults);
        }
    }

    #[cold]
    fn work_out(&mut self, list: &[TimedFault], t_s: f64, faults: &mut Faults) {
        *faults = faults_at(list, t_s);
        self.mask = present_mask(list, t_s);
        self.suspects = Suspects::of(faults);
        let mut present = list.iter().filter(|f| f.is_present(t_s));
        self.truth = fault_truth(faults, present.clone().next().is_some());
        self.takes_ticks =
            present.any(|f| matches!(f.fault, Injected::TickMissed | Injected::TickJitter(_)));
        let ends = list.iter().flat_map(|f| [f.from_s, f.to_s]).filter(|at_s| *at_s > t_s);
        self.until_s = ends.fold(f64::INFINITY, f64::min);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drive::faults::reset_at;
    use proptest::prelude::*;

    const DT_S: f64 = 1e-3;

    fn fault() -> impl Strategy<Value = Injected> {
        prop_oneof![
            Just(Injected::SensorDropout(1)),
            Just(Injected::SlowClose(0, 3.0)),
            Just(Injected::TickMissed),
            Just(Injected::TickJitter(3)),
            Just(Injected::SupervisorReset),
            Just(Injected::SupplyDip),
            Just(Injected::SupplyColdDip),
            Just(Injected::WheelSlip(0.2)),
        ]
    }

    /// Times on and off the ticks, and faults that stay.
    fn timed() -> impl Strategy<Value = TimedFault> {
        let at = prop_oneof![(0u32..200).prop_map(|n| f64::from(n) * DT_S), 0.0..0.2f64];
        let lasts = prop_oneof![Just(f64::INFINITY), Just(0.0), Just(DT_S), 0.0..0.1f64];
        (at, lasts, fault()).prop_map(|(from_s, lasts_s, fault)| TimedFault {
            from_s,
            to_s: from_s + lasts_s,
            fault,
        })
    }

    proptest! {
        /// The second method is to look at every fault in every tick.
        #[test]
        fn what_is_kept_is_what_a_look_in_every_tick_finds(
            list in prop::collection::vec(timed(), 1..4),
        ) {
            let (mut now, mut kept) = (FaultsNow::default(), Faults::default());
            for tick in 0..320u64 {
                let t_s = tick as f64 * DT_S;
                now.come_to(&list, t_s, &mut kept);
                let any = list.iter().any(|f| f.is_present(t_s));
                prop_assert_eq!(kept, faults_at(&list, t_s));
                prop_assert_eq!(now.suspects, Suspects::of(&kept));
                prop_assert_eq!(now.mask, present_mask(&list, t_s));
                prop_assert_eq!(now.truth, fault_truth(&kept, any));
                let takes = |f: &TimedFault| {
                    matches!(f.fault, Injected::TickMissed | Injected::TickJitter(_))
                };
                let takes = list.iter().any(|f| f.is_present(t_s) && takes(f));
                prop_assert_eq!(now.takes_ticks, takes);
                prop_assert!(now.is_fresh || reset_at(&list, t_s, DT_S).is_none());
            }
        }
    }
}
