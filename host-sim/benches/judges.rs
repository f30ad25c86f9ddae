//! What the judges cost a tick, beside what a tick of the closed loop costs without them.
//!
//! `cargo bench -p host-sim --bench judges`. It prints figures and checks none: machines differ.

use std::hint::black_box;
use std::time::Instant;

use host_sim::checkers::{Judges, TickTruth};
use host_sim::drive::closed_loop::{Run, Setup};
use host_sim::drive::driver::Wish;
use host_sim::driveline::{DEMOS, demo, parse};
use host_sim::{kinematics, table};

/// Length of the drive that is judged, s.
const SECONDS: f64 = 30.0;
/// How often the drive is shown to the judges.
const ROUNDS: u32 = 40;

fn main() {
    println!(
        "{:<10} {:>8} {:>14} {:>15} {:>7}",
        "driveline", "ticks", "loop ns/tick", "judges ns/tick", "share"
    );
    for name in DEMOS {
        let Some(Ok(checked)) = demo(name).map(|text| parse(name, text)) else {
            println!("{name}: the demo file does not read");
            continue;
        };
        let d = checked.driveline;
        let Ok(k) = kinematics::analyse(&d) else { continue };
        let Ok(data) = table::build(&d, &k) else { continue };
        let setup = tour(d.arrangements.len());
        let Ok(mut run) = Run::new(&d, data.table(), &setup, 1) else { continue };
        let mut truths: Vec<TickTruth> = Vec::with_capacity(run.ticks() as usize);
        let start = Instant::now();
        while let Some(record) = run.tick() {
            truths.push(record.truth);
        }
        let ticks = truths.len().max(1) as f64;
        let loop_ns = start.elapsed().as_secs_f64() * 1e9 / ticks;
        let mut judges = Judges::new(&d, &k);
        let start = Instant::now();
        for _ in 0..ROUNDS {
            judges.reset();
            for truth in &truths {
                judges.observe(black_box(truth));
            }
        }
        let judges_ns = start.elapsed().as_secs_f64() * 1e9 / (ticks * f64::from(ROUNDS));
        println!(
            "{name:<10} {:>8} {loop_ns:>14.0} {judges_ns:>15.1} {:>6.1}%",
            truths.len(),
            100.0 * judges_ns / loop_ns
        );
    }
}

/// Every arrangement in turn at a moderate speed, and back.
fn tour(arrangements: usize) -> Setup {
    let each = SECONDS / arrangements.max(1) as f64;
    Setup {
        duration_s: SECONDS,
        start_speed_kmh: 30.0,
        start_arrangement: Some(0),
        start_charge: 0.6,
        start_rises_k: Vec::new(),
        wish: Wish::Speed(vec![(0.0, 30.0), (SECONDS, 45.0)]),
        grade: Vec::new(),
        requests: (0..arrangements).map(|a| (a as f64 * each, a)).collect(),
        faults: Vec::new(),
    }
}
