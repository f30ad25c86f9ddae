//! The schedule: from the energy map to the supervisor's compact table.

use std::fmt::Write;

use supervisor::schedule::Schedule;

use super::cycle::backward::{STEP_S, taken};
use super::map::each;
use super::model::Model;
use crate::driveline::Driveline;

/// Columns (speed) and rows (demand) of the schedule, and samples along each side of a cell.
const COLUMNS: usize = 16;
const ROWS: usize = 16;
const SAMPLES: usize = 2;
/// What counts as about as good, a share of the cost.
const TIE: f64 = 0.01;
/// Margins as a share of a cell.
const MARGIN: f32 = 0.3;
/// Shortest stay, s.
pub const STAY_S: f64 = 5.0;
/// For how long a demand that cannot be served stands before it ends a stay, s.
pub const OVERRIDE_S: f64 = 2.0;

/// A schedule that the host has made.
#[derive(Clone, Debug, PartialEq)]
pub struct ScheduleData {
    /// See [`Schedule`].
    pub speed_radps: Vec<f32>,
    /// See [`Schedule`].
    pub demand_nm: Vec<f32>,
    /// See [`Schedule`].
    pub best: Vec<u8>,
    /// See [`Schedule`].
    pub can: Vec<u16>,
    /// See [`Schedule`].
    pub speed_margin_radps: f32,
    /// See [`Schedule`].
    pub demand_margin_nm: f32,
    /// See [`Schedule`].
    pub min_stay: u32,
    /// See [`Schedule`].
    pub override_dwell: u32,
    /// Price of battery energy for which it was made, J of fuel per J.
    pub price: f64,
}

impl ScheduleData {
    /// As the supervisor reads it.
    pub fn schedule(&self) -> Schedule<'_> {
        Schedule {
            speed_radps: &self.speed_radps,
            demand_nm: &self.demand_nm,
            best: &self.best,
            can: &self.can,
            speed_margin_radps: self.speed_margin_radps,
            demand_margin_nm: self.demand_margin_nm,
            min_stay: self.min_stay,
            override_dwell: self.override_dwell,
        }
    }

    /// Bytes in flash, without the slices' own few.
    pub fn bytes(&self) -> usize {
        4 * (self.speed_radps.len() + self.demand_nm.len()) + self.best.len() + 2 * self.can.len()
    }
}

/// Samples of one schedule cell, added up.
#[derive(Clone, Debug)]
struct Tally {
    cost_w: Vec<f64>,
    can: Vec<usize>,
}

/// Make the schedule for this price of battery energy.
pub fn build(
    d: &Driveline,
    model: &Model,
    price: f64,
    threads: usize,
    tell: &(dyn Fn(usize, usize) + Sync),
) -> ScheduleData {
    let top_mps = model.road.max_mps;
    let [brake, pull] = [-1.0, 1.0].map(|sign| super::map::largest_force_n(model, sign));
    let column = top_mps / COLUMNS as f64;
    // Output torques of the largest forces: what comes through the final drive.
    let most = pull * model.road.metres_per_radian / model.road.efficiency;
    let least = -brake * model.road.metres_per_radian * model.road.efficiency;
    let row = (most - least) / ROWS as f64;
    let n = d.arrangements.len();
    let tallies = each(COLUMNS * ROWS, threads, tell, |i| {
        let (c, r) = (i / ROWS, i % ROWS);
        tally(model, n, price, [c as f64 * column, column], [least + r as f64 * row, row])
    });
    let zero = ((-least / row) as usize).min(ROWS - 1);
    let mut best: Vec<Option<u8>> = Vec::new();
    for column in tallies.chunks(ROWS) {
        best.extend(settle(column, zero));
    }
    let all = SAMPLES * SAMPLES;
    let can = |t: &Tally| (0..n).filter(|&a| t.can[a] == all).fold(0u16, |set, a| set | 1 << a);
    let radps = |mps: f64| (mps / model.road.metres_per_radian) as f32;
    ScheduleData {
        speed_radps: (1..COLUMNS).map(|c| radps(c as f64 * column)).collect(),
        demand_nm: (1..ROWS).map(|r| (least + r as f64 * row) as f32).collect(),
        best: best.into_iter().map(|b| b.unwrap_or(0)).collect(),
        can: tallies.iter().map(can).collect(),
        speed_margin_radps: MARGIN * radps(column),
        demand_margin_nm: MARGIN * row as f32,
        min_stay: (STAY_S * 1000.0 / d.timing.tick_ms).round() as u32,
        override_dwell: (OVERRIDE_S * 1000.0 / d.timing.tick_ms).round() as u32,
        price,
    }
}

fn tally(model: &Model, n: usize, price: f64, speed: [f64; 2], demand: [f64; 2]) -> Tally {
    let mut tally = Tally { cost_w: vec![0.0; n], can: vec![0; n] };
    let inside = |k: usize| (k as f64 + 0.5) / SAMPLES as f64;
    for i in 0..SAMPLES * SAMPLES {
        let mps = speed[0] + inside(i / SAMPLES) * speed[1];
        let nm = demand[0] + inside(i % SAMPLES) * demand[1];
        let share = if nm >= 0.0 { model.road.efficiency } else { 1.0 / model.road.efficiency };
        let force_n = nm * share / model.road.metres_per_radian;
        // Braking beyond the limits is left to the brakes: no reason to ask for something else.
        for (a, taken) in taken(model, n, mps, force_n, price).iter().enumerate() {
            if let Some(taken) = taken.as_ref().filter(|t| t.missed_j == 0.0) {
                tally.cost_w[a] += taken.cost_j / STEP_S;
                tally.can[a] += 1;
            }
        }
    }
    tally
}

