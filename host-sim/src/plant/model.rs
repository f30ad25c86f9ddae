//! The precomputed, immutable half of the plant: what a step reads and never writes.
//!
//! Minimal coordinates come from the exact null space of the gear rows; numbers become f64 only
//! after rank and independence are settled in rationals. A *contact* is a pair of shafts (or a
//! shaft and the case) between which Coulomb friction or a rigid dog acts: every lock, the road
//! (rolling resistance, brake and final drive loss at the output) and the engine's own drag.

use super::contact_table::ContactTable;
use super::dense::{self, Dense};
use super::mesh::{self, MeshModel};
use super::parts::{BatteryModel, EngineModel, LockModel, MachineModel, RoadModel, SensorModel};
use super::{MAX_CONTACTS, MAX_SHAFTS};
use crate::driveline::{Driveline, MachineKind};
use crate::exact::{self, Matrix, Row};
use num_traits::{One, Zero};
use supervisor::bits::{MAX_LOCKS, MAX_MACHINES, MAX_SENSORS};

/// Speed of each shaft, or torque on each shaft; entries beyond the last shaft are zero.
pub type ShaftValues = [f64; MAX_SHAFTS];

/// Why a plant cannot be built: every missing or unusable value, each in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MissingData {
    /// One line for each, such as `shaft "ring" has no inertia_kg_m2`.
    pub items: Vec<String>,
}

impl core::fmt::Display for MissingData {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "the plant needs more data: {}", self.items.join("; "))
    }
}

impl std::error::Error for MissingData {}

/// One contact: torque acts `+` on `a` and `-` on `b` (the case when `None`).
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(super) struct Contact {
    pub(super) a: usize,
    pub(super) b: Option<usize>,
}

/// A plant, ready to be stepped.
#[derive(Clone, Debug, PartialEq)]
pub struct PlantModel {
    pub(super) dt_s: f64,
    pub(super) shafts: usize,
    /// Number of minimal coordinates; coordinate `k` is the speed of shaft `free[k]`.
    pub(super) freedoms: usize,
    pub(super) free: [usize; MAX_SHAFTS],
    /// Shaft speeds from coordinates: `w[s] = sum span[k][s] * w[free[k]]`.
    pub(super) span: [ShaftValues; MAX_SHAFTS],
    /// Inertia of each shaft, the vehicle's share at the output included, kg m2.
    pub(super) inertia: ShaftValues,
    /// `response[s][t]`: acceleration of shaft `t` for 1 Nm on shaft `s` (symmetric).
    pub(super) response: [ShaftValues; MAX_SHAFTS],
    pub(super) contacts: usize,
    pub(super) contact: [Contact; MAX_CONTACTS],
    /// Acceleration of every shaft for 1 Nm of each contact.
    pub(super) contact_response: [ShaftValues; MAX_CONTACTS],
    /// Slip acceleration of contact `i` for 1 Nm of contact `j`.
    pub(super) contact_mobility: [[f64; MAX_CONTACTS]; MAX_CONTACTS],
    pub(super) table: ContactTable,
    pub(super) mesh: MeshModel,
    pub(super) road_contact: usize,
    pub(super) engine_contact: Option<usize>,
    pub(super) locks: usize,
    pub(super) lock: [LockModel; MAX_LOCKS],
    /// The locks that are dogs, a bit each.
    pub(super) dogs: usize,
    pub(super) machines: usize,
    pub(super) machine: [MachineModel; MAX_MACHINES],
    pub(super) engine: Option<EngineModel>,
    pub(super) sensors: usize,
    pub(super) sensor: [SensorModel; MAX_SENSORS],
    pub(super) road: RoadModel,
    pub(super) battery: Option<BatteryModel>,
    /// Inertia of the vehicle at the output that is not in this model, because its wheels slip.
    pub(super) apart_kg_m2: f64,
    /// The same plant with wheels that may slip.
    pub(super) loose: Option<Box<PlantModel>>,
}

impl PlantModel {
    /// A plant with the default step of 1 ms.
    ///
    /// # Errors
    /// [`MissingData`] names every value that the plant needs and the file does not give.
    pub fn new(driveline: &Driveline) -> Result<PlantModel, MissingData> {
        PlantModel::with_step(driveline, 1e-3)
    }

    /// A plant with a step of `dt_s` seconds (0 < dt_s <= 0.1).
    ///
    /// # Errors
    /// As [`PlantModel::new`]; also when `dt_s` is out of range.
    pub fn with_step(driveline: &Driveline, dt_s: f64) -> Result<PlantModel, MissingData> {
        PlantModel::build(driveline, dt_s, 1.0)
    }

