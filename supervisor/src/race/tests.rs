//! Torque is cut at once, stays cut for the retry wait, and comes back.

use super::*;
use crate::fixture::Owned;

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
        race.cut(&table, racing, &mut given);
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
fn only_an_engine_that_races_itself_is_stopped() {
    let owned = Owned::new();
    let mut table = owned.table();
    table.engine = Some(0);
    let own = table.rests[0].sensors;
    let other = Bits(0xff).without(own);
    for (racing, runs) in [(own, false), (other, true), (Bits(0xff), false), (Bits::EMPTY, true)] {
        let mut given = orders();
        Race::default().cut(&table, racing, &mut given);
        assert_eq!(given.engine_run, runs, "{racing:?}");
    }
    table.engine = None;
    let mut given = orders();
    Race::default().cut(&table, own, &mut given);
    assert!(given.engine_run, "there is no engine to stop");
}
