//! Valves, lines, switches and the watchdog on mocked pins: levels as a wiring list has them, and
//! no failed pin that stays unsaid.

use embedded_hal_mock::eh1::MockError;
use embedded_hal_mock::eh1::digital::{Mock as Pin, State, Transaction as On};
use embedded_hal_mock::eh1::pwm::{Mock as Pwm, Transaction as Duty};
use proptest::prelude::*;
use supervisor::bits::Bits;
use supervisor::board::pressure::{Course, FULL, Proportional};
use supervisor::board::quadrature::Tracks;
use supervisor::board::switch::{Contact, Pair, Switch};
use supervisor::board::valve::{Active, AtRest, Line, OnOff, Valve};
use supervisor::board::watchdog::{Alive, Watchdog};
use supervisor::board::{
    BoardFaults, PinFailed, carry_out, enable_machines, read_switches, release_all,
};
use supervisor::io::{Inputs, LockOrder, LockReport, MachineOrder, Orders, Speed, Torque};

/// A generated table for any crate.
#[allow(unreachable_pub)]
#[path = "../../tests/src/tables/shuttle.rs"]
mod shuttle;

const COURSE: Course =
    Course { pulse: 900, pulse_ticks: 3, kiss: 300, ramp_ticks: 4, pressed: 800 };

fn broken() -> MockError {
    MockError::Io(std::io::ErrorKind::BrokenPipe)
}

/// Pin level for every order, active level and rest position, written down by hand.
#[test]
fn levels_of_an_on_off_valve() {
    use LockOrder::{Close, Open, Prefill};
    use State::{High, Low};
    for (active, at_rest, idle, levels) in [
        (Active::High, AtRest::Open, Low, [(Open, Low), (Prefill, Low), (Close, High)]),
        (Active::Low, AtRest::Open, High, [(Open, High), (Prefill, High), (Close, Low)]),
        (Active::High, AtRest::Closed, Low, [(Open, High), (Prefill, High), (Close, Low)]),
        (Active::Low, AtRest::Closed, High, [(Open, Low), (Prefill, Low), (Close, High)]),
    ] {
        let mut expected = vec![On::set(idle)];
        expected.extend(levels.iter().map(|l| On::set(l.1)));
        expected.push(On::set(idle));
        let mut valve = OnOff::new(Pin::new(&expected), active, at_rest).expect("a sound pin");
        for (order, _) in levels {
            assert_eq!(valve.order(order), Ok(()));
        }
        assert_eq!(valve.release(), Ok(()));
        valve.free().done();
    }
}

/// A failed pin is told for its own lock and no other, and tried again.
#[test]
fn a_failed_pin_is_told_and_tried_again() {
    let expected = [
        On::set(State::Low),
        On::set(State::High).with_error(broken()),
        On::set(State::High),
        On::set(State::Low).with_error(broken()),
    ];
    let mut failing = OnOff::new(Pin::new(&expected), Active::High, AtRest::Open).expect("sound");
    let sound =
        [On::set(State::Low), On::set(State::Low), On::set(State::Low), On::set(State::Low)];
    let mut sound = OnOff::new(Pin::new(&sound), Active::High, AtRest::Open).expect("sound");
    let mut orders = Orders::default();
    orders.locks[1] = LockOrder::Close;
    assert_eq!(carry_out(&orders, &mut [&mut sound, &mut failing]), Bits::one(1));
    assert_eq!(carry_out(&orders, &mut [&mut sound, &mut failing]), Bits::EMPTY);
    assert_eq!(release_all(&mut [&mut sound, &mut failing]), Bits::one(1));
    sound.free().done();
    failing.free().done();
    let dead = [On::set(State::Low).with_error(broken())];
    let mut dead = Pin::new(&dead);
    assert!(OnOff::new(dead.clone(), Active::High, AtRest::Open).is_err(), "told at the start");
    dead.done();
}

/// An order for a lock that has no valve is not carried out, and that is told.
#[test]
fn an_order_without_a_valve_is_a_fault() {
    let mut orders = Orders::default();
    assert_eq!(carry_out(&orders, &mut []), Bits::EMPTY);
    orders.locks[7] = LockOrder::Prefill;
    assert_eq!(carry_out(&orders, &mut []), Bits::one(7));
}

