//! Words for limits and numbers.

use super::point::Limit;
use crate::driveline::Driveline;

/// A limit in a few words.
pub(super) fn limit(d: &Driveline, limit: Limit) -> String {
    let machine = |m: usize| d.machines[m].name.as_str();
    match limit {
        Limit::RoadSpeed => "road speed of the arrangement".into(),
        Limit::Shaft(s, true) => format!("highest speed of {}", d.shafts[s].name),
        Limit::Shaft(s, false) => format!("lowest speed of {}", d.shafts[s].name),
        Limit::EngineIdle => "idle speed of the engine".into(),
        Limit::EngineMax => "highest speed of the engine".into(),
        Limit::EngineTorque => "full load of the engine".into(),
        Limit::MachineTorque(m) => format!("torque of {}", machine(m)),
        Limit::MachinePower(m) => format!("power of {}", machine(m)),
        Limit::Lock(l) => format!("capacity of {}", d.locks[l].name),
        Limit::Discharge => "discharge power of the battery".into(),
        Limit::Charge => "charge power of the battery".into(),
        Limit::Held => "battery held: too little power is made".into(),
        Limit::Unbalanced => "nothing balances the torque".into(),
    }
}

/// The letter of an arrangement on a map: a, b, c and so on.
pub(super) fn letter(arrangement: usize) -> char {
    (b'a' + (arrangement % 26) as u8) as char
}
