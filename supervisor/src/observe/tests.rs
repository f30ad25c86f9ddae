//! Each question to the measurements, at the edge of its limit and without what it needs.

use super::{Memory, Reading, magnitude, row_times};
use crate::bits::Bits;
use crate::fixture::{Owned, STRIDE, inputs, unit};
use crate::guards::{Guards, SlipBits};
use crate::heat::Heat;
use crate::io::Inputs;
use crate::io::LockReport::{Closed, Missing, Open};
use crate::table::{Limit, Rest, Table, Window};

/// Asks something of the measurements after as many ticks of the same inputs as a rate needs.
fn ask<T>(table: &Table, inputs: &Inputs, question: impl FnOnce(&mut Reading) -> T) -> T {
    let (heat, mut memory) = (Heat::default(), Memory::default());
    for _ in 0..20 {
        let _ = Reading::new(table, inputs, &heat, &mut memory);
    }
    question(&mut Reading::new(table, inputs, &heat, &mut memory))
}

fn at(output: f32) -> Inputs {
    inputs([0.0, 0.0], output, [Open, Open])
}

fn without(sensor: usize, inputs: Inputs) -> Inputs {
    let mut less = inputs;
    less.speeds[sensor].valid = false;
    less
}

const NARROW: Window = Window { min: -2.0, max: 3.0 };
/// Speeds around [`NARROW`] and whether they are inside.
const AROUND: [(f32, bool); 6] =
    [(-2.1, false), (-2.0, true), (0.0, true), (3.0, true), (3.1, false), (500.0, false)];

#[test]
fn sums_and_magnitudes() {
    let row = [2.0, -3.0, 0.5, 5.0, 7.0, -0.25, 11.0, 4.0];
    let values = [3.0, 2.0, 8.0, -7.0, 13.0, 16.0, 0.5, 0.25];
    assert_eq!(row_times(&row, &values), 6.0 - 6.0 + 4.0 - 35.0 + 91.0 - 4.0 + 5.5 + 1.0);
    // Each place with its own, and none with another's.
    for (i, j) in (0..8).flat_map(|i| (0..8).map(move |j| (i, j))) {
        let (mut other, want) = (unit(j), if i == j { 1.0 } else { 0.0 });
        other[j] = 3.0;
        assert_eq!(row_times(&unit(i), &other), 3.0 * want, "{i} {j}");
    }
    assert_eq!([magnitude(-2.0), magnitude(2.0), magnitude(0.0)], [2.0, 2.0, 0.0]);
    assert!(magnitude(0.0).is_sign_positive() && magnitude(f32::NAN).is_nan());
}

/// What is asked of one lock, of many, and all at once, is the same: from the slips of both locks.
#[test]
fn a_slip_has_one_answer_however_it_is_asked() {
    let owned = Owned::new();
    let table = owned.table();
    // Slip of lock 0, and whether it moves apart (limit 1).
    for (slip, moves) in [(0.0, false), (1.0, false), (1.1, true), (-1.1, true), (50.0, true)] {
        for known in [true, false] {
            let mut now = inputs([slip, 0.5], 5.0, [Open, Closed]);
            now.speeds[0].valid = known;
            let moves = known && moves;
            let of = |bit| Bits::one(1).with(0, bit);
            ask(&table, &now, |r| {
                assert_eq!([0, 1, 2].map(|lock| r.slip_known(lock)), [known, true, false]);
                assert_eq!([0, 1, 2].map(|lock| r.slip_moving(lock)), [moves, false, false]);
                assert_eq!([0, 1].map(|lock| r.slip(lock).known), [known, true]);
                assert_eq!([0, 1].map(|lock| r.slip(lock).moving), [moves, false]);
                for asked in (0..8).map(Bits) {
                    assert_eq!(r.moving(asked), asked.and(Bits::EMPTY.with(0, moves)));
                    assert_eq!(r.still(asked), asked.and(of(known && !moves)), "{asked:?}");
                }
                assert_eq!(r.moving_locks(), Bits::EMPTY.with(0, moves));
                assert_eq!(r.not_moving_locks(), of(known && !moves));
                let last = if known { Some(magnitude(slip)) } else { None };
                assert_eq!(
                    [r.slip_radps(0), r.slip_radps(1), r.slip_radps(2)],
                    [last, Some(0.5), None]
                );
                assert_eq!([0, 1, 2].map(|lock| r.report(lock)), [Open, Closed, Missing]);
            });
        }
    }
}

