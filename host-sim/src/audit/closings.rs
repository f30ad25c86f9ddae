//! Closing steps: who brings the slip to zero, where the shafts will be then, and the push.

use num_traits::{One, Signed, Zero};
use supervisor::table as t;

use crate::driveline::LockKind;
use crate::exact::{Matrix, Q, Row, dot};
use crate::kinematics::lock_row;

use super::accelerations::{inertia_product, torque_max_nm};
use super::context::Context;
use super::forms::{NotThatRow, errors, exact_row, reads, shaft};
use super::numbers::{Claim, exact, exact32, radps_above, radps_below, rounds_to};
use super::push::{shares, torques};
use super::steps::Subject;
use super::windows::step_limits_rpm;
use super::{Audited, Proof};

pub(super) fn examine(context: &Context, subject: &Subject, out: &mut Audited) {
    let duties = &subject.step.duties[..context.d.machines.len()];
    let sync: Vec<usize> = (0..duties.len()).filter(|&m| duties[m] == t::StepDuty::Sync).collect();
    if let Some(m) = (0..duties.len()).find(|&m| matches!(duties[m], t::StepDuty::Take { .. })) {
        let name = &context.d.machines[m].name;
        out.find("AU-DUTY", subject.place("duties"), format!("{name} takes over in a closing"));
    }
    if subject.step.load_max != 0.0 || subject.step.load_row.iter().any(|c| *c != 0.0) {
        out.find("AU-STEP", subject.place("load_row"), "a closing lock carries no load yet");
    }
    match sync[..] {
        [] => without_synchroniser(context, subject, out),
        [machine] => match Synchronising::new(context, subject, machine) {
            Some(motion) => {
                target(context, subject, machine, &motion, out);
                limits(context, subject, machine, &motion, out);
                push(context, subject, Some((machine, &motion.motion)), out);
            }
            None => {
                let name = &context.d.machines[machine].name;
                let sentence = format!("{name} cannot bring the slip to zero");
                out.find("AU-DUTY", subject.place("duties"), sentence);
            }
        },
        _ => out.find("AU-DUTY", subject.place("duties"), "two machines synchronise"),
    }
}

fn without_synchroniser(context: &Context, subject: &Subject, out: &mut Audited) {
    let step = subject.step;
    let target = [step.target_offset, step.target_min, step.target_max];
    if step.target_row.iter().chain(&target).any(|c| *c != 0.0) || step.limits_count != 0 {
        out.find("AU-DUTY", subject.place("duties"), "it has a target and nobody follows it");
    }
    push(context, subject, None, out);
}

/// The motion by which a machine moves the slip: the output stands, and the other machines too as
/// far as the lock set lets them, the engine before the electric ones.
struct Synchronising {
    /// One rad/s of the machine.
    motion: Row,
    /// Change of slip with it.
    slip: Q,
    /// Motions that nobody holds meanwhile; the slip has no part in them.
    drift: Vec<Row>,
}

impl Synchronising {
    fn new(context: &Context, subject: &Subject, machine: usize) -> Option<Synchronising> {
        let d = context.d;
        let own = d.machines[machine].shaft;
        let slip = lock_row(d, usize::from(subject.step.lock));
        let mut space = standing(&context.k.set(subject.from).basis, d.output.shaft);
        let mut others: Vec<usize> = (0..d.machines.len()).filter(|&m| m != machine).collect();
        others.sort_by_key(|&m| context.is_electric(m));
        let turns = |space: &[Row]| space.iter().any(|motion| !motion[own].is_zero());
        for other in others {
            let smaller = standing(&space, d.machines[other].shaft);
            if turns(&smaller) {
                space = smaller;
            }
        }
        let lead = space.iter().find(|motion| !motion[own].is_zero())?.clone();
        let motion: Row = lead.iter().map(|x| x / &lead[own]).collect();
        let drift = standing(&space, own);
        let per = dot(&motion, &slip);
        let drifts = drift.iter().any(|u| !dot(u, &slip).is_zero());
        (!per.is_zero() && !drifts).then_some(Synchronising { motion, slip: per, drift })
    }

