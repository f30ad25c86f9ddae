//! Faults that the closed loop makes: a supply that dips, ticks that the supervisor misses, wheels
//! that slip. Each is held against an independent expectation.

use host_sim::drive::closed_loop::{Run, Setup};
use host_sim::drive::driver::Wish;
use host_sim::drive::faults::{Injected, Reset, TimedFault, reset_at};
use host_sim::drive::record::TickRecord;
use host_sim::plant::ActuatorFault;
use slipwarden_tests::demo::Demo;
use supervisor::io::MachineOrder;

/// Four seconds at 30 km/h; at 1 s the second arrangement is asked for.
fn setup(faults: &[(f64, f64, Injected)]) -> Setup {
    Setup {
        duration_s: 4.0,
        start_speed_kmh: 30.0,
        start_arrangement: Some(0),
        start_charge: 0.6,
        start_rises_k: Vec::new(),
        wish: Wish::Speed(vec![(0.0, 30.0)]),
        grade: Vec::new(),
        requests: vec![(1.0, 1)],
        faults: faults
            .iter()
            .map(|&(from_s, to_s, fault)| TimedFault { from_s, to_s, fault })
            .collect(),
    }
}

/// Every tick of a drive, and the digest of its end.
fn drive(demo: &Demo, setup: &Setup, seed: u64) -> (Vec<TickRecord>, u64) {
    let mut run = Run::new(&demo.driveline, demo.table.table(), setup, seed).expect("it starts");
    let mut records = Vec::new();
    while let Some(record) = run.tick() {
        records.push(record);
    }
    (records, run.plant().digest())
}

/// A dip is a loss of the supply and a reset at its end, and nothing else.
#[test]
fn a_supply_dip_is_a_loss_and_then_a_reset() {
    let demo = Demo::new("shuttle");
    for (dip, reset) in [
        (Injected::SupplyDip, Injected::SupervisorReset),
        (Injected::SupplyColdDip, Injected::SupervisorColdReset),
    ] {
        let (records, digest) = drive(&demo, &setup(&[(2.5, 2.8, dip)]), 1);
        let parts = [(2.5, 2.8, Injected::SupplyLost), (2.8, 3.0, reset)];
        assert_eq!(drive(&demo, &setup(&parts), 1).1, digest);
        let resets: Vec<f64> =
            records.iter().filter(|r| r.truth.reset).map(|r| r.truth.t_s - r.truth.dt_s).collect();
        assert_eq!(resets.len(), 1);
        assert!((resets[0] - 2.8).abs() < 1e-9, "{resets:?}");
        let held = |t_s: f64| {
            let at = records.iter().find(|r| r.truth.t_s >= t_s).expect("within the drive");
            at.truth.engaged_set()
        };
        let needed = demo.driveline.arrangements[1].closed;
        assert_eq!((held(2.49), held(2.79)), (needed, 0), "without supply they open");
    }
    // Every lock is open by then, so that both resets go on alike: only the kind tells them apart.
    let dip = |fault| setup(&[(2.5, 2.8, fault)]).faults;
    let (warm, cold) = (dip(Injected::SupplyDip), dip(Injected::SupplyColdDip));
    assert_eq!(reset_at(&warm, 2.8, 1e-3), Some(Reset::Warm));
    assert_eq!(reset_at(&cold, 2.8, 1e-3), Some(Reset::Cold));
    assert_eq!((reset_at(&warm, 2.5, 1e-3), reset_at(&warm, 2.801, 1e-3)), (None, None));
}

/// A supervisor that gets no ticks orders and says what it did before, and learns of a request only
/// afterwards; the plant goes on.
#[test]
fn orders_are_held_while_ticks_are_missed() {
    let demo = Demo::new("shuttle");
    let (records, _) = drive(&demo, &setup(&[(0.9, 1.6, Injected::TickMissed)]), 1);
    let during: Vec<&TickRecord> =
        records.iter().filter(|r| (0.9..1.6).contains(&(r.truth.t_s - r.truth.dt_s))).collect();
    assert!(during.len().abs_diff(700) <= 1, "{}", during.len());
    let before = records.iter().rfind(|r| r.truth.t_s <= 0.9).expect("a tick before");
    assert!(during.iter().all(|r| r.orders == before.orders && r.status == before.status));
    assert!(during.windows(2).all(|w| w[0].truth.speed_radps != w[1].truth.speed_radps));
    assert!(during.iter().any(|r| r.truth.request == Some(1)), "it is asked meanwhile");
    let goes = records.iter().find(|r| r.status.goal == Some(1)).expect("it is heard at last");
    let dwell_s = demo.driveline.timing.request_dwell_ms * 1e-3;
    assert!(goes.truth.t_s >= 1.6 + dwell_s - 1e-9, "at {} s", goes.truth.t_s);
    let sound = drive(&demo, &setup(&[]), 1).0;
    let heard = sound.iter().find(|r| r.status.goal == Some(1)).expect("heard").truth.t_s;
    assert!(heard < 1.6, "at {heard} s without the fault");
}

