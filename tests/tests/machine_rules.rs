//! The canonical tests of the rules for machines, on the demo shuttle's static table: torque is off
//! in time, comes back after the wait, and nothing else is touched.
//!
//! Sensors 4 and 6 both read the crankshaft; with every lock open nothing else turns with it.

use slipwarden_tests::tables::shuttle::TABLE;
use supervisor::io::{Inputs, LockOrder, LockReport, MachineOrder, Speed, Torque};
use supervisor::table::{Arrangement, EngineUse, Sensor, Table, Window};
use supervisor::{Output, Supervisor};

const OFF: [MachineOrder; 4] = [MachineOrder::Off; 4];

/// All locks open, an arrangement asked for that wants the engine, which turns so fast.
fn inputs(crankshaft: f32) -> Inputs {
    let wants_engine = TABLE.arrangements.iter().position(|a| a.engine == EngineUse::On);
    let mut now = Inputs { request: wants_engine.map(|a| a as u8), ..Inputs::default() };
    now.reports = [LockReport::Open; 8];
    for (i, speed) in now.speeds.iter_mut().enumerate() {
        *speed = Speed { radps: if i == 4 || i == 6 { crankshaft } else { 0.0 }, valid: true };
    }
    now
}

/// What is ordered in each tick of a course of crankshaft speeds.
fn drive(table: &Table, course: impl Iterator<Item = f32>) -> Vec<Output> {
    let mut supervisor = Supervisor::new();
    course.map(|speed| supervisor.tick(table, &inputs(speed))).collect()
}

/// Rises by so much a tick for so long, then stands at a little less, where there is room again.
fn course(per_tick: f32, ticks: u16, stands: u16) -> impl Iterator<Item = f32> {
    let at = move |tick: u16| if tick > ticks { 0.9 * f32::from(ticks) } else { f32::from(tick) };
    (0..ticks + stands).map(move |tick| per_tick * at(tick))
}

#[test]
fn sw_m1_torque_is_off_before_a_shaft_passes_its_limits() {
    // The crankshaft must not turn backwards; here it may in the second table, as other shafts do.
    let mut both_ways: [Sensor; 7] = std::array::from_fn(|i| TABLE.sensors[i]);
    for i in [4, 6] {
        both_ways[i].allowed.min = -both_ways[i].allowed.max;
    }
    let both_ways = Table { sensors: &both_ways, ..TABLE };
    let max = TABLE.sensors[4].allowed.max;
    let [react, wait] = [TABLE.timing.react, TABLE.timing.retry_wait].map(usize::from);
    let wide = [Sensor { range: 1e9, allowed: Window { min: -1e9, max: 1e9 } }; 7];
    let unwatched = Table { sensors: &wide, ..TABLE };
    let courses = [0.4f32, 1.0, 2.5, -0.01].map(|per_tick| (&TABLE, per_tick));
    let backwards = [-0.4f32, -1.0, -2.5].map(|per_tick| (&both_ways, per_tick));
    for (table, per_tick) in courses.into_iter().chain(backwards) {
        let Window { min, max } = table.sensors[4].allowed;
        let limit = if per_tick > 0.0 { max } else { min };
        // It would stand just inside of the limit, but nobody can know that.
        let ticks = (0.99 * limit / per_tick) as u16;
        let ordered = drive(table, course(per_tick, ticks, 400));
        let first = ordered.iter().position(|o| o.orders.machines == OFF).expect("it is cut");
        let left = (limit / per_tick) as usize - first;
        assert!((react - 1..=react + 1).contains(&left), "{per_tick}: {left} ticks before");
        // As long as it lasts, and the wait; the rate is measured over two distances at most.
        let last = ordered.iter().rposition(|o| o.orders.machines == OFF).expect("it is cut");
        assert!(ordered[first..=last].iter().all(|o| o.orders.machines == OFF));
        let seen = usize::from(ticks) + 2 * usize::from(TABLE.timing.rate_ticks);
        assert!((usize::from(ticks)..=seen).contains(&(last - wait)), "{per_tick}: {last}");
        // Sensors are named, and a racing engine is not asked to run; otherwise it is.
        let faults = |o: &Output| (o.status.faults.racing.0, o.status.faults.sensors.0);
        assert!(ordered[first..=last].iter().all(|o| faults(o) == (0b101_0000, 0)));
        assert!(ordered[..first].iter().chain(&ordered[last + 1..]).all(|o| faults(o) == (0, 0)));
        assert!(ordered[first - 1].orders.engine_run && !ordered[first].orders.engine_run);
        assert!(ordered[last + 1].orders.engine_run);
        // Locks are ordered as if nobody had looked, and so are machines before and after.
        for (n, (o, free)) in
            ordered.iter().zip(drive(&unwatched, course(per_tick, ticks, 400))).enumerate()
        {
            assert_eq!(o.orders.locks, free.orders.locks, "{per_tick} {n}");
            let same = o.orders.machines == free.orders.machines;
            assert!(same || (first..=last).contains(&n), "{per_tick} {n}");
            assert!(free.orders.machines != OFF);
        }
    }
    // Fast, but not about to be too fast.
    let slowly = (0..2000).map(|n| (0.96 + 0.039 * n as f32 / 2000.0) * max);
    assert!(drive(&TABLE, slowly).iter().all(|o| o.orders.machines != OFF));
    // Found so fast after a reset, nobody knows at first whether it gets faster.
    let found = drive(&TABLE, std::iter::repeat_n(0.98 * max, 20));
    assert!(found.iter().all(|o| o.orders.machines == OFF));
    let found = drive(&TABLE, std::iter::repeat_n(0.96 * max, 20));
    assert!(found.iter().all(|o| o.orders.machines != OFF));
}

