//! The signs of a stick diagram: gear sets, gear pairs, brakes, clutches, machines, wheels.

use super::draw::Scene;
use super::parts::{self, Member, Part, Slot};
use super::place::{self, BAND, LINE, SLOT};
use crate::driveline::{Driveline, LockKind, MachineKind, Planet};
use crate::picture::palette;
use crate::picture::svg::{Anchor, Svg};

/// From the middle of a set to its sun and to its ring.
pub(super) const RADIUS: f64 = 46.0;
/// From the middle of the band to a clutch between shafts of one side.
pub(super) const BESIDE: f64 = 46.0;
/// From the middle of a lock to where its shafts begin.
pub(super) const PLATES: f64 = 6.0;
/// Half length of a line of teeth.
const TEETH: f64 = 13.0;

/// Draw the part of a column.
pub(super) fn part(svg: &mut Svg, scene: &Scene, column: usize) {
    let part = scene.plan.order[column];
    let kind = match part {
        Part::Set(_) => "set",
        Part::Pair(_) => "pair",
        Part::Lock(_) => "lock-part",
        Part::Machine(_) => "machine",
        Part::Output => "output",
        Part::Loose(_) => return,
    };
    svg.titled_group(kind, parts::name(scene.d, part));
    match part {
        Part::Set(i) => set(svg, scene, column, i),
        Part::Pair(i) => pair(svg, scene, column, i),
        Part::Lock(i) => lock(svg, scene, column, i),
        Part::Machine(i) => machine(svg, scene, column, i),
        Part::Output => output(svg, scene, column),
        Part::Loose(_) => {}
    }
    svg.end();
}

/// Lines of words from `at` downwards, the first one as a name.
fn lines(svg: &mut Svg, at: (f64, f64), anchor: Anchor, lines: &[String], names: usize) {
    for (i, line) in lines.iter().enumerate() {
        let class = if i < names { "class=\"name\"" } else { "class=\"sub\"" };
        svg.text((at.0, at.1 + LINE * i as f64), anchor, line, class);
    }
}

/// Words to the right of a sign, their block centred on the band.
fn words_beside(svg: &mut Svg, scene: &Scene, column: usize, dx: f64) {
    let words = place::words(scene.d, scene.plan.order[column], scene.h);
    let top = scene.at.middle - LINE * words.len() as f64 / 2.0 + 10.0;
    let numbers = usize::from(!matches!(scene.plan.order[column], Part::Lock(_)));
    let names = words.len() - numbers;
    lines(svg, (scene.at.x[column] + dx, top), Anchor::Start, &words, names);
}

fn teeth(svg: &mut Svg, scene: &Scene, shaft: usize, x: f64, y: f64) {
    scene.wire(svg, shaft, &[(x - TEETH, y), (x + TEETH, y)]);
}

/// A planet: two lines of teeth joined by its body.
fn planet(svg: &mut Svg, x: f64, top: f64, bottom: f64) {
    svg.line((x - TEETH, top), (x + TEETH, top), "class=\"gear\"");
    svg.line((x - TEETH, bottom), (x + TEETH, bottom), "class=\"gear\"");
    svg.line((x, top), (x, bottom), "class=\"gear\"");
}

fn set(svg: &mut Svg, scene: &Scene, column: usize, index: usize) {
    let (x, middle) = (scene.at.x[column], scene.at.middle);
    let p = &scene.d.planetaries[index];
    let pins: &[f64] = match p.planet {
        Planet::Single => {
            planet(svg, x, middle - RADIUS + 5.0, middle + RADIUS - 5.0);
            &[0.0]
        }
        Planet::Double => {
            planet(svg, x, middle - RADIUS + 5.0, middle - 2.5);
            planet(svg, x, middle + 2.5, middle + RADIUS - 5.0);
            &[-22.0, 22.0]
        }
    };
    for join in scene.joins(column) {
        let slot = place::slot_x(x, join.slot);
        match join.member {
            Member::Sun | Member::Ring => {
                let y = middle + if join.member == Member::Sun { RADIUS } else { -RADIUS };
                teeth(svg, scene, join.shaft, x, y);
                if join.slot != Slot::Middle {
                    scene.wire(svg, join.shaft, &[(x, y), (slot, y)]);
                }
            }
            _ => {
                for pin in pins {
                    let y = middle + pin;
                    scene.wire(svg, join.shaft, &[(x - 5.0, y), (x + 5.0, y)]);
                    scene.wire(svg, join.shaft, &[(x, y), (slot, y), (slot, middle)]);
                }
            }
        }
    }
    words_beside(svg, scene, column, SLOT + 9.0);
}

/// Whether the first gear of a pair is drawn above the second.
pub(super) fn first_is_upper(d: &Driveline, pair: usize, outer: &[bool]) -> bool {
    let g = &d.gear_pairs[pair];
    outer[g.a] || !outer[g.b]
}

fn pair(svg: &mut Svg, scene: &Scene, column: usize, index: usize) {
    let (x, middle) = (scene.at.x[column], scene.at.middle);
    let upper = first_is_upper(scene.d, index, &scene.plan.outer);
    for join in scene.joins(column) {
        let y = middle + if (join.member == Member::A) == upper { -24.0 } else { 24.0 };
        let slot = place::slot_x(x, join.slot);
        teeth(svg, scene, join.shaft, x, y - 21.5);
        teeth(svg, scene, join.shaft, x, y + 21.5);
        scene.wire(svg, join.shaft, &[(x, y - 21.5), (x, y + 21.5)]);
        scene.wire(svg, join.shaft, &[(x, y), (slot, y)]);
    }
    words_beside(svg, scene, column, SLOT + 9.0);
}

