//! What is told of a trace whose charge is brought back, and of the difference between backward
//! and forward.

use std::fmt::Write;

use serde_json::{Value, json};

use super::forward::{Driven, LAP_TOLERANCE};
use super::report::Told;
use super::sustain::{Cannot, Held, TOLERANCE};
use crate::energy::data::short;
use crate::energy::terms::Terms;
use crate::text::{Table, labelled, paragraph};

/// A choice by name, with the charge brought back or why it cannot be.
pub(super) type Named = (String, Result<Held, Cannot>);

fn sentence(cannot: Cannot) -> String {
    let wh = |joule: f64| format!("{:.0} Wh", joule / 3600.0);
    match cannot {
        Cannot::NoEngine => {
            "no engine: nothing on board brings back what is taken; it is charged from outside"
                .into()
        }
        Cannot::Empties(j) => format!("even at the highest price {} are taken", wh(j)),
        Cannot::Fills(j) => format!("even at the lowest price {} are stored", wh(j)),
    }
}

pub(super) fn text(t: &Told, list: &[Named]) -> String {
    let mut out = String::from("\nCharge brought back, backward:\n");
    let supply = t.model.cells.is_none() && t.model.engine.is_some();
    let mut table = Table::new(&["choice", "fuel g", "more", "price", "left Wh", "changes/h"]);
    let least = list.first().and_then(|l| l.1.as_ref().ok()).map(Held::fair_j);
    for (name, held) in list {
        let Ok(h) = held else { continue };
        let more = least.map_or("-".into(), |x| format!("{:.2} %", 100.0 * (h.fair_j() / x - 1.0)));
        let price = match h.then {
            Some((_, then)) => format!("{:.3}, {then:.3}", h.price),
            None => format!("{:.3}", h.price),
        };
        table.row(vec![
            name.clone(),
            format!("{:.1}", h.sum.fuel_j / t.heat() * 1e3),
            more,
            price,
            format!("{:.1}{}", h.left_j / 3600.0, if h.within { "" } else { " !" }),
            format!("{:.0}", t.per_hour(h.sum.changes)),
        ]);
    }
    if list.iter().any(|l| l.1.is_ok()) {
        out += &table.render(80);
        let legend = format!(
            "left: out of the battery over the trace, counted in \"more\" at its price; ! more than {} % \
             of the fuel's energy",
            100.0 * TOLERANCE
        );
        out += &paragraph(&legend, 0, 80);
    }
    out += &notes(t, list);
    if supply {
        out += "no battery is described: the ideal supply's energy is what is brought back\n";
    }
    out
}

/// Why a choice cannot, and how near the best possible is to its bound.
fn notes(t: &Told, list: &[Named]) -> String {
    let mut out = String::new();
    for (name, held) in list {
        match held {
            Err(cannot) => {
                out += &labelled("  ", &format!("{name}: {}", sentence(*cannot)), 0, 80);
            }
            Ok(h) if name == "best possible" => {
                let bound = format!(
                    "no choice takes less than {:.1} g (bound by duality, {:.2} % below the best found)",
                    h.bound_j / t.heat() * 1e3,
                    100.0 * (1.0 - h.bound_j / h.fair_j()).max(0.0)
                );
                out += &paragraph(&bound, 0, 80);
                if t.model.cells.is_some() {
                    let share = 100.0 * t.window_share(h.swing_j);
                    let _ =
                        writeln!(out, "on the way it swings by {share:.1} % of the charge window");
                }
            }
            Ok(_) => {}
        }
    }
    out
}

/// How the laps of a forward run ended.
pub(super) fn laps(t: &Told, f: &Driven) -> String {
    if t.held.is_none() {
        return String::new();
    }
    if t.model.engine.is_none() || t.model.cells.is_none() {
        return "  driven once: without engine and battery no lap brings a charge back\n".into();
    }
    let left = 100.0 * (f.charge[0] - f.charge[1]) / t.window();
    let told =
        if left.abs() <= 100.0 * LAP_TOLERANCE { "comes back" } else { "does not come back" };
    let at = 100.0 * f.charge[0];
    format!("  from a charge of {at:.1} % (lap {}) it {told}: {left:.2} % of the window\n", f.laps)
}

/// Backward and forward, cause by cause, in kJ.
pub(super) fn compared(backward: &Terms, forward: &Terms) -> String {
    let mut out = String::from("\nWhere it goes, kJ (backward: the schedule's choice):\n");
    let mut table = Table::new(&["cause", "backward", "forward", "difference"]);
    let mut row = |name: &str, a: f64, b: f64| {
        if a.abs() >= 50.0 || b.abs() >= 50.0 {
            let kj = |x: f64| format!("{:.1}", x / 1e3);
            table.row(vec![name.to_string(), kj(a), kj(b), kj(b - a)]);
        }
    };
    for ((name, a), (_, b)) in backward.out().iter().zip(forward.out()) {
        row(name, *a, b);
    }
    let total = |t: &Terms| t.out().iter().map(|x| x.1).sum::<f64>();
    row("all that goes out", total(backward), total(forward));
    row("fuel in", backward.fuel, forward.fuel);
    row("battery in", backward.battery, forward.battery);
    row("starter in", backward.starter, forward.starter);
    out += &table.render(80);
    let _ = writeln!(
        out,
        "in less out: {:.0e} J backward, {:.0e} J forward",
        backward.residual_j().abs(),
        forward.residual_j().abs()
    );
    out
}

/// The terms as an object, kJ.
pub(super) fn terms(t: &Terms) -> Value {
    let mut object = serde_json::Map::new();
    for (name, joule) in t.out() {
        object.insert(name.to_string(), json!(short(joule / 1e3)));
    }
    Value::Object(object)
}

pub(super) fn json(t: &Told, list: &[Named]) -> Vec<Value> {
    let one = |(name, held): &Named| match held {
        Err(cannot) => json!({ "choice": name, "cannot": sentence(*cannot) }),
        Ok(h) => json!({
            "choice": name,
            "fuel_g": short(h.sum.fuel_j / t.heat() * 1e3),
            "price_fuel_per_battery": short(h.price),
            "then": h.then.map(|(t_s, price)| json!({ "t_s": t_s, "price_fuel_per_battery": short(price) })),
            "left_wh": short(h.left_j / 3600.0),
            "within_tolerance": h.within,
            "swing_wh": short(h.swing_j / 3600.0),
            "bound_g": (name == "best possible").then(|| short(h.bound_j / t.heat() * 1e3)),
            "changes": h.sum.changes,
            "time_s": h.sum.time_s.iter().map(|x| short(*x)).collect::<Vec<_>>(),
            "terms_kj": terms(&h.sum.terms),
        }),
    };
    list.iter().map(one).collect()
}