#[test]
fn windows_hold_at_both_ends() {
    let mut owned = Owned::new();
    owned.arrangements[0].window = NARROW;
    owned.arrangements[1].keep = NARROW;
    owned.steps[2].window = NARROW;
    let table = owned.table();
    for (output, inside) in AROUND {
        let now = at(output);
        assert_eq!(ask(&table, &now, |r| r.arrangement_in_window(0)), inside, "{output}");
        assert!(ask(&table, &now, |r| r.arrangement_in_window(1)), "{output}");
        assert_eq!(ask(&table, &now, |r| r.arrangement_may_stay(1)), inside, "{output}");
        assert!(ask(&table, &now, |r| r.arrangement_may_stay(0)), "{output}");
        assert_eq!(ask(&table, &now, |r| r.in_window(2)), inside, "{output}");
        assert!(ask(&table, &now, |r| r.in_window(1)), "{output}");
        assert!(!ask(&table, &now, |r| r.arrangement_may_stay(2)), "no such arrangement");
        assert!(!ask(&table, &now, |r| r.arrangement_in_window(2)), "no such arrangement");
    }
    let blind = without(2, at(0.0));
    assert!(!ask(&table, &blind, |r| r.arrangement_in_window(0)));
    assert!(!ask(&table, &blind, |r| r.in_window(2)));
    assert!(ask(&table, &blind, |r| r.arrangement_may_stay(1)), "no reason to leave");
    assert!(!ask(&table, &blind, |r| r.arrangement_may_stay(2)), "no such arrangement");
}

#[test]
fn targets_hold_at_both_ends_with_their_offset_and_every_limit() {
    let mut owned = Owned::new();
    let step = &mut owned.steps[3];
    (step.target_offset, step.target_min, step.target_max) = (1.0, -1.0, 4.0);
    let table = owned.table();
    for (output, inside) in AROUND {
        assert_eq!(ask(&table, &at(output), |r| r.target_allowed(3)), inside, "{output}");
        let target = ask(&table, &at(output), |r| r.target_radps(&table.steps[3]));
        assert_eq!(target, Some(output + 1.0));
    }
    assert_eq!(ask(&table, &without(2, at(0.0)), |r| r.target_radps(&table.steps[3])), None);
    assert!(!ask(&table, &without(2, at(0.0)), |r| r.target_allowed(3)));
    assert!(!ask(&table, &at(0.0), |r| r.target_allowed(4)), "no such step");
    // Two limits; the second one, on the slip of lock 0, is the narrow one.
    let mut owned = Owned::new();
    owned.limits.push(Limit { row: unit(0), min: -2.0, max: 3.0 });
    owned.steps[3].limits_count = 2;
    let table = owned.table();
    for (slip, inside) in AROUND {
        let now = inputs([slip, 0.0], 5.0, [Open, Open]);
        assert_eq!(ask(&table, &now, |r| r.target_allowed(3)), inside, "{slip}");
        assert!(ask(&table, &now, |r| r.target_allowed(1)), "the first limit is wide");
    }
}

#[test]
fn a_load_is_a_sum_of_the_torques_that_it_names() {
    let mut owned = Owned::new();
    owned.steps[0].load_row = [2.0, -1.0, 0.0, 0.0];
    let table = owned.table();
    let with = |a: f32, b: f32, valid: [bool; 3]| {
        let mut now = at(0.0);
        (now.torques[0].nm, now.torques[1].nm, now.torques[2].nm) = (a, b, 1000.0);
        for (torque, valid) in now.torques.iter_mut().zip(valid) {
            torque.valid = valid;
        }
        ask(&table, &now, |r| r.unloaded(0))
    };
    // 2 a - b against 5.
    assert!(with(10.0, 15.0, [true; 3]) && with(10.0, 25.0, [true; 3]));
    assert!(!with(10.0, 14.9, [true; 3]) && !with(10.0, 25.1, [true; 3]));
    assert!(with(0.0, 0.0, [true, true, false]), "a machine that it does not name");
    assert!(!with(0.0, 0.0, [true, false, true]) && !with(0.0, 0.0, [false, true, true]));
    assert!(!ask(&table, &at(0.0), |r| r.unloaded(4)), "no such step");
}

