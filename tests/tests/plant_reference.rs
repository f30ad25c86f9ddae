//! The plant against an independent integration of the same driveline.
//!
//! The second method shares no code and no formulation with the plant: all five shaft speeds
//! with Lagrange multipliers (a dense saddle-point system), Coulomb's
//! law by trying every combination of stick and slip, classical Runge-Kutta of order 4 with
//! 50 us steps, and events found by bisection.

use host_sim::driveline::{Driveline, MachineKind};
use host_sim::plant::{PlantInputs, PlantModel, PlantState, step};
use nalgebra::{DMatrix, DVector};
use slipwarden_tests::plant_drivelines::shuttle_shafts::*;
use slipwarden_tests::plant_drivelines::{friction_of, shuttle};
use supervisor::io::LockOrder;

const LEVER: f64 = 0.355 / (41.0 / 13.0);
const CONTACTS: usize = 5;
const SUN_NM: f64 = 60.0;
const GENERATOR_NM: f64 = -12.0;
const GRADE: f64 = 0.03;
const FILL_S: f64 = 0.090;
const RAMP_S: f64 = 0.080;
const RELEASE_S: f64 = 0.060;

/// What is ordered: (from, to) in s while each lock is ordered closed.
const CLOSED: [(f64, f64); 3] = [(0.3, 9.0), (0.0, 0.62), (0.05, 9.0)];
const CAPACITY: [f64; 3] = [900.0, 90.0, 70.0];
/// Brake, clutch, clutch, road, engine drag: first and second side.
const SIDES: [(usize, Option<usize>); CONTACTS] = [
    (RING, None),
    (RING, Some(GENERATOR)),
    (GENERATOR, Some(CRANK)),
    (OUTPUT, None),
    (CRANK, None),
];

type Speeds = [f64; 5];

#[derive(Clone, Copy, PartialEq, Debug)]
enum Mode {
    Stick,
    Slide(f64),
}

/// Torque a contact can carry at time `t`.
fn capacity(contact: usize, t: f64) -> f64 {
    match contact {
        3 => 400.0 * LEVER,
        4 => 15.0,
        lock => {
            let (from, to) = CLOSED[lock];
            let rise = ((t.min(to) - from - FILL_S) / RAMP_S).clamp(0.0, 1.0);
            let left = (rise - ((t - to) / RELEASE_S).max(0.0)).max(0.0);
            CAPACITY[lock] * left
        }
    }
}

fn slip(contact: usize, w: &Speeds) -> f64 {
    let (a, b) = SIDES[contact];
    w[a] - b.map_or(0.0, |b| w[b])
}

/// Accelerations and contact torques for these modes.
fn motion(t: f64, w: &Speeds, modes: &[Mode; CONTACTS]) -> (Speeds, [f64; CONTACTS]) {
    let vehicle = 4300.0 * 1.03 * LEVER * LEVER;
    let inertia = [0.062, 0.045 + vehicle, 0.028, 0.075, 0.19];
    let v = w[OUTPUT] * LEVER;
    let slope = 4300.0 * 9.80665 * GRADE / (1.0 + GRADE * GRADE).sqrt();
    let mut torque = [SUN_NM, -(2.5 * v + v * v.abs() + slope) * LEVER, 0.0, GENERATOR_NM, 0.0];
    let stuck: Vec<usize> = (0..CONTACTS).filter(|&i| modes[i] == Mode::Stick).collect();
    let mut carried = [0.0; CONTACTS];
    for i in 0..CONTACTS {
        if let Mode::Slide(direction) = modes[i] {
            carried[i] = -direction * capacity(i, t);
            torque[SIDES[i].0] += carried[i];
            if let Some(b) = SIDES[i].1 {
                torque[b] -= carried[i];
            }
        }
    }
    let rows = 1 + stuck.len();
    let mut k = DMatrix::zeros(5 + rows, 5 + rows);
    let mut rhs = DVector::zeros(5 + rows);
    for s in 0..5 {
        k[(s, s)] = inertia[s];
        rhs[s] = torque[s];
    }
    let mut row = |r: usize, entries: &[(usize, f64)]| {
        for &(s, value) in entries {
            k[(5 + r, s)] = value;
            k[(s, 5 + r)] = -value;
        }
    };
    row(0, &[(SUN, 30.0), (RING, 66.0), (OUTPUT, -96.0)]);
    for (r, &i) in stuck.iter().enumerate() {
        let (a, b) = SIDES[i];
        // A compliance far below any other number here keeps redundant contacts solvable.
        match b {
            Some(b) => row(1 + r, &[(a, 1.0), (b, -1.0)]),
            None => row(1 + r, &[(a, 1.0)]),
        }
    }
    for r in 1..rows {
        k[(5 + r, 5 + r)] = 1e-12;
    }
    let solution = k.lu().solve(&rhs).expect("solved");
    for (r, &i) in stuck.iter().enumerate() {
        carried[i] = solution[6 + r];
    }
    (core::array::from_fn(|s| solution[s]), carried)
}

