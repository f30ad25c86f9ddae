//! Each condition of a sound table by itself: broken it is refused, at its edge it is not.

use std::vec;

use super::{TableFault, check, check_all};
use crate::bits::Bits;
use crate::fixture::Owned;
use crate::table::{Action, Duty, Overlap, Rest, StepDuty, Table, WAYS, Window};

const ENDLESS: Window = Window { min: f32::NEG_INFINITY, max: f32::INFINITY };
const NO_NUMBER: Window = Window { min: f32::NAN, max: 0.0 };

/// What is found after a change of one of the parts.
fn after(change: fn(&mut Owned)) -> Result<(), TableFault> {
    let mut owned = Owned::new();
    change(&mut owned);
    check(&owned.table())
}

/// What is found after a change of what the table itself holds.
fn after_in_table(change: fn(&mut Table)) -> Result<(), TableFault> {
    let owned = Owned::new();
    let mut table = owned.table();
    change(&mut table);
    check(&table)
}

fn each(fault: TableFault, changes: &[fn(&mut Owned)]) {
    for (n, change) in changes.iter().enumerate() {
        assert_eq!(after(*change), Err(fault), "change {n}");
    }
}

fn sound(changes: &[fn(&mut Owned)]) {
    for (n, change) in changes.iter().enumerate() {
        assert_eq!(after(*change), Ok(()), "change {n}");
    }
}

/// As many locks as a table can have, with parts of the right lengths and no steps.
fn largest(owned: &mut Owned, locks: usize) {
    owned.locks.resize(locks, owned.locks[0]);
    owned.sensors.resize(8, owned.sensors[0]);
    owned.rests.resize(4, owned.rests[0]);
    owned.arrangements.resize(16, owned.arrangements[0]);
    owned.sets.resize(1 << locks, owned.sets[0]);
    owned.steps.clear();
    owned.next = vec![0; WAYS * (2 * locks + 1) * (1 << locks) * 16];
}

#[test]
fn sizes_up_to_the_most_and_not_beyond() {
    sound(&[|t| largest(t, 8), |t| t.rests.truncate(1)]);
    // Too long for Miri: every step is looked at.
    if !cfg!(miri) {
        sound(&[|t| t.steps.resize(0x7fff, t.steps[0])]);
    }
    let one_more: [fn(&mut Owned); 4] = [
        |t| t.locks.push(t.locks[0]),
        |t| t.sensors.push(t.sensors[0]),
        |t| t.rests.push(t.rests[0]),
        |t| {
            t.arrangements.push(t.arrangements[0]);
            t.next = vec![0; WAYS * 17 * 256 * 17];
        },
    ];
    for (n, change) in one_more.into_iter().enumerate() {
        let mut owned = Owned::new();
        largest(&mut owned, 8);
        change(&mut owned);
        assert_eq!(check(&owned.table()), Err(TableFault::Size), "change {n}");
    }
    each(
        TableFault::Size,
        &[
            |t| t.sets.push(t.sets[0]),
            |t| t.next.push(t.next[0]),
            |t| t.steps.resize(0x8000, t.steps[0]),
        ],
    );
    assert_eq!(after_in_table(|t| t.engine = Some(2)), Err(TableFault::Size));
    assert_eq!(after_in_table(|t| t.engine = Some(0)), Ok(()));
    assert_eq!(after_in_table(|t| t.engine = None), Ok(()));
}

#[test]
fn no_period_is_zero_and_the_debounce_fits_its_counter() {
    each(
        TableFault::Timing,
        &[
            |t| t.timing.tick_s = 0.0,
            |t| t.timing.tick_s = -0.001,
            |t| t.timing.tick_s = f32::INFINITY,
            |t| t.timing.dwell = 0,
            |t| t.timing.request_dwell = 0,
            |t| t.timing.retry_wait = 0,
            |t| t.timing.rate_ticks = 0,
            |t| t.timing.retries = 0,
            |t| t.timing.debounce = 0,
            |t| t.timing.debounce = 256,
        ],
    );
    sound(&[
        |t| {
            let p = &mut t.timing;
            (p.dwell, p.request_dwell, p.retry_wait, p.rate_ticks, p.retries) = (1, 1, 1, 1, 1);
            p.debounce = 1;
        },
        |t| t.timing.debounce = 255,
        |t| t.timing.tick_s = f32::MIN_POSITIVE,
    ]);
}

