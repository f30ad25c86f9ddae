//! Whether planets can be assembled between sun and ring: warnings, never errors.
//!
//! Conditions for standard (uncorrected) gears with equally spaced planets, as in
//! textbooks on planetary gears (for example Mueller, Epicyclic Drive Trains; from memory).

use super::diagnostics::Diagnostics;
use super::fields::Fields;

/// Check every planetary set whose tooth counts could be read.
pub(super) fn check(sets: &[Fields], found: &mut Diagnostics) {
    for set in sets {
        let counts = (set.count("sun_teeth"), set.count("ring_teeth"), set.count("planets"));
        let (Some(sun), Some(ring), Some(planets)) = counts else { continue };
        // Fewer ring than sun teeth is an error of its own.
        if ring <= sun || planets == 0 {
            continue;
        }
        match set.word("planet") {
            Some("double") => double(set, sun, ring, planets, found),
            Some(_) => single(set, sun, ring, planets, found),
            None => {}
        }
    }
}

/// Planet pairs: spacing only; the planets' own tooth counts are free and not in the file.
fn double(set: &Fields, sun: u32, ring: u32, planets: u32, found: &mut Diagnostics) {
    if !(ring - sun).is_multiple_of(planets) {
        found.warning(
            set.span("ring_teeth"),
            format!(
                "{planets} planet pairs cannot be spaced equally: (ring - sun) / planets = {ring} \
                 - {sun} over {planets} is not a whole number"
            ),
            "change a tooth count or `planets`; kinematics do not depend on it",
        );
    }
}

fn single(set: &Fields, sun: u32, ring: u32, planets: u32, found: &mut Diagnostics) {
    if !(ring - sun).is_multiple_of(2) {
        found.warning(
            set.span("ring_teeth"),
            format!(
                "the planets would have ({ring} - {sun}) / 2 teeth, which is not a whole number"
            ),
            "make both tooth counts even or both odd, unless the gears are corrected",
        );
    }
    if !(ring + sun).is_multiple_of(planets) {
        found.warning(
            set.span("ring_teeth"),
            format!(
                "{planets} planets cannot be spaced equally: (sun + ring) / planets = {} / \
                 {planets} is not a whole number",
                ring + sun
            ),
            "change a tooth count or `planets`; kinematics do not depend on it",
        );
    }
    // In modules: distance of neighbouring planet axes against the planets' tip diameter.
    let planet = f64::from(ring - sun) / 2.0;
    let distance = (f64::from(sun) + planet) * (std::f64::consts::PI / f64::from(planets)).sin();
    if planets > 1 && distance <= planet + 2.0 {
        found.warning(
            set.span("planets"),
            format!(
                "neighbouring planets touch: their axes are {distance:.1} modules apart, their \
                 tips need {:.1}",
                planet + 2.0
            ),
            "use fewer planets or a larger sun",
        );
    }
}
