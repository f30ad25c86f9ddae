//! The lever diagram of an operating point of steady cruise.

use crate::driveline::Driveline;
use crate::energy::RPM;
use crate::energy::cruise::Cruise;
use crate::picture::levers::{Levers, axis, levers, range};

/// The diagram of one cruise point, with the torques of its machines.
pub fn lever_diagram(d: &Driveline, c: &Cruise) -> String {
    let point = &c.entry.point;
    let rpm: Vec<f64> = (0..d.shafts.len()).map(|s| point.speed[s] / RPM).collect();
    let name = &d.arrangements[c.arrangement].name;
    let title = format!("{}: levers of {name} at {:.0} km/h, slope {} %", d.name, c.kmh, c.percent);
    let torque: Vec<f64> = (0..d.machines.len()).map(|m| point.torque[m]).collect();
    let range = axis(range(&rpm));
    levers(d, &Levers { rpm: &rpm, range, title: &title, machine_nm: &torque })
}
