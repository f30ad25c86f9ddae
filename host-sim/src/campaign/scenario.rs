//! A case as a scenario file that `slipwarden replay` and `slipwarden drive` repeat exactly.

use std::fmt::Write;

use super::case::Case;
use crate::drive::driver::Wish;
use crate::drive::faults::TimedFault;
use crate::drive::scenario::words::{target_name, words};
use crate::driveline::Driveline;

/// The scenario of a case. Rust writes every number so that it reads back as the same one.
pub fn scenario_text(d: &Driveline, case: &Case, name: &str, about: &str) -> String {
    let mut out = String::new();
    // Writing to a string cannot fail.
    let _ = write_all(&mut out, d, case, name, about);
    out
}

fn write_all(
    out: &mut String,
    d: &Driveline,
    case: &Case,
    name: &str,
    about: &str,
) -> std::fmt::Result {
    let arrangement = |a: usize| d.arrangements.get(a).map_or("", |a| a.name.as_str());
    let setup = &case.setup;
    writeln!(out, "# From a campaign: case {}. Run it with `slipwarden replay`.", case.number)?;
    writeln!(
        out,
        "format = 1\nname = \"{name}\"\nabout = \"{}\"",
        about.replace(['"', '\\'], "'")
    )?;
    writeln!(out, "seed = {}", case.plant_seed)?;
    writeln!(out, "duration_s = {}", setup.duration_s)?;
    writeln!(out, "start_speed_kmh = {}", setup.start_speed_kmh)?;
    if let Some(a) = setup.start_arrangement {
        writeln!(out, "start_arrangement = \"{}\"", arrangement(a))?;
    }
    writeln!(out, "start_charge = {}", setup.start_charge)?;
    for (lock, rise_k) in &setup.start_rises_k {
        let lock = d.locks.get(*lock).map_or("", |lock| lock.name.as_str());
        writeln!(out, "\n[[plates]]\nlock = \"{lock}\"\nrise_k = {rise_k}")?;
    }
    let (table, key, points) = match &setup.wish {
        Wish::Speed(points) => ("speed", "kmh", points),
        Wish::Pedal(points) => ("pedal", "share", points),
    };
    for (t_s, value) in points {
        writeln!(out, "\n[[{table}]]\nt_s = {t_s}\n{key} = {value}")?;
    }
    for (t_s, rise) in &setup.grade {
        // Tenths of a percent, so that the percent reads back as the same slope.
        writeln!(out, "\n[[grade]]\nt_s = {t_s}\npercent = {}", percent(*rise))?;
    }
    for (t_s, a) in &setup.requests {
        writeln!(out, "\n[[request]]\nt_s = {t_s}\narrangement = \"{}\"", arrangement(*a))?;
    }
    setup.faults.iter().try_for_each(|fault| write_fault(out, d, fault))
}

/// The percent that divides back to the very slope.
fn percent(rise: f64) -> f64 {
    let near = (rise * 1000.0).round() / 10.0;
    if near / 100.0 == rise { near } else { rise * 100.0 }
}

fn write_fault(out: &mut String, d: &Driveline, fault: &TimedFault) -> std::fmt::Result {
    let Some(said) = words(&fault.fault) else { return Ok(()) };
    writeln!(out, "\n[[fault]]\nfrom_s = {}", fault.from_s)?;
    if fault.to_s.is_finite() {
        writeln!(out, "to_s = {}", fault.to_s)?;
    }
    writeln!(out, "kind = \"{}\"", said.word)?;
    if let Some(name) = target_name(d, &said) {
        writeln!(out, "target = \"{name}\"")?;
    }
    if let Some(value) = said.value {
        writeln!(out, "value = {value}")?;
    }
    Ok(())
}
