//! How electric machines share a push: the smallest sum of squares of torque per torque limit, as
//! the solution of its optimality conditions.

use num_traits::{One, Zero};

use crate::exact::{Matrix, Q, Row};

use super::accelerations::torque_max_nm;
use super::context::Context;
use super::numbers::exact;

/// Torques of all machines (the engine's zero) that do `wanted` work per motion of `motions`,
/// with the least squares; `None` when the electric machines cannot.
pub(super) fn torques(context: &Context, motions: &[Row], wanted: &[Q]) -> Option<Row> {
    let d = context.d;
    let electric: Vec<usize> = (0..d.machines.len()).filter(|&m| context.is_electric(m)).collect();
    let (n, rows) = (electric.len(), motions.len());
    // Unknowns: torques u and multipliers y with u / limit^2 = A'y and A u = wanted.
    let mut system: Vec<Row> = Vec::new();
    let mut right: Row = Vec::new();
    for (i, &m) in electric.iter().enumerate() {
        let limit = exact(torque_max_nm(&d.machines[m].kind));
        let limit = if limit.is_zero() { Q::one() } else { limit };
        let mut row = vec![Q::zero(); n + rows];
        row[i] = Q::one();
        for (r, motion) in motions.iter().enumerate() {
            row[n + r] = -(&motion[d.machines[m].shaft] * &limit * &limit);
        }
        system.push(row);
        right.push(Q::zero());
    }
    for (motion, work) in motions.iter().zip(wanted) {
        let mut row = vec![Q::zero(); n + rows];
        for (i, &m) in electric.iter().enumerate() {
            row[i] = motion[d.machines[m].shaft].clone();
        }
        system.push(row);
        right.push(work.clone());
    }
    let solution = Matrix::new(n + rows, system).solve(&right)?;
    let mut all = vec![Q::zero(); d.machines.len()];
    for (&m, u) in electric.iter().zip(solution) {
        all[m] = u;
    }
    Some(all)
}

/// Torques per unit of torque at the output.
pub(super) fn shares(context: &Context, set: u8) -> Option<Row> {
    let motions = &context.k.set(set).basis;
    let output: Row = motions.iter().map(|m| m[context.d.output.shaft].clone()).collect();
    torques(context, motions, &output)
}