    /// Speed of `shaft` once the slip is gone, as a form over the shafts.
    fn predicted(&self, context: &Context, subject: &Subject, of: usize) -> Row {
        let slip = lock_row(context.d, usize::from(subject.step.lock));
        let share = &self.motion[of] / &self.slip;
        let own = shaft(context, of);
        own.iter().zip(&slip).map(|(own, slip)| own - slip * &share).collect()
    }
}

/// Motions of a space in which one shaft stands.
fn standing(space: &[Row], shaft: usize) -> Vec<Row> {
    let reads: Row = space.iter().map(|motion| motion[shaft].clone()).collect();
    let combine = |x: Row| -> Row {
        let shafts = space.first().map_or(0, Vec::len);
        let at = |s: usize| x.iter().zip(space).fold(Q::zero(), |sum, (x, m)| sum + x * &m[s]);
        (0..shafts).map(at).collect()
    };
    Matrix::new(space.len(), vec![reads]).null_space().into_iter().map(combine).collect()
}

fn target(
    context: &Context,
    subject: &Subject,
    machine: usize,
    sync: &Synchronising,
    out: &mut Audited,
) {
    let step = subject.step;
    let of = context.d.machines[machine].shaft;
    let motions = &context.k.set(subject.from).basis;
    let values = reads(motions, &sync.predicted(context, subject, of));
    let exact_target = match exact_row(context, &step.target_row, motions, &values) {
        Ok(row) => row,
        Err(NotThatRow(why)) => return out.find("AU-ROW", subject.place("target_row"), why),
    };
    let lock = &context.d.locks[usize::from(step.lock)];
    let offset = match &lock.kind {
        LockKind::Dog(dog) => radps_below(&exact(dog.offset_rpm)) / &sync.slip,
        LockKind::Friction(_) => Q::zero(),
    };
    if !rounds_to(step.target_offset, &offset) {
        let sentence = "it does not leave the offset of slip that the file asks for";
        out.find("AU-TARGET", subject.place("target_offset"), sentence);
    }
    let error = errors(context, &step.target_row, &exact_target, 1);
    // The offset is added after the sum, and is rounded with it.
    let margin = &error.fixed + offset.abs() * super::numbers::roundings(1);
    let limits = step_limits_rpm(context, of, subject.engine_runs);
    let name = &context.d.machines[machine].name;
    let implies = format!("{name} is brought to a speed that its shaft may have");
    let (min, max) = (exact32(step.target_min), exact32(step.target_max));
    out.proofs.extend(between(
        "AU-TARGET",
        [subject.place("target_min"), subject.place("target_max")],
        &implies,
        [&min, &max],
        &margin,
        limits,
    ));
}

/// Claims for both ends of a range that must lie within limits in rpm.
fn between(
    id: &'static str,
    [low_place, high_place]: [String; 2],
    implies: &str,
    [min, max]: [&Q; 2],
    margin: &Q,
    (low, high): (Option<Q>, Option<Q>),
) -> Vec<Proof> {
    let claim = |place| Claim { id, place, implies: implies.to_string(), unit: "rpm" };
    let low = low.map(|rpm| claim(low_place).at_least(min, margin, &radps_above(&rpm)));
    let high = high.map(|rpm| claim(high_place).at_most(max, margin, &radps_below(&rpm)));
    low.into_iter().chain(high).collect()
}

