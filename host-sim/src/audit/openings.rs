//! Opening steps: the load of the lock, and who takes the push over.

use num_traits::{Signed, Zero};
use supervisor::table as t;

use crate::exact::{Matrix, Q, Row, dot, int, ratio};
use crate::kinematics::lock_row;

use super::Audited;
use super::accelerations::{inertia_product, torque_max_nm};
use super::context::Context;
use super::numbers::{Claim, exact, exact32, roundings, rounds_to, unit_roundoff};
use super::steps::Subject;

/// Accuracy of a machine's reported torque, as a share of its largest (common practice, no source).
fn torque_error() -> Q {
    ratio(1, 100)
}

pub(super) fn examine(context: &Context, subject: &Subject, out: &mut Audited) {
    let step = subject.step;
    let target = [step.target_offset, step.target_min, step.target_max];
    let bare = step.target_row.iter().chain(&target).all(|c| *c == 0.0) && step.limits_count == 0;
    if !bare || step.engine != t::EngineNeed::Any {
        out.find("AU-STEP", subject.place("target_row"), "an opening brings nothing to a speed");
    }
    match released(context, subject) {
        Some(motion) => load(context, subject, &motion, out),
        None => {
            let sentence = "opening it alone frees no motion: its load is not determined";
            out.find("AU-ROW", subject.place("load_row"), sentence);
        }
    }
    hand_over(context, subject, out);
}

/// The motion that the lock holds back: one rad/s of slip, the output at rest, and the least
/// energy; so that torques which only speed up what is free anyway do not show.
fn released(context: &Context, subject: &Subject) -> Option<Row> {
    let d = context.d;
    let motions = &context.k.set(subject.to).basis;
    let n = motions.len();
    let slip = lock_row(d, usize::from(subject.step.lock));
    let constraints: [Row; 2] = [
        motions.iter().map(|m| dot(m, &slip)).collect(),
        motions.iter().map(|m| m[d.output.shaft].clone()).collect(),
    ];
    let mut rows: Vec<Row> = Vec::new();
    for (i, motion) in motions.iter().enumerate() {
        let energy = motions.iter().map(|other| inertia_product(d, motion, other));
        let pulls = constraints.iter().map(|c| c[i].clone());
        rows.push(energy.chain(pulls).collect());
    }
    for constraint in &constraints {
        rows.push(constraint.iter().cloned().chain([Q::zero(), Q::zero()]).collect());
    }
    let mut right = vec![Q::zero(); n + 2];
    right[n] = int(1);
    let x = Matrix::new(n + 2, rows).solve(&right)?;
    let along = |s: usize| x.iter().zip(motions).fold(Q::zero(), |sum, (x, m)| sum + x * &m[s]);
    Some((0..d.shafts.len()).map(along).collect())
}

fn load(context: &Context, subject: &Subject, motion: &Row, out: &mut Audited) {
    let (d, step) = (context.d, subject.step);
    let mut torque = Q::zero();
    for (m, machine) in d.machines.iter().enumerate() {
        if !rounds_to(step.load_row[m], &motion[machine.shaft]) {
            let name = &machine.name;
            let sentence = format!("its coefficient of {name} is not the lock's load");
            return out.find("AU-ROW", subject.place("load_row"), sentence);
        }
        // The report's own error, and every f32 operation on it.
        let operations = roundings(d.machines.len() + 3);
        let most = exact(torque_max_nm(&machine.kind));
        torque += motion[machine.shaft].abs() * most * (torque_error() + operations);
    }
    let lock = &d.locks[usize::from(step.lock)];
    let truth = exact(d.timing.unloaded_share) * exact(lock.capacity_nm.unwrap_or(0.0));
    // What accelerating with the output adds to the balance of the motion.
    let taken_along =
        context.k.set(subject.from).basis.iter().find(|n| !n[d.output.shaft].is_zero());
    let inertial = taken_along.map_or_else(Q::zero, |n| {
        (inertia_product(d, n, motion) / &n[d.output.shaft]).abs()
            * context.output_acceleration_radps2()
    });
    let limit = exact32(step.load_max);
    let floor = &truth * ratio(1, 10) * (int(1) + unit_roundoff());
    let everywhere = &torque + &inertial;
    // Where the errors leave less than a tenth, a tenth is kept, and hard acceleration adds to it.
    let (implies, margin, truth) = if &truth - &everywhere >= floor {
        ("the lock opens unloaded, also in hard acceleration", everywhere, truth)
    } else {
        ("the lock is shown a load of a tenth of the unloaded share at most", Q::zero(), floor)
    };
    out.proofs.push(
        Claim {
            id: "AU-LOAD",
            place: subject.place("load_max"),
            implies: implies.to_string(),
            unit: "Nm",
        }
        .at_most(&limit, &margin, &truth),
    );
}

