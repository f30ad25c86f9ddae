//! Steady cruise: each arrangement at chosen speeds and slopes, losses broken down.

use super::map::{Entry, cell};
use super::model::Model;
use super::search::Charge;

/// One arrangement at one speed and slope.
#[derive(Clone, Debug, PartialEq)]
pub struct Cruise {
    /// Road speed, km/h.
    pub kmh: f64,
    /// Slope, percent.
    pub percent: f64,
    /// Arrangement.
    pub arrangement: usize,
    /// The point: with the engine running the battery is held, else the battery drives.
    pub entry: Entry,
}

impl Cruise {
    /// Fuel in g/km, for an engine with this heating value.
    pub fn fuel_g_per_km(&self, j_per_kg: f64) -> f64 {
        self.entry.point.fuel_w / j_per_kg * 1e3 / (self.kmh / 3600.0)
    }

    /// Energy out of the battery's cells in Wh/km.
    pub fn battery_wh_per_km(&self) -> f64 {
        self.entry.point.cell_w / self.kmh
    }
}

/// Every arrangement at every speed and slope.
pub fn cruises(model: &Model, arrangements: usize, kmh: &[f64], percent: &[f64]) -> Vec<Cruise> {
    let mut list = Vec::new();
    for &percent in percent {
        for &kmh in kmh {
            let mps = kmh / 3.6;
            let newton = model.road.force_n(mps, percent / 100.0, 0.0);
            let held = cell(model, arrangements, mps, newton, Charge::Held);
            let free = cell(model, arrangements, mps, newton, Charge::Priced(1.0));
            for arrangement in 0..arrangements {
                let electric = free.entries[arrangement].filter(|e| !e.engine_on);
                let entry = electric.or(held.entries[arrangement]);
                list.extend(entry.map(|entry| Cruise { kmh, percent, arrangement, entry }));
            }
        }
    }
    list
}

/// Round speeds at about a quarter, two fifths, two thirds and nine tenths of the highest.
pub fn usual_speeds(model: &Model) -> Vec<f64> {
    let top = model.road.max_mps * 3.6;
    let round = |share: f64| ((share * top / 5.0).floor() * 5.0).max(1.0);
    [0.25, 0.4, 0.65, 0.9].map(round).to_vec()
}
