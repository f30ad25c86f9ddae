//! Losses of the gear meshes, as friction that grows with the torque through the mesh.
//!
//! A planetary set loses `(1 - efficiency) |T_sun (w_sun - w_carrier)|` (its efficiency is that
//! with the carrier held, so only motion relative to the carrier costs); a gear pair loses
//! `(1 - efficiency) |T_a w_a|`, with the torque of the side that drives. The torque through the mesh is that of the end of the last
//! step. Near zero relative speed the friction falls off linearly, in a band wide enough that
//! it can stop a motion within a step but never turn it round: it takes energy and gives none,
//! and a locked-up or standing set is left exactly alone.

use super::MAX_SHAFTS;
use super::dense;
use super::model::{PlantModel, ShaftValues};
use crate::driveline::{Driveline, Planet};
use crate::exact::{self, Matrix, Q, Row};
use num_traits::{One, Zero};

/// Below this relative speed the friction falls off, rad/s (about 10 rpm).
const BAND_RADPS: f64 = 1.0;

/// One mesh: friction acts between `a` and `b` (the case when `None`).
#[derive(Clone, Copy, Debug, PartialEq, Default)]
struct Mesh {
    a: usize,
    b: Option<usize>,
    /// `1 - efficiency`, and the same over the efficiency.
    share: f64,
    share_when_driving: f64,
    /// Torque on `a` per unit of the gear row's multiplier.
    torque_per_multiplier: f64,
    /// Relative acceleration for 1 Nm.
    mobility: f64,
}

/// All meshes whose torque statics determines.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(super) struct MeshModel {
    count: usize,
    mesh: [Mesh; MAX_SHAFTS],
    /// Multiplier of each gear row from the torque that inertia leaves unexplained.
    multiplier: [ShaftValues; MAX_SHAFTS],
}

/// The rows of planetary sets and then gear pairs over shaft speeds.
pub(super) fn gear_rows(driveline: &Driveline) -> Vec<Row> {
    let n = driveline.shafts.len();
    let mut rows = Vec::new();
    for p in &driveline.planetaries {
        let (zs, zr) = (i64::from(p.sun_teeth), i64::from(p.ring_teeth));
        let (sun, ring, carrier) = match p.planet {
            Planet::Single => (zs, zr, -(zs + zr)),
            Planet::Double => (-zs, zr, -(zr - zs)),
        };
        let mut row = vec![Q::zero(); n];
        row[p.sun] += exact::int(sun);
        row[p.ring] += exact::int(ring);
        row[p.carrier] += exact::int(carrier);
        rows.push(row);
    }
    for pair in &driveline.gear_pairs {
        let mut row = vec![Q::zero(); n];
        row[pair.a] += Q::one();
        row[pair.b] -= pair.ratio.clone();
        rows.push(row);
    }
    rows
}

/// The meshes of a driveline; `inertia` without the vehicle's share would do as well, because
/// any positive metric gives the same multipliers. A row that depends on others (a closed loop of
/// gears) leaves its torque open and loses nothing here. `None` when the rows are singular in f64.
pub(super) fn build(
    driveline: &Driveline,
    inertia: &ShaftValues,
    response: &[ShaftValues; MAX_SHAFTS],
) -> Option<MeshModel> {
    let n = driveline.shafts.len();
    let mut kept = Matrix::new(n, Vec::new());
    let mut meshes = Vec::new();
    for (mesh, row) in meshes_of(driveline).into_iter().zip(gear_rows(driveline)) {
        let mut more = kept.clone();
        more.push(row);
        if more.rank() > kept.rows().len() {
            kept = more;
            meshes.push(mesh);
        }
    }
    let mut model = MeshModel { count: meshes.len(), ..MeshModel::default() };
    if meshes.is_empty() {
        return Some(model);
    }
    let rows: dense::Dense =
        kept.rows().iter().map(|r| r.iter().map(exact::to_f64).collect()).collect();
    let mut over_inertia = rows.clone();
    for row in &mut over_inertia {
        row.iter_mut().zip(inertia).for_each(|(x, j)| *x /= j);
    }
    let square = dense::product(&over_inertia, &dense::transposed(&rows));
    let solved = dense::product(&dense::inverse_spd(&square)?, &over_inertia);
    for (to, from) in model.multiplier.iter_mut().zip(&solved) {
        to[..n].copy_from_slice(from);
    }
    for ((to, mut mesh), row) in model.mesh.iter_mut().zip(meshes).zip(&rows) {
        mesh.torque_per_multiplier = row[mesh.a];
        mesh.share_when_driving = mesh.share / (1.0 - mesh.share);
        let on = |s: usize, t: usize| response[s][t];
        mesh.mobility = match mesh.b {
            Some(b) => on(mesh.a, mesh.a) - 2.0 * on(mesh.a, b) + on(b, b),
            None => on(mesh.a, mesh.a),
        };
        *to = mesh;
    }
    Some(model)
}

