//! What the table says of a transition beforehand, to hold the drive against.

use supervisor::table::WAYS;

use crate::driveline::Driveline;
use crate::explain::{blocked_text, explain_way};

use super::subject::Subject;

/// What the table's rows foretell at one road speed and steady demand.
#[derive(Clone, Debug, PartialEq)]
pub enum Forecast {
    /// It goes.
    Goes {
        /// Estimated time of all steps, s.
        time_s: f64,
        /// Estimated time without push at the wheels, s.
        gap_s: f64,
    },
    /// It is refused: why the preferred way ends.
    Refused(String),
}

/// The forecast of `from -> to` at a road speed and a demand at the output.
pub fn forecast(
    subject: &Subject,
    pair: (usize, usize),
    speed_kmh: f64,
    demand_nm: f64,
) -> Forecast {
    let (d, k, data) = (&subject.driveline, &subject.kinematics, &subject.table);
    let output = speed_kmh * d.output_radps_per_kmh().unwrap_or(0.0);
    let walk = |way: u8| explain_way(d, k, data, way, pair, (output, demand_nm));
    let mut first_refusal = None;
    for way in 0..WAYS as u8 {
        let walked = walk(way);
        match &walked.blocked {
            None => return Forecast::Goes { time_s: walked.time_s(), gap_s: walked.gap_s() },
            Some(blocked) if first_refusal.is_none() => {
                let text = blocked_text(d, data, blocked);
                first_refusal = Some(text.trim_start_matches("Refused: ").to_owned());
            }
            Some(_) => {}
        }
    }
    Forecast::Refused(first_refusal.unwrap_or_default())
}

/// Torque at the output that holds a road speed on a slope as the driver reckons it, Nm.
pub(super) fn steady_demand_nm(d: &Driveline, speed_kmh: f64, grade: f64) -> f64 {
    let (Some(v), Some(per_kmh)) = (&d.vehicle, d.output_radps_per_kmh()) else { return 0.0 };
    if speed_kmh == 0.0 {
        return 0.0;
    }
    let speed = speed_kmh / 3.6;
    let load = v.road_load_f0_n * speed.signum()
        + v.road_load_f1_n_per_mps * speed
        + v.road_load_f2_n_per_mps2 * speed * speed.abs();
    let slope = grade / (1.0 + grade * grade).sqrt();
    let force = load + v.mass_kg * crate::plant::STANDARD_GRAVITY * slope;
    let torque = force / (3.6 * per_kmh);
    let efficiency = d.output.final_drive_efficiency;
    if force * speed < 0.0 { torque * efficiency } else { torque / efficiency }
}

/// The slope in percent, to two decimals, at which holding `speed_kmh` takes `demand_nm` at the
/// output; `None` without vehicle data or beyond any slope.
pub(super) fn slope_percent(d: &Driveline, speed_kmh: f64, demand_nm: f64) -> Option<f64> {
    let (v, per_kmh) = (d.vehicle.as_ref()?, d.output_radps_per_kmh()?);
    let flat_nm = steady_demand_nm(d, speed_kmh, 0.0);
    let force = (demand_nm - flat_nm) * d.output.final_drive_efficiency * 3.6 * per_kmh;
    let sine = force / (v.mass_kg * crate::plant::STANDARD_GRAVITY);
    let tangent = sine / (1.0 - sine * sine).sqrt();
    tangent.is_finite().then(|| (tangent * 1e4).round() / 1e2)
}