/// All locks open at standstill, asked for the arrangement of the ring-brake: the sun's machine is to
/// bring the ring, which turns with the sun, to rest.
fn turning(sun: f32) -> Inputs {
    let electric = |a: &Arrangement| a.closed.0 == 1 && a.engine != EngineUse::On;
    let wanted = TABLE.arrangements.iter().position(electric);
    let mut now = Inputs { request: wanted.map(|a| a as u8), ..Inputs::default() };
    now.reports = [LockReport::Open; 8];
    now.torques = [Torque { nm: 0.0, valid: true }; 4];
    now.speeds = [Speed { radps: 0.0, valid: true }; 8];
    now.speeds[0].radps = sun;
    now.speeds[2].radps = -sun * 30.0 / 66.0;
    now
}

/// From when the step is prepared on: what is ordered while the sun goes away from 150 rad/s.
fn after_preparing(sign: f32, per_tick: f32) -> Vec<[MachineOrder; 4]> {
    let mut supervisor = Supervisor::new();
    let mut tick = |sun: f32| supervisor.tick(&TABLE, &turning(sign * sun)).orders.machines;
    let begins = (0..2000).position(|_| is_hold(tick(150.0)[0]));
    assert!(begins.is_some(), "it is prepared");
    (0..300).map(|n| tick(150.0 + per_tick * n as f32)).collect()
}

fn is_hold(order: MachineOrder) -> bool {
    matches!(order, MachineOrder::HoldSpeed { .. })
}

#[test]
fn sw_m2_a_machine_that_drives_its_shaft_away_from_the_target_gives_no_torque() {
    let limit = TABLE.sensors[0].allowed.max;
    let [react, wait] = [TABLE.timing.react, TABLE.timing.retry_wait].map(usize::from);
    let rate = usize::from(TABLE.timing.rate_ticks);
    for sign in [1.0, -1.0] {
        let ordered = after_preparing(sign, 1.5);
        let first = ordered.iter().position(|o| o[0] == MachineOrder::Off).expect("it is cut");
        // Its change must be seen first, over one distance of the samples or two.
        assert!((2 * react..=2 * react + 2 * rate + 1).contains(&first), "{sign}: tick {first}");
        assert!(ordered[..first].iter().all(|o| is_hold(o[0])));
        assert!(ordered[first..first + wait].iter().all(|o| o[0] == MachineOrder::Off));
        assert!(ordered.iter().all(|o| o[1..] == ordered[0][1..]), "only that machine");
        assert!(150.0 + 1.5 * (first as f32) < 0.4 * limit, "long before its limit");
        // Towards rest is where it is to go.
        assert!(after_preparing(sign, -0.5).iter().all(|o| o[0] != MachineOrder::Off));
    }
}

/// At standstill, while the arrangement with the clutch of both machines is asked for and the
/// generator's own sensor can be used or not.
fn both_machines(generator_seen: bool, clutch: LockReport) -> Inputs {
    let electric = |a: &Arrangement| a.closed.0 == 2 && a.engine != EngineUse::On;
    let wanted = TABLE.arrangements.iter().position(electric);
    let mut now = Inputs { request: wanted.map(|a| a as u8), demand_nm: 50.0, ..Inputs::default() };
    now.reports = [LockReport::Open; 8];
    now.reports[1] = clutch;
    now.torques = [Torque { nm: 0.0, valid: true }; 4];
    now.speeds = [Speed { radps: 0.0, valid: true }; 8];
    now.speeds[3].valid = generator_seen;
    now
}

