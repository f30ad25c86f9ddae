//! For tests: a small table of two locks that conflict, and guards that answer as they are told.

use std::vec;
use std::vec::Vec;

use crate::bits::{Bits, MAX_MACHINES, MAX_SENSORS};
use crate::guards::{Guards, SlipBits};
use crate::io::{Inputs, LockReport, Speed, Torque};
use crate::table::*;

/// Every combination is tried, but under Miri, which runs some hundred times slower, only every
/// 61st: a prime, so that each bit of a counter still takes both values.
pub(crate) const STRIDE: usize = if cfg!(miri) { 61 } else { 1 };

/// So many stories of random inputs are told; under Miri a hundredth of them, and not none.
pub(crate) const fn stories(many: u32) -> u32 {
    if cfg!(miri) { many.div_ceil(100) } else { many }
}

/// So many ticks a story lasts; under Miri a tenth.
pub(crate) const fn ticks(many: u32) -> u32 {
    if cfg!(miri) { many.div_ceil(10) } else { many }
}

/// A friction lock (0) and a dog (1) that may not both be closed; arrangements 0 and 1 hold
/// the one and the other. Sensors 0 and 1 read the slips, 2 the output, 3 the sum of 0 and 1.
pub(crate) struct Owned {
    pub(crate) locks: Vec<Lock>,
    pub(crate) sensors: Vec<Sensor>,
    pub(crate) rests: Vec<Rest>,
    pub(crate) parities: Vec<Parity>,
    pub(crate) conflicts: Vec<Conflict>,
    pub(crate) overlaps: Vec<Overlap>,
    pub(crate) arrangements: Vec<Arrangement>,
    pub(crate) sets: Vec<Set>,
    pub(crate) steps: Vec<Step>,
    pub(crate) limits: Vec<Limit>,
    pub(crate) next: Vec<u16>,
    pub(crate) timing: Timing,
    pub(crate) format: u16,
    pub(crate) output: usize,
}

pub(crate) const WIDE: Window = Window { min: -1000.0, max: 1000.0 };

pub(crate) fn unit(sensor: usize) -> SpeedRow {
    let mut row = [0.0; MAX_SENSORS];
    row[sensor] = 1.0;
    row
}

fn lock(sensor: usize, dog: bool) -> Lock {
    Lock {
        slip_row: unit(sensor),
        sensors: Bits::one(sensor as u8),
        slip_max: 4.0,
        begin_max: 2.0,
        moving_min: 1.0,
        rate_max: 1.0,
        dog,
        has_switch: true,
        close_ticks: 5,
        close_timeout: 20,
        release_ticks: 4,
        release_timeout: 15,
        heat_k_per_radps_tick: if dog { 0.0 } else { 0.01 },
        drag_k_per_radps_tick: if dog { 0.0 } else { 0.0001 },
        cooling_ticks: if dog { 0.0 } else { 1000.0 },
        rise_max_k: if dog { 0.0 } else { 50.0 },
    }
}

pub(crate) fn step(from: Bits, lock: u8, action: Action) -> Step {
    Step {
        from,
        lock,
        action,
        keeps_push: false,
        engine: EngineNeed::Any,
        duties: [StepDuty::Sync, StepDuty::Unload, StepDuty::Free, StepDuty::Free],
        target_row: unit(2),
        target_offset: 0.0,
        target_min: -500.0,
        target_max: 500.0,
        sensors: Bits(0b0111),
        load_row: [1.0, 0.0, 0.0, 0.0],
        load_max: 5.0,
        demand_max: 100.0,
        window: WIDE,
        rest: Bits::EMPTY,
        limits_from: 0,
        limits_count: 1,
    }
}

fn arrangement(closed: Bits, engine: EngineUse) -> Arrangement {
    Arrangement {
        closed,
        engine,
        duties: [Duty::Free; MAX_MACHINES],
        pace: Pace::default(),
        window: WIDE,
        keep: WIDE,
    }
}

impl Owned {
    pub(crate) fn new() -> Owned {
        let (a, b) = (Bits::one(0), Bits::one(1));
        let steps = vec![
            step(a, 0, Action::Open),
            step(Bits::EMPTY, 1, Action::Close),
            step(b, 1, Action::Open),
            step(Bits::EMPTY, 0, Action::Close),
        ];
        let no = |why: Why| NO_STEP | why as u16;
        let mut next = Vec::new();
        for way in 0..WAYS {
            for stuck in
                [None, Some((0, true)), Some((1, true)), Some((0, false)), Some((1, false))]
            {
                for set in 0..4u8 {
                    for target in 0..2u8 {
                        let wanted = Bits::one(target);
                        let step = match set {
                            _ if way > 0 => no(Why::NoOtherWay),
                            _ if Bits(set) == wanted => no(Why::Arrived),
                            0 if stuck == Some((target, true)) => no(Why::Stuck),
                            0 => {
                                if target == 0 {
                                    3
                                } else {
                                    1
                                }
                            }
                            3 => no(Why::Conflict),
                            _ if stuck == Some((1 - target, false)) => no(Why::Stuck),
                            1 => 0,
                            _ => 2,
                        };
                        next.push(step);
                    }
                }
            }
        }
        let set = |drives, fallback| Set {
            drives,
            engine_joined: false,
            engine_geared: false,
            held_machines: Bits::EMPTY,
            fallback,
        };
        let mut sum = [0.0; MAX_SENSORS];
        sum[..4].copy_from_slice(&[1.0, 1.0, 0.0, -1.0]);
        Owned {
            locks: vec![lock(0, false), lock(1, true)],
            sensors: vec![Sensor { range: 1000.0, allowed: Window { min: -800.0, max: 800.0 } }; 4],
            rests: vec![Rest { row: unit(2), sensors: Bits::one(2), max: 0.5 }; 2],
            parities: vec![Parity { row: sum, sensors: Bits(0b1011), max: 0.5 }],
            conflicts: vec![Conflict { locks: a.or(b), release_first: 1 }],
            overlaps: Vec::new(),
            arrangements: vec![arrangement(a, EngineUse::Off), arrangement(b, EngineUse::Off)],
            sets: vec![set(false, 0), set(true, 0), set(true, 1), set(false, 0)],
            steps,
            limits: vec![Limit { row: unit(2), min: -600.0, max: 600.0 }],
            next,
            timing: Timing {
                tick_s: 0.001,
                dwell: 3,
                sync_timeout: 40,
                unload_timeout: 30,
                overlap_max: 50,
                min_stay: 10,
                request_dwell: 4,
                retry_wait: 6,
                debounce: 3,
                rate_ticks: 4,
                react: 8,
                engine_timeout: 60,
                retries: 2,
            },
            format: TABLE_FORMAT,
            output: 2,
        }
    }

