//! Shafts, gears and locks of a checked driveline.

use super::model::ShaftId;
use crate::exact::Q;

/// A rigid shaft.
#[derive(Clone, Debug, PartialEq)]
pub struct Shaft {
    /// Name as in the file.
    pub name: String,
    /// Inertia in kg m2 (needed by the plant).
    pub inertia_kg_m2: Option<f64>,
    /// Highest allowed speed in rpm; `None` means no limit is stated.
    pub max_rpm: Option<f64>,
    /// Lowest allowed (signed) speed in rpm; defaults to `-max_rpm`.
    pub min_rpm: Option<f64>,
    /// Speed either way, rpm, that it was shown to bear for a while; `None`: its limits and no more.
    pub tested_rpm: Option<f64>,
    /// How long it may be beyond its limits after faults, in all, s.
    pub tested_s: f64,
    /// Drag of its bearings, seals and oil, for energy figures.
    pub spin_drag: SpinDrag,
}

impl Shaft {
    /// Lowest and highest speed, rpm, that it was shown to bear: its limits where it was not tested, `None`
    /// where it has none. What may not turn as fast backwards as forward was not tested backwards.
    pub fn tested_limits_rpm(&self) -> (Option<f64>, Option<f64>) {
        let most = self.max_rpm.map(|max| self.tested_rpm.map_or(max, |rpm| rpm.max(max)));
        let as_fast_backwards = self.min_rpm.is_none_or(|min| self.max_rpm == Some(-min));
        let least = if as_fast_backwards { most.map(|rpm| -rpm) } else { self.min_rpm };
        (least, most)
    }
}

/// Torque against the motion of a shaft that turns: constant + per_krpm * |speed| / 1000 rpm.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct SpinDrag {
    /// Nm at any speed but zero.
    pub constant_nm: f64,
    /// Nm per 1000 rpm.
    pub per_krpm_nm: f64,
}

/// Whether a planetary set has one planet between sun and ring, or a meshing pair.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Planet {
    /// `Zs*ws + Zr*wr = (Zs+Zr)*wc`.
    Single,
    /// `Zr*wr - Zs*ws = (Zr-Zs)*wc`.
    Double,
}

/// One planetary gear set.
#[derive(Clone, Debug, PartialEq)]
pub struct Planetary {
    /// Name as in the file.
    pub name: String,
    /// Sun shaft.
    pub sun: ShaftId,
    /// Ring shaft.
    pub ring: ShaftId,
    /// Carrier shaft.
    pub carrier: ShaftId,
    /// Teeth of the sun.
    pub sun_teeth: u32,
    /// Teeth of the ring.
    pub ring_teeth: u32,
    /// Number of planets (or planet pairs).
    pub planets: u32,
    /// Single or double planet.
    pub planet: Planet,
    /// Efficiency of the set with the carrier held, 0 < e <= 1.
    pub mesh_efficiency: f64,
}

/// One gear pair: speed of `a` = `ratio` x speed of `b`.
#[derive(Clone, Debug, PartialEq)]
pub struct GearPair {
    /// Name as in the file.
    pub name: String,
    /// First shaft.
    pub a: ShaftId,
    /// Second shaft.
    pub b: ShaftId,
    /// Exact signed ratio.
    pub ratio: Q,
    /// Efficiency, 0 < e <= 1.
    pub mesh_efficiency: f64,
}

/// A brake (`b` is `None`: the case) or a clutch.
#[derive(Clone, Debug, PartialEq)]
pub struct Lock {
    /// Name as in the file.
    pub name: String,
    /// First side.
    pub a: ShaftId,
    /// Second side; `None` is the case.
    pub b: Option<ShaftId>,
    /// Friction or dog, with what belongs to it.
    pub kind: LockKind,
    /// Torque capacity in Nm (needed by the plant).
    pub capacity_nm: Option<f64>,
    /// Largest slip, in rpm, at which it may be closed (needed by the table).
    pub engage_slip_max_rpm: Option<f64>,
    /// Whether it is open without supply.
    pub normally_open: bool,
    /// Whether a position switch reports its state.
    pub has_switch: bool,
    /// Time from the order to close until it can carry torque (friction: fill; dog: insertion), ms.
    pub close_ms: f64,
    /// Time from the order to open until it carries none, ms.
    pub release_ms: f64,
    /// Drag torque when open, Nm.
    pub drag_nm: f64,
}

/// What differs between friction and dog locks.
#[derive(Clone, Debug, PartialEq)]
pub enum LockKind {
    /// Multi-plate; may slip.
    Friction(Friction),
    /// Positive; rigid once in.
    Dog(Dog),
}

/// Data of a friction lock.
#[derive(Clone, Debug, PartialEq)]
pub struct Friction {
    /// Friction work allowed in one closing, kJ.
    pub energy_budget_kj: f64,
    /// Time for the torque to rise from kiss point to capacity, ms.
    pub ramp_ms: f64,
    /// Ratio of break-away torque to sliding torque, >= 1.
    pub static_ratio: f64,
    /// Heat capacity of the plates, kJ/K.
    pub heat_capacity_kj_per_k: f64,
    /// Time constant of cooling, s.
    pub cooling_time_s: f64,
    /// Rise over the oil temperature at which closing is inhibited, K.
    pub max_rise_k: f64,
}

/// Data of a dog lock.
#[derive(Clone, Debug, PartialEq)]
pub struct Dog {
    /// Teeth.
    pub teeth: u32,
    /// Backlash, degrees.
    pub backlash_deg: f64,
    /// Smallest offset speed, rpm, at which it is asked in (a dog at exactly no slip may stand tooth on tooth).
    pub offset_rpm: f64,
}