/// Duties of a whole course, reckoned by hand: 3 ticks of 900, kiss point 300, ramp of 4 ticks to
/// 800; the output counts to 200.
#[test]
fn duties_of_a_proportional_valve() {
    use LockOrder::{Close, Open, Prefill};
    let max = || Duty::max_duty_cycle(200);
    let course = [
        (Prefill, 180),
        (Prefill, 180),
        (Prefill, 180),
        (Prefill, 60),
        (Close, 85),
        (Close, 110),
        (Close, 135),
        (Close, 160),
        (Close, 160),
        (Open, 0),
        // Without a prefill the pulse comes first.
        (Close, 180),
        (Close, 180),
        (Close, 180),
        (Close, 85),
        (Open, 0),
    ];
    for at_rest in [AtRest::Open, AtRest::Closed] {
        let mut expected = vec![max(), Duty::set_duty_cycle(0)];
        for (_, duty) in course {
            let duty = if at_rest == AtRest::Open { duty } else { 200 - duty };
            expected.extend([max(), Duty::set_duty_cycle(duty)]);
        }
        let mut valve = Proportional::new(Pwm::new(&expected), COURSE, at_rest).expect("sound");
        for (order, _) in course {
            assert_eq!(valve.order(order), Ok(()));
        }
        valve.free().done();
    }
}

#[test]
fn a_failed_output_of_a_proportional_valve_is_told() {
    let expected = [
        Duty::max_duty_cycle(200),
        Duty::set_duty_cycle(0),
        Duty::max_duty_cycle(200),
        Duty::set_duty_cycle(180).with_error(broken()),
    ];
    let pwm = Pwm::new(&expected);
    let mut valve = Proportional::new(pwm, COURSE, AtRest::Open).expect("sound");
    assert_eq!(valve.order(LockOrder::Close), Err(PinFailed));
    valve.free().done();
}

#[test]
fn a_course_must_fit_its_lock() {
    let mut lock = shuttle::TABLE.locks[0];
    lock.close_ticks = 7;
    assert!(COURSE.fits(&lock));
    lock.close_ticks = 6;
    assert!(!COURSE.fits(&lock), "still ramping when the table looks");
    lock.close_ticks = 100;
    assert!(!Course { pulse: FULL + 1, ..COURSE }.fits(&lock));
    assert!(!Course { kiss: 801, ..COURSE }.fits(&lock));
}

/// A switch counts after three equal readings, in either direction; a failed pin is told at once
/// and starts the count anew.
#[test]
fn a_switch_is_debounced() {
    use LockReport::{Closed, Missing, Open};
    let levels = [
        (State::High, Missing),
        (State::High, Missing),
        (State::High, Closed),
        (State::Low, Closed),
        (State::High, Closed),
        (State::Low, Closed),
        (State::Low, Closed),
        (State::Low, Open),
    ];
    let mut expected: Vec<On> = levels.iter().map(|l| On::get(l.0)).collect();
    expected.push(On::get(State::Low).with_error(broken()));
    expected.push(On::get(State::Low));
    let mut contact = Contact::new(Pin::new(&expected), Active::High, 3);
    for (i, (_, report)) in levels.iter().enumerate() {
        assert_eq!(contact.report(), Ok(*report), "reading {i}");
    }
    assert_eq!(contact.report(), Err(PinFailed));
    assert_eq!(contact.report(), Ok(Missing), "nothing is known after a failed pin");
    contact.free().done();
}

#[test]
fn two_contacts_that_agree_are_no_word() {
    use LockReport::{Closed, Missing, Open};
    let cases = [
        (true, false, Closed),
        (false, true, Open),
        (true, true, Missing),
        (false, false, Missing),
    ];
    for (closed, open, report) in cases {
        let read = |on: bool| [On::get(if on { State::Low } else { State::High })];
        let (c, o) = (Pin::new(&read(closed)), Pin::new(&read(open)));
        let mut pair = Pair::new(c, o, Active::Low, 1);
        assert_eq!(pair.report(), Ok(report));
        let (mut c, mut o) = pair.free();
        c.done();
        o.done();
    }
    let failing = [On::get(State::Low).with_error(broken())];
    let mut pair = Pair::new(Pin::new(&[On::get(State::Low)]), Pin::new(&failing), Active::Low, 1);
    assert_eq!(pair.report(), Err(PinFailed));
    let (mut c, mut o) = pair.free();
    c.done();
    o.done();
}

