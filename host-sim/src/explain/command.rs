//! The command `slipwarden explain FILE FROM TO [--speed km/h] [--demand Nm]`.

use supervisor::table::WAYS;

use super::walk::{Explained, explain_way};
use super::words::text;
use crate::driveline::{Driveline, Purpose};
use crate::input::{self, Tabled, print};
use crate::text::paragraph;

const TEXT_WIDTH: usize = 80;

/// Explain one transition. Returns the exit code: 0 it goes, 1 it is refused, 2 misuse.
pub fn explain(
    path_or_name: &str,
    from: &str,
    to: &str,
    speed_kmh: Option<f64>,
    demand_nm: Option<f64>,
) -> i32 {
    match run(path_or_name, from, to, speed_kmh, demand_nm) {
        Ok((out, goes)) => match print(&out) {
            0 => i32::from(!goes),
            code => code,
        },
        Err(code) => code,
    }
}

fn run(
    path_or_name: &str,
    from: &str,
    to: &str,
    speed_kmh: Option<f64>,
    demand_nm: Option<f64>,
) -> Result<(String, bool), i32> {
    let tabled = input::table(path_or_name, Purpose::Plant)?;
    let d = tabled.driveline();
    let pair = (input::arrangement(d, from)?, input::arrangement(d, to)?);
    for (name, value) in [("--speed", speed_kmh), ("--demand", demand_nm)] {
        if value.is_some_and(|v| !v.is_finite()) {
            eprintln!("error: {name} must be a finite number");
            return Err(2);
        }
    }
    if pair.0 == pair.1 {
        return Ok((format!("{from} stands already.\n"), true));
    }
    let speed_kmh = speed_kmh.unwrap_or_else(|| default_speed_kmh(&tabled, pair));
    let demand_nm = demand_nm.unwrap_or_else(|| cruise_demand_nm(d, speed_kmh));
    let output = speed_kmh * d.output_radps_per_kmh().unwrap_or(0.0);
    let title =
        format!("{from} -> {to} at {speed_kmh:.1} km/h with {demand_nm:.0} Nm asked at the output");
    may_stand(&tabled, pair.0, output)?;
    let mut out = paragraph(&title, 0, TEXT_WIDTH);
    let mut tried: Vec<Explained> = Vec::new();
    for way in 0..WAYS as u8 {
        let explained =
            explain_way(d, &tabled.kinematics, &tabled.table, way, pair, (output, demand_nm));
        let numbers = |e: &Explained| e.steps.iter().map(|s| s.number).collect::<Vec<_>>();
        let known =
            |e: &Explained| numbers(e) == numbers(&explained) && e.blocked == explained.blocked;
        if tried.iter().any(known) || (way > 0 && explained.steps.is_empty()) {
            continue;
        }
        let goes = explained.blocked.is_none();
        let label = match (tried.is_empty(), goes) {
            (true, true) => "The way it goes:",
            (true, false) => "The preferred way does not go:",
            (false, true) => "Another way:",
            (false, false) => "Another way that does not go:",
        };
        out.push('\n');
        out += &paragraph(label, 0, TEXT_WIDTH);
        out += &text(d, &tabled.table, &explained, TEXT_WIDTH);
        tried.push(explained);
    }
    let goes = tried.iter().any(|e| e.blocked.is_none());
    if !goes {
        out.push('\n');
        out += &paragraph("The request is refused at this speed and demand.", 0, TEXT_WIDTH);
    }
    Ok((out, goes))
}

/// A transition begins in an arrangement that can stand at this speed.
fn may_stand(tabled: &Tabled, from: usize, output: f64) -> Result<(), i32> {
    let keep = &tabled.table.arrangements[from].keep;
    let (min, max) = (f64::from(keep.min), f64::from(keep.max));
    if (min..=max).contains(&output) {
        return Ok(());
    }
    let d = tabled.driveline();
    let per_kmh = d.output_radps_per_kmh().unwrap_or(1.0);
    eprint!(
        "error: {} cannot stand at {:.1} km/h: a shaft would leave its limits\n    fix: choose a \
         --speed between {:.1} and {:.1}\n",
        d.arrangements[from].name,
        output / per_kmh,
        min / per_kmh,
        max / per_kmh
    );
    Err(2)
}

/// Half of the highest road speed at which both arrangements can stand.
fn default_speed_kmh(tabled: &Tabled, (from, to): (usize, usize)) -> f64 {
    let windows = [&tabled.table.arrangements[from].window, &tabled.table.arrangements[to].window];
    let max = windows.iter().map(|w| f64::from(w.max)).fold(f64::INFINITY, f64::min);
    let min = windows.iter().map(|w| f64::from(w.min)).fold(0.0, f64::max);
    let per_kmh = tabled.driveline().output_radps_per_kmh().unwrap_or(1.0);
    (0.5 * max).max(min).min(max.max(0.0)) / per_kmh
}

/// Output torque that holds a speed on the flat, without losses, Nm.
fn cruise_demand_nm(d: &Driveline, speed_kmh: f64) -> f64 {
    let (Some(vehicle), Some(per_kmh)) = (&d.vehicle, d.output_radps_per_kmh()) else {
        return 0.0;
    };
    let v = speed_kmh / 3.6;
    let drag = vehicle.road_load_f1_n_per_mps * v + vehicle.road_load_f2_n_per_mps2 * v * v.abs();
    let rolling = if v == 0.0 { 0.0 } else { vehicle.road_load_f0_n * v.signum() };
    // Power is force times road speed and torque times output speed.
    (drag + rolling) / (3.6 * per_kmh)
}
