//! Every judge of one driveline together: made once, used for one run after the other.

use std::sync::Arc;

use super::{
    AlarmChecker, BeginChecker, ChatterChecker, Checker, ConflictChecker, DecelChecker,
    EnergyChecker, EngineChecker, Finding, GapChecker, HeatChecker, LoadChecker, Margin,
    MotionChecker, OverlapChecker, OverspeedChecker, ReactionChecker, RecoveryChecker,
    RequestChecker, SlipChecker, StatedChecker, TickTruth,
};
use crate::driveline::Driveline;
use crate::kinematics::Kinematics;

/// Lists the judges in one place: their order is the order of `review::RULES`.
macro_rules! judges {
    ($($name:ident: $kind:ty = $new:expr;)*) => {
        /// All judges. What they know of the driveline is shared between clones; a run leaves
        /// only small plain state, which [`Judges::reset`] takes back.
        #[derive(Clone, Debug)]
        pub struct Judges {
            /// How many locks there are.
            locks: usize,
            $($name: $kind,)*
        }

        impl Judges {
            /// All judges for one driveline. Costs far more than [`Judges::reset`].
            pub fn new(driveline: &Driveline, kinematics: &Kinematics) -> Judges {
                let driveline = Arc::new(driveline.clone());
                Judges { locks: driveline.locks.len(), $($name: $new(&driveline, kinematics),)* }
            }

            /// Look at one tick; ticks come in order of time.
            #[inline]
            pub fn observe(&mut self, truth: &TickTruth) {
                let sets = truth.lock_sets_of(self.locks);
                $(self.$name.look(truth, &sets);)*
            }

            /// All that was found, in order of time; call it once, after the last tick.
            pub fn finish(&mut self) -> Vec<Finding> {
                let mut found = Vec::new();
                $(found.append(&mut self.$name.finish());)*
                found.sort_by(|a, b| a.t_s.total_cmp(&b.t_s));
                found
            }

            /// How near the run came to the limits, in order of the rules.
            pub fn margins(&self) -> Vec<Margin> {
                let mut margins = Vec::new();
                $(margins.append(&mut self.$name.margins());)*
                margins
            }

            /// Forget the run: as new, for the next run of the same driveline.
            pub fn reset(&mut self) {
                $(self.$name.reset();)*
            }

            pub(super) fn into_list(self) -> Vec<Box<dyn Checker>> {
                vec![$(Box::new(self.$name),)*]
            }
        }
    };
}

judges! {
    conflict: ConflictChecker = ConflictChecker::new;
    slip: SlipChecker = |d, _| SlipChecker::new(d);
    energy: EnergyChecker = |d, _| EnergyChecker::new(d);
    overspeed: OverspeedChecker = |d, _| OverspeedChecker::new(d);
    overlap: OverlapChecker = OverlapChecker::new;
    engine: EngineChecker = |d, _| EngineChecker::new(d);
    stated: StatedChecker = |d, _| StatedChecker::new(d);
    request: RequestChecker = |d, _| RequestChecker::new(d);
    heat: HeatChecker = |d, _| HeatChecker::new(d);
    begin: BeginChecker = BeginChecker::new;
    load: LoadChecker = LoadChecker::new;
    gap: GapChecker = |d, _| GapChecker::new(d);
    motion: MotionChecker = |d, _| MotionChecker::new(d);
    decel: DecelChecker = |d, _| DecelChecker::new(d);
    chatter: ChatterChecker = |d, _| ChatterChecker::new(d);
    reaction: ReactionChecker = |d, _| ReactionChecker::new(d);
    recovery: RecoveryChecker = |d, _| RecoveryChecker::new(d);
    alarm: AlarmChecker = AlarmChecker::new;
}
