//! When an engine counts as pushing against what is asked, for how long that is waited, and when it
//! may run again.

use std::vec::Vec;

use super::*;
use crate::bits::Bits;
use crate::fixture::{Owned, inputs};
use crate::heat::Heat;
use crate::io::{Inputs, LockReport::Closed, LockReport::Open, Torque};
use crate::observe::{Memory, Powers};
use crate::supervisor::Supervisor;
use crate::table::{EngineUse, Rest, StepDuty};
use crate::trace::Trace;

fn powers(asked_w: f32, given_w: f32, engine_w: f32) -> Powers {
    Powers { asked_w, given_w, engine_w }
}

/// Each edge by itself: an eighth of what is asked, a tenth of what the engine gives; and half of that, of
/// whatever is asked.
#[test]
fn what_opposes() {
    assert!(powers(-100.0, 12.6, 0.1).oppose());
    assert!(!powers(-100.0, 12.5, 0.1).oppose(), "little of what is asked");
    assert!(powers(-100.0, 22.6, 100.0).oppose());
    assert!(!powers(-100.0, 22.5, 100.0).oppose(), "gears may take so much");
    assert!(powers(-9e9, 50.1, 100.0).oppose());
    assert!(!powers(-9e9, 49.9, 100.0).oppose(), "the others take most of it");
    assert!(powers(-9e9, 100.0, 50.1).oppose());
    assert!(!powers(-9e9, 100.0, 49.9).oppose(), "the others give more");
    assert!(!powers(-100.0, 80.0, 0.0).oppose(), "the engine gives nothing");
    assert!(!powers(-100.0, 80.0, -5.0).oppose());
    assert!(!powers(0.0, 80.0, 90.0).oppose() && !powers(100.0, 80.0, 90.0).oppose());
    assert!(!powers(-100.0, -80.0, 90.0).oppose(), "the other machines take it");
    for unknown in [[f32::NAN, 80.0, 90.0], [-100.0, f32::NAN, 90.0], [-100.0, 80.0, f32::NAN]] {
        assert!(!powers(unknown[0], unknown[1], unknown[2]).oppose());
    }
}

/// Machine 0 on sensor 0; the engine, machine 1, on sensor 1. The output turns at 5 rad/s.
fn with_engine() -> Owned {
    let mut owned = Owned::new();
    owned.parities.clear();
    let mut row = [0.0; 8];
    row[0] = 1.0;
    owned.rests[0] = Rest { row, sensors: Bits::one(0), max: 0.5 };
    owned.rests[1] = Rest { row: crate::fixture::unit(1), sensors: Bits::one(1), max: 0.5 };
    owned
}

fn now(demand_nm: f32, machine_nm: f32, engine_nm: f32) -> Inputs {
    let mut now = inputs([10.0, 20.0], 5.0, [Open, Open]);
    (now.demand_nm, now.engine_running) = (demand_nm, true);
    now.torques[0] = Torque { nm: machine_nm, valid: true };
    now.torques[1] = Torque { nm: engine_nm, valid: true };
    now
}

fn read<T>(table: &Table, now: &Inputs, f: impl FnOnce(&Reading) -> T) -> T {
    f(&Reading::new(table, now, &Heat::default(), &mut Memory::default()))
}

#[test]
fn powers_are_torques_times_speeds_and_need_all_of_them() {
    let owned = with_engine();
    let table = owned.table();
    let all = |now: &Inputs| read(&table, now, |r| r.powers());
    assert_eq!(all(&now(-7.0, -3.0, 2.0)), Some(powers(-35.0, 10.0, 40.0)));
    let mut less = now(-7.0, -3.0, 2.0);
    less.torques[0].valid = false;
    assert_eq!(all(&less), None, "a torque is missing");
    let mut less = now(-7.0, -3.0, 2.0);
    less.speeds[1].valid = false;
    assert_eq!(all(&less), None, "a machine's speed is missing");
    let mut less = now(-7.0, -3.0, 2.0);
    less.speeds[2].valid = false;
    assert_eq!(all(&less), None, "the road's speed is missing");
    let mut still = now(-7.0, -3.0, 2.0);
    still.engine_running = false;
    assert_eq!(all(&still), None, "the engine stands");
    let mut unread = with_engine();
    unread.rests[0].max = 0.0;
    assert_eq!(read(&unread.table(), &now(-7.0, -3.0, 2.0), |r| r.powers()), None, "no sensor");
}