#[test]
fn a_demand_is_small_in_both_directions() {
    let owned = Owned::new();
    let table = owned.table();
    let with = |nm: f32, step: u16| {
        let now = Inputs { demand_nm: nm, ..at(0.0) };
        ask(&table, &now, |r| r.demand_within(step))
    };
    assert!(with(100.0, 0) && with(-100.0, 0) && with(0.0, 0));
    assert!(!with(100.1, 0) && !with(-100.1, 0));
    assert!(!with(0.0, 4), "no such step");
}

#[test]
fn rest_is_measured_or_it_is_none() {
    let mut owned = Owned::new();
    owned.rests[0] = Rest { row: unit(0), sensors: Bits::one(0), max: 0.5 };
    owned.rests[1] = Rest { row: [0.0; 8], sensors: Bits::EMPTY, max: 0.0 };
    let table = owned.table();
    for (speed, want) in [(0.0, 1), (0.5, 1), (-0.5, 1), (0.51, 0), (-0.51, 0)] {
        let now = inputs([speed, 0.0], 9.0, [Open, Open]);
        assert_eq!(ask(&table, &now, |r| r.machines_at_rest()), Bits(want), "{speed}");
        assert_eq!(ask(&table, &now, |r| r.at_rest(Bits(1))), want == 1);
        assert!(!ask(&table, &now, |r| r.at_rest(Bits(3))), "machine 1 cannot be measured");
        assert!(ask(&table, &now, |r| r.at_rest(Bits::EMPTY)));
    }
    let blind = without(0, at(0.0));
    assert_eq!(ask(&table, &blind, |r| r.machines_at_rest()), Bits::EMPTY);
}

/// Machine 1 is the engine and is read by sensors 2 and 3 together.
#[test]
fn a_running_engine_turns_or_its_sensors_are_wrong() {
    let mut owned = Owned::new();
    owned.parities.clear();
    let mut row = unit(2);
    row[3] = 1.0;
    owned.rests[1] = Rest { row, sensors: Bits(0b1100), max: 0.5 };
    let bad = |table: &Table, speed: f32, running: bool, missing: Option<usize>| {
        let mut now = Inputs { engine_running: running, ..at(speed - 4.0) };
        now.speeds[3].radps = 4.0;
        let now = missing.map_or(now, |sensor| without(sensor, now));
        ask(table, &now, |r| r.bad_sensors())
    };
    let wrong = Bits(0b1100);
    let mut table = owned.table();
    table.engine_min = 60.0;
    assert_eq!(bad(&table, 59.0, true, None), wrong);
    assert_eq!(bad(&table, -80.0, true, None), wrong);
    assert_eq!(bad(&table, 60.0, true, None), Bits::EMPTY);
    assert_eq!(bad(&table, 0.0, false, None), Bits::EMPTY, "it stands");
    assert_eq!(bad(&table, 0.0, true, Some(3)), Bits(0b1000), "not readable: nothing is said");
    table.engine_min = 0.0;
    assert_eq!(bad(&table, -80.0, true, None), Bits::EMPTY, "nothing is known of it");
    table.engine_min = 60.0;
    table.engine = None;
    assert_eq!(bad(&table, 0.0, true, None), Bits::EMPTY, "there is no engine");
    table.engine = Some(2);
    assert_eq!(bad(&table, 0.0, true, None), Bits::EMPTY, "no such machine");
    owned.rests[1].max = 0.0;
    let mut table = owned.table();
    table.engine_min = 60.0;
    assert_eq!(bad(&table, 0.0, true, None), Bits::EMPTY, "its speed cannot be measured");
}

/// Limits of the fixture: begin 2, go on 4, move 1.
#[test]
fn slip_bits_at_their_edges() {
    let owned = Owned::new();
    let table = owned.table();
    let at_slip = |slip: f32| {
        let now = inputs([slip, 0.0], 0.0, [Open, Open]);
        ask(&table, &now, |r| r.slip(0))
    };
    for (slip, near, within, moving) in [
        (0.0, true, true, false),
        (1.0, true, true, false),
        (1.1, true, true, true),
        (2.0, true, true, true),
        (2.1, false, true, true),
        (4.0, false, true, true),
        (4.1, false, false, true),
    ] {
        for slip in [slip, -slip] {
            let want = SlipBits { known: true, within, near, steady: true, moving };
            assert_eq!(at_slip(slip), want, "{slip}");
        }
    }
    // `near` implies `within`, whatever the table says.
    let mut owned = Owned::new();
    owned.locks[0].begin_max = 9.0;
    let now = inputs([5.0, 0.0], 0.0, [Open, Open]);
    assert!(!ask(&owned.table(), &now, |r| r.slip(0).near));
}

