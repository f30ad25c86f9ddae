//! How fast a shaft can change its speed: rigid bodies under all machines at full torque.
//!
//! In a lock set the output is taken along by the vehicle, which tyres in grip accelerate at most
//! so much; every motion with the output at rest obeys `N'JN a = N'T`. The bound of a shaft is the
//! sum over the machines of what each can do to it, at its full torque, and the share of the
//! output's acceleration, in the worst lock set that is not forbidden.

use num_traits::{Signed, Zero};

use crate::driveline::{Driveline, Machine, MachineKind};
use crate::exact::{Matrix, Q, Row, dot, int, ratio};

use super::context::Context;
use super::numbers::{exact, radps_above};

/// Bound for every shaft, rad/s2.
pub(super) fn bounds(context: &Context) -> Row {
    let d = context.d;
    let mut worst = vec![Q::zero(); d.shafts.len()];
    for closed in (0..context.k.sets.len()).filter(|&s| !context.is_forbidden(s as u8)) {
        let of_set = of_set(context, closed as u8);
        for (worst, here) in worst.iter_mut().zip(of_set) {
            if here > *worst {
                *worst = here;
            }
        }
    }
    // Machines are asked for this much even where no inertia is stated.
    let asked = radps_above(&exact(d.timing.sync_rate_max_rpm_per_s));
    worst.into_iter().map(|a| if a > asked { a } else { asked.clone() }).collect()
}

/// A shaft's inertia as the decimal that was written; one without weighs a twentieth, a stand-in
/// that only serves to weigh motions against each other.
pub(super) fn inertia(d: &Driveline, shaft: usize) -> Q {
    match d.shafts[shaft].inertia_kg_m2 {
        None => ratio(1, 20),
        Some(stated) if stated > 1e-6 && stated < 1e6 => {
            ratio((stated * 1e9).round() as i64, 1_000_000_000)
        }
        Some(stated) => exact(stated),
    }
}

fn of_set(context: &Context, closed: u8) -> Row {
    let d = context.d;
    let basis = &context.k.set(closed).basis;
    let output = d.output.shaft;
    let j: Row = (0..d.shafts.len()).map(|s| inertia(d, s)).collect();
    let weigh = |a: &Row, b: &Row| {
        a.iter().zip(b).zip(&j).fold(Q::zero(), |sum, ((x, y), j)| sum + x * y * j)
    };
    // The basis has the output at one in its first motion and at rest in the others.
    let (with, still): (Vec<&Row>, Vec<&Row>) = basis.iter().partition(|m| !m[output].is_zero());
    let gram = still.iter().map(|a| still.iter().map(|b| weigh(a, b)).collect()).collect();
    let gram = Matrix::new(still.len(), gram);
    let response = |force: Row| -> Option<Row> {
        let x = gram.solve(&force)?;
        let along = |s: usize| x.iter().zip(&still).fold(Q::zero(), |sum, (x, m)| sum + x * &m[s]);
        Some((0..d.shafts.len()).map(along).collect())
    };
    let mut bound = vec![Q::zero(); d.shafts.len()];
    for machine in &d.machines {
        let force = still.iter().map(|m| m[machine.shaft].clone()).collect();
        // Without any inertia there is no answer, and what is asked for must do.
        let Some(per_nm) = response(force) else { continue };
        let nm = exact(torque_max_nm(&machine.kind));
        bound.iter_mut().zip(per_nm).for_each(|(b, a)| *b += a.abs() * &nm);
    }
    if let Some(&turning) = with.first() {
        let pulled = response(still.iter().map(|m| weigh(m, turning)).collect());
        let pulled = pulled.unwrap_or_else(|| vec![Q::zero(); d.shafts.len()]);
        let grip = context.output_acceleration_radps2();
        for ((b, own), relief) in bound.iter_mut().zip(turning).zip(pulled) {
            *b += (own / &turning[output] - relief / &turning[output]).abs() * &grip;
        }
    }
    bound
}

/// How fast a machine at full torque spins its own shaft, with nothing else on it, rad/s2.
pub(super) fn alone_radps2(d: &Driveline, machine: &Machine) -> Option<Q> {
    let inertia = inertia(d, machine.shaft);
    (!inertia.is_zero()).then(|| exact(torque_max_nm(&machine.kind)) / inertia)
}

/// Largest torque of a machine, Nm; zero where none is stated.
pub(super) fn torque_max_nm(kind: &MachineKind) -> f64 {
    match kind {
        MachineKind::Electric(e) => e.max_torque_nm.unwrap_or(0.0),
        MachineKind::Engine(e) => e.torque_curve_rpm_nm.iter().fold(0.0, |m, (_, nm)| m.max(*nm)),
    }
}

/// Largest acceleration of the output shaft with tyres in grip, rad/s2.
pub(super) fn grip_radps2(d: &Driveline) -> Q {
    let (Some(vehicle), Some(ratio), Some(radius)) =
        (&d.vehicle, &d.output.final_drive, d.output.tyre_radius_m)
    else {
        return int(0);
    };
    exact(vehicle.max_acceleration_mps2) / exact(radius) * ratio.abs()
}

/// Work that a motion does against the inertias when it is sped up along another one.
pub(super) fn inertia_product(d: &Driveline, a: &[Q], b: &[Q]) -> Q {
    let weighted: Row = a.iter().enumerate().map(|(s, x)| x * inertia(d, s)).collect();
    dot(&weighted, b)
}
