//! Conflicts, overlaps and what is known of each lock set, from this audit's own reckoning.

use num_traits::Zero;
use supervisor::bits::Bits;
use supervisor::table as t;

use crate::driveline::LockKind;
use crate::exact::{Matrix, Row};

use super::Audited;
use super::context::Context;

pub(super) fn examine(context: &Context, out: &mut Audited) {
    conflicts(context, out);
    overlaps(context, out);
    for set in 0..context.table.sets.len() {
        known(context, set as u8, out);
    }
}

fn all(context: &Context) -> impl Iterator<Item = u8> {
    (0..1u16 << context.d.locks.len()).map(|set| set as u8)
}

/// Lock sets with one closed lock fewer.
fn smaller(set: u8) -> impl Iterator<Item = u8> {
    (0..8).filter(move |l| set >> l & 1 == 1).map(move |l| set & !(1 << l))
}

fn conflicts(context: &Context, out: &mut Audited) {
    let mut wanted: Vec<u8> = all(context)
        .filter(|&s| context.is_forbidden(s) && smaller(s).all(|less| !context.is_forbidden(less)))
        .collect();
    let names = |set: u8| context.d.lock_names(set).join(" + ");
    for conflict in &context.table.conflicts {
        let locks = conflict.locks.0;
        let place = format!("conflict {}", names(locks));
        let Some(at) = wanted.iter().position(|&w| w == locks) else {
            out.find("AU-CONFLICT", place, "it is no smallest forbidden lock set");
            continue;
        };
        wanted.remove(at);
        let members = || conflict.locks.iter().map(usize::from);
        let dog = |l: usize| matches!(context.d.locks[l].kind, LockKind::Dog(_));
        let first = usize::from(conflict.release_first);
        if members().all(|l| l != first) {
            out.find("AU-CONFLICT", place, "the lock to let go first is none of it");
        } else if dog(first) && !members().all(dog) {
            let sentence = "it lets a dog go first, which may not come out under load";
            out.find("AU-CONFLICT", place, sentence);
        }
    }
    for missing in wanted {
        let place = format!("conflict {}", names(missing));
        out.find("AU-CONFLICT", place, "this smallest forbidden lock set is missing");
    }
}

fn overlaps(context: &Context, out: &mut Audited) {
    let names = |set: u8| context.d.lock_names(set).join(" + ");
    let newly = |set: u8| {
        let before = |m: &usize| smaller(set).any(|less| context.held_machines(less).contains(m));
        let held = context.held_machines(set).into_iter().filter(|m| !before(m));
        held.fold(Bits::EMPTY, |bits, m| bits.with(m as u8, true))
    };
    let mut wanted: Vec<t::Overlap> = all(context)
        .filter(|&s| !context.is_forbidden(s))
        .map(|s| t::Overlap { locks: Bits(s), machines: newly(s) })
        .filter(|o| !o.machines.is_empty())
        .collect();
    for overlap in &context.table.overlaps {
        match wanted.iter().position(|w| w == overlap) {
            Some(at) => {
                wanted.remove(at);
            }
            None => {
                let place = format!("overlap {}", names(overlap.locks.0));
                out.find("AU-OVERLAP", place, "it is no smallest lock set that holds a machine");
            }
        }
    }
    for missing in wanted {
        let place = format!("overlap {}", names(missing.locks.0));
        out.find("AU-OVERLAP", place, "this smallest lock set that holds a machine is missing");
    }
}

/// Whether the electric machines alone can push the output.
fn drives(context: &Context, set: u8) -> bool {
    let basis = &context.k.set(set).basis;
    let speeds = |shaft: usize| -> Row { basis.iter().map(|m| m[shaft].clone()).collect() };
    let electric = (0..context.d.machines.len()).filter(|&m| context.is_electric(m));
    let rows = electric.map(|m| speeds(context.d.machines[m].shaft)).collect();
    Matrix::new(basis.len(), rows).combine_rows(&speeds(context.d.output.shaft)).is_some()
}

/// Whether torque passes between the engine's shaft and the output: a relation between speeds has
/// both, or a chain of relations. The table looks at motions instead.
fn engine_geared(context: &Context, set: u8) -> bool {
    let (d, motions) = (context.d, &context.k.set(set).basis);
    let Some((engine, _)) = d.engine() else { return false };
    let turned: Vec<Row> = motions.iter().map(|m| m.iter().rev().cloned().collect()).collect();
    let relations = Matrix::new(d.shafts.len(), turned).null_space();
    let place = |shaft: usize| d.shafts.len() - 1 - shaft;
    let mut of: Vec<usize> = (0..d.shafts.len()).collect();
    for relation in relations {
        let mut members = (0..d.shafts.len()).filter(|&s| !relation[place(s)].is_zero());
        let Some(first) = members.next() else { continue };
        for member in members {
            let (old, new) = (of[member], of[first]);
            of.iter_mut().filter(|group| **group == old).for_each(|group| *group = new);
        }
    }
    let output = d.output.shaft;
    of[d.machines[engine].shaft] == of[output] && !context.holds(set, output)
}

fn known(context: &Context, set: u8, out: &mut Audited) {
    let stated = &context.table.sets[usize::from(set)];
    let names = context.d.lock_names(set).join(" + ");
    let place = |field: &str| format!("set {:#b} ({names}) {field}", set);
    if stated.drives != drives(context, set) {
        out.find("AU-SET", place("drives"), "it is wrong about who can push the output");
    }
    if stated.engine_joined != context.engine_joined(set) {
        out.find("AU-SET", place("engine_joined"), "it is wrong about the engine");
    }
    if stated.engine_geared != engine_geared(context, set) {
        out.find("AU-SET", place("engine_geared"), "it is wrong about what the engine can push");
    }
    let held = context.held_machines(set).into_iter();
    if stated.held_machines != held.fold(Bits::EMPTY, |bits, m| bits.with(m as u8, true)) {
        out.find("AU-SET", place("held_machines"), "it is wrong about the machines it holds");
    }
}