    /// This plant of `driveline`, ready for the loss of grip as well.
    ///
    /// # Errors
    /// As [`PlantModel::new`].
    pub fn with_loose_wheels(mut self, driveline: &Driveline) -> Result<PlantModel, MissingData> {
        let loose = PlantModel::build(driveline, self.dt_s, super::grip::wheel_share(driveline))?;
        self.loose = Some(Box::new(loose));
        Ok(self)
    }

    /// A plant whose output turns this share of the vehicle's inertia.
    fn build(driveline: &Driveline, dt_s: f64, share: f64) -> Result<PlantModel, MissingData> {
        let mut missing = Vec::new();
        if !(dt_s > 0.0 && dt_s <= 0.1) {
            missing.push(format!("the step is {dt_s} s, outside 0 to 0.1 s"));
        }
        let parts = super::parts::collect(driveline, dt_s, &mut missing);
        let gears = Matrix::new(driveline.shafts.len(), mesh::gear_rows(driveline));
        let basis = gears.null_space();
        if basis.is_empty() {
            missing.push("the gears alone hold every shaft".to_string());
        }
        let Some(mut parts) = parts.filter(|_| missing.is_empty()) else {
            return Err(MissingData { items: missing });
        };
        let whole = parts.road.vehicle_inertia;
        parts.road.vehicle_inertia *= share;
        let contacts = contacts(driveline);
        let mut inertia = parts.inertia;
        inertia[driveline.output.shaft] += parts.road.vehicle_inertia;
        let response = responses(&basis, &inertia, driveline.shafts.len())
            .ok_or_else(|| MissingData { items: vec![bad_mass()] })?;
        let mesh = mesh::build(driveline, &inertia, &response)
            .ok_or_else(|| MissingData { items: vec![bad_mass()] })?;
        let mut model = PlantModel {
            dt_s,
            shafts: driveline.shafts.len(),
            freedoms: basis.len(),
            free: [0; MAX_SHAFTS],
            span: [[0.0; MAX_SHAFTS]; MAX_SHAFTS],
            inertia,
            response,
            contacts: contacts.len(),
            contact: [Contact::default(); MAX_CONTACTS],
            contact_response: [[0.0; MAX_SHAFTS]; MAX_CONTACTS],
            contact_mobility: [[0.0; MAX_CONTACTS]; MAX_CONTACTS],
            table: ContactTable::default(),
            mesh,
            road_contact: driveline.locks.len(),
            engine_contact: driveline.engine().map(|_| driveline.locks.len() + 1),
            locks: driveline.locks.len(),
            lock: parts.lock,
            dogs: (0..MAX_LOCKS).filter(|&i| parts.lock[i].dog).fold(0, |set, i| set | 1 << i),
            machines: driveline.machines.len(),
            machine: parts.machine,
            engine: parts.engine,
            sensors: driveline.sensors.len(),
            sensor: parts.sensor,
            road: parts.road,
            battery: parts.battery,
            apart_kg_m2: whole - parts.road.vehicle_inertia,
            loose: None,
        };
        model.set_span(&basis);
        model.set_contacts(&contacts);
        let shares = model.share_weights();
        model.table =
            ContactTable::build(&contact_rows(&contacts, &basis), &model.mobility(), &shares)
                .ok_or_else(|| MissingData { items: vec![bad_mass()] })?;
        Ok(model)
    }

    /// Length of one step in s.
    pub fn dt_s(&self) -> f64 {
        self.dt_s
    }

    /// Number of shafts.
    pub fn shafts(&self) -> usize {
        self.shafts
    }

    /// Number of locks.
    pub fn locks(&self) -> usize {
        self.locks
    }

    /// Number of machines, the engine included.
    pub fn machines(&self) -> usize {
        self.machines
    }

    /// Number of speed sensors.
    pub fn sensors(&self) -> usize {
        self.sensors
    }

    /// Road speed in m/s per rad/s of the output shaft.
    pub fn metres_per_radian(&self) -> f64 {
        self.road.metres_per_radian
    }

    /// Inertia that turns with the output in kg m2 (shaft and vehicle).
    pub fn output_inertia_kg_m2(&self) -> f64 {
        self.inertia[self.road.shaft]
    }

    /// Slip speed of a lock in rad/s for these shaft speeds: first side minus second side.
    pub fn slip_radps(&self, lock: usize, speeds: &ShaftValues) -> f64 {
        self.slip(lock, speeds)
    }

    #[inline]
    pub(super) fn slip(&self, contact: usize, speeds: &ShaftValues) -> f64 {
        let Contact { a, b } = self.contact[contact];
        // The remainder changes nothing, but spares the look at whether a shaft exists.
        match b {
            Some(b) => speeds[a % MAX_SHAFTS] - speeds[b % MAX_SHAFTS],
            None => speeds[a % MAX_SHAFTS],
        }
    }