/// Whether modes obey Coulomb's law at this instant.
fn lawful(t: f64, w: &Speeds, modes: &[Mode; CONTACTS]) -> bool {
    let (accel, carried) = motion(t, w, modes);
    (0..CONTACTS).all(|i| match modes[i] {
        Mode::Stick => carried[i].abs() <= capacity(i, t) + 1e-6 && slip(i, &accel).abs() < 1e-7,
        Mode::Slide(d) if slip(i, w).abs() < 1e-9 => slip(i, &accel) * d > -1e-7,
        Mode::Slide(d) => slip(i, w) * d > 0.0,
    })
}

/// Modes by trying every combination for the contacts that stand.
fn choose(t: f64, w: &Speeds) -> [Mode; CONTACTS] {
    for code in 0..3_usize.pow(CONTACTS as u32) {
        let modes: [Mode; CONTACTS] = core::array::from_fn(|i| {
            let s = slip(i, w);
            match code / 3_usize.pow(i as u32) % 3 {
                0 if s.abs() < 1e-9 => Mode::Stick,
                1 if s.abs() < 1e-9 => Mode::Slide(1.0),
                2 if s.abs() < 1e-9 => Mode::Slide(-1.0),
                _ => Mode::Slide(s.signum()),
            }
        });
        if lawful(t, w, &modes) {
            return modes;
        }
    }
    panic!("no combination of stick and slip at {t} s: {w:?}");
}

fn runge_kutta(t: f64, w: &Speeds, h: f64, modes: &[Mode; CONTACTS]) -> Speeds {
    let at = |k: &Speeds, f: f64| -> Speeds { core::array::from_fn(|s| w[s] + f * k[s]) };
    let k1 = motion(t, w, modes).0;
    let k2 = motion(t + h / 2.0, &at(&k1, h / 2.0), modes).0;
    let k3 = motion(t + h / 2.0, &at(&k2, h / 2.0), modes).0;
    let k4 = motion(t + h, &at(&k3, h), modes).0;
    core::array::from_fn(|s| w[s] + h / 6.0 * (k1[s] + 2.0 * k2[s] + 2.0 * k3[s] + k4[s]))
}

/// A contact that slid at the start of a step and whose slip has changed sign at its end.
fn crossed(from: &Speeds, w: &Speeds, modes: &[Mode; CONTACTS]) -> Option<usize> {
    let mut moving = (0..CONTACTS).filter(|&i| slip(i, from).abs() >= 1e-9);
    moving.find(|&i| matches!(modes[i], Mode::Slide(d) if slip(i, w) * d < -1e-12))
}

