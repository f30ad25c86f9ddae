//! The named arrangements: road-speed window, who pushes, what the locks carry.

use num_traits::{One, Signed, Zero};

use super::sets::pattern;
use crate::driveline::{Arrangement, Driveline, EngineUse, MachineId};
use crate::exact::{Q, Row, text as exact_text, to_f64};
use crate::kinematics::{
    End, EngineLink, Kinematics, Limit, LimitKind, LockSet, LockTorque, NoWindow, Window, and_list,
    windows,
};
use crate::text::{labelled, paragraph};

const INDENT: usize = 4;

/// One block an arrangement; empty without arrangements.
pub(super) fn arrangements(d: &Driveline, k: &Kinematics, width: usize) -> String {
    if d.arrangements.is_empty() {
        return String::new();
    }
    let mut out = paragraph(
        "Arrangements (steady torques in Nm per Nm; a lock's torque is the one on its first shaft)",
        0,
        width,
    );
    for (arrangement, window) in d.arrangements.iter().zip(windows(d, k)) {
        out += &block(d, k.set(arrangement.closed), arrangement, &window, width);
    }
    out
}

fn block(
    d: &Driveline,
    set: &LockSet,
    arrangement: &Arrangement,
    window: &Result<Window, NoWindow>,
    width: usize,
) -> String {
    let locks = match set.closed {
        0 => "all locks open".to_string(),
        _ => and_list(&d.lock_names(set.closed)),
    };
    let title = format!(
        "{}  {}: {locks}; {}",
        pattern(d, set.closed, set.redundant),
        arrangement.name,
        set.verdict.word()
    );
    let mut out = paragraph(&title, 2, width);
    let mut line = |label: &str, text: &str| {
        out += &labelled(&format!("{label:<12}"), text, INDENT, width);
    };
    if set.verdict.is_forbidden() {
        line("forbidden", &set.reason);
    }
    match window {
        Ok(window) => line("speed", &window_text(d, window)),
        Err(none) => {
            let limits: Vec<String> = none.because.iter().map(|l| limit_text(d, l)).collect();
            line("speed", &format!("none: {} contradict in this lock set", and_list(&limits)));
        }
    }
    let link = window.as_ref().map(|w| &w.engine_link);
    if let Some(note) = link.ok().and_then(|link| engine_note(d, arrangement.engine, link)) {
        line("engine", &note);
    }
    let several = set.torque.pushes.len() > 1;
    for (i, push) in set.torque.pushes.iter().enumerate() {
        let label = if i == 0 { "pushed by" } else { "or by" };
        let number = if several { format!("({}) ", i + 1) } else { String::new() };
        line(label, &(number + &push_text(d, &push.machines, &push.per_output)));
    }
    if set.torque.pushes.is_empty() && !set.holds_output {
        line("pushed by", "nothing (neutral)");
    }
    for (i, lock) in set.torque.locks.iter().enumerate() {
        line(if i == 0 { "locks" } else { "" }, &lock_text(d, lock));
    }
    out
}

fn push_text(d: &Driveline, machines: &[MachineId], per_output: &[Q]) -> String {
    let name = |m: &MachineId| d.machines[*m].name.as_str();
    if let ([machine], [share]) = (machines, per_output) {
        let gain = exact_text(&(Q::one() / share));
        return format!("{} alone: {gain} at the output per Nm", name(machine));
    }
    let shares: Vec<String> = machines
        .iter()
        .zip(per_output)
        .map(|(m, share)| format!("{} with {}", name(m), exact_text(share)))
        .collect();
    format!("{} per Nm at the output, together", and_list(&shares))
}

fn lock_text(d: &Driveline, lock: &LockTorque) -> String {
    let mut terms: Vec<(Q, &str)> = Vec::new();
    for (share, machine) in lock.per_machine.iter().zip(&d.machines) {
        terms.push((share.clone(), &machine.name));
    }
    terms.push((lock.per_output.clone(), "output torque"));
    let mut text = format!("{} carries {}", d.locks[lock.lock].name, sum_text(&terms));
    let first = lock.per_push.first();
    let same = lock.per_push.iter().all(|share| Some(share) == first);
    match first {
        Some(first) if same && !first.is_zero() => {
            text += &format!("; {} of the output torque", exact_text(first));
        }
        Some(_) if !same => {
            let numbered = lock.per_push.iter().enumerate();
            let shares: Vec<String> =
                numbered.map(|(i, share)| format!("({}) {}", i + 1, exact_text(share))).collect();
            text += &format!("; of the output torque when pushed by {}", shares.join(", "));
        }
        _ => {}
    }
    text
}