/// Stopped after four times the wait and not before; it runs again when the demand is with the
/// motion, and not when it is merely unknown. Without a lock that joins it nothing is counted.
#[test]
fn sw_m4_it_is_stopped_until_that_is_asked_for_which_it_gives() {
    let owned = with_engine();
    let table = owned.table();
    let wait = table.timing.retry_wait.saturating_mul(4);
    let mut unasked = Unasked::default();
    let mut runs = |joined: bool, now: &Inputs, wanted: bool| {
        let mut orders = Orders { engine_run: wanted, ..Orders::default() };
        read(&table, now, |r| unasked.cut(&table, joined, r, &mut orders));
        orders.engine_run
    };
    let (against, along) = (now(-20.0, 0.0, 30.0), now(20.0, 0.0, 30.0));
    for _ in 0..3 * wait {
        assert!(runs(false, &against, true), "not joined");
        assert!(runs(true, &along, true), "asked for");
    }
    for round in 0..2 {
        for tick in 1..=wait {
            assert!(runs(true, &against, true), "{round} {tick}");
        }
        for _ in 0..10 {
            assert!(!runs(true, &against, true), "{round}");
        }
        let standing = Inputs { engine_running: false, ..against };
        assert!(!runs(true, &standing, true) && !runs(false, &against, true), "{round}");
        let unknown = Inputs { demand_nm: f32::NAN, ..along };
        assert!(!runs(true, &unknown, true) && !runs(true, &now(0.0, 0.0, 30.0), true), "{round}");
        let stands = Inputs { engine_running: false, ..along };
        assert!(runs(false, &stands, true) && !runs(false, &stands, false), "{round}");
    }
    // One tick in between begins the count anew.
    for tick in 1..=4 * wait {
        let now = if tick % wait == 0 { now(-20.0, -90.0, 30.0) } else { against };
        assert!(runs(true, &now, true), "{tick}");
    }
}

/// With speeds missing: only one that is to give nothing and gives something, where it may be against what is
/// asked; as long as the other, and until it is known that it is not.
#[test]
fn one_that_gives_something_unseen_is_stopped_where_it_is_to_give_nothing() {
    let owned = with_engine();
    let table = Table { engine: Some(1), ..owned.table() };
    let wait = table.timing.retry_wait.saturating_mul(4);
    let against = {
        let mut now = now(-20.0, -90.0, 3.0);
        now.speeds[0].valid = false;
        now
    };
    let told = |now: &Inputs, order: MachineOrder| {
        let mut unasked = Unasked::default();
        let mut runs = || {
            let mut orders = Orders { engine_run: true, ..Orders::default() };
            orders.machines[1] = order;
            read(&table, now, |r| unasked.cut(&table, true, r, &mut orders));
            orders.engine_run
        };
        let waits = (0..wait).all(|_| runs());
        assert!(waits, "{order:?}");
        !runs()
    };
    let unload = MachineOrder::Unload;
    assert!(told(&against, unload));
    for order in [MachineOrder::Free, MachineOrder::HoldSpeed { target_radps: 1.0 }] {
        assert!(!told(&against, order), "it may be what it is for: {order:?}");
    }
    let mut silent = against;
    silent.torques[1].valid = false;
    assert!(!told(&silent, unload), "nobody says that it gives anything");
    let mut nothing = against;
    nothing.torques[1].nm = 0.0;
    assert!(!told(&nothing, unload));
    assert!(!told(&Inputs { demand_nm: 20.0, ..against }, unload), "asked for");
    assert!(!told(&Inputs { demand_nm: 0.0, ..against }, unload));
    let mut lost = Inputs { demand_nm: 20.0, ..against };
    lost.speeds[2].valid = false;
    assert!(told(&lost, unload), "whether it is asked for is not known");
    assert!(!told(&Inputs { engine_running: false, ..against }, unload));
    let mut seen = against;
    seen.speeds[0].valid = true;
    assert!(!told(&seen, unload), "the other machine takes it");
}

/// In the whole tick: only with the engine joined, and with no step under way that needs its push. The engine turns at
/// 5 rad/s.
#[test]
fn it_is_stopped_where_it_is_joined_and_nothing_moves() {
    let (none, free, unloads) = (None, Some(StepDuty::Free), Some(StepDuty::Unload));
    let syncs = Some(StepDuty::Sync);
    for (joined, step, target, stops) in [
        (true, none, 0.0, true),
        (false, none, 0.0, false),
        (true, free, 0.0, false),
        (true, unloads, 0.0, true),
        (true, syncs, 4.5, true),
        (true, syncs, 5.0, false),
        (true, syncs, 5.5, false),
    ] {
        let mut owned = Owned::new();
        for data in &mut owned.steps {
            data.duties[1] = step.unwrap_or(StepDuty::Unload);
            (data.target_row, data.target_offset) = ([0.0; 8], target);
            (data.target_min, data.target_max) = (target, target);
        }
        owned.arrangements[0].engine = EngineUse::On;
        (owned.sets[1].engine_joined, owned.sets[1].engine_geared) = (joined, joined);
        let table = Table { engine: Some(1), ..owned.table() };
        let mut supervisor = Supervisor::after_reset(Trace::pressing(Bits::one(0)));
        let mut now = Inputs { request: Some(0), ..now(20.0, 0.0, 30.0) };
        now.speeds = inputs([0.0, 0.0], 5.0, [Open, Open]).speeds;
        now.reports[0] = Closed;
        let settled = (0..30).map(|_| supervisor.tick(&table, &now)).last().expect("ticks");
        assert_eq!((settled.status.arrangement, settled.orders.engine_run), (Some(0), true));
        now.demand_nm = -20.0;
        if step.is_some() {
            // A step to the other arrangement waits for a lock that is never unloaded.
            (now.request, now.torques[0].nm) = (Some(1), 50.0);
        }
        let wait = table.timing.retry_wait.saturating_mul(4) + 2;
        let runs: Vec<bool> =
            (0..wait).map(|_| supervisor.tick(&table, &now).orders.engine_run).collect();
        assert_eq!(runs.contains(&false), stops, "{joined} {step:?} {target} {runs:?}");
        assert!(runs[0], "{joined} {step:?} {target}");
    }
}
