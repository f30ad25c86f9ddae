//! Loss and fuel of the parts: machine with inverter, engine, battery. SI units.

use super::grid::Grid;
use crate::driveline::{Battery, Engine, Loss};

const RPM: f64 = std::f64::consts::PI / 30.0;

/// Loss of an electric machine with its inverter.
#[derive(Clone, Debug, PartialEq)]
pub enum MachineLoss {
    /// The polynomial of the driveline file.
    Polynomial(Loss),
    /// A measured map.
    Map(Grid),
}

impl MachineLoss {
    /// Loss in W. A machine that stands without torque is off and loses nothing; one that is
    /// turned without torque keeps its field and loses as at no load.
    pub fn loss_w(&self, nm: f64, radps: f64) -> f64 {
        if nm == 0.0 && radps == 0.0 {
            return 0.0;
        }
        match self {
            MachineLoss::Polynomial(l) => {
                let w = radps.abs();
                l.constant
                    + l.copper * nm * nm
                    + l.linear * w
                    + l.square * w * w
                    + l.inverter * (nm * w).abs()
            }
            MachineLoss::Map(grid) => grid.at(radps, nm),
        }
    }
}

/// Fuel of an engine.
#[derive(Clone, Debug, PartialEq)]
pub enum Fuel {
    /// Willans line: loss torque in Nm as a polynomial of the speed in 1000 rpm, and the slope.
    Willans {
        /// Nm; Nm per 1000 rpm; Nm per (1000 rpm)^2.
        loss_nm: [f64; 3],
        /// Brake power per fuel power at the margin.
        efficiency: f64,
    },
    /// A measured map in g/s.
    Map {
        /// The map.
        grid: Grid,
        /// Heating value, J/g.
        j_per_g: f64,
    },
    /// Nothing is known: fuel power is taken as shaft power, and the reports say so.
    Unknown,
}

impl Fuel {
    /// From the engine's data and its map, when there is one.
    pub fn new(engine: &Engine, map: Option<Grid>) -> Fuel {
        if let Some(grid) = map {
            return Fuel::Map { grid, j_per_g: engine.fuel_mj_per_kg * 1e3 };
        }
        match (engine.displacement_l, engine.willans_efficiency, engine.loss_pressure_bar) {
            // A four-stroke engine does the work p x V once in two turns: torque = p V / (4 pi).
            (Some(litres), Some(efficiency), Some(bar)) => Fuel::Willans {
                loss_nm: bar.map(|p| p * 1e5 * litres * 1e-3 / (4.0 * std::f64::consts::PI)),
                efficiency,
            },
            _ => Fuel::Unknown,
        }
    }

    /// Fuel power in W of a running engine; none on the overrun.
    pub fn power_w(&self, nm: f64, radps: f64) -> f64 {
        match self {
            Fuel::Willans { loss_nm: [a, b, c], efficiency } => {
                let krpm = radps / RPM / 1000.0;
                let loss = a + b * krpm + c * krpm * krpm;
                ((nm + loss) * radps / efficiency).max(0.0)
            }
            Fuel::Map { grid, j_per_g } if nm >= 0.0 => grid.at(radps, nm) * j_per_g,
            Fuel::Map { .. } => 0.0,
            Fuel::Unknown => (nm * radps).max(0.0),
        }
    }
}

/// A battery with internal resistance; without one the supply is ideal.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Cells {
    /// Open voltage, V.
    pub voltage_v: f64,
    /// Internal resistance, ohm.
    pub resistance_ohm: f64,
    /// Limits of the power at the terminals, W: charging (negative) and discharging.
    pub limits_w: [f64; 2],
    /// Energy between the ends of the charge window, J.
    pub window_j: f64,
}

impl Cells {
    /// From the file's battery.
    pub fn new(battery: &Battery) -> Cells {
        let window = battery.charge_window[1] - battery.charge_window[0];
        Cells {
            voltage_v: battery.nominal_v,
            resistance_ohm: battery.resistance_ohm,
            limits_w: [-battery.charge_max_kw * 1e3, battery.discharge_max_kw * 1e3],
            window_j: window * battery.energy_kwh * 3.6e6,
        }
    }

    /// Loss in W at this terminal power: `P = (U - R I) I`, the smaller current; past the peak
    /// the current of the peak.
    pub fn loss_w(&self, terminal_w: f64) -> f64 {
        let (u, r) = (self.voltage_v, self.resistance_ohm);
        if r <= 0.0 {
            return 0.0;
        }
        let inside = (u * u - 4.0 * r * terminal_w).max(0.0);
        // U - sqrt(U^2 - 4 R P), without cancellation at small powers.
        let current = 2.0 * terminal_w.min(u * u / (4.0 * r)) / (u + inside.sqrt());
        r * current * current
    }

    /// Most power at the terminals that the resistance allows, W.
    pub fn peak_w(&self) -> f64 {
        if self.resistance_ohm <= 0.0 {
            return f64::INFINITY;
        }
        self.voltage_v * self.voltage_v / (4.0 * self.resistance_ohm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_give_what_the_terminals_take_and_the_loss() {
        let cells = Cells { voltage_v: 370.0, resistance_ohm: 0.09, ..Cells::default() };
        for watts in [-90e3, -1.0, 0.0, 3.0, 20e3, 160e3] {
            let loss = cells.loss_w(watts);
            // Circuit law, the other way round: from the current to the terminals.
            let current = (watts + loss) / 370.0;
            let terminal = (370.0 - 0.09 * current) * current;
            assert!((terminal - watts).abs() < 1e-6 * (1.0 + watts.abs()), "{watts} {terminal}");
        }
    }
}
