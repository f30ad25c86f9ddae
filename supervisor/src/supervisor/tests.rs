//! The whole tick on a small table: reset, tables that are not sound, journal, size.

use std::vec;
use std::vec::Vec;

use super::{Output, Standing, State, Supervisor, describe, standing};
use crate::bits::{Bits, MAX_LOCKS};
use crate::check::{TableFault, check, check_all};
use crate::fixture::{Owned, STRIDE, inputs, ticks};
use crate::heat::Heat;
use crate::io::LockReport::{Closed, Missing, Open};
use crate::io::{Inputs, LockOrder, LockReport, MachineOrder};
use crate::journal::EventKind;
use crate::midway::Midway;
use crate::observe::{Memory, Reading};
use crate::status::{Phase, Refusal};
use crate::table::{NO_STEP, Table, Why};
use crate::trace::Trace;

fn closed(output: &Output) -> Bits {
    (0..8u8).fold(Bits::EMPTY, |set, i| {
        set.with(i, output.orders.locks[usize::from(i)] == LockOrder::Close)
    })
}

/// Inputs that follow the orders after a delay, with no slip.
struct Loop {
    supervisor: Supervisor,
    inputs: Inputs,
    age: [u16; 2],
    last: [LockOrder; 2],
    actions: u32,
    begun: Vec<u32>,
    tick: u32,
}

impl Loop {
    fn new(reports: [LockReport; 2]) -> Loop {
        let mut inputs = inputs([0.0, 0.0], 0.0, reports);
        inputs.engine_running = true;
        let last = reports.map(|r| if r == Closed { LockOrder::Close } else { LockOrder::Open });
        let held = Bits::one(0).with(0, reports[0] == Closed).with(1, reports[1] == Closed);
        Loop {
            supervisor: Supervisor::after_reset(Trace::pressing(held)),
            inputs,
            age: [100; 2],
            last,
            actions: 0,
            begun: Vec::new(),
            tick: 0,
        }
    }

    fn tick(&mut self, table: &Table) -> Output {
        let output = self.supervisor.tick(table, &self.inputs);
        for i in 0..2 {
            let order = output.orders.locks[i];
            let was_closed = self.last[i] == LockOrder::Close;
            if was_closed != (order == LockOrder::Close) {
                self.actions += 1;
                self.age[i] = 0;
                self.begun.push(self.tick);
            }
            self.last[i] = order;
            self.age[i] = self.age[i].saturating_add(1);
            let lock = &table.locks[i];
            if order == LockOrder::Close && self.age[i] >= lock.close_ticks {
                self.inputs.reports[i] = Closed;
            }
            if order != LockOrder::Close && self.age[i] >= lock.release_ticks {
                self.inputs.reports[i] = Open;
            }
        }
        self.tick += 1;
        output
    }
}

#[test]
fn a_reset_keeps_what_was_granted_and_is_clearly_closed_and_nothing_else() {
    let owned = Owned::new();
    let table = owned.table();
    for (granted, reports, slips, want) in [
        (0b01, [Closed, Open], [0.0, 0.0], 0b01),
        (0b10, [Open, Closed], [0.0, 0.0], 0b10),
        (0b01, [Open, Open], [0.0, 0.0], 0),
        // Nobody granted it, whatever its switch says.
        (0b00, [Closed, Open], [0.0, 0.0], 0),
        (0b10, [Closed, Open], [0.0, 0.0], 0),
        // The sides move apart: the switch lies.
        (0b01, [Closed, Open], [5.0, 0.0], 0),
        // Both: a conflict.
        (0b11, [Closed, Closed], [0.0, 0.0], 0),
        (0b01, [Closed, Closed], [0.0, 0.0], 0b01),
        (0b01, [Missing, Open], [0.0, 0.0], 0),
    ] {
        let mut now = inputs(slips, 0.0, reports);
        now.engine_running = true;
        let mut supervisor = Supervisor::after_reset(Trace::pressing(Bits(granted)));
        let output = supervisor.tick(&table, &now);
        assert_eq!(closed(&output), Bits(want), "{granted} {reports:?} {slips:?}");
        assert_eq!(output.status.phase, Phase::Wake);
        assert!(output.orders.engine_run, "a running engine is not stopped by a reset");
        assert_eq!(output.orders.machines[0], MachineOrder::Unload);
    }
}

