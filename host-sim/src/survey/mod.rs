//! The `survey` command's output: kinematics for a person, and for a program.

mod arrangements;
pub mod command;
mod json;
mod pressed;
mod sets;
mod strength;
mod teeth;

pub use json::{JSON_FORMAT, json};

use crate::driveline::{Driveline, Planet};
use crate::exact::text as exact_text;
use crate::kinematics::Kinematics;
use crate::text::{Table, paragraph};

/// Lock sets listed one by one in [`text`]; a driveline with more lists only those that can
/// be used, and sums up the others.
const LISTED_SETS_MAX: usize = 32;

/// The survey as plain text, `width` columns wide (at least 40 are used).
pub fn text(d: &Driveline, k: &Kinematics, width: usize) -> String {
    let width = width.max(40);
    let mut parts = vec![head(d, width), gears(d, width), locks(d, width)];
    parts.push(sets::lock_sets(d, k, width));
    parts.push(sets::conflicts(d, k, width));
    parts.push(sets::overlaps(d, k, width));
    parts.push(arrangements::arrangements(d, k, width));
    parts.push(pressed::pressed(d, k, width));
    parts.push(teeth::text(d, k, width));
    parts.push(strength::text(d, k, width));
    parts.push(paragraph(
        "Rigid shafts and no losses: speeds are exact, torques are ideal. This is evidence for \
         a review; it approves nothing.",
        0,
        width,
    ));
    parts.retain(|part| !part.is_empty());
    parts.join("\n")
}

fn count(n: usize, one: &str, many: &str) -> String {
    if n == 1 { format!("1 {one}") } else { format!("{n} {many}") }
}

fn head(d: &Driveline, width: usize) -> String {
    let parts = [
        count(d.shafts.len(), "shaft", "shafts"),
        count(d.planetaries.len(), "planetary set", "planetary sets"),
        count(d.gear_pairs.len(), "gear pair", "gear pairs"),
        count(d.locks.len(), "lock", "locks"),
        count(d.machines.len(), "machine", "machines"),
    ];
    let output = &d.shafts[d.output.shaft].name;
    let mut out = format!("Survey of {}\n", d.name);
    if !d.about.is_empty() {
        out += &paragraph(&d.about, 2, width);
    }
    out + &paragraph(&format!("{}; the output is shaft {output}.", parts.join(", ")), 2, width)
}

/// The equations of the gears, so that a reader can check the file against the drawing.
fn gears(d: &Driveline, width: usize) -> String {
    let mut table = Table::new(&["gear", "kind", "speeds"]);
    let name = |shaft: usize| d.shafts[shaft].name.as_str();
    for p in &d.planetaries {
        let (zs, zr) = (i64::from(p.sun_teeth), i64::from(p.ring_teeth));
        let (sun, ring, carrier) = (name(p.sun), name(p.ring), name(p.carrier));
        let (kind, law) = match p.planet {
            Planet::Single => (
                "planetary, single planets",
                format!("{zs} {sun} + {zr} {ring} = {} {carrier}", zs + zr),
            ),
            Planet::Double => (
                "planetary, double planets",
                format!("{zr} {ring} - {zs} {sun} = {} {carrier}", zr - zs),
            ),
        };
        table.row(vec![p.name.clone(), kind.to_string(), law]);
    }
    for g in &d.gear_pairs {
        let law = format!("{} = {} {}", name(g.a), exact_text(&g.ratio), name(g.b));
        table.row(vec![g.name.clone(), "gear pair".to_string(), law]);
    }
    table.titled("Gears", width)
}

fn locks(d: &Driveline, width: usize) -> String {
    let mut table = Table::new(&["no.", "lock", "kind", "joins"]);
    for (id, lock) in d.locks.iter().enumerate() {
        let kind = if lock.b.is_some() { "clutch" } else { "brake" };
        let joins = format!("{} and {}", d.shafts[lock.a].name, d.lock_side_b_name(id));
        table.row(vec![(id + 1).to_string(), lock.name.clone(), kind.to_string(), joins]);
    }
    table.titled("Locks, in the order of their place in a lock set's pattern", width)
}