/// The shares must hold the output's torque with every motion of the set after it in balance, and
/// no machine or lock may get more than it can bear.
fn hand_over(context: &Context, subject: &Subject, out: &mut Audited) {
    let (d, step) = (context.d, subject.step);
    let mut shares = vec![Q::zero(); d.machines.len()];
    for (m, share) in shares.iter_mut().enumerate() {
        match step.duties[m] {
            t::StepDuty::Take { share: stated } => *share = exact32(stated),
            t::StepDuty::Unload => {}
            t::StepDuty::Free | t::StepDuty::Sync => {
                let sentence = format!("{} has a duty of closings", d.machines[m].name);
                return out.find("AU-DUTY", subject.place("duties"), sentence);
            }
        }
        if !share.is_zero() && !context.is_electric(m) {
            out.find("AU-DUTY", subject.place("duties"), "the engine takes the push over");
        }
    }
    for motion in &context.k.set(subject.to).basis {
        let terms = || d.machines.iter().zip(&shares).map(|(m, share)| share * &motion[m.shaft]);
        let work = terms().fold(Q::zero(), |sum, x| sum + x);
        let size = terms().fold(Q::zero(), |sum, x| sum + x.abs());
        let wanted = if step.keeps_push { motion[d.output.shaft].clone() } else { Q::zero() };
        if (work - wanted).abs() > size * unit_roundoff() * int(2) {
            let sentence = "its shares do not hold every free motion in balance";
            return out.find("AU-DUTY", subject.place("duties"), sentence);
        }
    }
    if step.keeps_push {
        demand(context, subject, &shares, out);
    }
}

fn demand(context: &Context, subject: &Subject, shares: &[Q], out: &mut Audited) {
    let d = context.d;
    let limit = exact32(subject.step.demand_max.min(f32::MAX));
    let mut claim = |implies: String, truth: Q| {
        // The share is a rounded number, and the demand is multiplied with it.
        let truth = truth * (int(1) - roundings(2));
        let proof =
            Claim { id: "AU-DEMAND", place: subject.place("demand_max"), implies, unit: "Nm" };
        out.proofs.push(proof.at_most(&limit, &Q::zero(), &truth));
    };
    for (m, share) in shares.iter().enumerate().filter(|(_, share)| !share.is_zero()) {
        let machine = &d.machines[m];
        let most = exact(torque_max_nm(&machine.kind)) / share.abs();
        // Its own share is as exact as f32: grant what rounding takes.
        let most = most * (int(1) + roundings(4));
        claim(format!("{} can take its share over", machine.name), most);
    }
    for held in &context.k.set(subject.to).torque.locks {
        let sum = dot(&held.per_machine, shares) + &held.per_output;
        let terms = held.per_machine.iter().zip(shares).map(|(c, share)| (c * share).abs());
        let size = terms.fold(held.per_output.abs(), |sum, term| sum + term);
        // The shares are rounded: so much of the sum may come from that alone.
        let surely = sum.abs() - size * roundings(4);
        let lock = &d.locks[held.lock];
        let (Some(capacity), true) = (lock.capacity_nm, surely.is_positive()) else { continue };
        let most = exact(capacity) / surely * ratio(9, 10) * (int(1) + roundings(4));
        claim(format!("{} carries it within nine tenths of its capacity", lock.name), most);
    }
}