/// A lock without a switch is kept on the word of the trace while its sides do not move apart.
#[test]
fn a_reset_keeps_a_lock_without_a_switch() {
    let mut owned = Owned::new();
    owned.locks[0].has_switch = false;
    let table = owned.table();
    for (slip, want) in [(0.0, 0b01), (5.0, 0)] {
        let now = inputs([slip, 0.0], 0.0, [Missing, Open]);
        let mut supervisor = Supervisor::after_reset(Trace::pressing(Bits(0b01)));
        assert_eq!(closed(&supervisor.tick(&table, &now)), Bits(want));
    }
}

/// A lock that was kept at the reset and is then not confirmed does not hold everything up.
#[test]
fn a_wrongly_kept_lock_is_let_go() {
    let owned = Owned::new();
    let table = owned.table();
    let mut now = inputs([0.0, 0.0], 0.0, [Closed, Open]);
    let mut supervisor = Supervisor::after_reset(Trace::pressing(Bits(0b01)));
    assert_eq!(closed(&supervisor.tick(&table, &now)), Bits(0b01));
    now = inputs([0.0, 0.0], 0.0, [Open, Open]);
    let mut output = Output::default();
    for _ in 0..60 {
        output = supervisor.tick(&table, &now);
    }
    assert_eq!(closed(&output), Bits::EMPTY);
    assert_ne!(output.status.phase, Phase::Wake);
}

/// What a supervisor leaves behind is what the next one keeps: a reset in an arrangement changes
/// no order.
#[test]
fn a_trace_carries_an_arrangement_over_a_reset() {
    let owned = Owned::new();
    let table = owned.table();
    let mut run = Loop::new([Closed, Open]);
    run.inputs.request = Some(0);
    for _ in 0..100 {
        assert_eq!(closed(&run.tick(&table)), Bits(0b01));
    }
    let bytes = run.supervisor.trace().to_bytes(table.hash);
    let trace = Trace::from_bytes(&bytes, table.hash).expect("it was kept");
    run.supervisor = Supervisor::after_reset(trace);
    for _ in 0..100 {
        assert_eq!(closed(&run.tick(&table)), Bits(0b01));
    }
    run.supervisor = Supervisor::new();
    assert_eq!(closed(&run.tick(&table)), Bits::EMPTY, "without a trace nothing is kept");
}

#[test]
fn a_way_there_and_back_is_in_the_journal() {
    let owned = Owned::new();
    let table = owned.table();
    let mut run = Loop::new([Closed, Open]);
    run.inputs.request = Some(0);
    let mut output = Output::default();
    for tick in 0..200 {
        if tick == 60 {
            run.inputs.request = Some(1);
        }
        output = run.tick(&table);
    }
    assert_eq!((output.status.held, output.status.arrangement), (Bits::one(1), Some(1)));
    let kinds: Vec<EventKind> = run.supervisor.journal().iter().map(|e| e.kind).collect();
    let want = vec![
        EventKind::Reset,
        EventKind::Goal(Some(0)),
        EventKind::Arrived(0),
        EventKind::Goal(Some(1)),
        EventKind::Preparing(0),
        EventKind::Opening(0),
        EventKind::Preparing(1),
        EventKind::Closing(1),
        EventKind::Arrived(1),
    ];
    assert_eq!(kinds, want);
    let ticks: Vec<u32> = run.supervisor.journal().iter().map(|e| e.tick).collect();
    assert!(ticks.is_sorted());
}

/// Two locks are found closed that may not be: one is let go, and only one.
#[test]
fn a_conflict_is_ended_by_one_lock() {
    let owned = Owned::new();
    let table = owned.table();
    let mut run = Loop::new([Closed, Open]);
    run.inputs.request = Some(0);
    for _ in 0..40 {
        let _ = run.tick(&table);
    }
    // Lock 1 closes by itself, and stays so.
    let mut let_go_at = None;
    for tick in 0..60u32 {
        run.inputs.reports[1] = Closed;
        let output = run.tick(&table);
        if closed(&output).is_empty() && let_go_at.is_none() {
            let_go_at = Some(tick);
        }
    }
    assert_eq!(let_go_at, Some(0), "the interlock does not wait for a debounce");
    let let_go = EventKind::LetGo(Bits::one(0));
    assert!(run.supervisor.journal().iter().any(|e| e.kind == let_go));
}

