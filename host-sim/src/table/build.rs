//! From a checked driveline and its kinematics to the table.

use std::collections::BTreeMap;

use supervisor::bits::Bits;
use supervisor::hash::table_hash;
use supervisor::table::{self as t, Stuck, WAYS};

use crate::driveline::{Driveline, EngineUse, MachineKind};
use crate::kinematics::Kinematics;

use super::accelerations::fastest_changes_radps2;
use super::data::{TableData, TableError};
use super::duties::duties;
use super::limits::{
    measure_lock, parities, rate_ticks, rests, road_window, round_down, round_up, speed_share,
    ticks,
};
use super::rows::{RPM, SensorRow, measure, shaft_form};
use super::search::{Graph, Ways, encode};
use super::steps::{Context, engine_geared, engine_joined, output_acceleration_max};

/// Build the table.
///
/// # Errors
/// Everything that stands in the way, at once: keys that the table needs and the driveline
/// lacks, quantities that the sensors do not determine, arrangements that are forbidden.
pub fn build(d: &Driveline, k: &Kinematics) -> Result<TableData, TableError> {
    let mut reasons = Vec::new();
    let mut locks = Vec::new();
    let mut margins = Vec::new();
    let fastest = fastest_changes_radps2(d, k);
    for id in 0..d.locks.len() {
        match measure_lock(d, k, id, &fastest) {
            Ok(measured) => {
                locks.push(measured.data);
                margins.push(measured.margin);
            }
            Err(reason) => reasons.push(reason),
        }
    }
    let output = measure(d, &k.set(0).basis, &shaft_form(d, d.output.shaft));
    reasons.extend(obstacles(d, k, output.is_some()));
    let (Some(output), true) = (output, reasons.is_empty()) else {
        return Err(TableError { reasons });
    };
    let error = output.error(d, &fastest);
    let age_s = error.age_s;
    let output_error = error.fixed() + output_acceleration_max(d) * age_s;
    let (rests, rest_margins) = rests(d, k, &fastest);
    let (parities, parity_margins) = parities(d, k, &fastest);
    margins.extend(rest_margins);
    margins.extend(parity_margins);
    let mut data = TableData {
        name: d.name.clone(),
        hash: 0,
        engine: d.engine().map(|(m, _)| m as u8),
        engine_min: super::limits::engine_min(d, k, &fastest),
        output_row: output.coefficients(),
        output_sensors: output.sensors(),
        output_rate_max: output_rate_max(d, &output, &fastest),
        timing: timing(d),
        sensors: sensors(d),
        locks,
        rests,
        parities,
        conflicts: Vec::new(),
        overlaps: Vec::new(),
        arrangements: arrangements(d, k, output_error),
        sets: Vec::new(),
        steps: Vec::new(),
        limits: Vec::new(),
        next: Vec::new(),
        notes: Vec::new(),
        margins,
    };
    let context = Context::new(d, k, output_error, fastest);
    let search = search_all(&context);
    conflicts(&mut data, d, k);
    number_steps(&mut data, d, k, &search);
    data.hash = table_hash(&data.table());
    Ok(data)
}

fn sensors(d: &Driveline) -> Vec<t::Sensor> {
    d.sensors
        .iter()
        .map(|s| t::Sensor { range: (s.range_rpm * RPM) as f32, allowed: allowed(d, s.shaft) })
        .collect()
}

/// Largest measured change of the output's speed with tyres in grip, rad/s.
fn output_rate_max(d: &Driveline, output: &SensorRow, fastest: &[f64]) -> f32 {
    let span_s = f64::from(rate_ticks(d)) * d.timing.tick_ms / 1000.0;
    round_up(output_acceleration_max(d) * span_s + output.change_noise(d, fastest))
}

/// What else stands in the way of a table.
fn obstacles(d: &Driveline, k: &Kinematics, output_measured: bool) -> Vec<String> {
    let mut reasons = Vec::new();
    if !output_measured {
        reasons.push("the output speed cannot be measured: add a [[sensor]] on it".to_string());
    }
    if d.arrangements.is_empty() {
        reasons.push("there is no [[arrangement]]: name at least one lock set".to_string());
    }
    for arrangement in &d.arrangements {
        let set = k.set(arrangement.closed);
        if set.verdict.is_forbidden() {
            let name = &arrangement.name;
            reasons.push(format!("arrangement {name:?} is a forbidden lock set: {}", set.reason));
        }
    }
    reasons
}

/// Share of a shaft's limits that is kept free, so that what is left of a torque that was cut
/// does not pass them.
const LIMIT_SPARE: f64 = 0.005;

/// Speeds that a shaft may have by its limits. An engine must not be turned backwards, whatever its
/// bearings bear.
fn allowed(d: &Driveline, at: usize) -> t::Window {
    let shaft = &d.shafts[at];
    let most = shaft.max_rpm.map_or(f64::from(f32::MAX), |rpm| rpm * RPM);
    let mut least = shaft.min_rpm.map_or(-most, |rpm| rpm * RPM);
    if d.engine().is_some_and(|(machine, _)| d.machines[machine].shaft == at) {
        least = least.max(-d.timing.rest_rpm * RPM);
    }
    let share = 1.0 - LIMIT_SPARE;
    t::Window { min: round_up(share * least), max: round_down(share * most) }
}

