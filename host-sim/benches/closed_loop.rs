//! How many supervisor ticks a second the closed loop makes, with all judges, on drives of the
//! demos' reviews; what each part of it takes; and what a second thread adds.
//!
//! `cargo bench -p host-sim --bench closed_loop`. It prints figures and checks none: machines
//! differ. Times are those that the thread was on a processor, where the system tells them (Linux),
//! so that other work on the machine disturbs little. The parts are measured by replaying what a
//! whole run gave them, one part alone; sensing is what a plant takes more than the same plant
//! without sensors; the rest is what the whole takes more than its parts.

use std::hint::black_box;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Instant;

use host_sim::campaign::{Case, Court, World, case};
use host_sim::checkers::{self, Checker};
use host_sim::drive::closed_loop::{Prepared, Run, Setup};
use host_sim::drive::driver::{Driver, DriverData, profile_at};
use host_sim::drive::governor::{Mind, Seen};
use host_sim::drive::knowledge::Knowledge;
use host_sim::drive::record::TickRecord;
use host_sim::driveline::{DEMOS, Driveline};
use host_sim::plant::{self, PlantInputs, PlantModel, PlantState};
use host_sim::review::{Subject, drives};
use supervisor::Supervisor;
use supervisor::bits::MAX_MACHINES;
use supervisor::io::Inputs;
use supervisor::status::Phase;
use supervisor::trace::Trace;

/// Length of a case, s: the request of a review comes at 2 s.
const CASE_S: f64 = 5.0;
/// Cases of each demo, taken evenly from its review.
const CASES: usize = 24;
/// Seed of the cases of a campaign.
const CAMPAIGN_SEED: u64 = 2026;
/// Every figure is that of the fastest of so many turns.
const TURNS: usize = 4;

fn main() {
    println!("ns are those of a tick; us those of one case");
    println!(
        "{:<9} {:>9} {:>9}  {:>5} {:>6} {:>6} {:>6} {:>6} {:>6} {:>5}  {:>7} {:>8}  {:>5}",
        "driveline",
        "ticks/s",
        "steps/s",
        "ns",
        "plant",
        "senses",
        "driver",
        "superv",
        "judges",
        "rest",
        "start us",
        "ready ms",
        "2 thr"
    );
    for demo in DEMOS {
        match Subject::read(demo, 1) {
            Ok(subject) => measure(&subject),
            Err(_) => println!("{demo}: the demo file does not read"),
        }
    }
}

fn cases(subject: &Subject) -> Vec<Setup> {
    let all = drives(subject);
    let every = all.len().div_ceil(CASES);
    all.into_iter().step_by(every).map(|d| Setup { duration_s: CASE_S, ..d.setup }).collect()
}

/// One case under all judges; its ticks, and something that depends on all of it.
fn judged(subject: &Subject, prepared: &Arc<Prepared>, setup: &Setup) -> (u64, u64) {
    let mut judges = checkers::all(&subject.driveline, &subject.kinematics);
    let mut run = Run::of(prepared, setup, subject.seed).expect("it starts");
    let mut ticks = 0;
    while let Some(record) = run.next_tick() {
        judges.iter_mut().for_each(|judge| judge.observe(&record.truth));
        ticks += 1;
    }
    let findings: usize = judges.iter_mut().map(|judge| judge.finish().len()).sum();
    (ticks, run.plant().digest() ^ findings as u64)
}

/// All cases under all judges, so many runs at a time.
fn judged_together(subject: &Subject, prepared: &Arc<Prepared>, cases: &[Setup], at_once: usize) {
    for group in cases.chunks(at_once) {
        let of = |setup| Run::of(prepared, setup, subject.seed).expect("it starts");
        let mut runs: Vec<Run> = group.iter().map(of).collect();
        let judges = |_| checkers::all(&subject.driveline, &subject.kinematics);
        let mut judges: Vec<_> = group.iter().map(judges).collect();
        while Run::next_tick_of_each(&mut runs) > 0 {
            let count = judges[0].len();
            for judge in 0..count {
                for (run, judges) in runs.iter().zip(&mut judges) {
                    if let Some(record) = run.record_of_this_tick() {
                        judges[judge].observe(&record.truth);
                    }
                }
            }
        }
        black_box(judges.iter_mut().flatten().map(|judge| judge.finish().len()).sum::<usize>());
    }
}