/// A lock without a switch that was never seen to move may be closed: at standstill its partner
/// in a conflict is refused with the reason, and closes once the slip has shown it open.
#[test]
fn without_a_switch_only_slip_shows_a_lock_open() {
    let mut owned = Owned::new();
    owned.locks[0].has_switch = false;
    let table = owned.table();
    let mut run = Loop::new([Missing, Open]);
    run.inputs.request = Some(1);
    let mut output = Output::default();
    for _ in 0..300 {
        output = run.tick(&table);
        assert_eq!(closed(&output).and(Bits::one(1)), Bits::EMPTY);
    }
    assert_eq!(output.status.refusal, Some(Refusal::Interlock { lock: 1 }));
    run = Loop::new([Missing, Open]);
    run.inputs.request = Some(1);
    for tick in 0..300 {
        let slip = if tick == 10 { 5.0 } else { 0.0 };
        (run.inputs.speeds[0].radps, run.inputs.speeds[3].radps) = (slip, slip);
        output = run.tick(&table);
    }
    assert_eq!((output.status.held, output.status.refusal), (Bits::one(1), None));
}

/// The bound on lock actions under any requests: between two actions lie the dwell of the next
/// and the time that the last one takes to be shown.
#[test]
fn request_chatter_is_bounded() {
    let owned = Owned::new();
    let table = owned.table();
    let t = owned.timing;
    let moves = owned.locks.iter().map(|l| l.close_ticks.min(l.release_ticks)).min().unwrap_or(0);
    let apart = u32::from(t.dwell + moves + t.debounce - 1);
    let (mut most, long) = (0, ticks(6000));
    for period in (1..60u32).step_by(STRIDE.min(23)) {
        let mut run = Loop::new([Closed, Open]);
        for tick in 0..long {
            run.inputs.request = Some((tick / period % 2) as u8);
            let _ = run.tick(&table);
        }
        let bound = 1 + long / apart;
        assert!(run.actions <= bound, "period {period}: {} > {bound}", run.actions);
        let closest = run.begun.windows(2).map(|w| w[1] - w[0]).min();
        assert!(closest.is_none_or(|c| c >= apart), "period {period}: {closest:?} < {apart}");
        if period < u32::from(t.request_dwell) {
            assert_eq!(run.actions, 0, "chatter below the dwell moves nothing: {period}");
        }
        most = most.max(run.actions);
    }
    std::println!("most actions in {long} ticks: {most}, bound {}", 1 + long / apart);
    assert!(most > long / 60, "slow enough requests are fulfilled");
}

#[test]
fn the_state_fits_its_budget() {
    let whole = size_of::<Supervisor>();
    let journal = size_of::<crate::journal::Journal>();
    let bare = whole - journal;
    let state = size_of::<super::State>();
    std::println!(
        "supervisor {whole} bytes: journal {journal}, without it {bare}; decide's state {state}"
    );
    assert!(bare <= 512, "{bare} bytes");
}

type Damage = fn(&mut Owned);

