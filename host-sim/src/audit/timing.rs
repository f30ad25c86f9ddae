//! Times in ticks against the file's times.

use crate::driveline::{Driveline, LockKind, MachineKind};

use super::Audited;
use super::context::Context;

/// Shortest time that a rate is taken over, ms (quantisation would hide it otherwise).
const RATE_MS: f64 = 10.0;
/// A disagreement must last so long, ms.
const DEBOUNCE_MS: f64 = 3.0;
/// Time until a position switch is believed, and a reserve, ms.
const SWITCH_MS: f64 = 40.0;
/// What an engine is given over three times its own starting time, ms.
const START_BY_MACHINE_MS: f64 = 1000.0;

/// Ticks of a rate distance by the file.
pub(super) fn rate_ticks(d: &Driveline) -> u16 {
    ((RATE_MS / d.timing.tick_ms).ceil() as u16).max(2)
}

/// Latency, a tick, twice the slowest electric machine's lag, and half a rate distance, ms.
fn react_ms(d: &Driveline) -> f64 {
    let mut ms = d.sensors.iter().fold(0.0, |most, s| f64::max(most, s.latency_ms));
    let electric = d.machines.iter().filter_map(|m| match &m.kind {
        MachineKind::Electric(machine) => Some(2.0 * machine.lag_ms),
        MachineKind::Engine(_) => None,
    });
    ms += electric.fold(0.0, f64::max);
    ms + d.timing.tick_ms * (1.0 + f64::from(rate_ticks(d)) / 2.0)
}

pub(super) fn examine(context: &Context, out: &mut Audited) {
    let (d, t) = (context.d, &context.table.timing);
    let timing = &d.timing;
    let engine_ms = d.engine().map_or(0.0, |(_, e)| e.start_ms);
    let most = u16::MAX;
    // Shown by switch and speeds before it is counted; its torque is cut for a dwell before it ends.
    let around_ms = SWITCH_MS + DEBOUNCE_MS + 3.0 * timing.tick_ms + timing.sync_dwell_ms;
    let overlap_ms = f64::max(timing.overlap_max_ms - around_ms, 0.0);
    let times = [
        ("dwell", t.dwell, timing.sync_dwell_ms, 1, most),
        ("sync_timeout", t.sync_timeout, timing.sync_timeout_ms, 0, most),
        ("unload_timeout", t.unload_timeout, timing.unload_timeout_ms, 0, most),
        ("overlap_max", t.overlap_max, overlap_ms, 0, most),
        ("min_stay", t.min_stay, timing.min_stay_ms, 0, most),
        ("request_dwell", t.request_dwell, timing.request_dwell_ms, 1, most),
        ("retry_wait", t.retry_wait, timing.confirm_timeout_ms, 1, most),
        ("debounce", t.debounce, DEBOUNCE_MS, 2, 200),
        ("rate_ticks", t.rate_ticks, RATE_MS, 2, most),
        ("react", t.react, react_ms(d), 1, most),
        ("engine_timeout", t.engine_timeout, 3.0 * engine_ms + START_BY_MACHINE_MS, 0, most),
    ];
    for (field, ticks, ms, least, most) in times {
        one(d, &format!("timing {field}"), ticks, ms, (least, most), out);
    }
    if (f64::from(t.tick_s) * 1000.0 - timing.tick_ms).abs() > 1e-6 * timing.tick_ms {
        out.find("AU-TIME", "timing tick_s", "it is not the file's period");
    }
    if u32::from(t.retries) != timing.retries.clamp(1, 100) {
        out.find("AU-TIME", "timing retries", "it is not the file's number of attempts");
    }
    for (id, lock) in d.locks.iter().enumerate() {
        of_lock(context, id, lock, out);
    }
}

fn of_lock(context: &Context, id: usize, lock: &crate::driveline::Lock, out: &mut Audited) {
    let (d, data) = (context.d, &context.table.locks[id]);
    let confirm = d.timing.confirm_timeout_ms;
    let (ramp, search, is_dog) = match &lock.kind {
        LockKind::Friction(friction) => (friction.ramp_ms, 0.0, false),
        // One pitch at half the offset speed: the next gap must have come by then.
        LockKind::Dog(dog) if dog.offset_rpm > 0.0 => {
            let turns_per_ms = 0.5 * dog.offset_rpm / 60_000.0;
            (0.0, 1.0 / f64::from(dog.teeth) / turns_per_ms, true)
        }
        LockKind::Dog(_) => (0.0, 0.0, true),
    };
    let closes = lock.close_ms + ramp;
    let times = [
        ("close_ticks", data.close_ticks, closes),
        ("close_timeout", data.close_timeout, closes + confirm + search),
        ("release_ticks", data.release_ticks, lock.release_ms),
        ("release_timeout", data.release_timeout, lock.release_ms + confirm),
    ];
    for (field, ticks, ms) in times {
        one(d, &format!("lock {} {field}", lock.name), ticks, ms, (0, u16::MAX), out);
    }
    if data.dog != is_dog || data.has_switch != lock.has_switch {
        let sentence = "it is wrong about its kind or its switch";
        out.find("AU-LOCK", format!("lock {}", lock.name), sentence);
    }
}

/// The smallest number of ticks that is not shorter than the time, within what is allowed.
fn one(
    d: &Driveline,
    place: &str,
    ticks: u16,
    ms: f64,
    (least, most): (u16, u16),
    out: &mut Audited,
) {
    let tick_ms = d.timing.tick_ms;
    let slack = 1e-9 * ms.max(tick_ms);
    let enough = ticks == most || f64::from(ticks) * tick_ms >= ms - slack;
    // A quotient of decimals may come out a little above a whole number.
    let not_more = ticks <= least
        || (f64::from(ticks) - 1.0) * tick_ms < ms - slack
        || f64::from(ticks) == (ms / tick_ms).ceil();
    if !enough || !not_more || ticks < least || ticks > most {
        let sentence = format!("{ticks} ticks of {tick_ms} ms are not {ms} ms");
        out.find("AU-TIME", place, sentence);
    }
}
