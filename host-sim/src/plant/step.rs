//! One fixed step of the plant.
//!
//! Torques of machines and road are constant within a step; speeds are then piecewise linear, so
//! the instants at which a slip reaches zero are found exactly and the step is cut there.

use super::contact::{self, Contacts, Solution};
use super::grip::{self, Tyre};
use super::inputs::PlantInputs;
use super::model::{PlantModel, ShaftValues, sum_rows};
use super::state::{EngineActual, PlantState};
use super::{MAX_CONTACTS, MAX_SHAFTS, actuator, machine, mesh, power, sensor};
use supervisor::bits::{MAX_LOCKS, MAX_MACHINES};

/// Cuts of one step at most.
const MAX_CUTS: usize = 48;

/// A coordinate below this (rad/s) is rounding left over by friction that holds: it is rest.
const REST_SNAP: f64 = 1e-13;

/// What the road does in a step, as torques at the output shaft.
struct Road {
    /// Air and speed-dependent rolling, and slope: smooth, against forward motion when positive.
    air_nm: f64,
    grade_nm: f64,
    /// The tyres, while the wheels may slip: air and slope then act on the vehicle instead.
    tyre: Option<Tyre>,
    /// Shares of the Coulomb contact: rolling resistance, brake, final drive.
    rolling_nm: f64,
    brake_nm: f64,
    final_drive_nm: f64,
}

/// Move the state by one step under these inputs. Deterministic; allocates nothing; never panics.
pub fn step(model: &PlantModel, state: &mut PlantState, inputs: &PlantInputs) {
    let model = grip::model_of(model, state, inputs);
    // As wide as the shafts need: what lies beyond the last shaft is zero and stays so.
    match model.shafts {
        ..=4 => step_within::<4>(model, state, inputs),
        5 | 6 => step_within::<6>(model, state, inputs),
        7 | 8 => step_within::<8>(model, state, inputs),
        _ => step_within::<MAX_SHAFTS>(model, state, inputs),
    }
}

/// The same of no more than so many shafts.
fn step_within<const SHAFTS: usize>(
    model: &PlantModel,
    state: &mut PlantState,
    inputs: &PlantInputs,
) {
    state.touched = 0;
    let mut contacts = Contacts::default();
    actuator::advance(model, state, inputs, &mut contacts);
    machine::advance(model, state, inputs);
    let road = road(model, state, inputs);
    load_other_contacts(model, state, &road, &mut contacts);
    contacts.classify(model, &state.speed);

    let mut torque = [0.0; MAX_SHAFTS];
    for (m, from) in state.machine.iter().enumerate().take(model.machines) {
        torque[model.machine[m].shaft % MAX_SHAFTS] += from.torque_nm;
    }
    torque[model.road.shaft % MAX_SHAFTS] -= match &road.tyre {
        Some(tyre) => tyre.nm,
        None => road.air_nm + road.grade_nm,
    };
    let mesh_friction =
        mesh::add_friction(model, &state.speed, &state.through_mesh_nm, &mut torque);
    let base = accelerations::<SHAFTS>(model, &torque);

    let angle_before = state.angle;
    let mut means = [0.0; MAX_CONTACTS];
    let mut heat = [0.0; MAX_CONTACTS];
    let mut last = Solution::default();
    run_cuts::<SHAFTS>(model, state, &mut contacts, &base, &mut last, &mut means, &mut heat);

    store_contacts(model, state, inputs, &contacts, &means, &heat);
    let mut turned = [0.0; MAX_SHAFTS];
    for s in 0..SHAFTS {
        turned[s] = state.angle[s] - angle_before[s];
    }
    book(model, state, &road, &heat, &turned);
    state.energy.kinetic_j = kinetic_j::<SHAFTS>(model, &state.speed);
    if let Some(tyre) = &road.tyre {
        grip::advance(model, state, tyre, turned[model.road.shaft]);
    }
    state.energy.mesh_j += mesh::lost_j(model, &mesh_friction, &turned);
    for (i, nm) in last.torque.iter().enumerate().take(model.contacts) {
        torque[model.contact[i].a % MAX_SHAFTS] += nm;
        if let Some(b) = model.contact[i].b {
            torque[b % MAX_SHAFTS] -= nm;
        }
    }
    mesh::go_through::<SHAFTS>(model, &last.accel, &torque, &mut state.through_mesh_nm);
    state.accel = last.accel;
    wheel_torques(model, state, &road, &last);
    power::advance(model, state, &turned);
    state.steps += 1;
    sensor::advance(model, state, inputs);
}

/// Shaft accelerations from torques on the shafts.
#[inline]
fn accelerations<const SHAFTS: usize>(model: &PlantModel, torque: &ShaftValues) -> ShaftValues {
    let mut accel = [0.0; MAX_SHAFTS];
    let rows = &model.response[..model.shafts.min(SHAFTS)];
    accel[..SHAFTS].copy_from_slice(&sum_rows::<SHAFTS>(&[0.0; MAX_SHAFTS], rows, torque));
    accel
}