#[test]
fn failed_switches_are_told_by_lock() {
    let mut inputs = Inputs::default();
    inputs.reports[0] = LockReport::Closed;
    let mut sound = Contact::new(Pin::new(&[On::get(State::Low)]), Active::High, 1);
    let failing = [On::get(State::Low).with_error(broken())];
    let mut failing = Contact::new(Pin::new(&failing), Active::High, 1);
    let failed = read_switches(&mut [None, Some(&mut sound), Some(&mut failing)], &mut inputs);
    assert_eq!(failed, Bits::one(2));
    assert_eq!(inputs.reports[..3], [LockReport::Closed, LockReport::Open, LockReport::Missing]);
    sound.free().done();
    failing.free().done();
}

#[test]
fn a_machine_is_enabled_unless_it_is_off() {
    let on = [On::set(State::Low), On::set(State::High)];
    let off = [On::set(State::Low), On::set(State::Low).with_error(broken())];
    let mut on = OnOff::new(Pin::new(&on), Active::High, AtRest::Open).expect("sound");
    let mut off = OnOff::new(Pin::new(&off), Active::High, AtRest::Open).expect("sound");
    let mut orders = Orders::default();
    orders.machines[0] = MachineOrder::Unload;
    orders.machines[1] = MachineOrder::Off;
    let lines: &mut [&mut dyn Line] = &mut [&mut on, &mut off];
    assert_eq!(enable_machines(&orders, lines), Bits::one(1));
    on.free().done();
    off.free().done();
}

#[derive(Debug, Default)]
struct Count(std::rc::Rc<std::cell::Cell<u32>>);

impl Watchdog for Count {
    fn feed(&mut self) {
        self.0.set(self.0.get() + 1);
    }
}

#[test]
fn one_context_that_hangs_starves_the_watchdog() {
    let fed = std::rc::Rc::new(std::cell::Cell::new(0));
    let mut alive = Alive::new(Count(fed.clone()), Bits(0b101));
    for _ in 0..10 {
        assert!(!alive.report(0));
        assert!(!alive.report(1), "a context that is not expected feeds nothing");
    }
    assert_eq!((fed.get(), alive.late()), (0, Bits(0b100)));
    assert!(alive.report(2));
    assert!(!alive.report(2), "each must report anew");
    assert_eq!(fed.get(), 1);
    let mut nobody = Alive::new(Count(fed.clone()), Bits::EMPTY);
    assert!(!nobody.report(0), "nobody is expected, nobody feeds");
}

/// Each part that failed, by itself, on inputs that are all there, and on inputs that are not: nothing
/// becomes valid that was not.
#[test]
fn one_failed_part_takes_away_its_own() {
    let none = BoardFaults::default();
    for there in [true, false] {
        let mut inputs = Inputs { request: Some(3), ..Inputs::default() };
        if there {
            inputs.reports = [LockReport::Open; 8];
            inputs.speeds = [Speed { radps: 2.0, valid: true }; 8];
            inputs.torques = [Torque { nm: 1.0, valid: true }; 4];
        }
        let mut same = inputs;
        none.mark(&mut same);
        assert_eq!((same, none.any()), (inputs, false));
        for bit in 0..8u8 {
            let (one, place) = (Bits::one(bit), usize::from(bit));
            let mut silent = inputs;
            silent.reports[place] = LockReport::Missing;
            let unasked = Inputs { request: None, ..inputs };
            let mut blind = inputs;
            blind.speeds[place].valid = false;
            let mut weak = unasked;
            if let Some(torque) = weak.torques.get_mut(place) {
                torque.valid = false;
            }
            for (faults, left) in [
                (BoardFaults { valves: one, ..none }, Inputs { request: None, ..silent }),
                (BoardFaults { switches: one, ..none }, silent),
                (BoardFaults { sensors: one, ..none }, blind),
                (BoardFaults { machines: one, ..none }, weak),
            ] {
                let mut marked = inputs;
                faults.mark(&mut marked);
                assert_eq!((marked, faults.any()), (left, true), "{faults:?}");
            }
        }
    }
}

