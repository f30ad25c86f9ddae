//! Maps and cruise tables for programs: JSON and CSV.

use serde_json::{Value, json};

use super::cruise::Cruise;
use super::map::{Entry, Map};
use super::model::Model;
use super::{text, words};
use crate::driveline::Driveline;

/// Version of the JSON form; it changes with its meaning.
pub const VERSION: u32 = 1;

/// Six significant digits: more would be rounding.
pub fn short(x: f64) -> f64 {
    format!("{x:.5e}").parse().unwrap_or(0.0)
}

/// The whole answer.
pub fn json(d: &Driveline, model: &Model, price: f64, maps: &[Map], cruises: &[Cruise]) -> Value {
    json!({
        "energy": VERSION,
        "driveline": d.name,
        "arrangements": d.arrangements.iter().map(|a| &a.name).collect::<Vec<_>>(),
        "notes": model.gaps(d),
        "price_fuel_per_battery": short(price),
        "maps": maps.iter().map(|m| map(d, m)).collect::<Vec<_>>(),
        "cruise": cruises.iter().map(|c| cruise(d, model, c)).collect::<Vec<_>>(),
    })
}

fn map(d: &Driveline, m: &Map) -> Value {
    let cells = m.cells.iter().enumerate().map(|(i, cell)| {
        json!({
            "speed_kmh": short(m.speeds_mps[i / m.forces_n.len()] * 3.6),
            "force_n": short(m.forces_n[i % m.forces_n.len()]),
            "best": cell.winner,
            "second": cell.second,
            "gain_w": cell.gain_w().map(short),
            "gain_share": cell.gain_share().map(short),
            "arrangements": cell.entries.iter().map(|e| entry(d, e.as_ref())).collect::<Vec<_>>(),
        })
    });
    json!({
        "mode": m.mode.word(),
        "speeds_kmh": m.speeds_mps.iter().map(|v| short(v * 3.6)).collect::<Vec<_>>(),
        "forces_n": m.forces_n.iter().map(|f| short(*f)).collect::<Vec<_>>(),
        "cells": cells.collect::<Vec<_>>(),
    })
}

fn entry(d: &Driveline, e: Option<&Entry>) -> Value {
    let Some(e) = e else { return Value::Null };
    match e.point.limit {
        Some(limit) => json!({ "limit": words::limit(d, limit), "excess": short(e.point.excess) }),
        None => json!({
            "engine_on": e.engine_on,
            "cost_w": short(e.cost_w),
            "fuel_w": short(e.point.fuel_w),
            "battery_w": short(e.point.cell_w),
        }),
    }
}

fn cruise(d: &Driveline, model: &Model, c: &Cruise) -> Value {
    let p = &c.entry.point;
    let heat = model.engine.as_ref().map_or(f64::INFINITY, |e| e.j_per_kg);
    let losses: serde_json::Map<String, Value> =
        text::loss_list(d, c).into_iter().map(|(name, w)| (name, json!(short(w)))).collect();
    json!({
        "speed_kmh": c.kmh,
        "slope_percent": c.percent,
        "arrangement": d.arrangements[c.arrangement].name,
        "limit": p.limit.map(|l| words::limit(d, l)),
        "engine_on": c.entry.engine_on,
        "fuel_g_per_km": short(c.fuel_g_per_km(heat)),
        "battery_wh_per_km": short(c.battery_wh_per_km()),
        "fuel_w": short(p.fuel_w),
        "battery_w": short(p.cell_w),
        "machines_w": short(p.machines_w),
        "wheel_w": short(p.wheel_w),
        "speeds_rpm": (0..d.shafts.len()).map(|s| short(p.speed[s] / super::RPM)).collect::<Vec<_>>(),
        "torques_nm": (0..d.machines.len()).map(|m| short(p.torque[m])).collect::<Vec<_>>(),
        "losses_w": losses,
    })
}

/// The maps as CSV: a line for each arrangement in each cell.
pub fn csv(d: &Driveline, maps: &[Map]) -> String {
    let mut out =
        String::from("mode,speed_kmh,force_n,arrangement,rank,cost_w,fuel_w,battery_w,limit\n");
    for m in maps {
        for (i, cell) in m.cells.iter().enumerate() {
            let (v, f) =
                (m.speeds_mps[i / m.forces_n.len()] * 3.6, m.forces_n[i % m.forces_n.len()]);
            for (a, e) in cell.entries.iter().enumerate() {
                let Some(e) = e else { continue };
                let start = format!("{},{v:.3},{f:.3},{}", m.mode.word(), d.arrangements[a].name);
                out += &match e.point.limit {
                    Some(l) => format!("{start},,,,,{}\n", words::limit(d, l)),
                    None => {
                        let rank = if cell.winner == Some(a) {
                            "1"
                        } else if cell.second == Some(a) {
                            "2"
                        } else {
                            ""
                        };
                        let p = &e.point;
                        format!("{start},{rank},{:.2},{:.2},{:.2},\n", e.cost_w, p.fuel_w, p.cell_w)
                    }
                };
            }
        }
    }
    out
}