#[test]
fn the_output_and_the_sensors_are_numbers_and_exist() {
    for (n, change) in [
        (|t| t.output_row[2] = f32::NAN) as fn(&mut Table),
        |t| t.output_row[1] = 1.0,
        |t| t.output_sensors = Bits(0b1_0100),
        |t| t.engine_min = f32::NAN,
        |t| t.output_rate_max = f32::INFINITY,
    ]
    .into_iter()
    .enumerate()
    {
        assert_eq!(after_in_table(change), Err(TableFault::Sensors), "change {n}");
    }
    each(TableFault::Sensors, &[|t| t.sensors[3].range = f32::NAN]);
    sound(&[|t| t.sensors[0].range = f32::MAX]);
    assert_eq!(after_in_table(|t| t.output_row[2] = -f32::MAX), Ok(()));
}

#[test]
fn each_limit_of_a_lock_counts() {
    each(
        TableFault::Lock(1),
        &[
            |t| (t.locks[1].slip_row, t.locks[1].sensors) = ([0.0; 8], Bits::EMPTY),
            |t| t.locks[1].slip_row[1] = f32::NEG_INFINITY,
            |t| t.locks[1].slip_max = f32::INFINITY,
            |t| t.locks[1].begin_max = f32::NEG_INFINITY,
            |t| t.locks[1].moving_min = f32::INFINITY,
            |t| t.locks[1].moving_min = -0.1,
            |t| t.locks[1].rate_max = f32::NAN,
            |t| t.locks[1].begin_max = t.locks[1].slip_max * 1.01,
            |t| t.locks[1].heat_k_per_radps_tick = f32::INFINITY,
            |t| t.locks[1].drag_k_per_radps_tick = -1.0,
            |t| t.locks[1].cooling_ticks = -1.0,
            |t| t.locks[1].rise_max_k = -1.0,
        ],
    );
    sound(&[
        |t| t.locks[1].moving_min = 0.0,
        |t| t.locks[1].begin_max = t.locks[1].slip_max,
        |t| t.locks[0].rise_max_k = 0.0,
    ]);
}

#[test]
fn each_relation_counts() {
    each(
        TableFault::Relation,
        &[
            |t| t.rests[1].row[3] = 1.0,
            |t| t.rests[1].max = f32::INFINITY,
            |t| t.parities[0].row[0] = f32::NAN,
            |t| t.parities[0].max = f32::INFINITY,
            |t| t.parities[0].sensors = Bits(0b1_1011),
        ],
    );
    // A shaft that no sensor sees: never at rest, and no fault.
    sound(&[|t| t.rests[0] = Rest { row: [0.0; 8], sensors: Bits::EMPTY, max: 0.0 }]);
}

#[test]
fn conflicts_and_overlaps_name_what_exists() {
    each(
        TableFault::Conflict,
        &[
            |t| t.conflicts[0].locks = Bits(0b111),
            |t| t.conflicts[0].locks = Bits::EMPTY,
            |t| t.conflicts[0].release_first = 2,
            |t| t.overlaps.push(Overlap { locks: Bits::EMPTY, machines: Bits(1) }),
            |t| t.overlaps.push(Overlap { locks: Bits(0b100), machines: Bits(1) }),
            |t| t.overlaps.push(Overlap { locks: Bits(0b11), machines: Bits(0b100) }),
        ],
    );
    sound(&[|t| t.overlaps.push(Overlap { locks: Bits(0b11), machines: Bits(0b11) })]);
}

