//! The survey as JSON; described in `docs/survey-json.md`.

use num_traits::Zero;
use serde_json::{Map, Value, json};

use crate::driveline::{Arrangement, Driveline, EngineUse, MachineKind, ShaftId};
use crate::exact::{Q, text as exact_text, to_f64};
use crate::kinematics::{
    End, EngineLink, Kinematics, Limit, LimitKind, LockSet, NoWindow, PressedLock, TorqueRelations,
    Window, pressed_locks, pressed_locks_tested, windows,
};

/// Version of the JSON's format; grows when a key changes its meaning or goes away.
pub const JSON_FORMAT: u32 = 1;

/// The whole survey as one JSON object.
pub fn json(d: &Driveline, k: &Kinematics) -> Value {
    let conflicts: Vec<_> = k.conflicts.iter().map(|c| d.lock_names(c.locks)).collect();
    let reasons: Vec<_> = k.conflicts.iter().map(|c| &c.reason).collect();
    let holds: Vec<_> = k.conflicts.iter().map(|c| shaft_names(d, &c.holds)).collect();
    let overlaps: Vec<Value> = k
        .overlaps
        .iter()
        .map(|o| {
            let machines: Vec<_> = o.machines.iter().map(|&m| &d.machines[m].name).collect();
            json!({ "locks": d.lock_names(o.locks), "machines": machines, "reason": o.reason })
        })
        .collect();
    json!({
        "survey_format": JSON_FORMAT,
        "driveline": d.name,
        "output": d.shafts[d.output.shaft].name,
        "shafts": d.shafts.iter().map(|s| &s.name).collect::<Vec<_>>(),
        "locks": d.locks.iter().map(|l| &l.name).collect::<Vec<_>>(),
        "machines": machines(d),
        "patterns": k.sets.iter().map(|set| pattern(d, set)).collect::<Vec<_>>(),
        "conflicts": conflicts,
        "conflict_reasons": reasons,
        "conflict_holds": holds,
        "overlaps": overlaps,
        "plates_against_teeth": super::teeth::value(d, k),
        "overloads": super::strength::value(d, k),
        "arrangements": arrangements(d, k),
    })
}

fn exact(value: &Q) -> Value {
    Value::String(exact_text(value))
}

fn maybe_exact(value: &Option<Q>) -> Value {
    value.as_ref().map_or(Value::Null, exact)
}

fn shaft_names<'a>(d: &'a Driveline, shafts: &[ShaftId]) -> Vec<&'a str> {
    shafts.iter().map(|&s| d.shafts[s].name.as_str()).collect()
}

/// An object with one value a name, in the given order.
fn named<'a>(pairs: impl Iterator<Item = (&'a String, Value)>) -> Value {
    Value::Object(pairs.map(|(name, value)| (name.clone(), value)).collect::<Map<_, _>>())
}

fn machines(d: &Driveline) -> Vec<Value> {
    let kind = |kind: &MachineKind| match kind {
        MachineKind::Electric(_) => "electric",
        MachineKind::Engine(_) => "engine",
    };
    d.machines
        .iter()
        .map(|m| json!({ "name": m.name, "kind": kind(&m.kind), "shaft": d.shafts[m.shaft].name }))
        .collect()
}

fn pattern(d: &Driveline, set: &LockSet) -> Value {
    let free: Vec<ShaftId> = (0..d.shafts.len())
        .filter(|s| set.per_output[*s].is_none() && !set.held.contains(s))
        .collect();
    let speeds = d.shafts.iter().zip(&set.per_output).map(|(s, r)| (&s.name, maybe_exact(r)));
    json!({
        "closed": d.lock_names(set.closed),
        "mobility": set.mobility,
        "held_shafts": shaft_names(d, &set.held),
        "free_shafts": shaft_names(d, &free),
        "speed_per_output": named(speeds),
        "redundant_locks": d.lock_names(set.redundant),
        "verdict": set.verdict.word(),
        "reason": set.reason,
        "torque": torque(d, &set.torque),
    })
}