/// Every kind of unsound table is refused, with its reason, and nothing is closed.
#[test]
fn unsound_tables_are_refused() {
    let damages: Vec<(Damage, TableFault)> = vec![
        (|t| t.format = 0, TableFault::Format),
        (|t| t.locks.clear(), TableFault::Size),
        (|t| t.locks.resize(9, t.locks[0]), TableFault::Size),
        (|t| t.sensors.clear(), TableFault::Size),
        (|t| t.arrangements.clear(), TableFault::Size),
        (|t| t.rests.clear(), TableFault::Size),
        (|t| t.sets.truncate(3), TableFault::Size),
        (|t| t.next.truncate(7), TableFault::Size),
        (|t| t.steps.resize(usize::from(NO_STEP), t.steps[0]), TableFault::Size),
        (|t| t.timing.debounce = 256, TableFault::Timing),
        (|t| t.timing.dwell = 0, TableFault::Timing),
        (|t| t.timing.tick_s = f32::NAN, TableFault::Timing),
        (|t| t.sensors[1].range = f32::INFINITY, TableFault::Sensors),
        (|t| t.sensors[2].allowed.min = f32::NEG_INFINITY, TableFault::Sensors),
        (|t| t.sensors[3].allowed.max = f32::NAN, TableFault::Sensors),
        (|t| t.locks[1].slip_max = f32::NAN, TableFault::Lock(1)),
        (|t| t.locks[1].slip_row[5] = 1.0, TableFault::Lock(1)),
        (|t| t.locks[0].sensors = Bits(0x80), TableFault::Lock(0)),
        (|t| t.locks[0].begin_max = 5.0, TableFault::Lock(0)),
        (|t| t.locks[0].heat_k_per_radps_tick = -1.0, TableFault::Lock(0)),
        (|t| t.rests[0].max = f32::NAN, TableFault::Relation),
        (|t| t.parities[0].row[2] = 1.0, TableFault::Relation),
        (|t| t.conflicts[0].locks = Bits(0x10), TableFault::Conflict),
        (|t| t.conflicts[0].locks = Bits(0), TableFault::Conflict),
        (|t| t.conflicts[0].release_first = 3, TableFault::Conflict),
        (|t| t.arrangements[1].closed = Bits(3), TableFault::Arrangement(1)),
        (|t| t.arrangements[0].closed = Bits(4), TableFault::Arrangement(0)),
        (|t| t.arrangements[0].window.min = f32::NAN, TableFault::Arrangement(0)),
        (|t| t.arrangements[1].keep.max = f32::NAN, TableFault::Arrangement(1)),
        (|t| t.steps[2].lock = 2, TableFault::Step(2)),
        (|t| t.steps[2].lock = 0, TableFault::Step(2)),
        (|t| t.steps[3].limits_from = u32::MAX, TableFault::Step(3)),
        (|t| t.steps[0].rest = Bits(4), TableFault::Step(0)),
        (|t| t.steps[0].load_max = f32::NAN, TableFault::Step(0)),
        (|t| t.steps[0].target_row[0] = f32::INFINITY, TableFault::Step(0)),
        (|t| t.limits[0].row[3] = 1.0, TableFault::Step(0)),
    ];
    let sound = Owned::new();
    assert_eq!(check_all(&sound.hashed_table()), Ok(()));
    let now = inputs([0.0, 0.0], 0.0, [Closed, Open]);
    for (n, (damage, fault)) in damages.iter().enumerate() {
        let mut owned = Owned::new();
        damage(&mut owned);
        let table = owned.table();
        assert_eq!(check(&table), Err(*fault), "damage {n}");
        let mut supervisor = Supervisor::new();
        for _ in 0..3 {
            let output = supervisor.tick(&table, &now);
            assert_eq!(closed(&output), Bits::EMPTY);
            assert!(output.orders.machines.iter().all(|m| *m == MachineOrder::Unload));
            assert_eq!(output.status.refusal, Some(Refusal::Table(*fault)));
        }
    }
    let mut table = sound.hashed_table();
    table.hash ^= 1;
    assert_eq!(check_all(&table), Err(TableFault::Hash));
}

/// A supervisor that is told of hot plates does not close them before they have cooled.
#[test]
fn it_may_begin_with_plates_that_are_known_to_be_hot() {
    let mut owned = Owned::new();
    owned.locks[0].cooling_ticks = 1000.0;
    let most = owned.locks[0].rise_max_k;
    let table = owned.table();
    let arrives_after = |rise_k: f32| {
        let mut rises_k = [0.0; MAX_LOCKS];
        rises_k[0] = rise_k;
        let mut run = Loop::new([Open, Open]);
        run.supervisor = Supervisor::after_reset(Trace::default().with_rises(rises_k));
        let begins_k = run.supervisor.rise_k(&table, 0);
        assert!(begins_k >= rise_k && begins_k <= rise_k * (1.0 + 1.0 / 128.0), "{begins_k}");
        run.inputs.request = Some(0);
        (0..3000).find(|_| run.tick(&table).status.arrangement == Some(0))
    };
    let cool = arrives_after(0.0).expect("it arrives");
    assert_eq!(arrives_after(0.99 * most), Some(cool));
    // exp(-ticks/1000) = 1/1.5 after 405 ticks (from memory: ln 1.5 = 0.405).
    let hot = arrives_after(1.5 * most).expect("it arrives in the end");
    assert!((405..1500).contains(&hot) && hot > cool, "{hot} {cool}");
}