/// Of those that serve most of a cell, the cheapest; the one that is best `near` it stays where it
/// is about as good.
fn best_of(tally: &Tally, near: Option<u8>) -> Option<u8> {
    let most = tally.can.iter().copied().max().filter(|m| *m > 0)?;
    let can = (0..tally.can.len()).filter(|&a| tally.can[a] == most);
    let best = can.min_by(|&a, &b| tally.cost_w[a].total_cmp(&tally.cost_w[b]))?;
    let about = tally.cost_w[best] + TIE * tally.cost_w[best].abs();
    let stays = |a: &u8| {
        let a = usize::from(*a);
        tally.can[a] == most && tally.cost_w[a] <= about
    };
    near.filter(stays).or(Some(best as u8))
}

/// The answers of one column, from no demand outwards. A cell that nothing serves takes the answer
/// of the one before.
fn settle(column: &[Tally], zero: usize) -> Vec<Option<u8>> {
    let mut best = vec![None; column.len()];
    best[zero] = best_of(&column[zero], None);
    for r in zero + 1..column.len() {
        best[r] = best_of(&column[r], best[r - 1]).or(best[r - 1]);
    }
    for r in (0..zero).rev() {
        best[r] = best_of(&column[r], best[r + 1]).or(best[r + 1]);
    }
    best
}

/// The generated Rust module. Same driveline, same bytes.
pub fn rust_source(d: &Driveline, data: &ScheduleData) -> String {
    let mut out = String::new();
    let names: Vec<String> =
        d.arrangements.iter().enumerate().map(|(i, a)| format!("{i} {}", a.name)).collect();
    let floats =
        |list: &[f32]| list.iter().map(|x| format!("{x:?}")).collect::<Vec<_>>().join(", ");
    let _ = write!(
        out,
        "// Generated by `slipwarden schedule {} --rust`. Do not edit.\n\
         //! Schedule of the driveline {:?}: which arrangement to ask for.\n//!\n\
         //! Arrangements: {}.\n\
         #![cfg_attr(rustfmt, rustfmt_skip)]\n#![allow(clippy::all, clippy::pedantic)]\n\
         use supervisor::schedule::Schedule;\n\n\
         /// The schedule; a joule of the battery counts as {:.3} J of fuel.\n\
         pub static SCHEDULE: Schedule<'static> = Schedule {{\n    speed_radps: &[{}],\n    \
         demand_nm: &[{}],\n    best: &[\n",
        d.name,
        d.name,
        names.join(", "),
        data.price,
        floats(&data.speed_radps),
        floats(&data.demand_nm),
    );
    let rows = data.demand_nm.len() + 1;
    for column in data.best.chunks(rows) {
        let line: Vec<String> = column.iter().map(u8::to_string).collect();
        let _ = writeln!(out, "        {},", line.join(", "));
    }
    out += "    ],\n    can: &[\n";
    for column in data.can.chunks(rows) {
        let line: Vec<String> = column.iter().map(|c| format!("{c:#06x}")).collect();
        let _ = writeln!(out, "        {},", line.join(", "));
    }
    let _ = write!(
        out,
        "    ],\n    speed_margin_radps: {:?},\n    demand_margin_nm: {:?},\n    min_stay: {},\n    \
         override_dwell: {},\n}};\n",
        data.speed_margin_radps, data.demand_margin_nm, data.min_stay, data.override_dwell
    );
    out
}

/// The schedule for a person.
pub fn text(d: &Driveline, model: &Model, data: &ScheduleData) -> String {
    let mut out = format!("Schedule of {}: which arrangement to ask for\n", d.name);
    for (i, a) in d.arrangements.iter().enumerate() {
        let _ = writeln!(out, "  {} {}", super::words::letter(i), a.name);
    }
    out += "demand at the output in Nm (upper edge); a capital cannot serve all of its cell\n";
    let rows = data.demand_nm.len() + 1;
    for r in (0..rows).rev() {
        let edge = data.demand_nm.get(r).map_or("more".into(), |x| format!("{x:.0}"));
        let _ = write!(out, "{edge:>8} ");
        for c in 0..data.speed_radps.len() + 1 {
            let (best, can) = (data.best[c * rows + r], data.can[c * rows + r]);
            let letter = super::words::letter(usize::from(best));
            let serves = can >> best & 1 == 1;
            out.push(' ');
            out.push(if serves { letter } else { letter.to_ascii_uppercase() });
        }
        out.push('\n');
    }
    let kmh: Vec<String> = data
        .speed_radps
        .iter()
        .map(|w| format!("{:.0}", f64::from(*w) * model.road.metres_per_radian * 3.6))
        .collect();
    out += &crate::text::labelled("km/h, edges: ", &kmh.join(" "), 0, 80);
    let margin = f64::from(data.speed_margin_radps) * model.road.metres_per_radian * 3.6;
    let _ = writeln!(
        out,
        "stays {:.0} s at least, and within {margin:.1} km/h and {:.0} Nm of its cells; {} bytes",
        STAY_S,
        data.demand_margin_nm,
        data.bytes()
    );
    out
}