/// From a speed to the torque being gone that it asks to be cut, ms: the age of the slowest
/// sensor, a tick, and twice the lag of the slowest machine; and half the distance of the rates,
/// by which a change that grows is measured late.
fn react_ms(d: &Driveline) -> f64 {
    let oldest = d.sensors.iter().map(|s| s.latency_ms).fold(0.0, f64::max);
    let lag = |m: &crate::driveline::Machine| match &m.kind {
        MachineKind::Electric(e) => e.lag_ms,
        MachineKind::Engine(_) => 0.0,
    };
    let growing = 0.5 * f64::from(rate_ticks(d)) * d.timing.tick_ms;
    oldest + d.timing.tick_ms + growing + 2.0 * d.machines.iter().map(lag).fold(0.0, f64::max)
}

/// How long a disagreement must last to count, ms.
const DEBOUNCE_MS: f64 = 3.0;
/// From plates that begin to press to a lock that is shown closed, beyond the ramp itself, and from
/// the order to plates that begin to let go, ms (an invented, round value).
const SWITCH_MS: f64 = 40.0;

/// What is left of the longest overlap when showing that it stands and ending it have their time,
/// ms: the supervisor cuts the torque for a dwell before it lets a lock go.
fn overlap_left_ms(d: &Driveline) -> f64 {
    let ending = d.timing.sync_dwell_ms + DEBOUNCE_MS + SWITCH_MS;
    (d.timing.overlap_max_ms - ending - 3.0 * d.timing.tick_ms).max(0.0)
}

fn timing(d: &Driveline) -> t::Timing {
    let timing = &d.timing;
    let engine_ms = d.engine().map_or(0.0, |(_, e)| e.start_ms);
    t::Timing {
        tick_s: (timing.tick_ms / 1000.0) as f32,
        dwell: ticks(d, timing.sync_dwell_ms).max(1),
        sync_timeout: ticks(d, timing.sync_timeout_ms),
        unload_timeout: ticks(d, timing.unload_timeout_ms),
        overlap_max: ticks(d, overlap_left_ms(d)),
        min_stay: ticks(d, timing.min_stay_ms),
        request_dwell: ticks(d, timing.request_dwell_ms).max(1),
        retry_wait: ticks(d, timing.confirm_timeout_ms).max(1),
        debounce: ticks(d, DEBOUNCE_MS).clamp(2, 200),
        rate_ticks: rate_ticks(d),
        // Three times its own starting time, and a second for a start by a machine.
        engine_timeout: ticks(d, 3.0 * engine_ms + 1000.0),
        react: ticks(d, react_ms(d)).max(1),
        retries: timing.retries.clamp(1, 100) as u8,
    }
}

fn arrangements(d: &Driveline, k: &Kinematics, output_error: f64) -> Vec<t::Arrangement> {
    let staying = speed_share();
    d.arrangements
        .iter()
        .map(|a| {
            let (duties, pace) = duties(d, k, a);
            let (mut window, _) = road_window(d, k, a.closed, a.engine, output_error, &staying);
            let per_kmh = d.output_radps_per_kmh();
            if let (Some(kmh), Some(per_kmh)) = (a.max_speed_kmh, per_kmh) {
                window.max = window.max.min(round_down(kmh * per_kmh - output_error));
            }
            if let (Some(kmh), Some(per_kmh)) = (a.min_speed_kmh, per_kmh) {
                window.min = window.min.max(round_up(kmh * per_kmh + output_error));
            }
            t::Arrangement {
                closed: Bits(a.closed),
                engine: match a.engine {
                    EngineUse::On => t::EngineUse::On,
                    EngineUse::Off => t::EngineUse::Off,
                    EngineUse::Either => t::EngineUse::Either,
                },
                duties,
                pace,
                window: inside(&window),
                keep: window,
            }
        })
        .collect()
}

/// How far inside the window for staying the road speed must be for an arrangement to be asked
/// for, as a share of the speed at the window's end.
const WINDOW_HYSTERESIS: f32 = 0.02;

fn inside(keep: &t::Window) -> t::Window {
    let share = WINDOW_HYSTERESIS;
    t::Window { min: keep.min + share * keep.min.abs(), max: keep.max - share * keep.max.abs() }
}

/// All searches: per stuck variant and arrangement, with the graph that each used.
struct Search {
    graphs: [Graph; 2],
    /// `[stuck][arrangement]`.
    ways: Vec<Vec<Ways>>,
}

fn graph_of(d: &Driveline, arrangement: usize) -> usize {
    usize::from(d.arrangements[arrangement].engine == EngineUse::On)
}

/// The stuck variants in table order.
pub fn stuck_variants(locks: usize) -> Vec<Stuck> {
    let open = (0..locks).map(|l| Stuck::Open(l as u8));
    let closed = (0..locks).map(|l| Stuck::Closed(l as u8));
    [Stuck::None].into_iter().chain(open).chain(closed).collect()
}

