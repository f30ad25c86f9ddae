//! Speed sensors: the stated ones, or one on every shaft that matters most.

use super::fields::Fields;
use super::model::*;
use super::model_parts::*;

/// Most sensors (the supervisor's bit sets have eight places).
const MOST: usize = 8;

/// A stated sensor.
pub(super) fn stated(f: &Fields, shafts: &[Shaft], machines: &[Machine]) -> Option<Sensor> {
    let id = f.index("shaft")?;
    let shaft = shafts.get(id)?;
    let is_resolver = match f.word("kind") {
        Some(kind) => kind == "resolver",
        None => !f.has("pulses_per_turn") && turned_electrically(id, machines),
    };
    let kind = if is_resolver {
        SensorKind::Resolver
    } else {
        SensorKind::Pulses { per_turn: f.count_of("pulses_per_turn", Some("pulses"))? }
    };
    Some(Sensor {
        name: f.word("name").map_or_else(|| shaft.name.clone(), str::to_string),
        shaft: id,
        kind,
        range_rpm: f.number("range_rpm").unwrap_or_else(|| default_range_rpm(shaft)),
        error_rpm: f.number("error_rpm")?,
        resolution_rpm: f.number("resolution_rpm")?,
        latency_ms: f.number("latency_ms")?,
    })
}

/// The sensors of a file that states none.
pub(super) fn by_default(
    shafts: &[Shaft],
    machines: &[Machine],
    locks: &[Lock],
    output: ShaftId,
) -> Vec<Sensor> {
    let all: Vec<ShaftId> = (0..shafts.len()).collect();
    let chosen = if shafts.len() <= MOST { all } else { most_useful(all, machines, locks, output) };
    let spec = super::keys::DRIVELINE.table("sensor");
    chosen
        .into_iter()
        .filter_map(|id| {
            let mut fields = Fields::new(spec?, 0..0);
            fields.insert("shaft", super::values::Got::Index(id), 0..0, 0..0);
            stated(&fields, shafts, machines)
        })
        .collect()
}

/// Eight of more shafts: machines', output, lock sides, then the rest; shown in file order.
fn most_useful(
    all: Vec<ShaftId>,
    machines: &[Machine],
    locks: &[Lock],
    output: ShaftId,
) -> Vec<ShaftId> {
    let wanted = machines
        .iter()
        .map(|m| m.shaft)
        .chain([output])
        .chain(locks.iter().flat_map(|l| [Some(l.a), l.b]).flatten())
        .chain(all);
    let mut chosen: Vec<ShaftId> = Vec::new();
    for shaft in wanted {
        if chosen.len() < MOST && !chosen.contains(&shaft) {
            chosen.push(shaft);
        }
    }
    chosen.sort_unstable();
    chosen
}

/// Whether an electric machine sits on the shaft (it then has a resolver anyway).
fn turned_electrically(shaft: ShaftId, machines: &[Machine]) -> bool {
    machines.iter().any(|m| m.shaft == shaft && matches!(m.kind, MachineKind::Electric(_)))
}

/// A quarter more than the larger limit, so that an overspeed is still read.
fn default_range_rpm(shaft: &Shaft) -> f64 {
    let limit = shaft.max_rpm.unwrap_or(0.0).max(-shaft.min_rpm.unwrap_or(0.0));
    if limit > 0.0 { 1.25 * limit } else { 10_000.0 }
}
