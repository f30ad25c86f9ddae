//! Maps and cruise tables for a terminal.

use super::cruise::Cruise;
use super::map::{Map, Mode};
use super::model::Model;
use super::words;
use crate::driveline::Driveline;
use crate::text::{Table, paragraph};

const WIDTH: usize = 80;

/// What is told before the figures.
pub(super) fn head(d: &Driveline, model: &Model, price: f64) -> String {
    let mut out = paragraph(
        &format!("Energy of {}: steady best points of every arrangement", d.name),
        0,
        WIDTH,
    );
    for gap in model.gaps(d) {
        out += &paragraph(&format!("note: {gap}"), 0, WIDTH);
    }
    out += &match model.engine {
        Some(_) => format!("a joule of the battery made on board takes {price:.2} J of fuel\n"),
        None => paragraph(
            "no engine: nothing but braking makes electricity on board, so that there is one map, of \
             battery energy",
            0,
            WIDTH,
        ),
    };
    for (i, a) in d.arrangements.iter().enumerate() {
        out += &format!("  {} {}\n", words::letter(i), a.name);
    }
    out
}

fn mode_words(mode: Mode) -> &'static str {
    match mode {
        Mode::Held => "Battery held (charge-sustaining): least fuel",
        Mode::Depleting => "Battery used (charge-depleting): least of fuel and battery energy",
        Mode::Priced => "Battery free, its energy at the price of making it on board",
    }
}

/// The maps that say something: without an engine all but one of them are empty or the same.
pub(super) fn shown(model: &Model, maps: Vec<Map>) -> Vec<Map> {
    let all = model.engine.is_some();
    maps.into_iter().filter(|m| all || m.mode == Mode::Depleting).collect()
}

/// A map: the winner's letter, a capital where it saves 2 % or more against the second best.
pub(super) fn map(d: &Driveline, model: &Model, map: &Map) -> String {
    let words = match model.engine {
        Some(_) => mode_words(map.mode),
        None => "Least battery energy",
    };
    let mut out = format!("\n{words}\n");
    out += "force/kN; a letter: the best; a capital: it saves 2 % or more; . none\n";
    for f in (0..map.forces_n.len()).rev() {
        out += &format!("{:7.2} ", map.forces_n[f] / 1e3);
        for s in 0..map.speeds_mps.len() {
            let cell = map.cell(s, f);
            let much = cell.gain_share().is_some_and(|g| g >= 0.02);
            let c = cell.winner.map_or('.', |w| {
                let c = words::letter(w);
                if much { c.to_ascii_uppercase() } else { c }
            });
            out.push(' ');
            out.push(c);
        }
        out.push('\n');
    }
    out += "km/h    ";
    let mut line = String::new();
    for (s, v) in map.speeds_mps.iter().enumerate().filter(|(s, _)| (s + 1) % 4 == 0) {
        let end = 2 * (s + 1);
        line = format!("{line:<width$}{:.0}", v * 3.6, width = end.saturating_sub(2));
    }
    out += &line;
    out.push('\n');
    out + &shares(d, map)
}

/// What each arrangement wins, and what keeps it out of the rest.
fn shares(d: &Driveline, map: &Map) -> String {
    let mut table =
        Table::new(&["arrangement", "can", "best", "saves", "what stops it most often"]);
    let n = map.cells.len().max(1) as f64;
    for (i, a) in d.arrangements.iter().enumerate() {
        let can = map.cells.iter().filter(|c| c.entries[i].is_some_and(|e| e.feasible())).count();
        let won: Vec<_> = map.cells.iter().filter(|c| c.winner == Some(i)).collect();
        let gains: Vec<f64> = won.iter().filter_map(|c| c.gain_share()).collect();
        let mean = gains.iter().sum::<f64>() / gains.len().max(1) as f64;
        let first = map.limits_of(i).first().map_or("-".into(), |l| words::limit(d, l.0));
        table.row(vec![
            format!("{} {}", words::letter(i), a.name),
            format!("{:.0} %", 100.0 * can as f64 / n),
            format!("{:.0} %", 100.0 * won.len() as f64 / n),
            if gains.is_empty() { "-".into() } else { format!("{:.1} %", 100.0 * mean) },
            first,
        ]);
    }
    table.render(WIDTH)
}