fn torque(d: &Driveline, torque: &TorqueRelations) -> Value {
    let alone = d.machines.iter().zip(&torque.alone).map(|(m, t)| (&m.name, maybe_exact(t)));
    let pushes: Vec<Value> = torque
        .pushes
        .iter()
        .map(|push| {
            let pairs = push.machines.iter().zip(&push.per_output);
            named(pairs.map(|(&m, share)| (&d.machines[m].name, exact(share))))
        })
        .collect();
    let locks = torque.locks.iter().map(|lock| {
        let used = d.machines.iter().zip(&lock.per_machine).filter(|(_, share)| !share.is_zero());
        let value = json!({
            "per_machine": named(used.map(|(m, share)| (&m.name, exact(share)))),
            "per_output": exact(&lock.per_output),
            "per_push": lock.per_push.iter().map(exact).collect::<Vec<_>>(),
        });
        (&d.locks[lock.lock].name, value)
    });
    json!({ "output_per_machine_alone": named(alone), "pushes": pushes, "locks": named(locks) })
}

fn arrangements(d: &Driveline, k: &Kinematics) -> Vec<Value> {
    let (pressed, tested) = (pressed_locks(d, k), pressed_locks_tested(d, k));
    let one = |(i, (a, window)): (usize, (&Arrangement, Result<Window, NoWindow>))| {
        let set = k.set(a.closed);
        let (window, contradiction) = match window {
            Ok(window) => (window_value(d, &window), Value::Null),
            Err(none) => (Value::Null, none.because.iter().map(|l| limit(d, l)).collect()),
        };
        json!({
            "name": a.name,
            "pattern": a.closed,
            "closed": d.lock_names(a.closed),
            "verdict": set.verdict.word(),
            "engine": engine_use(a.engine),
            "window": window,
            "no_window_because": contradiction,
            "closed_by_fault": closed_by_fault(d, [&pressed, &tested], i),
        })
    };
    d.arrangements.iter().zip(windows(d, k)).enumerate().map(one).collect()
}

/// What each lock that an arrangement leaves open makes of its window when a fault closes it.
fn closed_by_fault(d: &Driveline, all: [&[PressedLock]; 2], arrangement: usize) -> Vec<Value> {
    let window = |p: &PressedLock| p.window.as_ref().map_or(Value::Null, |w| window_value(d, w));
    let of_it = all[0].iter().zip(all[1]).filter(|(p, _)| p.arrangement == arrangement);
    let one = |(p, tested): (&PressedLock, &PressedLock)| {
        json!({
            "lock": d.locks[p.lock].name,
            "let_go": d.lock_names(p.let_go),
            "window": window(p),
            "tested_window": window(tested),
        })
    };
    of_it.map(one).collect()
}

fn engine_use(engine: EngineUse) -> &'static str {
    match engine {
        EngineUse::On => "on",
        EngineUse::Off => "off",
        EngineUse::Either => "either",
    }
}

fn window_value(d: &Driveline, window: &Window) -> Value {
    let link = match &window.engine_link {
        EngineLink::Absent => "absent",
        EngineLink::Held => "held",
        EngineLink::Alone => "alone",
        EngineLink::Joined => "joined",
        EngineLink::WithOutput(_) => "with-output",
    };
    json!({ "low": end(d, &window.low), "high": end(d, &window.high), "engine_link": link })
}

fn end(d: &Driveline, end: &End) -> Value {
    let ended_by: Vec<Value> = end
        .ended_by
        .iter()
        .map(|e| {
            let mut value = limit(d, &e.limit);
            value["output_per_limit"] = exact(&e.output_per_limit);
            value
        })
        .collect();
    let speeds = d.shafts.iter().zip(&end.speeds_rpm).map(|(s, rpm)| (&s.name, json!(to_f64(rpm))));
    json!({
        "output_rpm": end.output_rpm.as_ref().map(to_f64),
        "road_kmh": end.road_kmh,
        "ended_by": ended_by,
        "speeds_rpm": named(speeds),
    })
}

fn limit(d: &Driveline, limit: &Limit) -> Value {
    let kind = match limit.kind {
        LimitKind::ShaftMax => "shaft-max",
        LimitKind::ShaftMin => "shaft-min",
        LimitKind::EngineIdle => "engine-idle",
        LimitKind::EngineMax => "engine-max",
        LimitKind::EngineNoReverse => "engine-no-reverse",
        LimitKind::VehicleMax => "vehicle-max",
        LimitKind::Asked => "asked",
    };
    json!({ "limit": kind, "shaft": d.shafts[limit.shaft].name, "rpm": to_f64(&limit.rpm) })
}
