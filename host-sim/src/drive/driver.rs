//! The driver and the brake system: from a speed or pedal profile to the torque asked at
//! the output shaft and the service brake.

use crate::driveline::{Driveline, Vehicle};

/// Gain of the speed error, 1/s (acceleration per speed error).
const GAIN_PER_S: f64 = 0.9;
/// Reset time of the speed controller, s.
const RESET_S: f64 = 6.0;
/// Largest acceleration that the driver asks for, m/s2 (or the vehicle's, when less).
const PULL_MAX_MPS2: f64 = 2.5;
/// Below this road speed the machines do not brake, m/s.
const REGEN_END_MPS: f64 = 0.7;
/// Above this road speed the machines brake fully, m/s.
const REGEN_FULL_MPS: f64 = 2.5;
/// Deceleration of a held brake at standstill, m/s2.
const HOLD_MPS2: f64 = 3.0;
/// How much of the brake pedal answers a speed that is over the highest by all of it.
const BRAKE_OVER: f64 = 300.0;
/// Slowest limit of a driver, m/s.
const WALK_MPS: f64 = 1.5;
/// Rolling back faster than this is braked, m/s.
const ROLL_BACK_MPS: f64 = 1.5;
/// Below this road speed a vehicle that is to stand is held by the brake, m/s.
const STAND_MPS: f64 = 0.25;

/// What the driver follows.
#[derive(Clone, Debug, PartialEq)]
pub enum Wish {
    /// Road speed over time: (s, km/h), rising in time, straight between the points.
    Speed(Vec<(f64, f64)>),
    /// Pedal over time: (s, share), from -1 (full brake) to 1 (full drive).
    Pedal(Vec<(f64, f64)>),
}

/// What the driver asks for in one tick.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Pedals {
    /// Torque asked of the machines at the output shaft, Nm.
    pub demand_nm: f64,
    /// Service brake torque at the output shaft, Nm, 0 or more.
    pub brake_nm: f64,
}

/// What a driver knows of the vehicle.
#[derive(Clone, Debug)]
pub struct DriverData {
    vehicle: Vehicle,
    metres_per_radian: f64,
    drive_efficiency: f64,
    /// The vehicle's mass with what turns in it, kg, its largest force, N, and highest speed, m/s.
    mass_kg: f64,
    pull_max_n: f64,
    max_speed_mps: f64,
}

impl DriverData {
    /// Of a driveline with vehicle and output data; `None` without them.
    pub fn new(driveline: &Driveline) -> Option<DriverData> {
        let per_kmh = driveline.output_radps_per_kmh()?;
        let vehicle = driveline.vehicle.clone()?;
        let mass_kg = vehicle.mass_kg * vehicle.rotating_mass_factor;
        Some(DriverData {
            mass_kg,
            pull_max_n: PULL_MAX_MPS2.min(vehicle.max_acceleration_mps2) * mass_kg,
            max_speed_mps: vehicle.max_speed_kmh / 3.6,
            vehicle,
            metres_per_radian: 1.0 / (3.6 * per_kmh),
            drive_efficiency: driveline.output.final_drive_efficiency,
        })
    }
}

/// The driver: what is followed, and a memory.
#[derive(Clone, Debug)]
pub struct Driver<'a> {
    wish: &'a Wish,
    data: DriverData,
    integral_mps2: f64,
    reverse_mps: f64,
    forward_mps: f64,
}

/// Value of a profile at `t_s`: straight between points, constant outside; 0 without points.
pub fn profile_at(points: &[(f64, f64)], t_s: f64) -> f64 {
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return 0.0 };
    if t_s <= first.0 {
        return first.1;
    }
    for pair in points.windows(2) {
        let ((t0, y0), (t1, y1)) = (pair[0], pair[1]);
        if t_s < t1 {
            return if t1 > t0 { y0 + (y1 - y0) * (t_s - t0) / (t1 - t0) } else { y1 };
        }
    }
    last.1
}