fn road(model: &PlantModel, state: &PlantState, inputs: &PlantInputs) -> Road {
    let road = &model.road;
    let w = state.speed[road.shaft % MAX_SHAFTS];
    let slope = finite(inputs.grade);
    let tyre = grip::tyre(model, state, inputs);
    let behind = state.wheel_side_nm;
    // Driving: what arrives is the efficiency times what went in. Braking: the other way round.
    let share = if behind * w > 0.0 { road.loss_when_driving } else { 1.0 - road.efficiency };
    Road {
        air_nm: air_nm(model, w),
        grade_nm: match slope == 0.0 {
            true => road.weight_nm * slope,
            false => road.weight_nm * slope / (1.0 + slope * slope).sqrt(),
        },
        tyre,
        rolling_nm: road.f0_nm,
        brake_nm: finite(inputs.brake_nm).max(0.0),
        final_drive_nm: share * behind.abs(),
    }
}

/// What grows with the speed of the road, as a torque at the output shaft.
pub(super) fn air_nm(model: &PlantModel, w: f64) -> f64 {
    model.road.f1 * w + model.road.f2 * w * w.abs()
}

/// A value from outside: 0 when it is not finite.
pub(super) fn finite(x: f64) -> f64 {
    if x.is_finite() { x } else { 0.0 }
}

/// Road and engine drag as contacts.
fn load_other_contacts(model: &PlantModel, state: &PlantState, road: &Road, c: &mut Contacts) {
    let i = model.road_contact;
    c.slide[i] = road.rolling_nm + road.brake_nm + road.final_drive_nm;
    c.stick[i] = c.slide[i];
    c.stuck |= usize::from(state.road_stuck) << i;
    if let (Some(i), Some(engine)) = (model.engine_contact, &model.engine) {
        let fires = state.engine.actual == EngineActual::Running;
        c.slide[i] = if fires { 0.0 } else { engine.drag_nm };
        c.stick[i] = c.slide[i];
        c.stuck |= usize::from(state.engine.stuck) << i;
    }
}

/// Run through the step, cut where a slip reaches zero. Adds up each contact's mean torque and heat.
#[inline]
fn run_cuts<const SHAFTS: usize>(
    model: &PlantModel,
    state: &mut PlantState,
    contacts: &mut Contacts,
    base: &ShaftValues,
    solution: &mut Solution,
    means: &mut [f64; MAX_CONTACTS],
    heat: &mut [f64; MAX_CONTACTS],
) {
    let mut left = model.dt_s;
    let mut cuts = 0;
    loop {
        if !contacts.solve::<SHAFTS>(model, base, solution) {
            state.unresolved += 1;
        }
        let cut = next_cut(model, contacts, solution, left);
        let cut = if cuts < MAX_CUTS { cut } else { None };
        if cuts == MAX_CUTS {
            state.unresolved += 1;
        }
        let span = cut.map_or(left, |(_, t)| t);
        advance::<SHAFTS>(model, state, solution, span, means, heat);
        left -= span;
        let Some((hit, _)) = cut else {
            contact::project::<SHAFTS>(model, &mut state.speed, contacts.stuck);
            return;
        };
        contacts.stuck |= 1 << hit;
        contacts.way[hit] = 0.0;
        contact::project::<SHAFTS>(model, &mut state.speed, contacts.stuck);
        contacts.look(model, &state.speed);
        cuts += 1;
    }
}

/// The first sliding contact whose slip reaches zero within `left`, and when.
#[inline]
fn next_cut(
    model: &PlantModel,
    contacts: &Contacts,
    solution: &Solution,
    left: f64,
) -> Option<(usize, f64)> {
    let mut first: Option<(usize, f64)> = None;
    let all = (1 << model.contacts.min(MAX_CONTACTS)) - 1;
    for i in contact::members(all & !contacts.stuck) {
        let way = contacts.way[i];
        if contacts.slide[i] <= 0.0 {
            continue;
        }
        let accel = model.slip(i, &solution.accel) * way;
        if accel >= 0.0 {
            continue;
        }
        let slip = contacts.slip[i] * way;
        let time = if slip > 0.0 { -slip / accel } else { 0.0 };
        if time < left && first.is_none_or(|(_, t)| time < t) {
            first = Some((i, time));
        }
    }
    first
}