    pub(crate) fn table(&self) -> Table<'_> {
        Table {
            format: self.format,
            hash: 0,
            engine: (self.rests.len() > 1).then_some(1),
            output_row: unit(self.output),
            output_sensors: Bits::one(self.output as u8),
            engine_min: 0.0,
            output_rate_max: 2.0,
            timing: self.timing,
            sensors: &self.sensors,
            locks: &self.locks,
            rests: &self.rests,
            parities: &self.parities,
            conflicts: &self.conflicts,
            overlaps: &self.overlaps,
            arrangements: &self.arrangements,
            sets: &self.sets,
            steps: &self.steps,
            limits: &self.limits,
            next: &self.next,
        }
    }

    /// The table with its hash, which only the start of a firmware looks at.
    pub(crate) fn hashed_table(&self) -> Table<'_> {
        let table = self.table();
        Table { hash: crate::hash::table_hash(&table), ..table }
    }
}

/// Healthy inputs: these slips, this output speed, switches as told, no torque.
pub(crate) fn inputs(slips: [f32; 2], output: f32, reports: [LockReport; 2]) -> Inputs {
    let mut inputs = Inputs::default();
    let speeds = [slips[0], slips[1], output, slips[0] + slips[1]];
    for (slot, radps) in inputs.speeds.iter_mut().zip(speeds) {
        *slot = Speed { radps, valid: true };
    }
    inputs.reports[..2].copy_from_slice(&reports);
    inputs.torques = [Torque { nm: 0.0, valid: true }; MAX_MACHINES];
    inputs
}

/// Guards with every answer set by hand; the default permits everything at zero slip.
#[derive(Clone, Copy)]
pub(crate) struct Told {
    pub(crate) slip: [SlipBits; 8],
    pub(crate) report: [LockReport; 8],
    pub(crate) plausible: bool,
    /// How often `plausible` was asked: the first question about a step.
    pub(crate) asked: u32,
    pub(crate) at_rest: bool,
    pub(crate) unloaded: bool,
    pub(crate) arrangement_in_window: bool,
    pub(crate) may_stay: bool,
    pub(crate) in_window: bool,
    pub(crate) target_allowed: bool,
    pub(crate) demand_within: bool,
    pub(crate) cool: bool,
    pub(crate) calm: bool,
    pub(crate) engine_running: bool,
    pub(crate) engine_endangered: bool,
    pub(crate) request: Option<u8>,
}

pub(crate) const READY: SlipBits =
    SlipBits { known: true, within: true, near: true, steady: true, moving: false };
pub(crate) const APART: SlipBits =
    SlipBits { known: true, within: false, near: false, steady: true, moving: true };
pub(crate) const UNKNOWN: SlipBits =
    SlipBits { known: false, within: false, near: false, steady: false, moving: false };

impl Default for Told {
    fn default() -> Told {
        Told {
            slip: [READY; 8],
            report: [LockReport::Open; 8],
            plausible: true,
            asked: 0,
            at_rest: true,
            unloaded: true,
            arrangement_in_window: true,
            may_stay: true,
            in_window: true,
            target_allowed: true,
            demand_within: true,
            cool: true,
            calm: true,
            engine_running: true,
            engine_endangered: false,
            request: None,
        }
    }
}

impl Guards for Told {
    fn slip(&mut self, lock: u8) -> SlipBits {
        self.slip[usize::from(lock)]
    }
    fn report(&mut self, lock: u8) -> LockReport {
        self.report[usize::from(lock)]
    }
    fn plausible(&mut self, _: Bits) -> bool {
        self.asked += 1;
        self.plausible
    }
    fn at_rest(&mut self, _: Bits) -> bool {
        self.at_rest
    }
    fn unloaded(&mut self, _: u16) -> bool {
        self.unloaded
    }
    fn arrangement_in_window(&mut self, _: u8) -> bool {
        self.arrangement_in_window
    }
    fn arrangement_may_stay(&mut self, _: u8) -> bool {
        self.arrangement_in_window && self.may_stay
    }
    fn in_window(&mut self, _: u16) -> bool {
        self.in_window
    }
    fn target_allowed(&mut self, _: u16) -> bool {
        self.target_allowed
    }
    fn demand_within(&mut self, _: u16) -> bool {
        self.demand_within
    }
    fn cool(&mut self, _: u8) -> bool {
        self.cool
    }
    fn calm(&mut self) -> bool {
        self.calm
    }
    fn engine_running(&mut self) -> bool {
        self.engine_running
    }
    fn engine_endangered(&mut self) -> bool {
        self.engine_endangered
    }
    fn request(&mut self) -> Option<u8> {
        self.request
    }
}
