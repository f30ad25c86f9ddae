//! A counterexample as a scenario: the same requests, lock faults and resets in the same order,
//! for a drive against the full plant.
//!
//! Exploration answers the kernel's questions freely; the plant answers them by physics. So a
//! drive need not end as the counterexample does: it shows whether physics lets it come so far.

use std::fmt::Write;

use super::always::Always;
use super::environment::LockFault;
use super::model::{Model, Node, Reset};
use super::path::{Leap, leaps};
use crate::driveline::Driveline;

/// One tick of the shrunk table stands for about this long.
const PER_TICK_S: f64 = 0.3;
/// Before the first and after the last tick.
const AROUND_S: f64 = 2.0;

/// The scenario of a way, as the text of a scenario file.
pub fn scenario(d: &Driveline, model: &Model, always: Always, way: &[Node]) -> String {
    let leaps = leaps(model, way);
    let duration_s = 2.0 * AROUND_S + PER_TICK_S * leaps.len() as f64;
    let name = format!("{}-{}", d.name, always.id().to_lowercase());
    let mut out = format!(
        "# Made by exploration: the shortest way to {} ({}).\n\
         # {PER_TICK_S} s stand for one tick of the shrunk table. Requests, lock faults and resets\n\
         # come in the order of that way; sensors, loads and speeds are what the plant makes them.\n\
         format = 1\n\
         name = \"{name}\"\n\
         about = \"The way to {} that exploration found.\"\n\
         duration_s = {duration_s:.1}\n\
         start_speed_kmh = 0\n\n\
         [[speed]]\nt_s = 0\nkmh = 0\n",
        always.id(),
        always.text(),
        always.id(),
    );
    let mut asked = None;
    for (i, leap) in leaps.iter().enumerate() {
        let t_s = AROUND_S + PER_TICK_S * i as f64;
        // Writing to a string cannot fail.
        let _ = write_leap(&mut out, d, leap, t_s, &mut asked);
    }
    out
}

fn write_leap(
    out: &mut String,
    d: &Driveline,
    leap: &Leap,
    t_s: f64,
    asked: &mut Option<u8>,
) -> std::fmt::Result {
    let tick = match leap {
        Leap::Reset(reset) => {
            let kind = if *reset == Reset::Warm { "reset" } else { "cold-reset" };
            return write!(out, "\n[[fault]]\nfrom_s = {t_s:.1}\nkind = \"{kind}\"\n");
        }
        Leap::Tick(tick) => tick,
    };
    let request = tick.request.flatten();
    if let Some(a) = request.filter(|_| request != *asked) {
        *asked = request;
        let arrangement = &d.arrangements[usize::from(a)].name;
        write!(out, "\n[[request]]\nt_s = {t_s:.1}\narrangement = \"{arrangement}\"\n")?;
    }
    if let Some((lock, fault)) = tick.happened.fault {
        let kind = match fault {
            LockFault::None => return Ok(()),
            LockFault::StuckOpen => "lock-stuck-open",
            LockFault::StuckClosed => "lock-stuck-closed",
            LockFault::SwitchOpen => "switch-stuck-open",
            LockFault::SwitchClosed => "switch-stuck-closed",
        };
        let target = &d.locks[usize::from(lock)].name;
        write!(out, "\n[[fault]]\nfrom_s = {t_s:.1}\nkind = \"{kind}\"\ntarget = \"{target}\"\n")?;
    }
    if let Some(lock) = tick.happened.opened {
        let target = &d.locks[usize::from(lock)].name;
        let to_s = t_s + PER_TICK_S;
        write!(
            out,
            "\n[[fault]]\nfrom_s = {t_s:.1}\nto_s = {to_s:.1}\nkind = \"lock-opens\"\ntarget = \"{target}\"\n"
        )?;
    }
    Ok(())
}
