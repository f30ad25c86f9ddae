//! Draws a stick diagram: heading, shafts, parts, key.

use super::glyphs;
use super::highlight::{Highlight, ShaftState};
use super::order::Plan;
use super::parts::{self, Join, Member, Part, Slot};
use super::place::{self, BAND, FONT, FOOT, LINE, Layout, MARGIN, layout};
use crate::driveline::{Driveline, ShaftId};
use crate::picture::palette::text_width;
use crate::picture::svg::{Anchor, Svg};

const STYLE: &str = "\
.sw .w{fill:none;stroke:var(--sw-ink);stroke-width:2;stroke-linecap:round;stroke-linejoin:round}\
.sw .w.power{stroke:var(--sw-power);stroke-width:4.4}\
.sw .w.idle{stroke-width:1.5}.sw .w.free{stroke:var(--sw-soft);stroke-width:1.5;\
stroke-dasharray:7 4}.sw .w.held{stroke:var(--sw-held);stroke-dasharray:0.1 5;stroke-width:3}\
.sw .w.alarm{stroke:var(--sw-alarm);stroke-width:4;stroke-dasharray:9 5}\
.sw .dot{fill:var(--sw-ink)}.sw .arrow{fill:var(--sw-power)}\
.sw .plate{fill:var(--sw-ink)}.sw .shut{fill:var(--sw-power)}.sw .clash{fill:var(--sw-alarm)}\
.sw .gear{fill:none;stroke:var(--sw-ink);stroke-width:2}\
.sw .thin{fill:none;stroke:var(--sw-soft);stroke-width:1}\
.sw .axis{fill:none;stroke:var(--sw-soft);stroke-width:1;stroke-dasharray:14 4 3 4}\
.sw .lock{fill:var(--sw-ink);font-weight:600}";

/// Everything that drawing a part needs.
pub(super) struct Scene<'a> {
    pub(super) d: &'a Driveline,
    pub(super) plan: &'a Plan,
    pub(super) h: &'a Highlight,
    pub(super) at: Layout,
}

impl Scene<'_> {
    /// Towards the shaft: 1 downwards, -1 upwards.
    pub(super) fn way(&self, shaft: ShaftId) -> f64 {
        if self.plan.outer[shaft] { -1.0 } else { 1.0 }
    }

    /// A line of a shaft in the shaft's manner.
    pub(super) fn wire(&self, svg: &mut Svg, shaft: ShaftId, points: &[(f64, f64)]) {
        svg.path(points, false, &format!("class=\"w {}\"", self.h.shaft(shaft).class()));
    }

    pub(super) fn joins(&self, column: usize) -> Vec<Join> {
        parts::joins(self.d, self.plan.order[column], &self.plan.outer, self.plan.flip[column])
    }

    /// Height at which the member of a part leaves towards its shaft.
    fn leaves(&self, column: usize, join: &Join) -> f64 {
        let (middle, way) = (self.at.middle, self.way(join.shaft));
        match (self.plan.order[column], join.member) {
            (Part::Set(_), Member::Sun) => middle + glyphs::RADIUS,
            (Part::Set(_), Member::Ring) => middle - glyphs::RADIUS,
            (Part::Set(_), _) => middle,
            (Part::Pair(i), member) => {
                let upper = glyphs::first_is_upper(self.d, i, &self.plan.outer);
                middle + if (member == Member::A) == upper { -24.0 } else { 24.0 }
            }
            (Part::Lock(_), _) if join.slot != Slot::Middle => middle + way * glyphs::BESIDE,
            (Part::Lock(_), _) => middle + way * glyphs::PLATES,
            (Part::Machine(i), _) => middle + way * glyphs::box_height(self, i) / 2.0,
            (Part::Output, _) => middle + way * 24.0,
            (Part::Loose(_), _) => middle + way * BAND / 2.0,
        }
    }
}

/// The whole picture.
pub(super) fn draw(d: &Driveline, plan: &Plan, h: &Highlight) -> String {
    let scene = Scene { d, plan, h, at: layout(d, plan, h) };
    let at = &scene.at;
    let title = place::title(d, h);
    let mut svg = Svg::themed(at.width, at.height, title, &about(&scene), STYLE);
    svg.text((MARGIN, 26.0), Anchor::Start, title, "class=\"title\"");
    for (i, line) in at.subtitle.iter().enumerate() {
        svg.text((MARGIN, 43.0 + LINE * i as f64), Anchor::Start, line, "class=\"sub\"");
    }
    if d.gear_pairs.is_empty() {
        let y = at.height - FOOT + 4.0;
        svg.line((MARGIN, y), (at.width - MARGIN, y), "class=\"axis\"");
        svg.text((MARGIN, y + 13.0), Anchor::Start, "common axis", "class=\"sub\"");
    }
    for shaft in 0..d.shafts.len() {
        draw_shaft(&mut svg, &scene, shaft);
    }
    for column in 0..plan.order.len() {
        glyphs::part(&mut svg, &scene, column);
    }
    for column in 0..plan.order.len() {
        arrows(&mut svg, &scene, column);
    }
    key(&mut svg, &scene);
    svg.finish()
}