fn search_all(context: &Context) -> Search {
    let (d, k) = (context.d, context.k);
    let sets = k.sets.len();
    let forbidden: Vec<bool> = (0..sets).map(|s| k.is_forbidden(s as u8)).collect();
    let graph = |engine_on| Graph {
        candidates: (0..sets)
            .filter(|&s| !forbidden[s])
            .flat_map(|s| context.steps_from(s as u8, engine_on))
            .collect(),
    };
    let graphs = [graph(false), graph(true)];
    let ways = stuck_variants(d.locks.len())
        .into_iter()
        .map(|stuck| {
            (0..d.arrangements.len())
                .map(|a| {
                    graphs[graph_of(d, a)].ways_to(
                        d.arrangements[a].closed,
                        sets,
                        stuck,
                        &forbidden,
                    )
                })
                .collect()
        })
        .collect();
    Search { graphs, ways }
}

fn conflicts(data: &mut TableData, d: &Driveline, k: &Kinematics) {
    let release_first = |locks: u8| {
        // The lock whose opening leaves the better lock set; friction before dog, since a
        // dog may not come out under load.
        let members = (0..d.locks.len()).filter(|l| locks >> l & 1 == 1);
        let rank = |l: &usize| {
            let left = k.set(locks & !(1 << l));
            let dog = matches!(d.locks[*l].kind, crate::driveline::LockKind::Dog(_));
            (dog, left.verdict.is_forbidden(), left.neutral, std::cmp::Reverse(*l))
        };
        members.min_by_key(rank).unwrap_or(0) as u8
    };
    data.conflicts = k
        .conflicts
        .iter()
        .map(|c| t::Conflict { locks: Bits(c.locks), release_first: release_first(c.locks) })
        .collect();
    data.overlaps = k
        .overlaps
        .iter()
        .map(|o| t::Overlap {
            locks: Bits(o.locks),
            machines: o.machines.iter().fold(Bits::EMPTY, |bits, &m| bits.with(m as u8, true)),
        })
        .collect();
}

/// Give numbers to the steps that are used, and write the sets and the `next` table.
fn number_steps(data: &mut TableData, d: &Driveline, k: &Kinematics, search: &Search) {
    let mut numbers: BTreeMap<(usize, usize), u16> = BTreeMap::new();
    let mut alike = BTreeMap::new();
    for way in 0..WAYS {
        for by_target in &search.ways {
            for set in 0..k.sets.len() {
                for (a, ways) in by_target.iter().enumerate() {
                    let g = graph_of(d, a);
                    let entry = ways.choice[way][set].map(|c| {
                        *numbers.entry((g, c)).or_insert_with(|| {
                            add_step(data, &mut alike, &search.graphs[g].candidates[c])
                        })
                    });
                    data.next.push(encode(entry));
                }
            }
        }
    }
    data.sets = (0..k.sets.len())
        .map(|s| {
            let set = k.set(s as u8);
            let held = set.held_machines.iter();
            t::Set {
                drives: super::motion::electric_push(d, k, s as u8).is_some(),
                engine_joined: engine_joined(d, k, s as u8),
                engine_geared: engine_geared(d, k, s as u8),
                held_machines: held.fold(Bits::EMPTY, |bits, &m| bits.with(m as u8, true)),
                fallback: fallback(d, &search.ways[0], s),
            }
        })
        .collect();
}

/// The nearest arrangement, those that need no engine first.
fn fallback(d: &Driveline, ways: &[Ways], set: usize) -> u8 {
    (0..d.arrangements.len())
        .filter_map(|a| {
            Some((d.arrangements[a].engine == EngineUse::On, ways[a].distance[set]?, a))
        })
        .min_by(|x, y| x.partial_cmp(y).unwrap_or(std::cmp::Ordering::Equal))
        .map_or(u8::MAX, |(_, _, a)| a as u8)
}

fn add_step(
    data: &mut TableData,
    alike: &mut BTreeMap<(u8, u8, bool), Vec<u16>>,
    candidate: &super::steps::Candidate,
) -> u16 {
    let new = &candidate.step;
    let key = (new.from.0, new.lock, new.action == t::Action::Close);
    let known = alike.entry(key).or_default();
    // Steps for targets with and without the engine are often the same.
    let same = known.iter().copied().find(|&number| {
        let step = &data.steps[usize::from(number)];
        let bare = t::Step { limits_from: 0, ..*step };
        bare == candidate.step
            && data.table().limits_of(step) == candidate.limits
            && data.notes[usize::from(number)] == candidate.note
    });
    if let Some(number) = same {
        return number;
    }
    let number = data.steps.len() as u16;
    known.push(number);
    let from = data.limits.len() as u32;
    data.limits.extend(candidate.limits.iter().copied());
    data.steps.push(t::Step { limits_from: from, ..*new });
    data.notes.push(candidate.note.clone());
    number
}