#[test]
fn locks_by_what_is_known_of_them() {
    let owned = Owned::new();
    let table = owned.table();
    let now = inputs([0.5, 1.5], 0.0, [Closed, Closed]);
    let found = |r: &mut Reading| (r.ready_locks(), r.moving_locks(), r.not_moving_locks());
    assert_eq!(ask(&table, &now, found), (Bits(3), Bits(2), Bits(1)));
    assert_eq!(ask(&table, &now, |r| r.slip_radps(1)), Some(1.5));
    assert_eq!(ask(&table, &now, |r| r.slip_radps(2)), None, "no such lock");
    let blind = without(1, now);
    assert_eq!(ask(&table, &blind, found), (Bits(1), Bits::EMPTY, Bits(1)));
    assert_eq!(ask(&table, &blind, |r| r.slip_radps(1)), None);
    assert_eq!(ask(&table, &blind, |r| r.slip_radps(0)), Some(0.5));
    for (report, slip, closed, doubtful) in [
        (Closed, 0.0, true, true),
        (Closed, 5.0, true, false),
        (Open, 0.0, false, false),
        (Open, 5.0, false, false),
        (Missing, 0.0, false, true),
        (Missing, 5.0, false, false),
    ] {
        let now = inputs([0.0, slip], 0.0, [Open, report]);
        let found = ask(&table, &now, |r| (r.reported_closed().has(1), r.doubtful_locks().has(1)));
        assert_eq!(found, (closed, doubtful), "{report:?} {slip}");
        assert_eq!(ask(&table, &now, |r| (r.report(1), r.report(2))), (report, Missing));
    }
}

/// Where the slip is not known, the last known one stands.
#[test]
fn unknown_slip_counts_as_the_last_known_one() {
    let owned = Owned::new();
    let table = owned.table();
    let (heat, mut memory) = (Heat::default(), Memory::default());
    let known = inputs([0.5, 70.0], 0.0, [Open, Open]);
    let mut slips = |now: &Inputs| Reading::new(&table, now, &heat, &mut memory).slips[1];
    assert_eq!(slips(&without(1, known)), 0.0, "never known");
    assert_eq!(slips(&known), 70.0);
    assert_eq!(slips(&without(1, inputs([0.5, 3.0], 0.0, [Open, Open]))), 70.0);
    assert_eq!(slips(&inputs([0.5, 3.0], 0.0, [Open, Open])), 3.0);
}

/// The output changes by this much in a tick; 2 rad/s in four ticks are allowed.
#[test]
fn calm_is_a_known_small_change() {
    let owned = Owned::new();
    let table = owned.table();
    for (rate, want) in [(0.49, true), (0.51, false), (-0.49, true), (-0.51, false)] {
        let (heat, mut memory) = (Heat::default(), Memory::default());
        for tick in 0..40u16 {
            let now = at(rate * f32::from(tick));
            let mut reading = Reading::new(&table, &now, &heat, &mut memory);
            assert_eq!(reading.calm(), want && tick > 4, "{rate} {tick}");
        }
    }
    // A dropout that ends is not calm before two samples have been taken again.
    let (heat, mut memory) = (Heat::default(), Memory::default());
    let mut calm_again = 0;
    for tick in 0..60u16 {
        let now = if (20..28).contains(&tick) { without(2, at(0.0)) } else { at(0.0) };
        let mut reading = Reading::new(&table, &now, &heat, &mut memory);
        assert!(!reading.calm() || !(20..28).contains(&tick), "{tick}");
        calm_again += u16::from(tick >= 28 && reading.calm());
    }
    assert!((32 - 2 * 4..32).contains(&calm_again), "{calm_again}");
    // A sensor that a parity relation speaks against is no calm output.
    let mut owned = Owned::new();
    owned.output = 0;
    let mut now = at(0.0);
    now.speeds[3].radps = 9.0;
    assert!(!ask(&owned.table(), &now, |r| r.calm()));
    now.speeds[3].radps = 0.0;
    assert!(ask(&owned.table(), &now, |r| r.calm()));
}