#[test]
fn sw_m3_a_machine_of_unknown_speed_gives_no_torque_unless_its_locks_are_shown() {
    use LockReport::{Closed, Open};
    let generator = |o: &Output| o.orders.machines[1];
    let mut supervisor = Supervisor::new();
    let mut tick = |seen, report| supervisor.tick(&TABLE, &both_machines(seen, report));
    // A clutch that does what it is ordered at once, and a switch that says so.
    let mut report = Open;
    for _ in 0..3000 {
        let order = tick(true, report).orders.locks[1];
        report = if order == LockOrder::Close { Closed } else { Open };
    }
    let seen = tick(true, report);
    assert!(seen.status.arrangement.is_some() && generator(&seen) == MachineOrder::Free);
    // What is shown stays so without the sensor.
    assert!((0..500).all(|_| generator(&tick(false, report)) == MachineOrder::Free));
    // After a reset only the switch claims it: the clutch may be open, and nothing would see the
    // generator race. The other machine, whose speed is known, is left alone.
    let mut supervisor = Supervisor::new();
    let blind: Vec<Output> =
        (0..1000).map(|_| supervisor.tick(&TABLE, &both_machines(false, Closed))).collect();
    assert!(blind.iter().all(|o| o.status.arrangement.is_none()));
    assert!(blind.iter().all(|o| generator(o) == MachineOrder::Off));
    assert!(blind.iter().all(|o| o.orders.machines[0] != MachineOrder::Off));
    let ordered = blind.iter().map(|o| o.status.held.has(1)).collect::<Vec<bool>>();
    assert!(ordered.contains(&true), "it is believed closed at times");
    // Nor does it where no arrangement stands at all.
    let mut supervisor = Supervisor::new();
    let mut open = (0..50).map(|_| supervisor.tick(&TABLE, &both_machines(false, Open)));
    assert!(open.all(|o| generator(&o) == MachineOrder::Off));
    // With its speed it would push there.
    let mut supervisor = Supervisor::new();
    let mut pushes = (0..1000).map(|_| supervisor.tick(&TABLE, &both_machines(true, Closed)));
    assert!(pushes.any(|o| generator(&o) == MachineOrder::Free));
}

/// All locks open, gears and wheels turn as one, with an arrangement asked for that needs a machine's torque.
fn rolling(output: f32, demand_nm: f32) -> Inputs {
    let mut now = turning(0.0);
    now.demand_nm = demand_nm;
    now.speeds[..3].iter_mut().for_each(|speed| speed.radps = output);
    now
}

#[test]
fn sw_m5_a_vehicle_that_moves_off_unasked_gets_no_torque() {
    let limit = TABLE.output_rate_max;
    let off = |o: &Output| o.orders.machines == OFF;
    for sign in [1.0, -1.0] {
        let after = |stands: u32, speed: f32| {
            let mut supervisor = Supervisor::new();
            let mut tick = |speed, nm| supervisor.tick(&TABLE, &rolling(sign * speed, nm));
            let still: Vec<Output> = (0..stands).map(|_| tick(0.49 * limit, 0.0)).collect();
            assert!(!still.iter().any(off), "a standing vehicle's sensors may say so");
            let moves: Vec<Output> = (0..400).map(|_| tick(speed, 0.0)).collect();
            let stood = tick(0.0, 0.0);
            let asked: Vec<Output> = (0..3).map(|_| tick(0.0, 50.0)).collect();
            (moves, stood, asked)
        };
        for speed in [1.1 * limit, 7.9 * limit] {
            let (moves, stood, asked) = after(1000, speed);
            assert!(moves.iter().all(off), "{speed}");
            assert!(moves.iter().all(|o| o.status.faults.racing.has(1)), "its sensor is named");
            assert!(off(&stood) && !off(&asked[2]), "{speed}");
            assert!(asked[2].status.faults.racing.is_empty());
            // It had not stood.
            assert!(!after(50, speed).0.iter().any(off));
        }
        // The slope takes it.
        assert!(!after(1000, 8.1 * limit).0[5..].iter().any(off));
    }
}

#[test]
fn sw_m6_wheels_that_do_not_hold_the_road_get_no_torque() {
    let per_tick = TABLE.output_rate_max / f32::from(TABLE.timing.rate_ticks);
    let [react, wait] = [TABLE.timing.react, TABLE.timing.retry_wait].map(usize::from);
    let rate = usize::from(TABLE.timing.rate_ticks);
    for sign in [1.0, -1.0] {
        let ordered = |share: f32| -> Vec<Output> {
            let mut supervisor = Supervisor::new();
            let speeds =
                (0..1000).map(|n| 20.0 + share * per_tick * (n as f32).clamp(500.0, 600.0));
            let base = share * per_tick * 500.0;
            let mut tick = |v: f32| supervisor.tick(&TABLE, &rolling(sign * (v - base), 50.0));
            speeds.map(&mut tick).collect()
        };
        let spun = ordered(2.2);
        let first = spun.iter().position(|o| o.orders.machines == OFF).expect("it is cut");
        let last = spun.iter().rposition(|o| o.orders.machines == OFF).expect("it is cut");
        // It is measured over one distance of the samples, or two.
        assert!((500 + react..=500 + react + 2 * rate + 1).contains(&first), "{sign}: {first}");
        assert!((600..=600 + 2 * rate).contains(&(last - wait)), "{sign}: {last}");
        assert!(spun[first..=last].iter().all(|o| o.orders.machines == OFF));
        assert!(spun[first..=last].iter().all(|o| o.status.faults.racing.has(1)));
        assert!(spun.iter().all(|o| o.orders.engine_run == spun[0].orders.engine_run));
        assert!(!ordered(1.8).iter().any(|o| o.orders.machines == OFF), "brakes may do that");
    }
}
