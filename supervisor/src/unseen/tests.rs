//! Which machine loses its torque: for each way in which its sensor can be of no use.

use super::*;
use crate::bits::Bits;
use crate::fixture::{Owned, inputs, unit};
use crate::heat::Heat;
use crate::io::Inputs;
use crate::io::LockReport::Open;
use crate::observe::Memory;
use crate::table::Rest;

/// Machine 0 turns with sensor 2, machine 1 with sensor 0; orders of both.
fn ordered(now: &Inputs, shown: bool, measured: bool, meant: MachineOrder) -> [bool; 2] {
    let mut owned = Owned::new();
    owned.rests[1] = Rest { row: unit(0), sensors: Bits::one(0), max: 0.5 };
    if !measured {
        owned.rests[0].max = 0.0;
    }
    let table = owned.table();
    let (heat, mut memory) = (Heat::default(), Memory::default());
    let reading = Reading::new(&table, now, &heat, &mut memory);
    let meant = [meant; MAX_MACHINES];
    let mut orders = meant;
    cut(&table, &reading, shown, &mut orders);
    assert_eq!(orders[2..], meant[2..], "there are two machines");
    [0, 1].map(|i| match orders[i] {
        MachineOrder::Off => false,
        other if other == meant[i] => true,
        other => panic!("{other:?}"),
    })
}

#[test]
fn only_the_machine_that_nobody_sees_loses_its_torque_and_only_where_nothing_is_shown_or_it_is_idle()
 {
    let good = inputs([0.0, 0.0], 5.0, [Open, Open]);
    let mut missing = good;
    missing.speeds[2].valid = false;
    let mut absurd = good;
    absurd.speeds[2].radps = f32::NAN;
    let mut contradicted = good;
    contradicted.speeds[3].radps += 50.0;
    let free = MachineOrder::Free;
    for (shown, meant) in
        [(false, free), (false, MachineOrder::Unload), (true, MachineOrder::Unload)]
    {
        let ordered = |now: &Inputs| ordered(now, shown, true, meant);
        assert_eq!(ordered(&good), [true, true], "{shown} {meant:?}");
        assert_eq!(ordered(&missing), [false, true], "{shown} {meant:?}");
        assert_eq!(ordered(&absurd), [false, true], "{shown} {meant:?}");
        // The relation reads sensors 0, 1 and 3: that of machine 1 is among them.
        assert_eq!(ordered(&contradicted), [true, false], "{shown} {meant:?}");
    }
    let hold = MachineOrder::HoldSpeed { target_radps: 5.0 };
    for now in [good, missing, absurd, contradicted] {
        for meant in [free, hold, MachineOrder::TakeTorque { nm: 1.0 }] {
            assert_eq!(ordered(&now, true, true, meant), [true, true], "its locks are shown");
        }
    }
    for shown in [false, true] {
        let unload = MachineOrder::Unload;
        assert_eq!(ordered(&missing, shown, false, unload), [true, true], "it never had a sensor");
    }
}
