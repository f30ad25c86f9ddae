//! The closed loop over pins: between supervisor and plant stand valves and switches on pins, and
//! pins fail. The plant gets what the pins say, not what was ordered.

use std::cell::Cell;
use std::rc::Rc;

use embedded_hal::digital::{Error, ErrorKind, ErrorType, InputPin, OutputPin};
use host_sim::checkers::{Finding, Judges};
use host_sim::drive::closed_loop::{Run, Setup};
use host_sim::drive::driver::Wish;
use slipwarden_tests::demo::Demo;
use supervisor::board::switch::{Contact, Switch};
use supervisor::board::valve::{Active, AtRest, OnOff, Valve};
use supervisor::board::{BoardFaults, carry_out, read_switches};
use supervisor::io::{LockOrder, LockReport};
use supervisor::status::Status;
use supervisor::{Output, Supervisor};

/// A pin that works or not.
#[derive(Clone, Debug, Default)]
struct Pin {
    high: Rc<Cell<bool>>,
    fails: Rc<Cell<bool>>,
}

#[derive(Debug)]
struct Broken;

impl Error for Broken {
    fn kind(&self) -> ErrorKind {
        ErrorKind::Other
    }
}

impl ErrorType for Pin {
    type Error = Broken;
}

impl Pin {
    fn works<T>(&self, then: T) -> Result<T, Broken> {
        if self.fails.get() { Err(Broken) } else { Ok(then) }
    }
}

impl OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Broken> {
        self.works(()).inspect(|()| self.high.set(false))
    }

    fn set_high(&mut self) -> Result<(), Broken> {
        self.works(()).inspect(|()| self.high.set(true))
    }
}

impl InputPin for Pin {
    fn is_high(&mut self) -> Result<bool, Broken> {
        self.works(self.high.get())
    }

    fn is_low(&mut self) -> Result<bool, Broken> {
        self.works(!self.high.get())
    }
}

/// Six seconds at 30 km/h from the first arrangement; at 1 s the second is asked for.
fn setup() -> Setup {
    Setup {
        duration_s: 6.0,
        start_speed_kmh: 30.0,
        start_arrangement: Some(0),
        start_charge: 0.6,
        start_rises_k: Vec::new(),
        wish: Wish::Speed(vec![(0.0, 30.0)]),
        grade: Vec::new(),
        requests: vec![(1.0, 1)],
        faults: Vec::new(),
    }
}

/// What fails: a valve's pin or a switch's pin of a lock, from this time on.
#[derive(Clone, Copy, Debug)]
enum Fails {
    Nothing,
    Valve(usize, f64),
    Switch(usize, f64),
}

struct Told {
    end: Status,
    /// Locks that truly hold at the end.
    holds: u8,
    findings: Vec<Finding>,
    /// Seconds from the failed pin to the first tick that states a fault or refusal.
    said_after_s: Option<f64>,
    /// Closings that were ordered after the pin had failed.
    new_closings: usize,
}

