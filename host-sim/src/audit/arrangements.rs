//! Arrangements: the file's data, and the windows for asking and for staying.

use supervisor::table as t;

use crate::driveline::EngineUse;
use crate::exact::{Q, int};

use super::context::Context;
use super::numbers::{Claim, exact, exact32, radps_above, radps_below};
use super::relations::output_error;
use super::windows::{TrueWindow, staying_window};
use super::{Audited, duties};

pub(super) fn examine(context: &Context, out: &mut Audited) {
    let error = output_error(context);
    for (i, arrangement) in context.table.arrangements.iter().enumerate() {
        let stated = &context.d.arrangements[i];
        let place = |field: &str| format!("arrangement {} {field}", stated.name);
        let engine = match stated.engine {
            EngineUse::On => t::EngineUse::On,
            EngineUse::Off => t::EngineUse::Off,
            EngineUse::Either => t::EngineUse::Either,
        };
        if arrangement.closed.0 != stated.closed {
            out.find("AU-ARRANGEMENT", place("closed"), "it is not the file's lock set");
            continue;
        }
        if arrangement.engine != engine {
            out.find("AU-ARRANGEMENT", place("engine"), "it is not the file's use of the engine");
        }
        if context.is_forbidden(stated.closed) {
            out.find("AU-ARRANGEMENT", place("closed"), "its lock set is forbidden");
        }
        pace(context, arrangement, &place("pace"), out);
        duties::examine(context, i, out);
        let Some(error) = &error else { continue };
        let truth = staying_window(context, stated.closed, stated.engine == EngineUse::On);
        let implies = "at the true road speed every shaft can keep within 97 % of its limits";
        for (field, window) in [("window", arrangement.window), ("keep", arrangement.keep)] {
            within(&place(field), implies, window, truth.as_ref(), error, out);
        }
        asked(context, i, &place("window"), error, out);
    }
}

/// Claims that a window of measured output speeds lies in the true one.
pub(super) fn within(
    place: &str,
    implies: &str,
    window: t::Window,
    truth: Option<&TrueWindow>,
    error: &Q,
    out: &mut Audited,
) {
    let is_empty = window.min > window.max;
    let Some(truth) = truth else {
        if !is_empty {
            out.find("AU-WINDOW", place, "no road speed at all keeps every limit here");
        }
        return;
    };
    if is_empty || window.min.is_nan() || window.max.is_nan() {
        return;
    }
    let claim = |end: &str| Claim {
        id: "AU-WINDOW",
        place: format!("{place} {end}"),
        implies: implies.to_string(),
        unit: "rpm",
    };
    if let Some(low) = &truth.low {
        out.proofs.push(claim("min").at_least(&exact32(window.min), error, low));
    }
    if let Some(high) = &truth.high {
        out.proofs.push(claim("max").at_most(&exact32(window.max), error, high));
    }
}

/// Road speeds at which the file lets it be asked for.
fn asked(context: &Context, id: usize, place: &str, error: &Q, out: &mut Audited) {
    let (stated, window) = (&context.d.arrangements[id], context.table.arrangements[id].window);
    let Some(per_kmh) = context.d.output_radps_per_kmh().map(exact) else { return };
    if window.min > window.max {
        return;
    }
    let claim = |end: &str| Claim {
        id: "AU-WINDOW",
        place: format!("{place} {end} (road speed)"),
        implies: "it is asked for only at road speeds that the file allows".to_string(),
        unit: "rpm",
    };
    if let Some(kmh) = stated.min_speed_kmh {
        let low = exact(kmh) * &per_kmh;
        out.proofs.push(claim("min").at_least(&exact32(window.min), error, &low));
    }
    if let Some(kmh) = stated.max_speed_kmh {
        let high = exact(kmh) * &per_kmh;
        out.proofs.push(claim("max").at_most(&exact32(window.max), error, &high));
    }
}

/// The engine speed that an arrangement runs at is one at which the engine runs.
fn pace(context: &Context, arrangement: &t::Arrangement, place: &str, out: &mut Audited) {
    let pace = arrangement.pace;
    if pace == t::Pace::default() {
        return;
    }
    let Some((_, engine)) = context.d.engine() else {
        return out.find("AU-PACE", place, "there is no engine");
    };
    let zero = int(0);
    let claim = |end: &str| Claim {
        id: "AU-PACE",
        place: format!("{place} {end}"),
        implies: "the engine is held where it runs".to_string(),
        unit: "rpm",
    };
    let (low, high) = (exact32(pace.min), exact32(pace.max));
    let idle = radps_above(&exact(engine.idle_rpm));
    let most = radps_below(&exact(engine.max_rpm));
    out.proofs.push(claim("min").at_least(&low, &zero, &idle));
    out.proofs.push(claim("max").at_most(&high, &zero, &most));
}
