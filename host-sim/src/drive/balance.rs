//! Torque balance of one lock set: machine torques from wheel torque and wished
//! accelerations, by virtual power over the free motions.
//!
//! For every free motion `v` of the lock set, with the vehicle's inertia left out
//! (it belongs to the wheels' side of the output torque):
//!
//! `sum_m u_m v_m - T_out v_out = sum_s I_s v_s alpha_s`, `alpha` itself a free motion
//! with `alpha_out = 0`.
//!
//! Levels, most important first: the balance and the torques that are given; machines
//! that hold a speed; the wished acceleration of the others; the torque at the output;
//! the least sum of (torque / largest torque)^2.

use supervisor::bits::MAX_MACHINES;

use crate::drive::dense::{Dense, EMPTY_SUM, prioritised};
use crate::drive::motion::Motion;
use crate::driveline::{Driveline, MachineKind};

/// What is known of a machine's torque before the balance is solved.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Part {
    /// Its torque follows from the balance; its acceleration is a wish.
    Shares,
    /// Its torque follows from the balance; its acceleration is wanted.
    HoldsSpeed,
    /// Its torque is given; its acceleration is nobody's wish.
    Given,
    /// As [`Part::Shares`], but its torque stands at a limit.
    SharesAtLimit,
    /// As [`Part::HoldsSpeed`], but its torque stands at a limit: the others help.
    HoldsSpeedAtLimit,
}

impl Part {
    fn has_torque(self) -> bool {
        matches!(self, Part::Given | Part::SharesAtLimit | Part::HoldsSpeedAtLimit)
    }

    /// The same part with its torque at a limit.
    #[must_use]
    pub fn at_limit(self) -> Part {
        match self {
            Part::Shares => Part::SharesAtLimit,
            Part::HoldsSpeed => Part::HoldsSpeedAtLimit,
            other => other,
        }
    }

    /// Whether its torque still follows from the balance.
    pub fn is_open(self) -> bool {
        !self.has_torque()
    }
}

/// What is asked of the balance.
#[derive(Clone, Copy, Debug, Default)]
pub struct Asked {
    /// Torque at the output shaft towards the wheels, Nm.
    pub output_nm: f64,
    /// One a machine, Nm; read where the part has its torque given or at a limit.
    pub torque_nm: [f64; MAX_MACHINES],
    /// One a machine, rad/s2; read where the part wants or wishes an acceleration.
    pub acceleration_radps2: [f64; MAX_MACHINES],
}

/// The answer.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Answer {
    /// Torque of each machine, Nm.
    pub torque_nm: [f64; MAX_MACHINES],
    /// The torque at the output that goes with it, Nm.
    pub output_nm: f64,
}

/// Values that are worked out: the machines' torques, then the output's; an even number of them,
/// so that they are added up in pairs.
const LANES: usize = MAX_MACHINES + 2;
/// Where the output's torque stands among them.
const OUTPUT_LANE: usize = MAX_MACHINES;
/// Right-hand sides: nothing, the output, each machine's torque, each machine's acceleration.
const SIDES: usize = 2 + 2 * MAX_MACHINES;
/// The right-hand side that is always zero.
const NOTHING: usize = 0;

/// One right-hand side and what it adds to each value.
#[derive(Clone, Copy, Debug)]
struct Column {
    side: usize,
    share: [f64; LANES],
}

impl Column {
    #[inline]
    fn add(&self, x: &mut [f64; LANES], value: f64) {
        x.iter_mut().zip(&self.share).for_each(|(x, share)| *x += share * value);
    }
}

/// The solved balance of one lock set and one pattern of [`Part`]s.
#[derive(Clone, Debug)]
pub struct Balance {
    machines: usize,
    /// What the right-hand sides that are always zero add: a zero, but with its sign.
    nothing: [f64; LANES],
    columns: Vec<Column>,
    scale: [f64; MAX_MACHINES],
    output_scale: f64,
}

/// Accelerations are scaled by this, so that all unknowns are near one.
const ACCELERATION_SCALE: f64 = 1000.0;

/// Largest torque of each machine, Nm, for the scaling of the unknowns.
fn torque_scale(driveline: &Driveline) -> Vec<f64> {
    driveline
        .machines
        .iter()
        .map(|m| match &m.kind {
            MachineKind::Electric(e) => e.max_torque_nm.unwrap_or(100.0),
            MachineKind::Engine(e) => {
                e.torque_curve_rpm_nm.iter().fold(1.0, |most: f64, p| most.max(p.1))
            }
        })
        .map(|nm| nm.max(1e-3))
        .collect()
}

/// Virtual power of each free motion: machine torques, inertias, torque at the output.
fn motion_rows(
    driveline: &Driveline,
    motion: &Motion,
    scale: &[f64],
    output_scale: f64,
) -> Vec<Vec<f64>> {
    let (machines, free) = (scale.len(), motion.basis.cols());
    let row_of = |shaft: usize| motion.basis.row(shaft);
    let row_of_motion = |k: usize| {
        let mut row = vec![0.0; machines + free + 1];
        for (m, scale) in scale.iter().enumerate() {
            row[m] = row_of(driveline.machines[m].shaft)[k] * scale;
        }
        for (s, shaft) in driveline.shafts.iter().enumerate() {
            let inertia = shaft.inertia_kg_m2.unwrap_or(0.0);
            for j in 0..free {
                row[machines + j] -= inertia * row_of(s)[k] * row_of(s)[j] * ACCELERATION_SCALE;
            }
        }
        row[machines + free] = -row_of(driveline.output.shaft)[k] * output_scale;
        row
    };
    (0..free).map(row_of_motion).collect()
}

