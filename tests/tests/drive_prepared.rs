//! Runs that share what was prepared are the runs that they are by themselves: one after the other,
//! several at a time, and on several threads; whichever was the first to need something.

use std::sync::Arc;

use host_sim::drive::closed_loop::{Prepared, Run, Setup};
use host_sim::drive::driver::Wish;
use host_sim::drive::faults::{Injected, TimedFault};
use host_sim::drive::record::TickRecord;
use slipwarden_tests::demo::Demo;

/// Drives of different lengths through the arrangements of a demo, some with faults.
fn setups(demo: &Demo) -> Vec<Setup> {
    let count = demo.driveline.arrangements.len();
    let faults = [
        None,
        Some(Injected::WheelSlip(0.05)),
        Some(Injected::SensorNoise(0, 30.0)),
        Some(Injected::TickJitter(2)),
        Some(Injected::SupplyDip),
    ];
    let of = |(i, fault): (usize, &Option<Injected>)| Setup {
        duration_s: 1.5 + 0.25 * i as f64,
        start_speed_kmh: 15.0 + 2.0 * i as f64,
        start_arrangement: Some(0),
        start_charge: 0.6,
        start_rises_k: Vec::new(),
        wish: Wish::Speed(vec![(0.0, 15.0), (3.0, 40.0)]),
        grade: vec![(0.0, 0.0), (1.0, 0.05)],
        requests: vec![(0.2, (1 + i) % count)],
        faults: fault.iter().map(|&f| TimedFault { from_s: 0.5, to_s: 1.0, fault: f }).collect(),
    };
    faults.iter().enumerate().map(of).collect()
}

type Story = (Vec<TickRecord>, u64);

fn story(mut run: Run) -> Story {
    let mut records = Vec::new();
    while let Some(record) = run.tick() {
        records.push(record);
    }
    (records, run.plant().digest())
}

/// Each run with nothing shared.
fn alone(demo: &Demo, setups: &[Setup]) -> Vec<Story> {
    let run = |s| Run::new(&demo.driveline, demo.table.table(), s, 7).expect("it starts");
    setups.iter().map(|s| story(run(s))).collect()
}

fn prepared(demo: &Demo) -> Arc<Prepared<'_>> {
    Arc::new(Prepared::new(&demo.driveline, demo.table.table()).expect("complete"))
}

#[test]
fn runs_that_share_are_the_runs_that_they_are_alone() {
    for name in ["shuttle", "railcar", "axle"] {
        let demo = Demo::new(name);
        let setups = setups(&demo);
        let alone = alone(&demo, &setups);
        assert!(alone.windows(2).all(|w| w[0].1 != w[1].1), "{name}: the drives differ");
        let shared = prepared(&demo);
        // From the last to the first: another one is now the first to need something.
        for (setup, expected) in setups.iter().zip(&alone).rev() {
            let run = Run::of(&shared, setup, 7).expect("it starts");
            assert!(story(run) == *expected, "{name}");
        }
        let fresh = prepared(&demo);
        std::thread::scope(|scope| {
            for _ in 0..2 {
                scope.spawn(|| {
                    for (setup, expected) in setups.iter().zip(&alone) {
                        let run = Run::of(&fresh, setup, 7).expect("it starts");
                        assert!(story(run) == *expected, "{name}");
                    }
                });
            }
        });
    }
}

#[test]
fn runs_that_tick_together_are_the_runs_that_they_are_alone() {
    for name in ["shuttle", "axle"] {
        let demo = Demo::new(name);
        let setups = setups(&demo);
        let alone = alone(&demo, &setups);
        let shared = prepared(&demo);
        let begin = |s| Run::of(&shared, s, 7).expect("it starts");
        let mut runs: Vec<Run> = setups.iter().map(begin).collect();
        let mut stories: Vec<Vec<TickRecord>> = vec![Vec::new(); runs.len()];
        let mut ticks = 0;
        loop {
            let count = Run::next_tick_of_each(&mut runs);
            ticks += count;
            if count == 0 {
                break;
            }
            for (run, records) in runs.iter().zip(&mut stories) {
                records.extend(run.record_of_this_tick());
            }
        }
        assert_eq!(ticks, alone.iter().map(|a| a.0.len()).sum::<usize>());
        for ((run, records), expected) in runs.iter().zip(stories).zip(&alone) {
            assert!((records, run.plant().digest()) == *expected, "{name}");
        }
    }
}