fn drive(demo: &Demo, setup: &Setup, fails: Fails) -> Told {
    let table = demo.table.table();
    let mut run = Run::new(&demo.driveline, table, setup, 1).expect("it starts");
    let mut judges = Judges::new(&demo.driveline, &demo.kinematics);
    let mut supervisor = Supervisor::after_reset(run.first_trace());
    let valve_pins: Vec<Pin> = (0..table.locks.len()).map(|_| Pin::default()).collect();
    let switch_pins = valve_pins.iter().map(|_| Pin::default()).collect::<Vec<_>>();
    let on = |p: &Pin| OnOff::new(p.clone(), Active::High, AtRest::Open).expect("sound");
    let mut valves: Vec<_> = valve_pins.iter().map(on).collect();
    let contact = |p: &Pin| Contact::new(p.clone(), Active::High, 1);
    let mut switches: Vec<_> = switch_pins.iter().map(contact).collect();
    let mut failed = BoardFaults::default();
    let mut told = Told {
        end: Status::default(),
        holds: 0,
        findings: vec![],
        said_after_s: None,
        new_closings: 0,
    };
    let (mut ordered, mut tick) = ([LockOrder::Open; 8], 0u32);
    while let Some(call) = run.begin_tick() {
        let t_s = f64::from(tick) * f64::from(table.timing.tick_s);
        tick += 1;
        let since = match fails {
            Fails::Valve(lock, from) if t_s >= from => {
                valve_pins[lock].fails.set(true);
                Some(t_s - from)
            }
            Fails::Switch(lock, from) if t_s >= from => {
                switch_pins[lock].fails.set(true);
                Some(t_s - from)
            }
            _ => None,
        };
        let mut inputs = call.inputs;
        for (pin, report) in switch_pins.iter().zip(&inputs.reports) {
            pin.high.set(*report == LockReport::Closed);
        }
        inputs.reports = Default::default();
        let mut list: Vec<_> = switches.iter_mut().map(|s| Some(s as &mut dyn Switch)).collect();
        failed.switches = read_switches(&mut list, &mut inputs);
        failed.mark(&mut inputs);
        let mut output: Output = supervisor.tick(&table, &inputs);
        let mut list: Vec<_> = valves.iter_mut().map(|v| v as &mut dyn Valve).collect();
        failed.valves = carry_out(&output.orders, &mut list);
        if let Some(since) = since {
            let says = output.status.refusal.is_some() || !output.status.faults.locks().is_empty();
            told.said_after_s = told.said_after_s.or(says.then_some(since));
            let closes = output.orders.locks.iter().zip(&ordered);
            told.new_closings +=
                closes.filter(|(n, o)| **n == LockOrder::Close && **o != LockOrder::Close).count();
        }
        ordered = output.orders.locks;
        for (order, pin) in output.orders.locks.iter_mut().zip(&valve_pins) {
            *order = if pin.high.get() { LockOrder::Close } else { LockOrder::Open };
        }
        told.end = output.status;
        let truth = &run.finish_tick(output).truth;
        told.holds = truth.engaged_set();
        judges.observe(truth);
    }
    told.findings = judges.finish();
    told
}

/// Rules of which no failed pin may break one: forbidden lock sets, and false statements.
fn conflicts(findings: &[Finding]) -> Vec<&Finding> {
    findings.iter().filter(|f| f.rule == "SW-CONFLICT" || f.rule == "SW-STATED").collect()
}

#[test]
fn sound_pins_change_nothing() {
    let demo = Demo::new("shuttle");
    let told = drive(&demo, &setup(), Fails::Nothing);
    assert_eq!(told.end.arrangement, Some(1));
    assert!(told.findings.is_empty(), "{:?}", told.findings);
}

/// Whenever a valve's pin fails, no forbidden lock set is pressed, and an arrangement is stated
/// only while its locks truly hold.
#[test]
fn a_valve_that_cannot_be_set_is_never_taken_for_done() {
    let demo = Demo::new("shuttle");
    let table = demo.table.table();
    let mut elsewhere = 0;
    for lock in 0..table.locks.len() {
        for from in [0.5, 1.02, 1.1, 1.3, 1.6, 2.0, 2.5] {
            let told = drive(&demo, &setup(), Fails::Valve(lock, from));
            assert!(conflicts(&told.findings).is_empty(), "{lock} {from}: {:?}", told.findings);
            if let Some(stated) = told.end.arrangement {
                let needed = demo.driveline.arrangements[usize::from(stated)].closed;
                assert_eq!(told.holds, needed, "{lock} {from}: {:?}", told.end);
            }
            elsewhere += usize::from(told.end.arrangement != Some(1));
        }
    }
    assert!(elsewhere >= 5, "pins failed, and most drives ended as if nothing had: {elsewhere}");
}

/// While a valve is out of hand nothing new is closed: the request is taken back.
#[test]
fn nothing_is_closed_anew_while_a_valve_is_out_of_hand() {
    let demo = Demo::new("shuttle");
    let told = drive(&demo, &setup(), Fails::Valve(0, 0.5));
    assert_eq!(told.new_closings, 0);
    assert_eq!(drive(&demo, &setup(), Fails::Nothing).end.goal, Some(1), "else it is asked for");
}

/// A switch that cannot be read: a missing report, never a claim that the lock stands.
#[test]
fn a_switch_that_cannot_be_read_is_a_stated_fault() {
    let demo = Demo::new("shuttle");
    let table = demo.table.table();
    let before = demo.driveline.arrangements[0].closed;
    let after = demo.driveline.arrangements[1].closed;
    let closing = (0..table.locks.len()).find(|l| after & !before & (1 << l) != 0).expect("one");
    let told = drive(&demo, &setup(), Fails::Switch(closing, 0.5));
    assert!(told.said_after_s.is_some(), "never said");
    assert_ne!(told.end.arrangement, Some(1), "closed without a word of its switch");
    assert!(conflicts(&told.findings).is_empty(), "{:?}", told.findings);
}
