//! Truths made by hand, tick by tick, for the judges: no supervisor and no plant is asked.

use host_sim::checkers::{Finding, Judges, LockTruth, TickTruth};
use host_sim::driveline::{self, Driveline};
use host_sim::kinematics;
use supervisor::io::LockOrder;

/// Rad/s per rpm.
pub const RPM: f64 = std::f64::consts::PI / 30.0;
/// Length of a tick, s.
pub const DT: f64 = 0.001;

/// A sequence of truths under construction: what does not change stays as it was.
pub struct Story {
    /// The driveline that it happens on.
    pub driveline: Driveline,
    /// What the next tick will be.
    pub now: TickTruth,
    /// The ticks so far.
    pub all: Vec<TickTruth>,
}

impl Story {
    /// Nothing has happened yet on the demo of this name.
    pub fn new(name: &str) -> Story {
        let text = driveline::demo(name).expect("an embedded demo");
        let driveline = driveline::parse(name, text).expect("demos are valid").driveline;
        let now = TickTruth { dt_s: DT, ..TickTruth::default() };
        Story { driveline, now, all: Vec::new() }
    }

    /// A shaft turns at this speed.
    pub fn speed(&mut self, shaft: usize, rpm: f64) -> &mut Story {
        self.now.speed_radps[shaft] = rpm * RPM;
        self
    }

    /// A lock closes at this slip.
    pub fn close(&mut self, lock: usize, slip_rpm: f64) -> &mut Story {
        let l = &mut self.now.locks[lock];
        *l = LockTruth {
            engaged: true,
            sticking: slip_rpm == 0.0,
            slip_radps: slip_rpm * RPM,
            closed_at_radps: Some(slip_rpm * RPM),
            order: LockOrder::Close,
            ..*l
        };
        self
    }

    /// A lock is ordered open and is.
    pub fn open(&mut self, lock: usize) -> &mut Story {
        let l = &mut self.now.locks[lock];
        *l = LockTruth { engaged: false, sticking: false, order: LockOrder::Open, ..*l };
        self
    }

    /// Time passes.
    pub fn wait(&mut self, seconds: f64) -> &mut Story {
        for _ in 0..(seconds / DT).round() as usize {
            self.now.t_s += DT;
            self.all.push(self.now);
            self.now.reset = false;
            for lock in &mut self.now.locks {
                lock.closed_at_radps = None;
            }
        }
        self
    }

    /// Let `lock` slip and take `kj` of friction work within `seconds`.
    pub fn rub(&mut self, lock: usize, kj: f64, seconds: f64) -> &mut Story {
        let ticks = (seconds / DT).round() as usize;
        for _ in 0..ticks {
            self.now.locks[lock].work_j += kj * 1e3 / ticks as f64;
            self.now.locks[lock].sticking = false;
            self.wait(DT);
        }
        self
    }

    /// What all judges find.
    pub fn judged(&self) -> Vec<Finding> {
        let k = kinematics::analyse(&self.driveline).expect("demos can move");
        let mut judges = Judges::new(&self.driveline, &k);
        self.all.iter().for_each(|truth| judges.observe(truth));
        judges.finish()
    }

    /// The rules that were broken, in order of time.
    pub fn rules(&self) -> Vec<&'static str> {
        let mut rules: Vec<_> = self.judged().iter().map(|f| f.rule).collect();
        rules.dedup();
        rules
    }
}