/// Every other shaft that synchronising moves and that has limits must be guarded by an entry.
fn limits(
    context: &Context,
    subject: &Subject,
    machine: usize,
    sync: &Synchronising,
    out: &mut Audited,
) {
    let table = context.table.table();
    let entries = table.limits_of(subject.step);
    let motions = &context.k.set(subject.from).basis;
    let own = context.d.machines[machine].shaft;
    let mut known = vec![false; entries.len()];
    for of in 0..context.d.shafts.len() {
        let range = step_limits_rpm(context, of, subject.engine_runs);
        let limited = range.0.is_some() || range.1.is_some();
        let drifts = sync.drift.iter().any(|motion| !motion[of].is_zero());
        if of == own || !limited || (sync.motion[of].is_zero() && !drifts) {
            continue;
        }
        let name = &context.d.shafts[of].name;
        if drifts {
            // Nobody holds it: where it goes is no matter of this step, and a row on it no fault.
            known.iter_mut().for_each(|k| *k = true);
            continue;
        }
        let values = reads(motions, &sync.predicted(context, subject, of));
        let mut best: Option<(usize, Vec<Proof>)> = None;
        for (i, entry) in entries.iter().enumerate() {
            let Ok(exact) = exact_row(context, &entry.row, motions, &values) else { continue };
            known[i] = true;
            let place = |end: &str| subject.place(&format!("limit {i} {end} ({name})"));
            let proofs = between(
                "AU-LIMITS",
                [place("min"), place("max")],
                &format!("{name} will be at a speed that it may have"),
                [&exact32(entry.min), &exact32(entry.max)],
                &errors(context, &entry.row, &exact, 0).fixed,
                range.clone(),
            );
            if best.as_ref().is_none_or(|(_, known)| !known.iter().all(|p| p.holds)) {
                best = Some((i, proofs));
            }
        }
        match best {
            Some((_, proofs)) => out.proofs.extend(proofs),
            None => {
                let sentence = format!("no row tells the speed that {name} will have");
                out.find("AU-LIMITS", subject.place("limits"), sentence);
            }
        }
    }
    for i in (0..entries.len()).filter(|&i| !known[i]) {
        let sentence = "it tells the speed of no shaft that the step moves";
        out.find("AU-ROW", subject.place(&format!("limit {i} row")), sentence);
    }
}

/// Whether the push is kept as said, and how much may be asked for meanwhile.
fn push(context: &Context, subject: &Subject, sync: Option<(usize, &Row)>, out: &mut Audited) {
    let (d, step) = (context.d, subject.step);
    let motions = &context.k.set(subject.from).basis;
    let shares = shares(context, subject.from);
    let can_spin = sync.is_none_or(|(_, motion)| {
        let work: Row = motions.iter().map(|n| inertia_product(d, n, motion)).collect();
        torques(context, motions, &work).is_some()
    });
    let pushing = (0..d.machines.len())
        .filter(|&m| context.is_electric(m) && sync.is_none_or(|(s, _)| s != m));
    let want = if step.keeps_push { t::StepDuty::Free } else { t::StepDuty::Unload };
    if pushing.into_iter().any(|m| step.duties[m] != want) {
        let sentence = "its machines do not do what it says of the push";
        out.find("AU-DUTY", subject.place("duties"), sentence);
    }
    let mut engines = (0..d.machines.len()).filter(|&m| !context.is_electric(m));
    if engines.any(|m| sync.is_none_or(|(s, _)| s != m) && step.duties[m] != t::StepDuty::Free) {
        let sentence = "its engine neither synchronises nor runs as it did";
        out.find("AU-DUTY", subject.place("duties"), sentence);
    }
    if !step.keeps_push {
        return;
    }
    let (Some(shares), true) = (shares, can_spin) else {
        let sentence = "its electric machines cannot push and synchronise at once";
        return out.find("AU-DUTY", subject.place("keeps_push"), sentence);
    };
    let Some((_, motion)) = sync else { return };
    let room = (0..d.machines.len())
        .filter(|&m| !motion[d.machines[m].shaft].is_zero() && !shares[m].is_zero())
        .map(|m| exact(torque_max_nm(&d.machines[m].kind)) / shares[m].abs())
        .min();
    let Some(most) = room else { return };
    // A share that is kept for control is what must be left, so the margin is none.
    let limit = exact32(step.demand_max.min(f32::MAX));
    out.proofs.push(
        Claim {
            id: "AU-DEMAND",
            place: subject.place("demand_max"),
            implies: "machines that push and synchronise stay within nine tenths of their torque"
                .into(),
            unit: "Nm",
        }
        .at_most(
            &limit,
            &Q::zero(),
            &(most * crate::exact::ratio(9, 10) * (Q::one() + super::numbers::unit_roundoff())),
        ),
    );
}
