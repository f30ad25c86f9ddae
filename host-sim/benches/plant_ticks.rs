//! How many steps a second the plant makes on the demo drivelines, with plain wall-clock timing.
//!
//! `cargo bench -p host-sim --bench plant_ticks`. It prints figures and checks none: machines
//! differ. The digest shows that the run is the same as on another machine.

use std::time::Instant;

use host_sim::driveline::{DEMOS, demo, parse};
use host_sim::plant::random::Random;
use host_sim::plant::{PlantInputs, PlantModel, PlantState, step};
use supervisor::io::LockOrder;

const STEPS: u32 = 1_000_000;

fn main() {
    println!("{:<10} {:>12} {:>9} {:>10}   digest", "driveline", "steps/s", "ns/step", "model ms");
    for name in DEMOS {
        let Some(Ok(checked)) = demo(name).map(|text| parse(name, text)) else {
            println!("{name}: the demo file does not read");
            continue;
        };
        let start = Instant::now();
        let model = match PlantModel::new(&checked.driveline) {
            Ok(model) => model,
            Err(missing) => {
                println!("{name}: {missing}");
                continue;
            }
        };
        let made = start.elapsed().as_secs_f64();
        let (state, seconds) = run(&model);
        println!(
            "{name:<10} {:>12.0} {:>9.0} {:>10.2}   {:016x}",
            f64::from(STEPS) / seconds,
            seconds * 1e9 / f64::from(STEPS),
            made * 1e3,
            state.digest()
        );
    }
}

/// A million steps of random orders and torques: locks close, slip, stick and open all the time.
fn run(model: &PlantModel) -> (PlantState, f64) {
    let mut state = PlantState::rest(model).with_seed(model, 1);
    let mut inputs = PlantInputs { engine_run: true, ..PlantInputs::default() };
    let mut random = Random::new(1);
    let start = Instant::now();
    for n in 0..STEPS {
        if n % 50 == 0 {
            let lock = random.below(model.locks() as u64) as usize;
            inputs.locks[lock] =
                if random.below(2) == 0 { LockOrder::Close } else { LockOrder::Open };
            let machine = random.below(model.machines() as u64) as usize;
            inputs.torque_nm[machine] = 150.0 * random.signed_unit();
            inputs.brake_nm = if random.below(4) == 0 { 500.0 } else { 0.0 };
        }
        step(model, &mut state, &inputs);
    }
    (state, start.elapsed().as_secs_f64())
}