#[test]
fn each_value_of_an_arrangement_counts() {
    each(
        TableFault::Arrangement(1),
        &[
            |t| t.arrangements[1].closed = Bits(0b11),
            |t| t.arrangements[1].closed = Bits(0b100),
            |t| t.arrangements[1].duties[3] = Duty::Hold { per_output: f32::NAN, per_pace: 0.0 },
            |t| {
                t.arrangements[1].duties[0] =
                    Duty::Hold { per_output: 0.0, per_pace: f32::INFINITY };
            },
            |t| t.arrangements[1].pace.per_output = f32::NAN,
            |t| t.arrangements[1].pace.min = f32::NEG_INFINITY,
            |t| t.arrangements[1].pace.max = f32::INFINITY,
            |t| t.arrangements[1].window = NO_NUMBER,
            |t| t.arrangements[1].window.max = f32::NAN,
            |t| t.arrangements[1].keep = NO_NUMBER,
            |t| t.arrangements[1].keep.max = f32::NAN,
        ],
    );
    sound(&[
        |t| t.arrangements[1].closed = Bits::EMPTY,
        |t| (t.arrangements[1].window, t.arrangements[1].keep) = (ENDLESS, ENDLESS),
        |t| t.arrangements[1].duties = [Duty::Unload; 4],
        |t| t.arrangements[1].duties[0] = Duty::Hold { per_output: -1.0, per_pace: 2.0 },
    ]);
}

#[test]
fn each_value_of_a_step_counts() {
    each(
        TableFault::Step(1),
        &[
            |t| t.steps[1].from = Bits(0b100),
            |t| t.steps[1].lock = 2,
            |t| t.steps[1].from = Bits(0b10),
            |t| t.steps[1].action = Action::Open,
            |t| t.steps[1].duties[3] = StepDuty::Take { share: f32::NAN },
            |t| t.steps[1].target_row[3] = 1.0,
            |t| t.steps[1].target_row[2] = f32::NAN,
            |t| t.steps[1].sensors = Bits(0b1_0111),
            |t| t.steps[1].target_offset = f32::INFINITY,
            |t| t.steps[1].target_min = f32::NAN,
            |t| t.steps[1].target_max = f32::NAN,
            |t| t.steps[1].load_row[3] = f32::INFINITY,
            |t| t.steps[1].load_max = f32::NAN,
            |t| t.steps[1].demand_max = f32::NAN,
            |t| t.steps[1].window.min = f32::NAN,
            |t| t.steps[1].window.max = f32::NAN,
            |t| t.steps[1].rest = Bits(0b100),
            |t| t.steps[1].limits_from = 1,
            |t| t.steps[1].limits_count = 2,
        ],
    );
    // The limits are those of the first step, too.
    each(
        TableFault::Step(0),
        &[
            |t| t.limits[0].min = f32::NAN,
            |t| t.limits[0].max = f32::NAN,
            |t| t.limits[0].row[3] = 1.0,
        ],
    );
    sound(&[
        |t| (t.steps[1].target_min, t.steps[1].target_max) = (f32::NEG_INFINITY, f32::INFINITY),
        |t| (t.steps[1].load_max, t.steps[1].demand_max) = (f32::INFINITY, f32::INFINITY),
        |t| (t.steps[1].window, t.steps[1].rest) = (ENDLESS, Bits(0b11)),
        |t| (t.limits[0].min, t.limits[0].max) = (f32::NEG_INFINITY, f32::INFINITY),
        |t| t.steps[1].duties[0] = StepDuty::Take { share: -0.5 },
        |t| (t.steps[1].limits_from, t.steps[1].limits_count) = (1, 0),
    ]);
}

/// The first fault is told, and the hash is looked at last.
#[test]
fn faults_are_told_in_order() {
    let owned = Owned::new();
    let mut table = owned.hashed_table();
    assert_eq!(check_all(&table), Ok(()));
    table.hash ^= 1;
    assert_eq!((check(&table), check_all(&table)), (Ok(()), Err(TableFault::Hash)));
    table.output_rate_max = f32::NAN;
    assert_eq!(check_all(&table), Err(TableFault::Sensors));
    table.format = 0;
    assert_eq!(check_all(&table), Err(TableFault::Format));
}