/// Cases of a campaign with one fault each, with all that a campaign does with them, so many side
/// by side.
fn campaign(subject: &Subject) {
    let world = World::new(subject.clone());
    let prepared = world.prepared().expect("complete");
    let list: Vec<Case> = (0..CASES as u64).map(|n| case(&world, CAMPAIGN_SEED, 1, n)).collect();
    let mut court = Court::new(&world, &prepared);
    let mut ticks = 0;
    let each = [1, 4, 8, 12, 16, 24].map(|at_once| {
        let s = seconds(|| {
            let judged = court.judge_each(&list, at_once, &AtomicBool::new(false));
            ticks = judged.into_iter().flatten().flatten().map(|judged| judged.ticks).sum();
        });
        format!("{at_once}: {:.0}", s * 1e9 / ticks as f64)
    });
    println!("  the same for cases of a campaign with one fault: {}", each.join(", "));
}

/// Seconds of the fastest of a few turns.
fn seconds(mut work: impl FnMut()) -> f64 {
    (0..TURNS).fold(f64::INFINITY, |best, _| {
        let start = now_s();
        work();
        best.min(now_s() - start)
    })
}

/// Seconds that this thread was on a processor; of the clock where the system does not tell.
fn now_s() -> f64 {
    // The system brings its account up to date when the thread gives way.
    std::thread::yield_now();
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let ns = told.and_then(|text| text.split_whitespace().next()?.parse::<f64>().ok());
    match ns {
        Some(ns) => ns * 1e-9,
        None => START.get_or_init(Instant::now).elapsed().as_secs_f64(),
    }
}

static START: std::sync::OnceLock<Instant> = std::sync::OnceLock::new();

fn measure(subject: &Subject) {
    let cases = cases(subject);
    let d = &subject.driveline;
    let start = now_s();
    let prepared = Arc::new(Prepared::new(d, subject.table.table()).expect("complete"));
    let preparing = now_s() - start;
    let mut ticks = 0;
    let whole = seconds(|| {
        let each = cases.iter().map(|setup| black_box(judged(subject, &prepared, setup)).0);
        ticks = each.sum::<u64>();
    });
    let starts = seconds(|| {
        for setup in &cases {
            black_box(Run::of(&prepared, setup, 1).expect("it starts"));
        }
    });
    let two = two_threads(subject, &prepared, &cases);
    let steps = d.timing.tick_ms.round().clamp(1.0, 1000.0);
    let together = [1, 2, 4, 8, 12, 24].map(|n| {
        let s = seconds(|| judged_together(subject, &prepared, &cases, n));
        format!("{n}: {:.0}", s * 1e9 / ticks as f64)
    });
    println!("  ns a tick with so many runs at once: {}", together.join(", "));
    campaign(subject);
    let parts = parts(subject, &cases);
    let ns = |seconds: f64| seconds * 1e9 / ticks as f64;
    let known: f64 = parts.iter().map(|s| ns(*s)).sum();
    println!(
        "{:<9} {:>9.0} {:>9.0}  {:>5.0} {:>6.0} {:>6.0} {:>6.0} {:>6.0} {:>6.0} {:>5.0}  {:>8.1} {:>8.1}  {:>5.2}",
        d.name,
        ticks as f64 / whole,
        steps * ticks as f64 / whole,
        ns(whole),
        ns(parts[0]),
        ns(parts[1]),
        ns(parts[2]),
        ns(parts[3]),
        ns(parts[4]),
        ns(whole - starts) - known,
        starts * 1e6 / cases.len() as f64,
        preparing * 1e3,
        2.0 * whole / two,
    );
}

/// Seconds that the slower of two threads takes for all cases while the other does the same.
fn two_threads(subject: &Subject, prepared: &Arc<Prepared>, cases: &[Setup]) -> f64 {
    let one = || {
        seconds(|| {
            cases.iter().for_each(|setup| {
                black_box(judged(subject, prepared, setup));
            });
        })
    };
    std::thread::scope(|scope| {
        let both = [scope.spawn(one), scope.spawn(one)];
        both.map(|thread| thread.join().unwrap_or(f64::NAN)).into_iter().fold(0.0, f64::max)
    })
}

/// What one tick of a run gave to each part.
struct Given {
    supervisor: Inputs,
    grade: f64,
    seen: (bool, [f64; MAX_MACHINES], f64, f64),
    record: TickRecord,
}