impl Balance {
    /// Solve the balance of a lock set's `motion` for the given `parts` (one a machine).
    pub fn new(driveline: &Driveline, motion: &Motion, parts: &[Part]) -> Balance {
        let machines = parts.len();
        let free = motion.basis.cols();
        let scale = torque_scale(driveline);
        let output_scale = 3.0 * scale.iter().sum::<f64>().max(1.0);
        let unknowns = machines + free + 1;
        let shaft_of = |m: usize| driveline.machines[m].shaft;

        let mut first = motion_rows(driveline, motion, &scale, output_scale);
        let acceleration_row = |shaft: usize| {
            let mut row = vec![0.0; unknowns];
            for (j, x) in motion.basis.row(shaft).iter().enumerate() {
                row[machines + j] = *x * ACCELERATION_SCALE;
            }
            row
        };
        first.push(acceleration_row(driveline.output.shaft));

        let mut sides = vec![NOTHING; first.len()];
        for (m, _) in parts.iter().enumerate().filter(|(_, p)| p.has_torque()) {
            let mut row = vec![0.0; unknowns];
            row[m] = 1.0;
            sides.push(2 + m);
            first.push(row);
        }
        let of_level = |wanted: [Part; 2]| -> Vec<usize> {
            (0..machines).filter(|&m| wanted.contains(&parts[m])).collect()
        };
        let holders = of_level([Part::HoldsSpeed, Part::HoldsSpeedAtLimit]);
        let sharers = of_level([Part::Shares, Part::SharesAtLimit]);
        sides.extend(holders.iter().chain(&sharers).map(|m| 2 + MAX_MACHINES + m));
        sides.push(1);
        let rows_of = |list: &[usize]| -> Vec<Vec<f64>> {
            list.iter().map(|&m| acceleration_row(shaft_of(m))).collect()
        };
        let (holding, wished) = (rows_of(&holders), rows_of(&sharers));
        let mut output = vec![0.0; unknowns];
        output[unknowns - 1] = output_scale;
        let levels =
            [first, holding, wished, vec![output]].map(|rows| Dense::from_rows(unknowns, &rows));
        // Rows of like size keep the levels apart to rounding; the first level is met exactly,
        // so its rows may be scaled freely.
        let [first, holding, wished, output] = levels;
        let levels = [first.with_unit_rows(), holding, wished, output];
        let map = prioritised(unknowns, &levels);
        Balance::of_map(&map, &sides, &scale, output_scale)
    }

    /// The rows of the map that are asked for, column by column.
    fn of_map(map: &Dense, sides: &[usize], scale: &[f64], output_scale: f64) -> Balance {
        let machines = scale.len();
        let column = |(c, side): (usize, &usize)| {
            let mut share = [0.0; LANES];
            for (m, slot) in share.iter_mut().enumerate().take(machines) {
                *slot = map.at(m, c);
            }
            share[OUTPUT_LANE] = map.at(map.rows() - 1, c);
            Column { side: *side, share }
        };
        let mut scales = [1.0; MAX_MACHINES];
        scales[..machines].copy_from_slice(scale);
        let (zeros, columns): (Vec<Column>, Vec<Column>) =
            sides.iter().enumerate().map(column).partition(|column| column.side == NOTHING);
        let mut nothing = [EMPTY_SUM; LANES];
        zeros.iter().for_each(|column| column.add(&mut nothing, 0.0));
        Balance { machines, nothing, columns, scale: scales, output_scale }
    }

    /// The torques that meet `asked` as far as the levels allow.
    pub fn answer(&self, asked: &Asked) -> Answer {
        match self.machines {
            0 => self.answer_of::<0>(asked),
            1 => self.answer_of::<1>(asked),
            2 => self.answer_of::<2>(asked),
            3 => self.answer_of::<3>(asked),
            _ => self.answer_of::<MAX_MACHINES>(asked),
        }
    }

    /// The same for this number of machines: exactly that of the lock set's.
    #[inline]
    pub(super) fn answer_of<const MACHINES: usize>(&self, asked: &Asked) -> Answer {
        let mut right = [0.0; SIDES];
        right[1] = asked.output_nm;
        for m in 0..MACHINES {
            right[2 + m] = asked.torque_nm[m] / self.scale[m];
            right[2 + MAX_MACHINES + m] = asked.acceleration_radps2[m];
        }
        let mut x = self.nothing;
        for column in &self.columns {
            // The remainder changes nothing, but spares the look at whether the side exists.
            column.add(&mut x, right[column.side % SIDES]);
        }
        let mut answer =
            Answer { output_nm: x[OUTPUT_LANE] * self.output_scale, ..Answer::default() };
        for m in 0..MACHINES {
            answer.torque_nm[m] = self.scale[m] * x[m];
        }
        answer
    }
}