    /// Full-load torque of an electric machine at this shaft speed, Nm, and of the engine its curve.
    pub fn torque_limit_nm(&self, machine: usize, speed_radps: f64) -> f64 {
        super::machine::torque_limit_nm(self, machine, speed_radps)
    }

    fn set_span(&mut self, basis: &[Row]) {
        for (k, row) in basis.iter().enumerate() {
            for (s, value) in row.iter().enumerate() {
                self.span[k][s] = exact::to_f64(value);
            }
            // The free column of basis vector k is the only one with a one here and a zero in
            // every other vector.
            let own = (0..row.len()).find(|&s| {
                row[s].is_one() && basis.iter().enumerate().all(|(j, r)| j == k || r[s].is_zero())
            });
            self.free[k] = own.unwrap_or(0);
        }
    }

    fn set_contacts(&mut self, contacts: &[Contact]) {
        for (i, c) in contacts.iter().enumerate() {
            self.contact[i] = *c;
            for s in 0..self.shafts {
                let minus = c.b.map_or(0.0, |b| self.response[b][s]);
                self.contact_response[i][s] = self.response[c.a][s] - minus;
            }
        }
        for i in 0..contacts.len() {
            for j in 0..contacts.len() {
                self.contact_mobility[i][j] = self.slip(i, &self.contact_response[j]);
            }
        }
    }

    fn mobility(&self) -> Dense {
        let n = self.contacts;
        (0..n).map(|i| self.contact_mobility[i][..n].to_vec()).collect()
    }

    /// How redundant contacts share what the equations leave open: by capacity, so that each is
    /// used to the same degree.
    fn share_weights(&self) -> Vec<f64> {
        let mut weights: Vec<f64> =
            self.lock[..self.locks].iter().map(|lock| lock.capacity_nm).collect();
        weights.push(0.5 * self.road.weight_nm + 1.0);
        weights.extend(self.engine.iter().map(|e| e.drag_nm + 1.0));
        weights
    }
}

/// `from + sum x[k] * rows[k]` in the order of the rows, those that add nothing left out, of the
/// first so many shafts: of all that there are, so that the sums stay in registers.
#[inline]
pub(super) fn sum_rows<const SHAFTS: usize>(
    from: &ShaftValues,
    rows: &[ShaftValues],
    x: &[f64],
) -> [f64; SHAFTS] {
    let mut sum = [0.0; SHAFTS];
    sum.copy_from_slice(&from[..SHAFTS]);
    for (row, x) in rows.iter().zip(x) {
        if *x != 0.0 {
            sum.iter_mut().zip(row).for_each(|(sum, share)| *sum += share * x);
        }
    }
    sum
}

fn bad_mass() -> String {
    "the mass matrix is not positive definite: every free motion needs some inertia".to_string()
}

/// Locks in order, then the road at the output, then the engine's drag.
fn contacts(driveline: &Driveline) -> Vec<Contact> {
    let mut list: Vec<Contact> =
        driveline.locks.iter().map(|l| Contact { a: l.a, b: l.b }).collect();
    list.push(Contact { a: driveline.output.shaft, b: None });
    for machine in &driveline.machines {
        if matches!(machine.kind, MachineKind::Engine(_)) {
            list.push(Contact { a: machine.shaft, b: None });
        }
    }
    list
}

/// Contact rows in minimal coordinates, exact.
fn contact_rows(contacts: &[Contact], basis: &[Row]) -> Vec<Row> {
    contacts
        .iter()
        .map(|c| {
            basis
                .iter()
                .map(|v| match c.b {
                    Some(b) => &v[c.a] - &v[b],
                    None => v[c.a].clone(),
                })
                .collect()
        })
        .collect()
}

/// `G (G' J G)^-1 G'`: shaft accelerations per torque on each shaft.
fn responses(
    basis: &[Row],
    inertia: &ShaftValues,
    shafts: usize,
) -> Option<[ShaftValues; MAX_SHAFTS]> {
    let g: Dense =
        (0..shafts).map(|s| basis.iter().map(|v| exact::to_f64(&v[s])).collect()).collect();
    let mut jg = g.clone();
    for (row, j) in jg.iter_mut().zip(inertia) {
        row.iter_mut().for_each(|x| *x *= j);
    }
    let gt = dense::transposed(&g);
    let inverse = dense::inverse_spd(&dense::product(&gt, &jg))?;
    let h = dense::product(&dense::product(&g, &inverse), &gt);
    let mut out = [[0.0; MAX_SHAFTS]; MAX_SHAFTS];
    for (row, from) in out.iter_mut().zip(&h) {
        row[..shafts].copy_from_slice(from);
    }
    Some(out)
}
