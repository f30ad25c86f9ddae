//! Torque is cut at once, stays cut for the retry wait, and comes back.

use super::*;
use crate::fixture::Owned;
use crate::table::Timing;

fn orders() -> Orders {
    Orders { machines: [MachineOrder::Free; MAX_MACHINES], engine_run: true, ..Orders::default() }
}

#[test]
fn torque_is_cut_while_a_shaft_races_and_for_the_wait_after() {
    let owned = Owned::new();
    let table = owned.table();
    let wait = table.timing.retry_wait;
    let mut race = Race::default();
    let mut cut = |racing| {
        let mut given = orders();
        race.cut(&table, racing, false, &mut given);
        let unloaded = given.machines == [MachineOrder::Off; MAX_MACHINES];
        assert!(unloaded || given == orders(), "all machines or none");
        (unloaded, race.sensors())
    };
    assert_eq!(cut(Bits::EMPTY), (false, Bits::EMPTY));
    assert_eq!(cut(Bits(2)), (true, Bits(2)));
    for tick in 0..wait {
        assert_eq!(cut(Bits::EMPTY), (true, Bits(2)), "tick {tick} of {wait}");
    }
    assert_eq!(cut(Bits::EMPTY), (false, Bits::EMPTY));
}

#[test]
fn an_engine_that_does_not_push_is_stopped_only_when_it_races_itself() {
    let owned = Owned::new();
    let mut table = owned.table();
    table.engine = Some(0);
    let own = table.rests[0].sensors;
    let other = Bits(0xff).without(own);
    for (racing, runs) in [(own, false), (other, true), (Bits(0xff), false), (Bits::EMPTY, true)] {
        let mut given = orders();
        Race::default().cut(&table, racing, false, &mut given);
        assert_eq!(given.engine_run, runs, "{racing:?}");
    }
    table.engine = None;
    let mut given = orders();
    Race::default().cut(&table, own, false, &mut given);
    assert!(given.engine_run, "there is no engine to stop");
}

/// It stays stopped until torque comes back, and not a tick longer.
#[test]
fn an_engine_that_pushes_while_another_shaft_races_is_stopped_for_as_long() {
    let owned = Owned::new();
    let mut table = owned.table();
    table.engine = Some(0);
    let other = Bits(0xff).without(table.rests[0].sensors);
    let mut race = Race::default();
    let mut runs = |racing, pushes| {
        let mut given = orders();
        race.cut(&table, racing, pushes, &mut given);
        given.engine_run
    };
    assert!(runs(Bits::EMPTY, true), "nothing races");
    assert!(runs(other, false), "it does not push");
    assert!(!runs(other, true));
    assert!(!runs(other, false), "it does not push because it was stopped");
    for tick in 0..table.timing.retry_wait {
        assert!(!runs(Bits::EMPTY, true), "tick {tick}");
    }
    assert!(runs(Bits::EMPTY, true));
}

#[test]
fn a_vehicle_that_moves_off_gets_no_torque_until_something_is_asked_for() {
    let owned = Owned::new();
    let mut table = owned.table();
    table.output_sensors = Bits(4);
    let wait = table.timing.retry_wait;
    let mut race = Race::default();
    let mut cut = |wheels, gains| {
        let mut given = orders();
        race.cut(&table, Bits::EMPTY, false, &mut given);
        race.cut_creep(&table, wheels, || gains, &mut given);
        let unloaded = given.machines == [MachineOrder::Off; MAX_MACHINES];
        assert!(unloaded || given == orders(), "all machines or none");
        (unloaded, given.engine_run, race.sensors())
    };
    let (free, off) = ((false, true, Bits::EMPTY), (true, true, Bits(4)));
    assert!((0..wait).all(|_| cut(Wheels::Stand, true) == free));
    // An engine may gain speed for as long as torque takes to go; with one tick in between it begins anew.
    let most = 2 * table.timing.react;
    assert!((0..most).all(|_| cut(Wheels::Creep, true) == off));
    assert_eq!(cut(Wheels::Creep, false), off);
    assert!((0..most).all(|_| cut(Wheels::Creep, true) == off));
    for gains in [true, true, false] {
        assert_eq!(cut(Wheels::Creep, gains), (true, false, Bits(4)), "it stays stopped");
    }
    assert_eq!(cut(Wheels::Asked, false), (true, false, Bits(4)), "one tick more");
    assert_eq!(cut(Wheels::Asked, false), free);
}

#[test]
fn wheels_that_slip_get_no_torque_after_the_reaction_and_for_the_wait() {
    let owned = Owned::new();
    let mut table = owned.table();
    table.output_sensors = Bits(4);
    let Timing { react, retry_wait: wait, .. } = table.timing;
    let mut race = Race::default();
    let mut cut = |slips| {
        let mut given = orders();
        race.cut(&table, Bits::EMPTY, false, &mut given);
        race.cut_slip(&table, slips, &mut given);
        assert!(given.engine_run);
        (given.machines == [MachineOrder::Off; MAX_MACHINES], race.sensors())
    };
    for _ in 0..2 {
        assert!((0..react).all(|_| cut(true) == (false, Bits::EMPTY)));
        assert_eq!(cut(false), (false, Bits::EMPTY), "not long enough at once");
    }
    assert!((0..react).all(|_| cut(true) == (false, Bits::EMPTY)));
    assert!((0..300).all(|_| cut(true) == (true, Bits(4))));
    assert!((0..wait).all(|_| cut(false) == (true, Bits(4))));
    assert_eq!(cut(false), (false, Bits::EMPTY));
}