/// Two tracks on pins, a quarter after the other; a pin that fails counts nothing, and is told.
#[test]
fn tracks_are_read_from_their_pins() {
    use State::{High, Low};
    let a = [
        On::get(Low),
        On::get(High),
        On::get(Low).with_error(broken()),
        On::get(High),
        On::get(High),
    ];
    let b = [On::get(Low), On::get(Low), On::get(High).with_error(broken()), On::get(High)];
    let mut tracks = Tracks::new(Pin::new(&a), Pin::new(&b));
    for (result, count) in
        [(Ok(()), 0), (Ok(()), 1), (Err(PinFailed), 1), (Err(PinFailed), 1), (Ok(()), 2)]
    {
        assert_eq!((tracks.sample(), tracks.read.count(), tracks.read.jumps()), (result, count, 0));
    }
    let (mut a, mut b) = tracks.free();
    a.done();
    b.done();
}

fn any_bits() -> impl Strategy<Value = Bits> {
    any::<u8>().prop_map(Bits)
}

proptest! {
    /// Whatever failed is not vouched for, and nothing else changes but the request.
    #[test]
    fn what_failed_is_not_vouched_for(
        valves in any_bits(), switches in any_bits(), sensors in any_bits(), machines in any_bits(),
    ) {
        let faults = BoardFaults { valves, switches, sensors, machines };
        let mut inputs = Inputs { request: Some(3), demand_nm: 5.0, ..Inputs::default() };
        inputs.reports = [LockReport::Closed; 8];
        inputs.speeds = [Speed { radps: 2.0, valid: true }; 8];
        inputs.torques = [Torque { nm: 1.0, valid: true }; 4];
        faults.mark(&mut inputs);
        for i in 0..8u8 {
            let blind = valves.has(i) || switches.has(i);
            prop_assert_eq!(inputs.reports[usize::from(i)] == LockReport::Missing, blind);
            prop_assert_eq!(inputs.speeds[usize::from(i)].valid, !sensors.has(i));
        }
        for i in 0..4u8 {
            prop_assert_eq!(inputs.torques[usize::from(i)].valid, !machines.has(i));
        }
        prop_assert_eq!(inputs.request.is_none(), valves.0 != 0 || machines.0 != 0);
        prop_assert_eq!(faults.any(), valves.0 | switches.0 | sensors.0 | machines.0 != 0);
    }

    /// No sequence of orders presses before pulse and ramp are over, and "open" is never pressed.
    #[test]
    fn pressure_follows_the_course(orders in prop::collection::vec(0u8..3, 1..60)) {
        let duties = std::rc::Rc::new(std::cell::RefCell::new(Vec::new()));
        let mut valve = Proportional::new(Noted(duties.clone()), COURSE, AtRest::Open)
            .expect("it never fails");
        let (mut pressing, mut filling) = (0u32, 0u32);
        for order in orders {
            let order = [LockOrder::Open, LockOrder::Prefill, LockOrder::Close][usize::from(order)];
            prop_assert_eq!(valve.order(order), Ok(()));
            let duty = duties.borrow().last().copied().unwrap_or(u16::MAX);
            filling = if order == LockOrder::Open { 0 } else { filling + 1 };
            pressing = if order == LockOrder::Close { pressing + 1 } else { 0 };
            match order {
                LockOrder::Open => prop_assert_eq!(duty, 0),
                _ if filling <= 3 => prop_assert_eq!(duty, 900, "the pulse"),
                LockOrder::Prefill => prop_assert_eq!(duty, 300, "the kiss point"),
                LockOrder::Close => {
                    let ramped = pressing.min(filling - 3).min(4) as u16;
                    prop_assert_eq!(duty, 300 + 125 * ramped);
                }
            }
        }
    }
}

/// An output that counts to 1000 and notes every duty.
struct Noted(std::rc::Rc<std::cell::RefCell<Vec<u16>>>);

impl embedded_hal::pwm::ErrorType for Noted {
    type Error = core::convert::Infallible;
}

impl embedded_hal::pwm::SetDutyCycle for Noted {
    fn max_duty_cycle(&self) -> u16 {
        1000
    }

    fn set_duty_cycle(&mut self, duty: u16) -> Result<(), Self::Error> {
        self.0.borrow_mut().push(duty);
        Ok(())
    }
}