/// "11/5 traction - generator"; "nothing" when every share is zero.
fn sum_text(terms: &[(Q, &str)]) -> String {
    let mut text = String::new();
    for (share, name) in terms.iter().filter(|(share, _)| !share.is_zero()) {
        let size = share.abs();
        let factor = if size.is_one() { String::new() } else { format!("{} ", exact_text(&size)) };
        let sign = match (text.is_empty(), share.is_negative()) {
            (true, false) => "",
            (true, true) => "-",
            (false, false) => " + ",
            (false, true) => " - ",
        };
        text += &format!("{sign}{factor}{name}");
    }
    if text.is_empty() { "nothing".to_string() } else { text }
}

pub(super) fn window_text(d: &Driveline, window: &Window) -> String {
    let (low, high) = (&window.low, &window.high);
    let unit = if low.road_kmh.or(high.road_kmh).is_some() { "km/h" } else { "rpm of the output" };
    let (from, to) = (speed_text(low, "any"), speed_text(high, "any"));
    let (below, above) = (enders(d, low), enders(d, high));
    let mirrored = !low.ended_by.is_empty() && mirror(low, high);
    let ends = match () {
        () if mirrored => format!("; ended by {above} (mirrored in reverse)"),
        () if low.ended_by.is_empty() && high.ended_by.is_empty() => {
            "; nothing ends it".to_string()
        }
        () => format!("; lower end by {below}; upper end by {above}"),
    };
    format!("{from} to {to} {unit}{ends}")
}

/// Both ends come from the same shafts with opposite speeds.
fn mirror(low: &End, high: &End) -> bool {
    let sizes = |end: &End| -> Row { end.ended_by.iter().map(|e| e.limit.rpm.abs()).collect() };
    let shafts = |end: &End| -> Vec<usize> { end.ended_by.iter().map(|e| e.limit.shaft).collect() };
    let opposite = matches!((&low.output_rpm, &high.output_rpm), (Some(a), Some(b)) if *a == -b);
    opposite && shafts(low) == shafts(high) && sizes(low) == sizes(high)
}

fn speed_text(end: &End, unlimited: &str) -> String {
    let value = end.road_kmh.or(end.output_rpm.as_ref().map(to_f64));
    value.map_or_else(|| unlimited.to_string(), number)
}

/// One decimal, without a needless ".0" or "-0".
pub(super) fn number(value: f64) -> String {
    let rounded = (value * 10.0).round() / 10.0;
    format!("{}", rounded + 0.0)
}

fn enders(d: &Driveline, end: &End) -> String {
    if end.ended_by.is_empty() {
        return if end.output_rpm.is_some() { "the held output" } else { "nothing" }.to_string();
    }
    let parts: Vec<String> = end.ended_by.iter().map(|e| limit_text(d, &e.limit)).collect();
    and_list(&parts)
}

fn limit_text(d: &Driveline, limit: &Limit) -> String {
    let shaft = &d.shafts[limit.shaft].name;
    let rpm = number(to_f64(&limit.rpm));
    match limit.kind {
        LimitKind::ShaftMax | LimitKind::ShaftMin => format!("{shaft} at {rpm} rpm"),
        LimitKind::EngineIdle => format!("{shaft} at {rpm} rpm (engine's idle)"),
        LimitKind::EngineMax => format!("{shaft} at {rpm} rpm (engine's highest)"),
        LimitKind::EngineNoReverse => format!("{shaft} at {rpm} rpm (engine never in reverse)"),
        LimitKind::VehicleMax => "the vehicle's highest speed".to_string(),
        LimitKind::Asked => format!("{shaft} at {rpm} rpm (asked)"),
    }
}

/// What to know when the engine is off and yet tied to other shafts.
fn engine_note(d: &Driveline, engine: EngineUse, link: &EngineLink) -> Option<String> {
    let state = match engine {
        EngineUse::On => return None,
        EngineUse::Off => "off",
        EngineUse::Either => "on or off",
    };
    let (id, _) = d.engine()?;
    let name = &d.machines[id].name;
    match link {
        EngineLink::Absent | EngineLink::Alone => None,
        EngineLink::Held => Some(format!("{name} is {state} and held at zero")),
        EngineLink::Joined => Some(format!(
            "{name} is {state} but joined: dragged unless a machine keeps its shaft at rest"
        )),
        EngineLink::WithOutput(ratio) => Some(format!(
            "{name} is {state} but joined to the output: dragged at {} of its speed, and so \
             not {}",
            exact_text(ratio),
            if ratio.is_positive() { "in reverse" } else { "forward" }
        )),
    }
}
