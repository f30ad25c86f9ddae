//! The table as JSON, for programs. Format described in `docs/table-json.md`.

use serde_json::{Value, json};
use supervisor::bits::Bits;
use supervisor::table as t;

use super::build::stuck_variants;
use super::data::TableData;
use super::rows::RPM;
use crate::driveline::Driveline;

/// Version of this JSON format.
pub const TABLE_JSON_FORMAT: u32 = 1;

/// The table as JSON, with what its audit says of its guards.
pub fn json(d: &Driveline, data: &TableData, guards: &Value) -> Value {
    json!({
        "format": TABLE_JSON_FORMAT,
        "driveline": data.name,
        "hash": format!("{:08x}", data.hash),
        "tick_ms": d.timing.tick_ms,
        "locks": d.locks.iter().map(|l| &l.name).collect::<Vec<_>>(),
        "arrangements": d.arrangements.iter().map(|a| &a.name).collect::<Vec<_>>(),
        "conflicts": data.conflicts.iter().map(|c| json!({
            "locks": d.lock_names(c.locks.0),
            "release_first": d.locks[usize::from(c.release_first)].name,
        })).collect::<Vec<_>>(),
        "overlaps": data.overlaps.iter().map(|o| json!({
            "locks": d.lock_names(o.locks.0),
            "holds": machine_names(d, o.machines),
        })).collect::<Vec<_>>(),
        "margins": data.margins.iter().map(|m| json!({
            "what": m.what, "unit": m.unit, "limit": m.limit, "sensor": m.sensor,
            "latency": m.latency, "rounding": m.rounding, "other": m.other, "left": m.left,
        })).collect::<Vec<_>>(),
        "guards": guards,
        "steps": (0..data.steps.len()).map(|i| step(d, data, i)).collect::<Vec<_>>(),
        "next": next(d, data),
    })
}

fn machine_names(d: &Driveline, machines: Bits) -> Vec<&str> {
    machines.iter().filter_map(|m| Some(d.machines.get(usize::from(m))?.name.as_str())).collect()
}

fn step(d: &Driveline, data: &TableData, number: usize) -> Value {
    let (step, note) = (&data.steps[number], &data.notes[number]);
    let kmh = |radps: f32| d.output_radps_per_kmh().map(|per| f64::from(radps) / per);
    let open_ended = |nm: f32| (nm < f32::MAX).then_some(nm);
    json!({
        "number": number,
        "from": d.lock_names(step.from.0),
        "lock": d.locks[usize::from(step.lock)].name,
        "action": if step.action == t::Action::Close { "close" } else { "open" },
        "keeps_push": step.keeps_push,
        "engine_must_run": step.engine == t::EngineNeed::Running,
        "machines": d.machines.iter().zip(&step.duties).map(|(m, duty)| json!({
            "machine": m.name,
            "duty": match duty {
                t::StepDuty::Free => json!("free"),
                t::StepDuty::Unload => json!("unload"),
                t::StepDuty::Sync => json!("synchronise"),
                t::StepDuty::Take { share } => json!({ "take_per_output_torque": share }),
            },
        })).collect::<Vec<_>>(),
        "target_row": row_json(d, &step.target_row),
        "target_offset_rpm": f64::from(step.target_offset) / RPM,
        "target_range_rpm": [f64::from(step.target_min) / RPM, f64::from(step.target_max) / RPM],
        "load_row": d.machines.iter().zip(&step.load_row)
            .map(|(m, c)| (m.name.clone(), json!(c)))
            .collect::<serde_json::Map<_, _>>(),
        "load_max_nm": step.load_max,
        "demand_max_nm": open_ended(step.demand_max),
        "demand_limit": note.demand_limit,
        "window_kmh": [kmh(step.window.min), kmh(step.window.max)],
        "window_limit": note.window_limit,
        "at_rest": machine_names(d, step.rest),
        "time_s": note.time_s,
        "gap_s": note.gap_s,
    })
}

fn row_json(d: &Driveline, row: &t::SpeedRow) -> Value {
    let entries = d.sensors.iter().zip(row).filter(|(_, c)| **c != 0.0);
    Value::Object(entries.map(|(s, c)| (s.name.clone(), json!(c))).collect())
}

fn next(d: &Driveline, data: &TableData) -> Vec<Value> {
    let table = data.table();
    let mut rows = Vec::new();
    for stuck in stuck_variants(d.locks.len()) {
        for set in 0..data.sets.len() {
            for (a, arrangement) in d.arrangements.iter().enumerate() {
                let ways: Vec<Value> = (0..t::WAYS as u8)
                    .map(|way| match table.next_step(way, stuck, Bits(set as u8), a as u8) {
                        Ok(step) => json!(step),
                        Err(why) => json!(why_word(why)),
                    })
                    .collect();
                rows.push(json!({
                    "stuck": stuck_word(d, stuck),
                    "closed": d.lock_names(set as u8),
                    "asked": arrangement.name,
                    "ways": ways,
                }));
            }
        }
    }
    rows
}

fn stuck_word(d: &Driveline, stuck: t::Stuck) -> Value {
    match stuck {
        t::Stuck::None => Value::Null,
        t::Stuck::Open(l) => json!({ "open": d.locks[usize::from(l)].name }),
        t::Stuck::Closed(l) => json!({ "closed": d.locks[usize::from(l)].name }),
    }
}

/// One word for why there is no step.
pub fn why_word(why: t::Why) -> &'static str {
    match why {
        t::Why::Arrived => "arrived",
        t::Why::Conflict => "conflict",
        t::Why::NothingSynchronises => "nothing-synchronises",
        t::Why::Stuck => "stuck",
        t::Why::Impossible => "impossible",
        t::Why::NoOtherWay => "no-other-way",
    }
}