/// The larger age of the older sample widens the limit by as much: at no tick of the memory's
/// round is a rate just above the limit let pass or one just below it refused, and the sample
/// that rates are taken from is one to two rate distances old.
#[test]
fn samples_are_taken_at_their_distance() {
    let mut owned = Owned::new();
    for rate_ticks in [1, 2, 4, 7] {
        owned.timing.rate_ticks = rate_ticks;
        let table = owned.table();
        let (heat, mut memory) = (Heat::default(), Memory::default());
        for tick in 0..40u16 {
            let now = at(f32::from(tick));
            let reading = Reading::new(&table, &now, &heat, &mut memory);
            let age = reading.change[2];
            assert_eq!(reading.change_known.has(2), tick > rate_ticks, "{rate_ticks} {tick}");
            if tick > rate_ticks {
                assert_eq!(age, reading.age_share * f32::from(rate_ticks));
                assert!(age > f32::from(rate_ticks) && age <= 2.0 * f32::from(rate_ticks));
            }
        }
    }
}

#[test]
fn the_table_is_compared_by_its_hash_and_inputs_pass_through() {
    let owned = Owned::new();
    let (table, mut other) = (owned.table(), owned.table());
    assert!(table == other);
    other.hash ^= 1;
    assert!(table != other);
    let now = Inputs { request: Some(1), engine_running: true, ..at(0.0) };
    assert_eq!(ask(&table, &now, |r| (r.request(), r.engine_running())), (Some(1), true));
    let now = Inputs { request: None, engine_running: false, ..at(0.0) };
    assert_eq!(ask(&table, &now, |r| (r.request(), r.engine_running())), (None, false));
    assert!(ask(&table, &now, |r| r.plausible(Bits(0b1111)) && r.cool(0) && !r.cool(2)));
    assert!(!ask(&table, &without(1, now), |r| r.plausible(Bits(0b1111))));
    assert_eq!(ask(&table, &without(1, now), |r| r.output_radps()), Some(0.0));
}

/// Ready after the rate is known, and never on the first samples.
#[test]
fn steady_needs_two_samples() {
    let owned = Owned::new();
    let table = owned.table();
    let (heat, mut memory) = (Heat::default(), Memory::default());
    let still = inputs([0.5, 0.5], 10.0, [Open, Open]);
    let rate_ticks = owned.timing.rate_ticks;
    for tick in 0..3 * rate_ticks {
        let reading = Reading::new(&table, &still, &heat, &mut memory);
        let ready = reading.ready_locks() == Bits(3);
        assert_eq!(ready, tick > rate_ticks, "tick {tick}");
    }
}

/// A constant rate passes up to the limit and not above it, at every phase of the memory.
#[test]
fn the_rate_guard_is_exact_for_constant_rates() {
    let owned = Owned::new();
    let table = owned.table();
    let limit = owned.locks[0].rate_max / f32::from(owned.timing.rate_ticks);
    for (rate, want) in [(0.98 * limit, true), (1.02 * limit, false), (-1.02 * limit, false)] {
        let (heat, mut memory) = (Heat::default(), Memory::default());
        for tick in 0..40u16 {
            let now = inputs([rate * (f32::from(tick) - 20.0), 0.0], 0.0, [Open, Open]);
            let mut reading = Reading::new(&table, &now, &heat, &mut memory);
            if tick > 8 {
                assert_eq!(reading.slip(0).steady, want, "rate {rate} tick {tick}");
            }
        }
    }
}

