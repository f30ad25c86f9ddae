//! Slip rows, their limits and rate guard, and the heat estimate of each lock.

use num_traits::Zero;

use crate::driveline::LockKind;
use crate::exact::{Q, int};
use crate::kinematics::lock_row;

use super::context::Context;
use super::forms::{Errors, NotThatRow, errors, exact_row, reads, support};
use super::numbers::{Claim, exact, exact32, radps_below, roundings, unit_roundoff};
use super::{Audited, Proof};

pub(super) fn examine(context: &Context, out: &mut Audited) {
    for lock in 0..context.d.locks.len() {
        slip(context, lock, out);
        heat(context, lock, out);
    }
}

fn slip(context: &Context, id: usize, out: &mut Audited) {
    let data = &context.table.locks[id];
    let name = context.lock_name(id);
    let place = |field: &str| format!("lock {name} {field}");
    let motions = &context.k.set(0).basis;
    let values = reads(motions, &lock_row(context.d, id));
    let exact = match exact_row(context, &data.slip_row, motions, &values) {
        Ok(row) => row,
        Err(NotThatRow(why)) => return out.find("AU-ROW", place("slip_row"), why),
    };
    if data.sensors != support(&data.slip_row) || data.sensors.is_empty() {
        let sentence = "it does not name the sensors that its slip row reads";
        out.find("AU-SENSORS", place("sensors"), sentence);
    }
    let Some(limit_rpm) = context.d.locks[id].engage_slip_max_rpm else {
        return out.find("AU-SLIP-LIMIT", place("slip_max"), "the file states no slip limit");
    };
    let limit = radps_below(&super::numbers::exact(limit_rpm));
    let error = errors(context, &data.slip_row, &exact, 0);
    out.proofs.extend(slip_proofs(context, id, &limit, &error));
}

/// Fastest true change of the slip that the rate guard lets pass, rad/s2; `of_errors` where the
/// sensors' own errors may differ between the two samples.
fn rate_passed(context: &Context, id: usize, error: &Errors, of_errors: bool) -> Q {
    let rate_max = exact32(context.table.locks[id].rate_max);
    // The limit is scaled by the samples' age: a quotient and a product, rounded.
    let measured = rate_max * (int(1) + roundings(2));
    let hidden = if of_errors { error.change_of_errors.clone() } else { Q::zero() };
    (measured + &error.change + hidden) / context.rate_span_s()
}

fn slip_proofs(context: &Context, id: usize, limit: &Q, error: &Errors) -> Vec<Proof> {
    let data = &context.table.locks[id];
    let name = context.lock_name(id);
    let place = |field: &str| format!("lock {name} {field}");
    let (slip_max, begin_max) = (exact32(data.slip_max), exact32(data.begin_max));
    let steady = rate_passed(context, id, error, false);
    let hostile = rate_passed(context, id, error, true);
    // Zero is what the sides truly do when they are locked together.
    let still = Q::zero();
    let moving = exact32(data.moving_min);
    let mut proofs = vec![
        Claim {
            id: "AU-SLIP-LIMIT",
            place: place("slip_max"),
            implies: "a closing goes on only within the engage slip limit".into(),
            unit: "rpm",
        }
        .at_most(&slip_max, &(&error.fixed + &steady * &error.age_s), limit),
        Claim {
            id: "AU-SLIP-BEGIN",
            place: place("begin_max"),
            implies: "a closing begins only within the engage slip limit".into(),
            unit: "rpm",
        }
        .at_most(&begin_max, &(&error.fixed + &hostile * &error.age_s), limit),
        Claim {
            id: "AU-SLIP-MOVING",
            place: place("moving_min"),
            implies: "sides that are locked together are never seen to move apart".into(),
            unit: "rpm",
        }
        .at_least(&moving, &error.fixed, &still),
        Claim {
            id: "AU-SLIP-MOVING",
            place: place("moving_min (seen as held)"),
            implies: "sides that are not seen to move apart are within the engage slip limit"
                .into(),
            unit: "rpm",
        }
        .at_most(&moving, &error.fixed, limit),
    ];
    if !error.age_s.is_zero() {
        let span = context.rate_span_s();
        let rate = exact32(data.rate_max) / &span;
        proofs.push(
            Claim {
                id: "AU-SLIP-RATE",
                place: place("rate_max"),
                implies: "a steady slip stays within its limit until the order takes effect".into(),
                unit: "rpm/s",
            }
            .at_most(
                &rate,
                &(&steady - &rate),
                &((limit - &error.fixed - &slip_max) / &error.age_s),
            ),
        );
    }
    proofs
}

/// The estimate starts from the file's data, rounded to the safe side or to the nearest.
fn heat(context: &Context, id: usize, out: &mut Audited) {
    let (lock, data) = (&context.d.locks[id], &context.table.locks[id]);
    let place = |field: &str| format!("lock {} {field}", lock.name);
    let LockKind::Friction(friction) = &lock.kind else {
        if [data.rise_max_k, data.heat_k_per_radps_tick, data.drag_k_per_radps_tick] != [0.0; 3] {
            out.find("AU-HEAT", place("rise_max_k"), "a dog has no plates to be hot");
        }
        return;
    };
    let tick_s = exact(context.d.timing.tick_ms) / int(1000);
    let joule_per_k = exact(friction.heat_capacity_kj_per_k) * int(1000);
    let per_tick = exact(lock.capacity_nm.unwrap_or(0.0)) * &tick_s / &joule_per_k;
    let cooling = exact(friction.cooling_time_s) * int(1000) / exact(context.d.timing.tick_ms);
    let rise = exact(friction.max_rise_k);
    // Nearest f32, with f64 on the way.
    let share = unit_roundoff() * int(2);
    let rounding = |q: &Q| q * &share;
    let drag_per_tick = exact(lock.drag_nm) * &tick_s / &joule_per_k;
    let claim = |field: &str, implies: &str, unit| Claim {
        id: "AU-HEAT",
        place: place(field),
        implies: implies.to_string(),
        unit,
    };
    let rises = "the estimate rises as fast as full capacity heats the plates";
    let drags = "the estimate rises as fast as the drag of open plates heats them";
    let cools = "the estimate cools no faster than the plates";
    let hot = "closing is inhibited at the rise that the file allows";
    let heats = exact32(data.heat_k_per_radps_tick);
    let lasts = exact32(data.cooling_ticks);
    let limit = exact32(data.rise_max_k);
    let low_drag = &drag_per_tick - rounding(&drag_per_tick);
    let drag = exact32(data.drag_k_per_radps_tick);
    // What rounding may take is granted on the side of the truth.
    let no_margin = Q::zero();
    let (low_heat, low_cooling) = (&per_tick - rounding(&per_tick), &cooling - rounding(&cooling));
    let high_rise = &rise + rounding(&rise);
    let field = "heat_k_per_radps_tick";
    out.proofs.extend([
        claim(field, rises, "K s/rad").at_least(&heats, &no_margin, &low_heat),
        claim("drag_k_per_radps_tick", drags, "K s/rad").at_least(&drag, &no_margin, &low_drag),
        claim("cooling_ticks", cools, "ticks").at_least(&lasts, &no_margin, &low_cooling),
        claim("rise_max_k", hot, "K").at_most(&limit, &no_margin, &high_rise),
    ]);
    let unlimited = data.rise_max_k <= 0.0 || data.cooling_ticks <= 0.0;
    if unlimited && friction.max_rise_k > 0.0 {
        out.find("AU-HEAT", place("rise_max_k"), "it never inhibits a friction lock");
    }
}