/// Words that say what the picture shows.
fn about(scene: &Scene) -> String {
    let (d, h) = (scene.d, scene.h);
    let mut words = format!(
        "Stick diagram of {}: {} shafts, {} planetary sets, {} gear pairs, {} locks, {} machines.",
        d.name,
        d.shafts.len(),
        d.planetaries.len(),
        d.gear_pairs.len(),
        d.locks.len(),
        d.machines.len()
    );
    for p in &d.planetaries {
        let name = |s: ShaftId| &d.shafts[s].name;
        words += &format!(
            " Set {}: sun {}, ring {}, carrier {}.",
            p.name,
            name(p.sun),
            name(p.ring),
            name(p.carrier)
        );
    }
    for g in &d.gear_pairs {
        words += &format!(" Pair {}: {} with {}.", g.name, d.shafts[g.a].name, d.shafts[g.b].name);
    }
    for (i, lock) in d.locks.iter().enumerate() {
        let state = if h.closed >> i & 1 == 1 { "closed" } else { "open" };
        let (a, b) = (&d.shafts[lock.a].name, d.lock_side_b_name(i));
        words += &format!(" Lock {}: {a} to {b}, {state}.", lock.name);
    }
    for (i, machine) in d.machines.iter().enumerate() {
        let note = h.machine_notes.get(i).filter(|n| !n.is_empty());
        let note = note.map_or(String::new(), |n| format!(", {n}"));
        words += &format!(" {} on {}{note}.", machine.name, d.shafts[machine.shaft].name);
    }
    words += &format!(" The wheels are on {}.", d.shafts[d.output.shaft].name);
    for (s, state) in h.shafts.iter().enumerate().filter(|s| *s.1 != ShaftState::Plain) {
        words += &format!(" {} {}.", h.label(d, s), state.words());
    }
    words
}

/// A shaft's line, its vertical pieces up to the parts, its dots and its name.
fn draw_shaft(svg: &mut Svg, scene: &Scene, shaft: ShaftId) {
    let (d, at) = (scene.d, &scene.at);
    let state = scene.h.shaft(shaft);
    svg.titled_group(&format!("shaft {}", state.class()), &scene.h.label(d, shaft));
    let (y, way) = (at.y[shaft], scene.way(shaft));
    let (from, to) = at.span[shaft];
    scene.wire(svg, shaft, &[(from, y), (to, y)]);
    for column in 0..scene.plan.order.len() {
        for join in scene.joins(column).iter().filter(|j| j.shaft == shaft) {
            if at.inline[column] {
                continue;
            }
            let x = place::slot_x(at.x[column], join.slot);
            let idle =
                state == ShaftState::Power && scene.h.power(scene.plan.order[column], shaft) == 0.0;
            let manner = if idle { ShaftState::Idle } else { state };
            upright(svg, scene, (shaft, manner), x, scene.leaves(column, join));
            if from < x && x < to {
                svg.circle((x, y), 3.2, "class=\"dot\"");
            }
        }
    }
    let below = if way > 0.0 { y + 15.0 } else { y - 7.0 };
    let name = scene.h.label(d, shaft);
    svg.text((at.label[shaft], below), Anchor::Middle, &name, "");
    svg.end();
}

/// A vertical piece, broken where it only passes a shaft.
fn upright(
    svg: &mut Svg,
    scene: &Scene,
    (shaft, manner): (ShaftId, ShaftState),
    x: f64,
    from: f64,
) {
    let class = format!("class=\"w {}\"", manner.class());
    let (at, plan) = (&scene.at, scene.plan);
    let (to, way) = (at.y[shaft], scene.way(shaft));
    let mut passed: Vec<f64> = (0..at.y.len())
        .filter(|&t| plan.outer[t] == plan.outer[shaft] && plan.row[t] < plan.row[shaft])
        .filter(|&t| at.span[t].0 < x && x < at.span[t].1)
        .map(|t| at.y[t])
        .collect();
    passed.sort_by(|a, b| (way * a).total_cmp(&(way * b)));
    passed.dedup();
    let mut start = from;
    for y in passed {
        svg.path(&[(x, start), (x, y - way * 6.0)], false, &class);
        start = y + way * 6.0;
    }
    svg.path(&[(x, start), (x, to)], false, &class);
}

/// Arrow heads where power passes between a part and a shaft.
fn arrows(svg: &mut Svg, scene: &Scene, column: usize) {
    let at = &scene.at;
    for join in scene.joins(column) {
        let power = scene.h.power(scene.plan.order[column], join.shaft);
        if power == 0.0 {
            continue;
        }
        let (x, way) = (place::slot_x(at.x[column], join.slot), scene.way(join.shaft));
        let sign = power.signum();
        let points = if at.inline[column] {
            let out = (x - at.x[column]).signum() * sign;
            let y = at.y[join.shaft];
            let x = x - (x - at.x[column]).signum() * 2.0;
            [(x + 7.0 * out, y), (x - 7.0 * out, y - 7.0), (x - 7.0 * out, y + 7.0)]
        } else {
            let y = at.middle + way * (BAND / 2.0 + 4.0);
            let tip = way * sign;
            [(x, y + 8.0 * tip), (x - 7.0, y - 6.0 * tip), (x + 7.0, y - 6.0 * tip)]
        };
        svg.path(&points, true, "class=\"arrow\"");
    }
}

/// The key of line manners that occur.
fn key(svg: &mut Svg, scene: &Scene) {
    let y = scene.at.height - 16.0;
    let all = [
        (ShaftState::Power, "carries power (arrow: its way)"),
        (ShaftState::Idle, "turns without load"),
        (ShaftState::Free, "turns free"),
        (ShaftState::Held, "stands still"),
        (ShaftState::Alarm, "must turn, is held"),
    ];
    let mut x = MARGIN;
    for (state, words) in all.iter().filter(|(s, _)| scene.h.shafts.contains(s)) {
        svg.line((x, y - 4.0), (x + 28.0, y - 4.0), &format!("class=\"w {}\"", state.class()));
        svg.text((x + 36.0, y), Anchor::Start, words, "class=\"sub\"");
        x += 36.0 + text_width(words, FONT) + 16.0;
    }
    if scene.h.shafts.is_empty() {
        let words = "dot: joined; broken line: passes; lengths and radii mean nothing";
        svg.text((x, y), Anchor::Start, words, "class=\"sub\"");
    }
}
