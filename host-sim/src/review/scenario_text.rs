//! A drive as a scenario file that `slipwarden drive` repeats exactly.

use std::fmt::Write;

use crate::drive::driver::Wish;
use crate::driveline::Driveline;

use super::cases::Drive;

/// The scenario file of a drive that lasted `duration_s`.
///
/// Rust writes every number so that it reads back as the same one.
pub fn scenario_text(d: &Driveline, drive: &Drive, duration_s: f64) -> String {
    let name = |a: usize| d.arrangements.get(a).map_or("", |a| a.name.as_str());
    let setup = &drive.setup;
    let mut out = String::new();
    let _ = writeln!(
        out,
        "# Drive {} of a review of {}; repeat it with --seed {}.",
        drive.number, d.name, drive.seed
    );
    let _ = writeln!(out, "format = 1");
    let _ = writeln!(out, "name = \"drive-{:03}\"", drive.number);
    let _ = writeln!(
        out,
        "about = \"{} to {}, {}: {} km/h, {} % slope.\"",
        name(drive.from),
        name(drive.to),
        drive.case.word(),
        drive.speed_kmh,
        drive.slope_percent
    );
    let _ = writeln!(out, "duration_s = {duration_s}");
    let _ = writeln!(out, "start_speed_kmh = {}", setup.start_speed_kmh);
    if let Some(start) = setup.start_arrangement {
        let _ = writeln!(out, "start_arrangement = \"{}\"", name(start));
    }
    let _ = writeln!(out, "start_charge = {}", setup.start_charge);
    let (table, key, points) = match &setup.wish {
        Wish::Speed(points) => ("speed", "kmh", points),
        Wish::Pedal(points) => ("pedal", "share", points),
    };
    for (t_s, value) in points {
        let _ = writeln!(out, "\n[[{table}]]\nt_s = {t_s}\n{key} = {value}");
    }
    if !setup.grade.is_empty() {
        let percent = drive.slope_percent;
        let _ = writeln!(out, "\n[[grade]]\nt_s = 0\npercent = {percent}");
    }
    for (t_s, arrangement) in &setup.requests {
        let _ =
            writeln!(out, "\n[[request]]\nt_s = {t_s}\narrangement = \"{}\"", name(*arrangement));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::super::{Subject, drives};
    use super::*;
    use crate::drive::scenario;

    #[test]
    fn a_scenario_reads_back_as_the_very_drive() {
        for demo in crate::driveline::DEMOS {
            let subject = Subject::read(demo, 1).expect("an embedded demo");
            for drive in drives(&subject) {
                let duration_s = 7.53;
                let text = scenario_text(&subject.driveline, &drive, duration_s);
                let read = scenario::parse("drive", &text, &subject.driveline);
                let read = read.unwrap_or_else(|found| panic!("{}\n{text}", found.render(false)));
                assert_eq!(read.setup, super::super::run::driven_setup(&drive, duration_s));
            }
        }
    }
}
