//! What a trace took, for a person and for a program.

use std::fmt::Write;

use serde_json::{Value, json};

use super::choice::Sum;
use super::forward::Driven;
use super::held_report::{self, Named};
use super::trace::Trace;
use crate::driveline::Driveline;
use crate::energy::data::short;
use crate::energy::model::Model;
use crate::text::Table;

/// Version of the JSON form; it changes with its meaning.
pub(super) const VERSION: u32 = 2;

/// All that is told of one trace.
pub(super) struct Told<'a> {
    pub(super) d: &'a Driveline,
    pub(super) model: &'a Model,
    pub(super) trace: &'a Trace,
    pub(super) price: f64,
    /// Names with their sums; the first is the best possible, the second the schedule's.
    pub(super) sums: Vec<(String, Sum)>,
    pub(super) driven: Option<Driven>,
    /// Cost of the best possible choice if changes cost nothing, J of fuel.
    pub(super) free_j: f64,
    /// The choices with the charge brought back, where that is asked.
    pub(super) held: Option<Vec<Named>>,
}

impl Told<'_> {
    /// Heating value, J/kg.
    pub(super) fn heat(&self) -> f64 {
        self.model.engine.as_ref().map_or(f64::INFINITY, |e| e.j_per_kg)
    }

    /// Cost against that of the best possible, as a share.
    fn more(&self, sum: &Sum) -> f64 {
        sum.paid_j() / self.sums[0].1.paid_j() - 1.0
    }

    /// Kilometres of the trace.
    fn km(&self) -> f64 {
        self.trace.distance_m() / 1e3
    }

    /// Battery energy as a share of what lies in the charge window; 0 without a battery.
    pub(super) fn window_share(&self, battery_j: f64) -> f64 {
        self.model.cells.map_or(0.0, |c| battery_j / c.window_j)
    }

    /// The charge window as a share of the battery.
    pub(super) fn window(&self) -> f64 {
        self.d.battery.as_ref().map_or(1.0, |b| b.charge_window[1] - b.charge_window[0])
    }

    /// What a forward run is compared with: the schedule's choice, with the charge brought back where
    /// that is asked and can be.
    pub(super) fn compared(&self) -> &Sum {
        let held = self.held.as_ref().and_then(|l| l.get(1)).and_then(|l| l.1.as_ref().ok());
        held.map_or(&self.sums[1].1, |h| &h.sum)
    }

    pub(super) fn per_hour(&self, changes: usize) -> f64 {
        changes as f64 / self.trace.duration_s() * 3600.0
    }
}

pub(super) fn text(t: &Told) -> String {
    let mut out = format!(
        "{} over {}: {:.0} s, {:.2} km, mean {:.1}, at most {:.0} km/h\n",
        t.d.name,
        t.trace.name,
        t.trace.duration_s(),
        t.km(),
        t.km() / t.trace.duration_s() * 3600.0,
        t.trace.max_kmh()
    );
    match t.model.engine {
        Some(_) => {
            let _ = writeln!(out, "a joule of the battery counts as {:.2} J of fuel", t.price);
        }
        None => out += "no engine: the cost is battery energy\n",
    }
    for gap in t.model.gaps(t.d) {
        out += &crate::text::paragraph(&format!("note: {gap}"), 0, 80);
    }
    out.push('\n');
    out += "Backward, steady points second by second, a change at the heat of its clutches:\n";
    let mut table = Table::new(&["choice", "fuel g", "battery Wh", "cost MJ", "more", "changes/h"]);
    for (name, s) in &t.sums {
        table.row(vec![
            name.clone(),
            format!("{:.0}", s.fuel_j / t.heat() * 1e3),
            format!("{:.0}", s.battery_j / 3600.0),
            format!("{:.2}", s.paid_j() / 1e6),
            if s.misses() { "misses".into() } else { format!("{:.2} %", 100.0 * t.more(s)) },
            format!("{:.0}", t.per_hour(s.changes)),
        ]);
    }
    out += &table.render(80);
    out += &missed(t);
    if t.model.cells.is_some() {
        let used = 100.0 * t.window_share(t.sums[1].1.battery_j);
        let _ = writeln!(out, "the schedule takes {used:.1} % of the battery's charge window");
    }
    if let Some(list) = &t.held {
        out += &held_report::text(t, list);
    }
    if let Some(driven) = &t.driven {
        out += &forward(t, driven);
        out += &held_report::compared(&t.compared().terms, &driven.terms);
    }
    out
}