fn meshes_of(driveline: &Driveline) -> Vec<Mesh> {
    let sets = driveline.planetaries.iter().map(|p| Mesh {
        a: p.sun,
        b: Some(p.carrier),
        share: 1.0 - p.mesh_efficiency,
        ..Mesh::default()
    });
    let pairs = driveline.gear_pairs.iter().map(|g| Mesh {
        a: g.a,
        b: None,
        share: 1.0 - g.mesh_efficiency,
        ..Mesh::default()
    });
    sets.chain(pairs).collect()
}

fn relative(mesh: &Mesh, values: &ShaftValues) -> f64 {
    values[mesh.a % MAX_SHAFTS] - mesh.b.map_or(0.0, |b| values[b % MAX_SHAFTS])
}

/// Friction torque of each mesh on its first shaft, added to the torques on the shafts.
pub(super) fn add_friction(
    model: &PlantModel,
    speed: &ShaftValues,
    through: &ShaftValues,
    torque: &mut ShaftValues,
) -> ShaftValues {
    let mut friction = [0.0; MAX_SHAFTS];
    for i in 0..model.mesh.count.min(MAX_SHAFTS) {
        let mesh = &model.mesh.mesh[i];
        let slip = relative(mesh, speed);
        // The loss is a share of the power that goes in. When `a` drives, what goes in is its
        // torque, of which the mesh passes on the efficiency.
        let share = if through[i] * slip < 0.0 { mesh.share_when_driving } else { mesh.share };
        let most = share * through[i].abs();
        if most <= 0.0 {
            continue;
        }
        let band = BAND_RADPS.max(most * mesh.mobility * model.dt_s);
        let share = if slip.abs() >= band { slip.signum() } else { slip / band };
        friction[i] = -most * share;
        torque[mesh.a % MAX_SHAFTS] += friction[i];
        if let Some(b) = mesh.b {
            torque[b % MAX_SHAFTS] -= friction[i];
        }
    }
    friction
}

/// Energy lost in the meshes over the angles turned in a step.
pub(super) fn lost_j(model: &PlantModel, friction: &ShaftValues, turned: &ShaftValues) -> f64 {
    (0..model.mesh.count.min(MAX_SHAFTS))
        .fold(0.0, |sum, i| sum - friction[i] * relative(&model.mesh.mesh[i], turned))
}

/// Torque through each mesh (on its first shaft), from accelerations and all other torques.
#[inline]
pub(super) fn go_through<const SHAFTS: usize>(
    model: &PlantModel,
    accel: &ShaftValues,
    torque: &ShaftValues,
    through: &mut ShaftValues,
) {
    let mut left = [0.0; SHAFTS];
    for s in 0..SHAFTS {
        left[s] = model.inertia[s] * accel[s] - torque[s];
    }
    for (i, value) in through.iter_mut().enumerate().take(model.mesh.count) {
        let row = &model.mesh.multiplier[i];
        let multiplier = row.iter().zip(&left).fold(0.0, |sum, (r, x)| sum + r * x);
        *value = multiplier * model.mesh.mesh[i].torque_per_multiplier;
    }
}