/// What it says of itself is what it decides by: arrived, given up, and the heat of the plates.
#[test]
fn it_tells_where_it_stands() {
    let owned = Owned::new();
    let table = owned.table();
    let mut run = Loop::new([Open, Open]);
    run.inputs.request = Some(0);
    let mut output = Output::default();
    for _ in 0..100 {
        output = run.tick(&table);
    }
    let state = run.supervisor.state();
    assert_eq!((state.phase(), state.goal(), state.stands()), (Phase::Rest, Some(0), Some(0)));
    assert_eq!((state.refusal(), state.gave_up()), (None, false));
    assert_eq!((state.locks().held(), state.held()), (Bits(1), Bits(1)));
    assert_eq!(run.supervisor.status(), &output.status);
    assert_eq!((output.status.held, output.status.possibly_closed), (Bits(1), Bits(1)));
    assert_eq!((output.status.goal, output.status.arrangement), (Some(0), Some(0)));
    // A lock that slips while it is pressed gets hot, and is then let go as lost.
    assert_eq!(run.supervisor.rise_k(&table, 0), 0.0);
    (run.inputs.speeds[0].radps, run.inputs.speeds[3].radps) = (3.0, 3.0);
    let slipping = u32::from(owned.timing.debounce);
    for _ in 0..slipping {
        output = run.tick(&table);
    }
    // 0.01 K a tick and rad/s, also in the tick in which it is let go: it is still pressed.
    let rise = run.supervisor.rise_k(&table, 0);
    let gained = slipping as f32 * 3.0 * 0.01;
    assert!((rise - gained).abs() < 0.01 * gained, "{rise} {gained}");
    assert_eq!((output.status.faults.lost, output.status.held), (Bits(1), Bits::EMPTY));
    for _ in 0..owned.locks[0].release_ticks + 10 {
        output = run.tick(&table);
    }
    let after = run.supervisor.rise_k(&table, 0);
    let still_pressed = f32::from(owned.locks[0].release_ticks + owned.timing.debounce);
    assert!(after <= rise + 1.01 * still_pressed * 0.03, "{after}");
    let open = run.supervisor.rise_k(&table, 0);
    let _ = run.tick(&table);
    assert!(run.supervisor.rise_k(&table, 0) <= open, "an open lock cools");
    assert_eq!(output.status.faults.locks(), Bits(1));
    // What stands is told, and what is asked, and that it is given up.
    let mut run = Loop::new([Open, Closed]);
    run.inputs.request = Some(1);
    for _ in 0..100 {
        let _ = run.tick(&table);
    }
    let state = run.supervisor.state();
    assert_eq!((state.goal(), state.stands(), state.refusal()), (Some(1), Some(1), None));
    run.inputs.request = None;
    for _ in 0..100 {
        let _ = run.tick(&table);
    }
    assert_eq!(run.supervisor.state().goal(), None);
    let mut run = Loop::new([Open, Open]);
    run.inputs.request = Some(0);
    run.inputs.speeds[0].valid = false;
    for _ in 0..100 {
        output = run.tick(&table);
    }
    let state = run.supervisor.state();
    assert!(state.gave_up());
    assert_eq!(state.refusal(), Some(Refusal::Sensors { step: 3 }));
    assert_eq!((state.stands(), output.status.refusal), (None, state.refusal()));
    assert_eq!(output.status.faults.sensors, Bits(1));
}

/// The check reads the whole table: it is made in the first tick after a reset and in no other.
#[test]
fn a_table_is_checked_once() {
    let sound = Owned::new();
    let mut damaged = Owned::new();
    damaged.parities[0].max = f32::NAN;
    let now = inputs([0.0, 0.0], 0.0, [Open, Open]);
    let mut supervisor = Supervisor::new();
    let _ = supervisor.tick(&sound.table(), &now);
    let refusal = supervisor.tick(&damaged.table(), &now).status.refusal;
    assert_eq!(refusal, None);
    let mut supervisor = Supervisor::new();
    let fault = Some(Refusal::Table(TableFault::Relation));
    assert_eq!(supervisor.tick(&damaged.table(), &now).status.refusal, fault);
    assert_eq!(supervisor.tick(&sound.table(), &now).status.refusal, fault, "until the reset");
}