impl<'a> Driver<'a> {
    /// A driver of that vehicle.
    pub fn new(data: &DriverData, wish: &'a Wish) -> Driver<'a> {
        let (reverse_mps, forward_mps) = (f64::NEG_INFINITY, f64::INFINITY);
        Driver { wish, data: data.clone(), integral_mps2: 0.0, reverse_mps, forward_mps }
    }

    /// Follow another wish from now on, with what is remembered.
    pub fn follow(&mut self, wish: &'a Wish) {
        self.wish = wish;
    }

    /// The vehicle's highest speed in m/s.
    pub fn max_speed_mps(&self) -> f64 {
        self.data.max_speed_mps
    }

    /// Drive no faster than this in reverse (negative) and forward, m/s: what the standing
    /// arrangement allows. Every driver brakes beyond it.
    pub fn limit(&mut self, low_mps: f64, high_mps: f64) {
        let most = self.max_speed_mps();
        // A way that the arrangement excludes is still driven at a walk, to get out of it.
        self.reverse_mps = low_mps.min(-WALK_MPS).max(-most);
        self.forward_mps = high_mps.max(WALK_MPS).min(most);
    }

    /// Drive no faster than this either, m/s, until the next [limit](Driver::limit).
    pub fn limit_further(&mut self, low_mps: f64, high_mps: f64) {
        self.reverse_mps = self.reverse_mps.max(low_mps.min(-WALK_MPS));
        self.forward_mps = self.forward_mps.min(high_mps.max(WALK_MPS));
    }

    /// The speed that the driver keeps below when moving this way, m/s, without sign.
    fn top_mps(&self, speed_mps: f64) -> f64 {
        let top = if speed_mps < 0.0 { -self.reverse_mps } else { self.forward_mps };
        top.min(self.max_speed_mps())
    }

    /// One tick of `dt_s` at time `t_s`. `given_nm` is the output torque that the machines
    /// gave in the last tick: what is missing of a braking demand goes to the brakes, and
    /// what is missing of a driving demand does not wind up.
    pub fn tick(
        &mut self,
        t_s: f64,
        dt_s: f64,
        speed_mps: f64,
        grade: f64,
        given_nm: f64,
    ) -> Pedals {
        let (mass, most) = (self.data.mass_kg, self.data.pull_max_n);
        let (force_n, towards, stand) = match self.wish {
            Wish::Pedal(points) => {
                // A brake pedal slows down, whichever way the vehicle rolls, and then holds.
                // Faster than the vehicle may go, every driver brakes.
                let pedal = profile_at(points, t_s).clamp(-1.0, 1.0);
                let over = speed_mps.abs() / self.top_mps(speed_mps) - 1.0;
                let brake = if over > 0.0 { 0.1 + BRAKE_OVER * over } else { -1.0 };
                let pedal = pedal.min(-brake).max(-1.0);
                let way = if pedal < 0.0 { speed_mps.signum() } else { 1.0 };
                (pedal * way * most, 1.0, pedal < 0.0 && speed_mps.abs() < STAND_MPS)
            }
            Wish::Speed(points) => {
                let (low, high) = (-self.top_mps(-1.0), self.top_mps(1.0));
                let wished = (profile_at(points, t_s) / 3.6).clamp(low, high);
                let soon = (profile_at(points, t_s + 0.1) / 3.6).clamp(low, high);
                let error = wished - speed_mps;
                let stand = wished.abs() < 0.02 && soon.abs() < 0.02 && speed_mps.abs() < STAND_MPS;
                let direct = (soon - wished) / 0.1 + GAIN_PER_S * error + self.integral_mps2;
                let moving = if wished == 0.0 { speed_mps } else { wished };
                let force = mass * direct + self.road_force_n(speed_mps, moving, grade);
                let missing = force.abs() - (given_nm / self.data.metres_per_radian).abs();
                let follows = missing < 0.25 * most && missing < 0.5 * force.abs();
                if stand {
                    self.integral_mps2 = 0.0;
                } else if follows || error * self.integral_mps2 < 0.0 {
                    self.integral_mps2 += GAIN_PER_S / RESET_S * error * dt_s;
                }
                (force.clamp(-4.0 * most, most), wished, stand)
            }
        };
        if stand {
            return Pedals { demand_nm: 0.0, brake_nm: self.torque_nm(HOLD_MPS2 * mass) };
        }
        // Rolling back slowly while the way is forward is driven against, not braked.
        let rolls_back =
            towards * speed_mps < 0.0 && towards * force_n > 0.0 && speed_mps.abs() < ROLL_BACK_MPS;
        self.split(force_n, if rolls_back { 0.0 } else { speed_mps }, given_nm)
    }

    /// Road load and slope as a force against the motion `towards`, N.
    fn road_force_n(&self, speed_mps: f64, towards: f64, grade: f64) -> f64 {
        let v = &self.data.vehicle;
        let sign = if towards == 0.0 { 0.0 } else { towards.signum() };
        let load = v.road_load_f0_n * sign
            + v.road_load_f1_n_per_mps * speed_mps
            + v.road_load_f2_n_per_mps2 * speed_mps * speed_mps.abs();
        let slope = if grade == 0.0 { grade } else { grade / (1.0 + grade * grade).sqrt() };
        load + v.mass_kg * crate::plant::STANDARD_GRAVITY * slope
    }

    fn torque_nm(&self, force_n: f64) -> f64 {
        force_n * self.data.metres_per_radian
    }

    /// Drive with the machines; brake with the machines first, the service brake for the rest.
    fn split(&self, force_n: f64, speed_mps: f64, given_nm: f64) -> Pedals {
        let torque = self.torque_nm(force_n);
        let braking = force_n * speed_mps < 0.0 && speed_mps.abs() > 0.05;
        if !braking {
            return Pedals { demand_nm: torque / self.data.drive_efficiency, brake_nm: 0.0 };
        }
        let range = REGEN_FULL_MPS - REGEN_END_MPS;
        let share = ((speed_mps.abs() - REGEN_END_MPS) / range).clamp(0.0, 1.0);
        let demand = torque * share * self.data.drive_efficiency;
        let given = if given_nm * torque > 0.0 { given_nm.abs().min(demand.abs()) } else { 0.0 };
        let brake = (torque.abs() - given / self.data.drive_efficiency).max(0.0);
        Pedals { demand_nm: demand, brake_nm: brake }
    }
}