/// Constant accelerations for `span` seconds.
#[inline]
fn advance<const SHAFTS: usize>(
    model: &PlantModel,
    state: &mut PlantState,
    solution: &Solution,
    span: f64,
    means: &mut [f64; MAX_CONTACTS],
    heat: &mut [f64; MAX_CONTACTS],
) {
    // All shaft speeds from the minimal coordinates, so that the gear rows hold to rounding.
    let mut after = [0.0; SHAFTS];
    for (&s, row) in model.free.iter().zip(&model.span).take(model.freedoms) {
        let speed = state.speed[s % MAX_SHAFTS] + solution.accel[s % MAX_SHAFTS] * span;
        if speed.abs() < REST_SNAP {
            continue;
        }
        after.iter_mut().zip(row).for_each(|(after, share)| *after += share * speed);
    }
    let mut mean = [0.0; MAX_SHAFTS];
    for s in 0..SHAFTS {
        mean[s] = 0.5 * (state.speed[s] + after[s]);
        state.angle[s] += mean[s] * span;
    }
    state.speed[..SHAFTS].copy_from_slice(&after);
    for i in 0..model.contacts.min(MAX_CONTACTS) {
        let torque = solution.torque[i];
        if torque != 0.0 {
            means[i] += torque * span / model.dt_s;
            heat[i] -= torque * model.slip(i, &mean) * span;
        }
    }
    for i in contact::members(model.dogs) {
        let lock = &mut state.lock[i];
        let angle = lock.angle_rad + model.slip(i, &mean) * span;
        lock.angle_rad = super::dog::wrap(angle, model.lock[i].pitch_rad);
    }
}

/// All shaft speeds from the minimal coordinates, so that the gear rows hold to rounding.
pub(super) fn respan(model: &PlantModel, speed: &mut ShaftValues) {
    let mut coordinates = [0.0; MAX_SHAFTS];
    for (&s, coordinate) in model.free.iter().zip(&mut coordinates).take(model.freedoms) {
        *coordinate = speed[s];
    }
    let rows = &model.span[..model.freedoms.min(MAX_SHAFTS)];
    *speed = sum_rows::<MAX_SHAFTS>(&[0.0; MAX_SHAFTS], rows, &coordinates);
}

/// What the motion did to the locks, the road's friction and the engine's drag.
#[inline]
fn store_contacts(
    model: &PlantModel,
    state: &mut PlantState,
    inputs: &PlantInputs,
    c: &Contacts,
    means: &[f64; MAX_CONTACTS],
    heat: &[f64; MAX_CONTACTS],
) {
    for i in 0..model.locks.min(MAX_LOCKS) {
        let lock = &mut state.lock[i];
        lock.stuck = c.is_stuck(i);
        lock.torque_nm = means[i];
        lock.heat_j += heat[i];
        if lock.pressure > 0.0 || model.lock[i].dog {
            lock.closing_j += heat[i];
        }
        let part = &model.lock[i];
        lock.rise_k = lock.rise_k * part.cooling_factor + heat[i] * part.rise_per_j;
        if lock.pressure > 0.0 && means[i].abs() > lock.peak_torque_nm {
            lock.peak_torque_nm = means[i].abs();
        }
        lock.overload = lock.engaged && means[i].abs() > part.capacity_nm;
        state.energy.lock_j[i] += heat[i];
        actuator::settle(model, state, inputs, i);
    }
    state.road_stuck = c.is_stuck(model.road_contact);
    if let Some(i) = model.engine_contact {
        state.engine.stuck = c.is_stuck(i);
        if let Some(engine) = &model.engine {
            machine::add_engine_drag(state, engine.machine, means[i]);
        }
    }
}

fn book(
    model: &PlantModel,
    state: &mut PlantState,
    road: &Road,
    heat: &[f64; MAX_CONTACTS],
    turned: &ShaftValues,
) {
    let output = turned[model.road.shaft % MAX_SHAFTS];
    let book = &mut state.energy;
    for m in 0..model.machines.min(MAX_MACHINES) {
        book.machine_j[m] +=
            state.machine[m].smooth_nm * turned[model.machine[m].shaft % MAX_SHAFTS];
    }
    if let Some(i) = model.engine_contact {
        book.engine_drag_j += heat[i];
    }
    let total = road.rolling_nm + road.brake_nm + road.final_drive_nm;
    if total > 0.0 {
        let each = heat[model.road_contact] / total;
        book.road_j += each * road.rolling_nm;
        book.brake_j += each * road.brake_nm;
        book.final_drive_j += each * road.final_drive_nm;
    }
    if road.tyre.is_none() {
        book.road_j += road.air_nm * output;
        book.grade_j += road.grade_nm * output;
    }
}

/// Kinetic energy of shafts and vehicle.
#[inline]
pub(super) fn kinetic_j<const SHAFTS: usize>(model: &PlantModel, speed: &ShaftValues) -> f64 {
    let twice = (0..SHAFTS).fold(0.0, |sum, s| sum + model.inertia[s] * speed[s] * speed[s]);
    0.5 * twice
}

/// Torque into the final drive and behind it, at the end of the step.
fn wheel_torques(model: &PlantModel, state: &mut PlantState, road: &Road, last: &Solution) {
    let friction = -last.torque[model.road_contact];
    let total = road.rolling_nm + road.brake_nm + road.final_drive_nm;
    let behind = if total > 0.0 { friction * (1.0 - road.final_drive_nm / total) } else { 0.0 };
    let turning = model.road.vehicle_inertia * last.accel[model.road.shaft];
    let rest = match &road.tyre {
        Some(tyre) => turning + tyre.nm,
        None => turning + road.air_nm + road.grade_nm,
    };
    state.output_torque_nm = rest + friction;
    state.wheel_side_nm = rest + behind;
}