/// Speeds at every 100 ms, and the modes that were met.
fn reference(start: Speeds) -> (Vec<Speeds>, Vec<[Mode; CONTACTS]>) {
    let (mut w, mut out, mut met) = (start, vec![], vec![]);
    let h = 5e-5;
    let mut events = 0;
    for n in 0..20_000_u32 {
        let mut t = f64::from(n) * h;
        let mut left = h;
        while left > 1e-15 {
            let modes = choose(t, &w);
            if met.last() != Some(&modes) {
                met.push(modes);
            }
            let mut span = left;
            let mut next = runge_kutta(t, &w, left, &modes);
            if crossed(&w, &next, &modes).is_some() {
                let (mut low, mut high) = (0.0, left);
                for _ in 0..60 {
                    let middle = 0.5 * (low + high);
                    if crossed(&w, &runge_kutta(t, &w, middle, &modes), &modes).is_some() {
                        high = middle;
                    } else {
                        low = middle;
                    }
                }
                span = high.max(1e-15);
                next = runge_kutta(t, &w, span, &modes);
                events += 1;
                assert!(events < 1000, "events without end at {t} s: {modes:?}");
            }
            w = next;
            t += span;
            left -= span;
        }
        if (n + 1) % 2000 == 0 {
            out.push(w);
        }
    }
    (out, met)
}

fn case() -> Driveline {
    let mut d = shuttle();
    for (lock, capacity) in d.locks.iter_mut().zip(CAPACITY) {
        lock.capacity_nm = Some(capacity);
        lock.close_ms = FILL_S * 1e3;
        lock.release_ms = RELEASE_S * 1e3;
        friction_of(lock).ramp_ms = RAMP_S * 1e3;
    }
    for m in &mut d.machines {
        if let MachineKind::Engine(e) = &mut m.kind {
            e.drag_nm = 15.0;
        }
    }
    d
}

/// Largest error of the plant at every 100 ms, rad/s.
fn plant_error(dt_s: f64, start: &PlantState, expected: &[Speeds]) -> f64 {
    let model = PlantModel::with_step(&case(), dt_s).expect("complete");
    let mut state = *start;
    let per_100_ms = (0.1 / dt_s).round() as u64;
    let mut worst = 0.0_f64;
    for w in expected {
        for _ in 0..per_100_ms {
            let t = (state.steps() as f64 + 0.5) * dt_s;
            let mut inputs = PlantInputs { grade: GRADE, ..PlantInputs::default() };
            inputs.torque_nm[..2].copy_from_slice(&[SUN_NM, GENERATOR_NM]);
            for (order, (from, to)) in inputs.locks.iter_mut().zip(CLOSED) {
                *order = if t > from && t < to { LockOrder::Close } else { LockOrder::Open };
            }
            step(&model, &mut state, &inputs);
        }
        let error = (0..5).fold(0.0, |e: f64, s| e.max((state.speeds_radps()[s] - w[s]).abs()));
        worst = worst.max(error);
    }
    worst
}

/// One second of the shuttle with all three locks closing, slipping, sticking and letting go,
/// rolling resistance and an unfired engine that is dragged along. The plant's steps are first
/// order (torques constant within a step), so its error must be small and fall with the step.
#[test]
fn planetary_with_sticking_and_slipping_locks() {
    let model = PlantModel::new(&case()).expect("complete");
    let free = [(SUN, 250.0), (GENERATOR, -60.0), (CRANK, 0.0)];
    let start = PlantState::at(&model, 90.0, 0, &free).expect("free");
    let w = start.speeds_radps();
    let (expected, met) = reference([w[0], w[1], w[2], w[3], w[4]]);
    let (coarse, fine) =
        (plant_error(1e-3, &start, &expected), plant_error(1e-4, &start, &expected));
    // Every lock was met sliding and sticking, so the comparison means something.
    for lock in 0..3 {
        assert!(met.iter().any(|m| m[lock] == Mode::Stick), "lock {lock} never stuck");
        assert!(met.iter().any(|m| m[lock] != Mode::Stick), "lock {lock} never slid");
    }
    assert!(coarse < 3e-3, "{coarse} rad/s off with 1 ms");
    assert!(fine < 0.05 * coarse, "{fine} rad/s with 0.1 ms against {coarse} with 1 ms");
}
