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
    with_engine(None, now, shown, measured, meant)
}

fn with_engine(
    engine: Option<u8>,
    now: &Inputs,
    shown: bool,
    measured: bool,
    meant: MachineOrder,
) -> [bool; 2] {
    let mut owned = Owned::new();
    owned.rests[1] = Rest { row: unit(0), sensors: Bits::one(0), max: 0.5 };
    if !measured {
        owned.rests[0].max = 0.0;
    }
    let table = Table { engine, ..owned.table() };
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
    for meant in [free, MachineOrder::Unload] {
        let ordered = |now: &Inputs| ordered(now, false, true, meant);
        assert_eq!(ordered(&good), [true, true], "{meant:?}");
        assert_eq!(ordered(&missing), [false, true], "{meant:?}");
        assert_eq!(ordered(&absurd), [false, true], "{meant:?}");
        // The relation reads sensors 0, 1 and 3: that of machine 1 is among them.
        assert_eq!(ordered(&contradicted), [true, false], "{meant:?}");
    }
    // One that is idle: whichever sensor it is, but the engine only for its own.
    let idle = |engine, now: &Inputs| with_engine(engine, now, true, true, MachineOrder::Unload);
    let mut other = good;
    other.speeds[1].valid = false;
    assert_eq!(idle(None, &good), [true, true]);
    for now in [missing, absurd, contradicted, other] {
        assert_eq!(idle(None, &now), [false, false]);
    }
    assert_eq!(idle(Some(1), &missing), [false, true]);
    assert_eq!(idle(Some(1), &other), [false, true]);
    assert_eq!(idle(Some(1), &contradicted), [false, false]);
    assert_eq!(idle(Some(0), &contradicted), [true, false]);
    let hold = MachineOrder::HoldSpeed { target_radps: 5.0 };
    for now in [good, missing, absurd, contradicted] {
        for meant in [free, hold, MachineOrder::TakeTorque { nm: 1.0 }] {
            assert_eq!(ordered(&now, true, true, meant), [true, true], "its locks are shown");
        }
    }
    for shown in [false, true] {
        let unload = MachineOrder::Unload;
        let other = !shown;
        assert_eq!(ordered(&missing, shown, false, unload), [true, other], "it never had a sensor");
    }
}
