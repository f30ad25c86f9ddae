//! A shaft that goes away from its target: when it is seen, and for how long nothing pushes it.

use std::vec::Vec;

use super::*;
use crate::bits::{Bits, MAX_SENSORS};
use crate::fixture::{Owned, inputs};
use crate::heat::Heat;
use crate::io::Inputs;
use crate::io::LockReport::Open;
use crate::observe::Memory;

const SYNC: Phase = Phase::Prepare { step: 1, ready: 0 };

/// Machine 0 turns with sensor 2 and synchronises in step 1. In tick `n` it has the speed of
/// `speed(n)`; gives the ticks in which its torque was cut.
fn cut_ticks(phase: Phase, target: f32, ticks: u16, speed: impl Fn(u16) -> f32) -> Vec<u16> {
    let mut owned = Owned::new();
    // Its target does not follow from its own speed.
    owned.steps[1].target_row = [0.0; MAX_SENSORS];
    let table = owned.table();
    let (heat, mut memory, mut stray) = (Heat::default(), Memory::default(), Stray::default());
    let mut cut = Vec::new();
    for tick in 0..ticks {
        let now = inputs([0.0, 0.0], speed(tick), [Open, Open]);
        let reading = Reading::new(&table, &now, &heat, &mut memory);
        let mut orders = [MachineOrder::Unload; MAX_MACHINES];
        orders[0] = MachineOrder::HoldSpeed { target_radps: target };
        let meant = orders;
        stray.cut(&table, phase, &reading, &mut orders);
        if orders != meant {
            assert_eq!((orders[0], &orders[1..]), (MachineOrder::Off, &meant[1..]));
            cut.push(tick);
        }
    }
    cut
}

/// The change is known after six ticks; then it goes wrong for twice the reaction and one tick.
fn sw_m2_begins(owned: &Owned) -> u16 {
    owned.timing.rate_ticks + 1 + 2 * owned.timing.react
}

#[test]
fn torque_is_cut_from_a_shaft_that_goes_away_from_its_target() {
    let owned = Owned::new();
    let first = sw_m2_begins(&owned);
    let wait = owned.timing.retry_wait;
    for (target, rate) in [(400.0, -1.0), (-400.0, 1.0)] {
        let cut = cut_ticks(SYNC, target, first + wait, |n| rate * f32::from(n));
        let want: Vec<u16> = (first..first + wait).collect();
        assert_eq!(cut, want, "target {target}");
    }
    // It comes back, and is taken again, for longer and longer, when the shaft still goes away.
    let long = cut_ticks(SYNC, 400.0, 40 * wait, |n| -f32::from(n));
    let goes_wrong = 2 * owned.timing.react;
    let mut from = first;
    for times in [1, 2, 4] {
        let to = from + times * wait;
        let cut: Vec<u16> = long.iter().copied().filter(|n| (from..to).contains(n)).collect();
        assert_eq!(cut, (from..to).collect::<Vec<u16>>(), "{times}");
        from = to + goes_wrong;
        assert!(!long.iter().any(|n| (to..from).contains(n)), "{times}");
    }
}

#[test]
fn a_shaft_that_comes_nearer_or_hardly_moves_or_is_not_synchronised_keeps_its_torque() {
    let none: Vec<u16> = Vec::new();
    assert_eq!(cut_ticks(SYNC, 400.0, 200, f32::from), none, "it comes nearer");
    // The fixture's locks close while the speed changes by no more than 1 in four ticks; a quarter of it.
    assert_eq!(cut_ticks(SYNC, 400.0, 200, |n| -0.06 * f32::from(n)), none, "hardly");
    assert_ne!(cut_ticks(SYNC, 400.0, 200, |n| -0.065 * f32::from(n)), none, "just more");
    for phase in [Phase::Rest, Phase::Closing { step: 1 }, Phase::Prepare { step: 9, ready: 0 }] {
        assert_eq!(cut_ticks(phase, 400.0, 200, |n| -f32::from(n)), none, "{phase:?}");
    }
    // Every other while it turns round: never long enough.
    let to_and_fro = |n: u16| if n % 16 < 8 { f32::from(n % 16) } else { f32::from(16 - n % 16) };
    assert_eq!(cut_ticks(SYNC, 400.0, 400, to_and_fro), none, "to and fro");
}