fn given(subject: &Subject, setup: &Setup) -> (PlantState, Vec<Given>) {
    let d = &subject.driveline;
    let mut run = Run::new(d, subject.table.table(), setup, subject.seed).expect("it starts");
    let start = *run.plant();
    let mut list: Vec<Given> = Vec::new();
    let mut rest_s = 0.0;
    loop {
        let before = *run.plant();
        let Some(record) = run.tick() else { return (start, list) };
        let status = record.status;
        let rests = status.phase == Phase::Rest && status.arrangement.is_some();
        rest_s = if rests { rest_s + record.truth.dt_s } else { 0.0 };
        let arrived = status.goal.is_none() || status.goal == status.arrangement;
        let mut radps = [0.0; MAX_MACHINES];
        for (radps, machine) in radps.iter_mut().zip(&d.machines) {
            *radps = before.speeds_radps()[machine.shaft];
        }
        let output_radps = before.speeds_radps()[d.output.shaft];
        list.push(Given {
            supervisor: Inputs {
                speeds: record.sensed,
                reports: record.reports,
                torques: before.torque_reports(),
                request: record.truth.request,
                demand_nm: record.demand_nm as f32,
                engine_running: before.engine_running(),
            },
            grade: profile_at(&setup.grade, record.truth.t_s - record.truth.dt_s),
            seen: (
                rests && (arrived || rest_s > 1.0),
                radps,
                output_radps,
                before.battery().charge,
            ),
            record,
        });
    }
}

/// Seconds that plant, sensing, driver and drive controller, supervisor and judges take for all
/// cases.
fn parts(subject: &Subject, cases: &[Setup]) -> [f64; 5] {
    let mut sum = [0.0; 5];
    for setup in cases {
        let (start, list) = given(subject, setup);
        let d = &subject.driveline;
        let blind = Driveline { sensors: Vec::new(), ..d.clone() };
        let bare = plant_s(&blind, &start, &list);
        let each = [
            bare,
            plant_s(d, &start, &list) - bare,
            control_s(d, setup, &list),
            supervisor_s(subject, &start, &list),
            judges_s(subject, &list),
        ];
        sum.iter_mut().zip(each).for_each(|(sum, each)| *sum += each);
    }
    sum
}

fn plant_s(d: &Driveline, start: &PlantState, list: &[Given]) -> f64 {
    let steps = d.timing.tick_ms.round().clamp(1.0, 1000.0);
    let model = PlantModel::with_step(d, d.timing.tick_ms / 1e3 / steps).expect("complete");
    seconds(|| {
        let mut state = *start;
        let mut inputs = PlantInputs::default();
        for given in list {
            inputs.locks = given.record.orders.locks;
            inputs.torque_nm = given.record.command_nm;
            inputs.engine_run = given.record.orders.engine_run;
            inputs.brake_nm = given.record.brake_nm;
            inputs.grade = given.grade;
            for _ in 0..steps as u32 {
                plant::step(&model, &mut state, &inputs);
            }
        }
        black_box(state.speeds_radps());
    })
}

fn control_s(d: &Driveline, setup: &Setup, list: &[Given]) -> f64 {
    let known = Knowledge::new(d, d.timing.tick_ms / 1e3);
    let data = DriverData::new(d).expect("complete");
    seconds(|| {
        let mut mind = Mind::default();
        let mut driver = Driver::new(&data, &setup.wish);
        for given in list {
            let (record, (settled, machine_radps, output_radps, charge)) =
                (&given.record, given.seen);
            let t_s = record.truth.t_s;
            let pedals = driver.tick(t_s, record.truth.dt_s, record.road_mps, given.grade, 0.0);
            black_box(pedals);
            let seen = Seen {
                orders: &record.orders.machines,
                engine_run: record.orders.engine_run,
                held: record.status.held.0,
                settled,
                demand_nm: record.demand_nm,
                machine_radps,
                output_radps,
                engine_running: given.supervisor.engine_running,
                charge,
            };
            black_box(mind.tick(&known, &seen));
        }
    })
}

fn supervisor_s(subject: &Subject, start: &PlantState, list: &[Given]) -> f64 {
    let table = subject.table.table();
    let reports = start.lock_reports();
    let mut closed = supervisor::bits::Bits::EMPTY;
    for (i, report) in reports.iter().enumerate() {
        closed = closed.with(i as u8, *report == supervisor::io::LockReport::Closed);
    }
    seconds(|| {
        let mut supervisor = Supervisor::after_reset(Trace::pressing(closed));
        for given in list {
            let _ = black_box(supervisor.tick(&table, &given.supervisor));
        }
    })
}

fn judges_s(subject: &Subject, list: &[Given]) -> f64 {
    let mut judges: Vec<Box<dyn Checker>> = checkers::all(&subject.driveline, &subject.kinematics);
    seconds(|| {
        for given in list {
            judges.iter_mut().for_each(|judge| judge.observe(&given.record.truth));
        }
    })
}
