//! Locks that the machines' torque can overload: plates slip then, and teeth are beyond their strength.

use num_traits::Zero;
use serde_json::{Map, Value, json};

use crate::driveline::{Driveline, LockKind};
use crate::exact::to_f64;
use crate::kinematics::{Kinematics, Overload, and_list, overloads};
use crate::text::paragraph;

/// Empty when there is none.
pub(super) fn text(d: &Driveline, k: &Kinematics, width: usize) -> String {
    let all = overloads(d, k);
    if all.is_empty() {
        return String::new();
    }
    let mut out = paragraph(
        "Locks that the machines can overload: with torques that they can give, and every free motion in balance, \
         the lock has to carry more than it holds. Plates slip then and count as having opened by themselves, \
         teeth are beyond their strength. Build a stronger lock, or see to it that the machines never give so \
         much while these locks are closed",
        0,
        width,
    );
    for one in all {
        let lock = &d.locks[one.lock];
        let what = match lock.kind {
            LockKind::Dog(_) => "teeth",
            LockKind::Friction(_) => "plates",
        };
        let title = format!(
            "{} ({what} for {} Nm): {} Nm",
            lock.name,
            number(lock.capacity_nm.unwrap_or(0.0)),
            number(to_f64(&one.torque_nm)),
        );
        out += &paragraph(&title, 2, width);
        let names = and_list(&d.lock_names(one.closed));
        out += &paragraph(&format!("in {names}, with {}", machines(d, &one)), 4, width);
    }
    out
}

/// "330 Nm of first-machine and -400 Nm of second-machine".
fn machines(d: &Driveline, one: &Overload) -> String {
    let pairs = d.machines.iter().zip(&one.machines_nm).filter(|(_, nm)| !nm.is_zero());
    let given: Vec<String> =
        pairs.map(|(m, nm)| format!("{} Nm of {}", number(to_f64(nm)), m.name)).collect();
    and_list(&given)
}

/// At most one digit behind the point.
fn number(nm: f64) -> String {
    let tenths = format!("{nm:.1}");
    tenths.strip_suffix(".0").unwrap_or(&tenths).to_string()
}

/// For programs.
pub(super) fn value(d: &Driveline, k: &Kinematics) -> Vec<Value> {
    let one = |o: Overload| {
        let pairs = d.machines.iter().zip(&o.machines_nm);
        let given: Map<String, Value> =
            pairs.map(|(m, nm)| (m.name.clone(), json!(to_f64(nm)))).collect();
        json!({
            "lock": d.locks[o.lock].name,
            "closed": d.lock_names(o.closed),
            "torque_nm": to_f64(&o.torque_nm),
            "capacity_nm": d.locks[o.lock].capacity_nm,
            "machines_nm": given,
        })
    };
    overloads(d, k).into_iter().map(one).collect()
}