/// Invalid, not a number, infinite, out of range: not used at all.
#[test]
fn unusable_values_are_unused() {
    let owned = Owned::new();
    let table = owned.table();
    let good = inputs([0.1, 0.1], 5.0, [Open, Open]);
    for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 1000.1, -1000.1, f32::MAX] {
        for sensor in 0..3usize {
            let heat = Heat::default();
            let mut memory = Memory::default();
            for _ in 0..20 {
                Reading::new(&table, &good, &heat, &mut memory);
            }
            let mut now = good;
            now.speeds[sensor].radps = bad;
            let mut reading = Reading::new(&table, &now, &heat, &mut memory);
            assert_eq!(reading.bad_sensors(), Bits::one(sensor as u8));
            for lock in 0..2u8 {
                let bits = reading.slip(lock);
                let hit = usize::from(lock) == sensor;
                assert_eq!(bits == SlipBits::default(), hit);
                assert_eq!(bits.ready(), !hit);
            }
            assert_eq!(reading.output_radps().is_none(), sensor == 2);
            assert_eq!(reading.calm(), sensor != 2);
            assert_eq!(reading.in_window(0), sensor != 2);
            assert_eq!(reading.arrangement_in_window(0), sensor != 2);
            assert!(!reading.target_allowed(0) || sensor != 2);
            assert_eq!(reading.machines_at_rest(), Bits::EMPTY);
        }
    }
    let mut now = good;
    now.speeds[0].valid = false;
    let (heat, mut memory) = (Heat::default(), Memory::default());
    assert!(Reading::new(&table, &now, &heat, &mut memory).bad_sensors().has(0));
}

#[test]
fn torques_and_demand_that_are_no_numbers_permit_nothing() {
    let owned = Owned::new();
    let table = owned.table();
    let heat = Heat::default();
    let check = |nm: f32, valid: bool, demand: f32| {
        let mut now = inputs([0.0, 0.0], 0.0, [Open, Open]);
        now.torques[0] = crate::io::Torque { nm, valid };
        now.demand_nm = demand;
        let mut memory = Memory::default();
        let mut reading = Reading::new(&table, &now, &heat, &mut memory);
        (reading.unloaded(0), reading.demand_within(0))
    };
    assert_eq!(check(4.9, true, 99.0), (true, true));
    assert_eq!(check(-5.1, true, -101.0), (false, false));
    assert_eq!(check(0.0, false, f32::INFINITY), (false, false));
    assert_eq!(check(f32::NAN, true, f32::NAN), (false, false));
}

/// A lock without a switch has none, whatever the input says; a limit that the table has
/// lost does not count as kept.
#[test]
fn no_switch_says_nothing_and_lost_limits_forbid() {
    let mut owned = Owned::new();
    owned.locks[0].has_switch = false;
    owned.steps[0].limits_from = 9;
    let table = owned.table();
    let heat = Heat::default();
    let now = inputs([0.0, 0.0], 0.0, [Closed, Closed]);
    let mut memory = Memory::default();
    let mut reading = Reading::new(&table, &now, &heat, &mut memory);
    assert_eq!((reading.report(0), reading.report(1)), (Missing, Closed));
    assert_eq!(reading.reported_closed(), Bits::one(1));
    assert!(!reading.target_allowed(0) && reading.target_allowed(1));
    assert!(!reading.target_allowed(99) && !reading.in_window(99));
}

/// The speeds of so many ticks, which change by `rate` in each and end at `last`; then a question.
fn after_a_course<T>(
    table: &Table,
    (last, rate, ticks): (f32, f32, u16),
    speeds: impl Fn(f32) -> Inputs,
    question: impl FnOnce(&mut Reading) -> T,
) -> T {
    let (heat, mut memory) = (Heat::default(), Memory::default());
    for before in (1..ticks).rev() {
        let now = speeds(last - rate * f32::from(before));
        let _ = Reading::new(table, &now, &heat, &mut memory);
    }
    question(&mut Reading::new(table, &speeds(last), &heat, &mut memory))
}

/// Limits of the fixture: -800 to 800, foreseen over eight ticks. Only sensor 2 changes.
#[test]
fn a_shaft_races_when_it_will_be_too_fast() {
    let owned = Owned::new();
    let table = owned.table();
    for (last, rate, races) in [
        (800.0, 0.0, false),
        (800.5, 0.0, true),
        (-800.0, 0.0, false),
        (-800.5, 0.0, true),
        (700.0, 12.0, false),
        (700.0, 13.0, true),
        (-700.0, -12.0, false),
        (-700.0, -13.0, true),
        // It is too fast and will not be when a torque that is cut now is gone.
        (810.0, -2.0, false),
        (-810.0, 2.0, false),
        (0.0, 120.0, true),
        (1000.5, 0.0, false),
    ] {
        // At every age of the older sample.
        for ticks in (20..30).step_by(STRIDE.min(9)) {
            let course = (last, rate, ticks);
            let want = if races { Bits(0b100) } else { Bits::EMPTY };
            assert_eq!(after_a_course(&table, course, at, |r| r.racing()), want, "{course:?}");
        }
    }
    // Beyond a limit always; as long as the change is not known, from 97 % of it on (776 of 800).
    let rate_ticks = owned.timing.rate_ticks;
    for ticks in 1..20 {
        let races = |speed: f32| {
            let racing = after_a_course(&table, (speed, 0.0, ticks), at, |r| r.racing());
            assert!(racing.without(Bits(0b100)).is_empty());
            !racing.is_empty()
        };
        assert!([900.0, -900.0].map(races) == [true; 2], "{ticks}");
        let unknown = ticks <= rate_ticks + 1;
        assert_eq!([777.0, -777.0].map(races), [unknown; 2], "{ticks}");
        assert!([775.0, -775.0].map(races) == [false; 2], "{ticks}");
    }
}