/// What changes could cost at least, and what each choice leaves undone.
fn missed(t: &Told) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "were changes for nothing, the best possible would cost {:.2} MJ ({:.2} % less)",
        t.free_j / 1e6,
        100.0 * (1.0 - t.free_j / t.sums[0].1.paid_j())
    );
    out.push('\n');
    let legend = "missed: pull that the trace asks for and no limit allows (where there is any, costs \
                  do not compare); refused: seconds in which the choice could not be used and \
                  another one was";
    out += &crate::text::paragraph(legend, 0, 80);
    let mut table = Table::new(&["choice", "missed kJ", "refused", "seconds in each"]);
    for (name, s) in &t.sums {
        table.row(vec![
            name.clone(),
            format!("{:.1}", s.missed_j / 1e3),
            format!("{:.0}", s.refused_s),
            times(t.d, &s.time_s),
        ]);
    }
    out += &table.render(80);
    out
}

fn times(d: &Driveline, list: &[f64]) -> String {
    let each = d.arrangements.iter().zip(list).filter(|e| *e.1 > 0.0);
    each.map(|(a, s)| format!("{} {s:.0}", a.name)).collect::<Vec<_>>().join(", ")
}

fn forward(t: &Told, f: &Driven) -> String {
    let cost = f.fuel_j + t.price * f.battery_j;
    let mut out =
        String::from("\nForward, the real supervisor and the plant, the schedule asking:\n");
    let _ = writeln!(
        out,
        "  fuel {:.0} g, battery {:.0} Wh, cost {:.2} MJ ({:+.1} % of the best possible)",
        f.fuel_j / t.heat() * 1e3,
        f.battery_j / 3600.0,
        cost / 1e6,
        100.0 * (cost / t.sums[0].1.paid_j() - 1.0)
    );
    let _ = writeln!(
        out,
        "  {} changes ({:.0}/h), refused {:.1} % of the time",
        f.changes,
        t.per_hour(f.changes),
        100.0 * f.refused_s / f.duration_s
    );
    let _ = writeln!(
        out,
        "  heat of friction locks {:.1} kJ, of that {:.0} J under pressure in the changes\n  \
         (backward, the schedule's {} changes were charged {:.1} kJ)",
        f.lock_j / 1e3,
        f.closing_j.max(0.0),
        t.compared().changes,
        t.compared().switch_work_j / 1e3
    );
    out += &held_report::laps(t, f);
    let _ = writeln!(
        out,
        "  {:.2} km driven; {:.1} km/h at most below the trace",
        f.distance_m / 1e3,
        f.slowest_kmh
    );
    out + &crate::text::labelled("  seconds: ", &times(t.d, &f.time_s), 0, 80)
}

pub(super) fn json(t: &Told) -> Value {
    let sums = t.sums.iter().map(|(name, s)| {
        json!({
            "choice": name,
            "fuel_g": short(s.fuel_j / t.heat() * 1e3),
            "battery_wh": short(s.battery_j / 3600.0),
            "cost_mj": short(s.paid_j() / 1e6),
            "changes_mj": short(s.switch_j / 1e6),
            "more_than_best_share": (!s.misses()).then(|| short(t.more(s))),
            "change_heat_kj": short(s.switch_work_j / 1e3),
            "terms_kj": held_report::terms(&s.terms),
            "changes": s.changes,
            "changes_per_hour": short(t.per_hour(s.changes)),
            "refused_s": short(s.refused_s),
            "missed_kj": short(s.missed_j / 1e3),
            "charge_window_share": short(t.window_share(s.battery_j)),
            "time_s": s.time_s.iter().map(|x| short(*x)).collect::<Vec<_>>(),
        })
    });
    let driven = t.driven.as_ref().map(|f| {
        json!({
            "fuel_g": short(f.fuel_j / t.heat() * 1e3),
            "battery_wh": short(f.battery_j / 3600.0),
            "cost_mj": short((f.fuel_j + t.price * f.battery_j) / 1e6),
            "changes": f.changes,
            "changes_per_hour": short(t.per_hour(f.changes)),
            "friction_lock_kj": short(f.lock_j / 1e3),
            "change_heat_kj": short(f.closing_j / 1e3),
            "starter_kj": short(f.terms.starter / 1e3),
            "terms_kj": held_report::terms(&f.terms),
            "laps": f.laps,
            "charge": f.charge.map(short),
            "refused_s": short(f.refused_s),
            "time_s": f.time_s.iter().map(|x| short(*x)).collect::<Vec<_>>(),
            "distance_km": short(f.distance_m / 1e3),
            "most_below_trace_kmh": short(f.slowest_kmh),
        })
    });
    json!({
        "cycle": VERSION,
        "driveline": t.d.name,
        "trace": t.trace.name,
        "arrangements": t.d.arrangements.iter().map(|a| &a.name).collect::<Vec<_>>(),
        "notes": t.model.gaps(t.d),
        "duration_s": short(t.trace.duration_s()),
        "distance_km": short(t.km()),
        "max_kmh": short(t.trace.max_kmh()),
        "price_fuel_per_battery": short(t.price),
        "backward": sums.collect::<Vec<_>>(),
        "best_with_free_changes_mj": short(t.free_j / 1e6),
        "sustained": t.held.as_ref().map(|list| held_report::json(t, list)),
        "forward": driven,
    })
}