/// Machine 0 turns with the wheels at `speed(n)` and is to bring the dog, which slips by so much, to 400 rad/s, while
/// so much is asked for; gives the ticks in which its torque was cut.
fn idle_ticks(ticks: u16, slip: f32, demand_nm: f32, speed: impl Fn(u16) -> f32) -> Vec<u16> {
    let mut owned = Owned::new();
    owned.steps[1].target_row = [0.0; MAX_SENSORS];
    let table = owned.table();
    let (heat, mut memory, mut stray) = (Heat::default(), Memory::default(), Stray::default());
    let is_cut = |tick: &u16| {
        let now = Inputs { demand_nm, ..inputs([0.0, slip], speed(*tick), [Open, Open]) };
        let reading = Reading::new(&table, &now, &heat, &mut memory);
        let mut orders = [MachineOrder::HoldSpeed { target_radps: 400.0 }; MAX_MACHINES];
        stray.cut(&table, SYNC, &reading, &mut orders);
        orders[0] == MachineOrder::Off
    };
    (0..ticks).filter(is_cut).collect()
}

#[test]
fn torque_is_cut_that_brings_no_shaft_nearer_while_the_wheels_go_against_what_is_asked() {
    let owned = Owned::new();
    let wait = owned.timing.retry_wait;
    // The change is known after six ticks.
    let first = owned.timing.rate_ticks + 1 + 4 * wait;
    let (slip, none) = (50.0, Vec::new());
    let cut: Vec<u16> = (first..first + wait).collect();
    let still = |_| 50.0;
    assert_eq!(idle_ticks(first + wait, slip, -9.0, still), cut, "they turn against it");
    let slower = |n| 90.0 - 0.01 * f32::from(n);
    assert_eq!(idle_ticks(first + wait, slip, 9.0, slower), cut, "they get slower against it");
    // An attempt later it is cut for twice as long.
    let again = first + wait + 4 * wait;
    let long = idle_ticks(again + 3 * wait, slip, -9.0, still);
    let twice: Vec<u16> = (again..again + 2 * wait).collect();
    assert_eq!(long, [cut, twice].concat());
    assert_eq!(idle_ticks(200, slip, 9.0, still), none, "with what is asked");
    assert_eq!(idle_ticks(200, slip, 0.0, slower), none, "nothing is asked");
    assert_eq!(idle_ticks(200, 0.0, -9.0, still), none, "the lock is about to close");
    // The fixture's dog bears a change of 1 in four ticks; a sixteenth of it.
    let nearer = |share: f32| move |n: u16| share / 4.0 * f32::from(n) - 90.0;
    assert_eq!(idle_ticks(200, slip, 9.0, nearer(0.07)), none, "it comes nearer");
    assert_ne!(idle_ticks(200, slip, 9.0, nearer(0.06)), none, "hardly");
}

/// One tick of coming nearer makes up for several others: what comes nearer by fits and starts is not idle.
#[test]
fn a_tick_of_coming_nearer_makes_up_for_others() {
    let jump = |every: u16| move |n: u16| 50.0 + f32::from(n / every);
    // Each jump is seen for four to eight ticks, in a change over the last four to eight.
    assert!(idle_ticks(2000, 50.0, -9.0, jump(20)).is_empty());
    assert!(!idle_ticks(2000, 50.0, -9.0, jump(40)).is_empty());
}

#[test]
fn what_is_not_known_says_nothing() {
    let owned = Owned::new();
    let table = owned.table();
    let (heat, mut memory, mut stray) = (Heat::default(), Memory::default(), Stray::default());
    for tick in 0..200 {
        let mut now = inputs([0.0, 0.0], -(tick as f32), [Open, Open]);
        now.speeds[2].valid = false;
        let reading = Reading::new(&table, &now, &heat, &mut memory);
        assert!(reading.bad_sensors().contains(Bits::one(2)));
        let hold = MachineOrder::HoldSpeed { target_radps: 400.0 };
        let mut orders = [hold; MAX_MACHINES];
        stray.cut(&table, SYNC, &reading, &mut orders);
        assert_eq!(orders, [hold; MAX_MACHINES], "tick {tick}");
    }
}