/// An arrangement is stated while each of its locks is shown closed and no switch is doubted; when
/// it is the one asked for, what is missing is told.
#[test]
fn only_what_is_shown_is_stated() {
    let owned = Owned::new();
    let table = owned.table();
    let stated = |o: &Output| (o.status.held, o.status.arrangement, o.status.refusal);
    let arrive = |request: Option<u8>| {
        let mut run = Loop::new([Open, Open]);
        run.inputs.request = Some(0);
        for _ in 0..100 {
            let _ = run.tick(&table);
        }
        run.inputs.request = request;
        run
    };
    let run_with = |run: &mut Loop, report: LockReport, ticks: u32| {
        let mut output = Output::default();
        for _ in 0..ticks {
            run.inputs.reports[0] = report;
            output = run.tick(&table);
        }
        output
    };
    // Its switch says open while its sides do not move.
    let mut run = arrive(Some(0));
    assert_eq!(stated(&run_with(&mut run, Closed, 10)), (Bits(1), Some(0), None));
    let doubted = Some(Refusal::Switch { lock: 0 });
    assert_eq!(stated(&run_with(&mut run, Open, 10)), (Bits(1), None, doubted));
    assert_eq!(stated(&run_with(&mut run, Closed, 10)), (Bits(1), Some(0), None));
    // Nothing asked: nothing is refused.
    let mut run = arrive(None);
    assert_eq!(stated(&run_with(&mut run, Closed, 10)), (Bits(1), Some(0), None));
    assert_eq!(stated(&run_with(&mut run, Open, 10)), (Bits(1), None, None));
    // It does not open, and is asked for again.
    let mut run = arrive(Some(1));
    let output = run_with(&mut run, Closed, 200);
    assert_eq!(output.status.faults.stuck_closed, Bits(1));
    run.inputs.request = Some(0);
    let not_opened = Some(Refusal::NotOpened { lock: 0 });
    assert_eq!(stated(&run_with(&mut run, Closed, 50)), (Bits(1), None, not_opened));
    // What the decision states goes first.
    run.inputs.request = Some(1);
    let output = run_with(&mut run, Closed, 200);
    assert_eq!(output.status.refusal, run.supervisor.state().refusal());
    assert!(output.status.refusal.is_some());
}

/// A doubted switch of a lock that has no part in what stands takes nothing from it.
#[test]
fn another_locks_switch_changes_no_statement() {
    let owned = Owned::new();
    let table = owned.table();
    let mut run = Loop::new([Open, Open]);
    run.inputs.request = Some(0);
    let mut output = Output::default();
    for tick in 0..200 {
        // Lock 1 moves apart and is said to be closed.
        (run.inputs.speeds[1].radps, run.inputs.speeds[3].radps) = (5.0, 5.0);
        run.inputs.reports[1] = if tick > 100 { Closed } else { Open };
        output = run.tick(&table);
    }
    assert_eq!(output.status.faults.switch, Bits(2));
    assert_eq!((output.status.arrangement, output.status.refusal), (Some(0), None));
}

/// A racing shaft is told, and no machine gives torque.
#[test]
fn a_race_is_told_and_cuts_every_machine() {
    let owned = Owned::new();
    let table = owned.table();
    let mut supervisor = Supervisor::new();
    let mut last = Output::default();
    for (speed, race) in [(0.0, Bits::EMPTY), (900.0, Bits(0b100)), (0.0, Bits::EMPTY)] {
        let now = inputs([0.0, 0.0], speed, [Open, Open]);
        for _ in 0..30 {
            last = supervisor.tick(&table, &now);
        }
        assert_eq!(last.status.faults.racing, race);
        assert_eq!(last.orders.machines.contains(&MachineOrder::Off), !race.is_empty());
        assert_eq!(last.status.faults.locks(), Bits::EMPTY);
    }
}

/// A machine of unknown speed may push only there (SW-M3).
#[test]
fn an_arrangement_is_shown_when_it_stands_and_each_of_its_locks_is() {
    for (arrangement, unshown, shown) in
        [(Some(0), 0, true), (Some(0), 2, false), (None, 0, false), (None, 2, false)]
    {
        let standing = Standing { arrangement, unshown: Bits(unshown) };
        assert_eq!(standing.is_shown(), shown, "{standing:?}");
    }
}

