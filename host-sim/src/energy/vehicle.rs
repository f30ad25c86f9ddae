//! Road and wheels: from road speed and wheel force to the output shaft, and the road load.

use super::Demand;
use crate::driveline::Driveline;
use crate::plant::STANDARD_GRAVITY;

/// The vehicle and the way to its wheels.
#[derive(Clone, Debug, PartialEq)]
pub struct Road {
    /// Metres of road per radian of the output shaft.
    pub metres_per_radian: f64,
    /// Efficiency of the final drive.
    pub efficiency: f64,
    /// Mass, kg.
    pub mass_kg: f64,
    /// Mass that counts for acceleration, kg.
    pub inert_kg: f64,
    /// Road load: N, N per m/s, N per (m/s)^2.
    pub load: [f64; 3],
    /// Highest road speed, m/s.
    pub max_mps: f64,
    /// Electric auxiliaries, W.
    pub auxiliary_w: f64,
}

impl Road {
    /// From a driveline with vehicle and output data.
    pub fn new(d: &Driveline) -> Option<Road> {
        let vehicle = d.vehicle.as_ref()?;
        Some(Road {
            metres_per_radian: 1.0 / (3.6 * d.output_radps_per_kmh()?),
            efficiency: d.output.final_drive_efficiency,
            mass_kg: vehicle.mass_kg,
            inert_kg: vehicle.mass_kg * vehicle.rotating_mass_factor,
            load: [
                vehicle.road_load_f0_n,
                vehicle.road_load_f1_n_per_mps,
                vehicle.road_load_f2_n_per_mps2,
            ],
            max_mps: vehicle.max_speed_kmh / 3.6,
            auxiliary_w: vehicle.auxiliary_w,
        })
    }

    /// Force at the wheels that keeps this speed on this slope (rise per horizontal distance)
    /// and accelerates, N.
    pub fn force_n(&self, mps: f64, slope: f64, mps2: f64) -> f64 {
        let [f0, f1, f2] = self.load;
        let load =
            if mps == 0.0 { 0.0 } else { f0 * mps.signum() + f1 * mps + f2 * mps * mps.abs() };
        let rise = slope / (1.0 + slope * slope).sqrt();
        load + self.mass_kg * STANDARD_GRAVITY * rise + self.inert_kg * mps2
    }

    /// What the output shaft must do.
    pub fn demand(&self, mps: f64, force_n: f64) -> Demand {
        let nm = force_n * self.metres_per_radian;
        let output_nm =
            if force_n * mps >= 0.0 { nm / self.efficiency } else { nm * self.efficiency };
        Demand { mps, force_n, output_radps: mps / self.metres_per_radian, output_nm }
    }
}