/// Two plates (a dog with teeth) around `at`; `upright`: the line through them is vertical.
fn plates(svg: &mut Svg, scene: &Scene, lock: usize, at: (f64, f64), upright: bool) {
    let bit = 1u8 << lock;
    let closed = scene.h.closed & bit != 0;
    let class = match () {
        () if scene.h.alarm_locks & bit != 0 => "class=\"clash\"",
        () if closed => "class=\"shut\"",
        () => "class=\"plate\"",
    };
    let apart = if closed { 0.0 } else { PLATES - 3.0 };
    let mut bar = |along: f64, across: f64, long: f64, wide: f64| {
        if upright {
            svg.rect(at.0 + across, at.1 + along, wide, long, class);
        } else {
            svg.rect(at.0 + along, at.1 + across, long, wide, class);
        }
    };
    bar(-apart - 3.0, -12.0, 3.0, 24.0);
    bar(apart, -12.0, 3.0, 24.0);
    if matches!(scene.d.locks[lock].kind, LockKind::Dog(_)) {
        for tooth in [-12.0, -2.5, 7.0] {
            bar(-apart - 7.0, tooth, 4.0, 5.0);
            bar(apart + 3.0, tooth, 4.0, 5.0);
        }
    }
}

/// Hatched ground: a brake's side that belongs to the case.
fn ground(svg: &mut Svg, x: f64, y: f64, away: f64) {
    svg.line((x - 13.0, y), (x + 13.0, y), "class=\"gear\"");
    for i in 0..5 {
        let from = x - 12.0 + 6.0 * f64::from(i);
        svg.line((from, y + 7.0 * away), (from + 5.0, y), "class=\"thin\"");
    }
}

fn lock(svg: &mut Svg, scene: &Scene, column: usize, index: usize) {
    let (x, middle) = (scene.at.x[column], scene.at.middle);
    let joins = scene.joins(column);
    let way = scene.way(joins[0].shaft);
    let closed = scene.h.closed >> index & 1 == 1;
    let reach = if closed { 3.0 } else { PLATES };
    if joins[0].slot == Slot::Middle {
        plates(svg, scene, index, (x, middle), true);
        for join in &joins {
            let way = scene.way(join.shaft);
            scene.wire(svg, join.shaft, &[(x, middle + way * reach), (x, middle + way * PLATES)]);
        }
        if joins.len() == 1 {
            let y = middle - way * 22.0;
            svg.line((x, middle - way * reach), (x, y), "class=\"gear\"");
            ground(svg, x, y, -way);
        }
        return words_beside(svg, scene, column, 18.0);
    }
    let inline = scene.at.inline[column];
    let y = if inline { scene.at.y[joins[0].shaft] } else { middle + way * BESIDE };
    plates(svg, scene, index, (x, y), false);
    for join in &joins {
        let slot = place::slot_x(x, join.slot);
        scene.wire(svg, join.shaft, &[(x + (slot - x).signum() * reach, y), (slot, y)]);
    }
    let words = place::words(scene.d, Part::Lock(index), scene.h);
    let edge = middle + way * if inline { BAND / 2.0 - 6.0 } else { BESIDE - 22.0 };
    let top = if way > 0.0 { edge - LINE * (words.len() as f64 - 1.0) } else { edge + 9.0 };
    lines(svg, (x, top), Anchor::Middle, &words, words.len());
}

/// Height of a machine's box.
pub(super) fn box_height(scene: &Scene, machine: usize) -> f64 {
    place::words(scene.d, Part::Machine(machine), scene.h).len() as f64 * LINE + 14.0
}

fn machine(svg: &mut Svg, scene: &Scene, column: usize, index: usize) {
    let (x, middle) = (scene.at.x[column], scene.at.middle);
    let words = place::words(scene.d, Part::Machine(index), scene.h);
    let (wide, high) = (place::widest(&words) + 16.0, box_height(scene, index));
    let colour = palette::machine(index);
    let engine = matches!(scene.d.machines[index].kind, MachineKind::Engine(_));
    let dash = palette::machine_dash(index);
    let corner = if engine { 0 } else { 9 };
    let attributes = format!(
        "rx=\"{corner}\" style=\"fill:var(--sw-panel);stroke:{colour};stroke-width:2.6;\
         stroke-dasharray:{}\"",
        if dash.is_empty() { "none" } else { dash }
    );
    svg.rect(x - wide / 2.0, middle - high / 2.0, wide, high, &attributes);
    let names = place::broken(parts::name(scene.d, Part::Machine(index))).len();
    lines(svg, (x, middle - high / 2.0 + 17.0), Anchor::Middle, &words, names);
}

fn output(svg: &mut Svg, scene: &Scene, column: usize) {
    let (x, middle) = (scene.at.x[column], scene.at.middle);
    let way = scene.way(scene.d.output.shaft);
    svg.rect(x - 24.0, middle - 9.0, 14.0, 18.0, "rx=\"5\" class=\"gear\"");
    svg.rect(x + 10.0, middle - 9.0, 14.0, 18.0, "rx=\"5\" class=\"gear\"");
    scene.wire(svg, scene.d.output.shaft, &[(x - 10.0, middle), (x + 10.0, middle)]);
    scene.wire(svg, scene.d.output.shaft, &[(x, middle), (x, middle + way * 24.0)]);
    let words = place::words(scene.d, Part::Output, scene.h);
    let top = match way > 0.0 {
        true => middle - 18.0 - LINE * (words.len() as f64 - 1.0),
        false => middle + 26.0,
    };
    lines(svg, (x, top), Anchor::Middle, &words, 1);
}