/// Only sensors that are to be trusted, and only those that the table has.
#[test]
fn only_trusted_sensors_show_a_race() {
    let mut owned = Owned::new();
    let racing = |owned: &Owned, now: Inputs| ask(&owned.table(), &now, |r| r.racing());
    let mut now = inputs([900.0, 0.0], 0.0, [Open, Open]);
    assert_eq!(racing(&owned, now), Bits(0b1001));
    assert_eq!(racing(&owned, without(0, now)), Bits(0b1000));
    now.speeds[3].radps = 890.0;
    assert_eq!(racing(&owned, now), Bits::EMPTY, "the parity speaks against it");
    owned.parities.clear();
    assert_eq!(racing(&owned, now), Bits(0b1001));
    owned.sensors[3].allowed = Window { min: -800.0, max: 895.0 };
    assert_eq!(racing(&owned, now), Bits(0b0001), "each has its own limits");
    now.speeds[5] = now.speeds[0];
    assert_eq!(racing(&owned, now), Bits(0b0001));
}

/// Machine 1 is the engine, read by sensors 2 and 3 together; its least speed is 60, and 66 is
/// where it is let go. Four ticks of the slowest lock and eight of the reaction are foreseen.
#[test]
fn an_engine_is_dragged_when_it_will_be_too_slow() {
    let mut owned = Owned::new();
    owned.parities.clear();
    owned.locks[0].release_ticks = 3;
    owned.locks[1].release_ticks = 4;
    let mut row = unit(2);
    row[3] = 1.0;
    owned.rests[1] = Rest { row, sensors: Bits(0b1100), max: 0.5 };
    let mut table = owned.table();
    table.engine_min = 60.0;
    let turning = |speed: f32| {
        let mut now = Inputs { engine_running: true, ..at(speed - 4.0) };
        now.speeds[3].radps = 4.0;
        now
    };
    let dragged =
        |table: &Table, course| after_a_course(table, course, turning, |r| r.engine_endangered());
    for (last, rate, want) in [
        (66.5, 0.0, false),
        (65.5, 0.0, true),
        (90.0, -1.9, false),
        (90.0, -2.1, true),
        (62.0, 0.5, false),
        (300.0, -20.0, true),
    ] {
        for ticks in (20..30).step_by(STRIDE.min(9)) {
            assert_eq!(dragged(&table, (last, rate, ticks)), want, "{last} {rate} {ticks}");
        }
    }
    assert!(!dragged(&table, (65.5, 0.0, 2)), "its change is not known yet");
    let answer = |table: &Table, now: &Inputs| ask(table, now, |r| r.engine_endangered());
    let slow = turning(65.5);
    assert!(answer(&table, &slow));
    assert!(!answer(&table, &Inputs { engine_running: false, ..slow }), "it does not run");
    assert!(!answer(&table, &without(3, slow)), "its speed is not known");
    assert!(!answer(&table, &turning(59.0)), "its sensors are wrong");
    for none in [0.0, -1.0] {
        table.engine_min = none;
        assert!(!answer(&table, &turning(-50.0)), "nothing is known of its least speed");
    }
    table.engine_min = 60.0;
    // Its speed is read by two sensors together: neither has the engine's limits.
    assert!(!answer(&table, &turning(950.0)));
    for engine in [None, Some(2)] {
        table.engine = engine;
        assert!(!answer(&table, &slow), "{engine:?}");
    }
}

mod machines;
mod parities;
mod wheels;