/// Limits of the shaft: 800; 97 % of them are 776. A torque that was cut comes back only within those,
/// while one that was not cut stays until the limits themselves.
#[test]
fn torque_that_was_cut_comes_back_with_room() {
    let owned = Owned::new();
    let table = owned.table();
    let mut supervisor = Supervisor::new();
    // Slowly there, so that nothing worse is foreseen.
    for n in 0..600u16 {
        let now = inputs([0.0, 0.0], 760.0 + 0.05 * f32::from(n), [Open, Open]);
        let out = supervisor.tick(&table, &now);
        assert!(!out.orders.machines.contains(&MachineOrder::Off), "{n}");
    }
    for (speed, cut) in [
        (790.0, false),
        (900.0, true),
        (790.0, true),
        (777.0, true),
        (775.0, false),
        (779.0, false),
    ] {
        let now = inputs([0.0, 0.0], speed, [Open, Open]);
        let mut last = Output::default();
        for _ in 0..40 {
            last = supervisor.tick(&table, &now);
        }
        let off = last.orders.machines.contains(&MachineOrder::Off);
        assert_eq!((off, !last.status.faults.racing.is_empty()), (cut, cut), "{speed}");
    }
}

/// A fast machine (400 is half of its limits) is slowed down where nothing moves and nothing
/// ties it to the wheels; not where a step needs its speed, and not where it may drive.
#[test]
fn a_machine_is_slowed_down_only_where_it_is_free() {
    let held = |o: &Output| match o.orders.machines[0] {
        MachineOrder::HoldSpeed { target_radps } => Some(target_radps),
        _ => None,
    };
    for (request, drives, want) in
        [(None, false, Some(400.0)), (None, true, None), (Some(0), false, Some(750.0))]
    {
        let mut owned = Owned::new();
        owned.sets[0].drives = drives;
        if request.is_none() {
            // Nor does anything lead away.
            owned.next.fill(NO_STEP | Why::NothingSynchronises as u16);
        }
        for step in &mut owned.steps {
            (step.target_min, step.target_max) = (-1000.0, 1000.0);
        }
        (owned.limits[0].min, owned.limits[0].max) = (-1000.0, 1000.0);
        let table = owned.table();
        let mut now = inputs([3.0, 0.0], 750.0, [Open, Open]);
        now.request = request;
        let mut supervisor = Supervisor::new();
        let mut last = Output::default();
        for _ in 0..40 {
            last = supervisor.tick(&table, &now);
        }
        let prepares = matches!(last.status.phase, Phase::Prepare { .. });
        assert_eq!((held(&last), prepares), (want, request.is_some()), "{request:?} {drives}");
        assert!(held(&last) != Some(400.0) || last.orders.machines[1] != last.orders.machines[0]);
    }
}

/// What stands is asked for, and one of its locks is only stuck: that is told before anything is decided
/// again. Of a lock whose switch is in doubt, the switch.
#[test]
fn what_is_missing_from_what_stands_is_told_at_once() {
    let owned = Owned::new();
    let table = owned.table();
    let lock = 0;
    for (goal, switch, want) in [
        (Some(0), Bits::EMPTY, Some(Refusal::NotOpened { lock })),
        (Some(0), Bits(1), Some(Refusal::Switch { lock })),
        (Some(0), Bits(2), Some(Refusal::NotOpened { lock })),
        (Some(1), Bits(1), None),
        (None, Bits::EMPTY, None),
    ] {
        let mut state = State::default();
        (state.locks.stuck_closed, state.locks.open) = (Bits(1), Bits(2));
        (state.locks.switch, state.phase) = (switch, Phase::Rest);
        for _ in 0..owned.timing.request_dwell {
            state.request.update(&table, goal);
        }
        let now = inputs([0.0, 0.0], 0.0, [Closed, Open]);
        let (heat, mut memory) = (Heat::default(), Memory::default());
        let mut reading = Reading::new(&table, &now, &heat, &mut memory);
        let standing = standing(&state, Midway::default(), &table, &mut reading);
        let status = describe(&state, standing, Bits(1));
        assert_eq!((status.arrangement, status.goal), (None, goal));
        assert_eq!(status.refusal, want, "{goal:?} {switch:?}");
    }
}