/// The cruise tables: cost, then speeds and torques, then losses.
pub(super) fn cruises(d: &Driveline, model: &Model, list: &[Cruise]) -> String {
    let mut out = String::from(match model.engine {
        Some(_) => "\nSteady cruise (engine running: battery held; else battery only)\n",
        None => "\nSteady cruise\n",
    });
    let mut places: Vec<(f64, f64)> = list.iter().map(|c| (c.percent, c.kmh)).collect();
    places.dedup();
    for (percent, kmh) in places {
        let here: Vec<&Cruise> =
            list.iter().filter(|c| (c.percent, c.kmh) == (percent, kmh)).collect();
        out += &format!("\n{kmh:.0} km/h, slope {percent} %\n");
        out += &costs(d, model, &here);
        out += &motion(d, &here);
        out += &losses(d, &here);
    }
    out
}

fn costs(d: &Driveline, model: &Model, here: &[&Cruise]) -> String {
    let mut table = Table::new(&["arrangement", "fuel g/km", "battery Wh/km", "limit"]);
    for c in here {
        let heat = model.engine.as_ref().map_or(f64::INFINITY, |e| e.j_per_kg);
        let feasible = c.entry.feasible();
        let cell = |x: f64, on: bool| if feasible && on { format!("{x:.1}") } else { "-".into() };
        table.row(vec![
            d.arrangements[c.arrangement].name.clone(),
            cell(c.fuel_g_per_km(heat), c.entry.engine_on),
            cell(c.battery_wh_per_km(), !c.entry.engine_on),
            c.entry.point.limit.map_or("-".into(), |l| words::limit(d, l)),
        ]);
    }
    table.render(WIDTH)
}

fn motion(d: &Driveline, here: &[&Cruise]) -> String {
    let mut out = String::from("  shaft speeds in rpm, machine torques in Nm\n");
    for c in here.iter().filter(|c| c.entry.feasible()) {
        let p = &c.entry.point;
        let speeds = d.shafts.iter().zip(&p.speed);
        let speeds: Vec<String> = speeds
            .map(|(s, w)| format!("{} {},", s.name, (w / super::RPM).round() + 0.0))
            .collect();
        let torques = d.machines.iter().zip(&p.torque);
        let torques: Vec<String> = torques.map(|(m, t)| format!("{} {t:.1}", m.name)).collect();
        let line = format!(
            "{}: {} {}",
            d.arrangements[c.arrangement].name,
            speeds.join(" ").trim_end_matches(',').to_owned() + ";",
            torques.join(", ")
        );
        out += &paragraph(&line, 4, WIDTH);
    }
    out
}

/// The losses of one cruise point by cause, W.
pub(super) fn loss_list(d: &Driveline, c: &Cruise) -> Vec<(String, f64)> {
    let l = &c.entry.point.losses;
    let mut list: Vec<(String, f64)> =
        d.machines.iter().zip(&l.machine).map(|(m, w)| (m.name.clone(), *w)).collect();
    list.extend([
        ("gear meshes".to_string(), l.mesh),
        ("bearings".to_string(), l.spin),
        ("open locks".to_string(), l.lock),
        ("dragged engine".to_string(), l.dragged),
        ("final drive".to_string(), l.final_drive),
        ("battery".to_string(), l.battery),
        ("auxiliaries".to_string(), l.auxiliary),
    ]);
    list
}

fn losses(d: &Driveline, here: &[&Cruise]) -> String {
    let mut out = String::from("  power at the wheels and losses in W\n");
    for c in here.iter().filter(|c| c.entry.feasible()) {
        let list = loss_list(d, c);
        let parts: Vec<String> = list
            .iter()
            .filter(|(_, w)| w.abs() >= 0.5)
            .map(|(name, w)| format!("{name} {w:.0}"))
            .collect();
        let line = format!(
            "{}: wheels {:.0}; {}",
            d.arrangements[c.arrangement].name,
            c.entry.point.wheel_w,
            parts.join(", ")
        );
        out += &paragraph(&line, 4, WIDTH);
    }
    out
}