/// With 0 to 3 ticks missed after each, evenly, a dwell of so many ticks takes 2.5 times as long
/// on average, and never longer than 4 times.
#[test]
fn jitter_of_the_tick_stretches_what_is_counted_in_ticks() {
    let demo = Demo::new("shuttle");
    let heard_after = |faults: &[(f64, f64, Injected)], seed: u64| {
        let records = drive(&demo, &Setup { duration_s: 1.6, ..setup(faults) }, seed).0;
        let heard = records.iter().find(|r| r.status.goal == Some(1)).expect("it is heard");
        heard.truth.t_s - 1.0
    };
    let sound = heard_after(&[], 1);
    let seeds = 20;
    let mut sum = 0.0;
    for seed in 0..seeds {
        let took = heard_after(&[(0.0, 4.0, Injected::TickJitter(3))], seed);
        assert!(took > sound && took <= 4.0 * sound, "{took} s for {sound} s");
        sum += took / sound;
    }
    let times = sum / f64::from(seeds as u32);
    assert!((times - 2.5).abs() < 0.2, "{times} times as long");
}

/// On ice the driver asks for more than the tyres carry: the vehicle gains less speed than its
/// wheels, and no more than the grip gives. Their torque is cut for that (SW-M6), again and again.
#[test]
fn a_drive_over_ice_spins_its_wheels() {
    let demo = Demo::new("shuttle");
    let mut s = setup(&[(1.0, 2.0, Injected::WheelSlip(0.05))]);
    s.wish = Wish::Speed(vec![(0.0, 30.0), (1.0, 30.0), (4.0, 60.0)]);
    s.requests.clear();
    let (records, _) = drive(&demo, &s, 1);
    let per_radian = 1.0 / (3.6 * demo.driveline.output_radps_per_kmh().expect("given"));
    let output = demo.driveline.output.shaft;
    let at = |t_s: f64| records.iter().find(|r| r.truth.t_s >= t_s).expect("within the drive");
    let gained = at(1.9).road_mps - at(1.1).road_mps;
    assert!(gained > 0.0 && gained < 0.8 * 0.05 * 9.80665, "{gained} m/s in 0.8 s");
    let on_ice = records.iter().filter(|r| (1.0..2.0).contains(&r.truth.t_s));
    let spins = |r: &TickRecord| r.truth.speed_radps[output] * per_radian / r.road_mps;
    let most = on_ice.clone().map(spins).fold(0.0, f64::max);
    assert!(most > 1.05 && most < 1.5, "{most} times as fast as the road");
    let is_off = |r: &TickRecord| r.orders.machines[0] == MachineOrder::Off;
    let off = on_ice.filter(|r| is_off(r)).count();
    assert!(off > 100 && off < 1000, "for {off} ticks");
    assert!(!is_off(at(0.9)) && !is_off(at(3.0)));
    let end = records.last().expect("ticks");
    assert_eq!(end.road_mps, end.truth.speed_radps[output] * per_radian_of(&demo));
}

/// Road speed per speed of the output, as the plant has it.
fn per_radian_of(demo: &Demo) -> f64 {
    host_sim::plant::PlantModel::new(&demo.driveline).expect("complete").metres_per_radian()
}

/// Plates that a fault has pressed need as long as sound ones to let go: until then judges are told that
/// they are pressed, and not a tick longer.
#[test]
fn what_a_fault_has_pressed_is_told_until_it_lets_go() {
    const ENGINE_CLUTCH: usize = 2;
    let demo = Demo::new("shuttle");
    let pressed = Injected::Actuator(ENGINE_CLUTCH, ActuatorFault::ClosesByItself);
    let (records, _) = drive(&demo, &setup(&[(2.0, 2.3, pressed)]), 1);
    let told: Vec<(f64, bool, bool)> = records
        .iter()
        .map(|r| (r.truth.t_s, r.truth.locks[ENGINE_CLUTCH]))
        .map(|(t_s, lock)| (t_s, lock.engaged, lock.forced))
        .collect();
    let after: Vec<_> = told.iter().filter(|(t_s, ..)| *t_s > 2.302).collect();
    let lasts = after.iter().take_while(|(_, engaged, _)| *engaged).count();
    let release_ms = demo.driveline.locks[ENGINE_CLUTCH].release_ms;
    assert!(lasts > 5 && lasts as f64 <= release_ms, "{lasts} ticks of {release_ms} ms");
    assert!(after.iter().all(|(_, engaged, forced)| engaged == forced), "after the fault");
    assert!(told.iter().all(|(t_s, _, forced)| *t_s > 1.999 || !forced), "before it");
}
