//! What the gears allow: lock sets, conflicts, arrangements with their windows, the state diagram.

use super::super::cases::window_kmh;
use super::Page;
use super::html::{Table, escaped, link, list, p, picture, short};
use crate::driveline::EngineUse;
use crate::exact::{text as exact_text, to_f64};
use crate::kinematics::{End, Limit, LimitKind, and_list, windows};
use crate::picture::diagram::state_diagram;
use crate::picture::inlined;
use crate::picture::stick::{Stick, conflict};

/// Conflicts that are drawn.
const MOST_PICTURES: usize = 12;
/// Lock sets that are listed; a driveline with more lists those that are not forbidden.
const LISTED_SETS: usize = 64;

impl Page<'_> {
    fn limit_words(&self, limit: &Limit) -> String {
        let shaft = &self.report.subject.driveline.shafts[limit.shaft].name;
        let rpm = short(to_f64(&limit.rpm));
        match limit.kind {
            LimitKind::ShaftMax | LimitKind::ShaftMin | LimitKind::Asked => {
                format!("{shaft} at {rpm} rpm")
            }
            LimitKind::EngineIdle => format!("{shaft} at {rpm} rpm (engine's idle)"),
            LimitKind::EngineMax => format!("{shaft} at {rpm} rpm (engine's highest)"),
            LimitKind::EngineNoReverse => format!("{shaft} at {rpm} rpm (engine not in reverse)"),
            LimitKind::VehicleMax => "the vehicle's highest speed".to_owned(),
        }
    }

    fn end_words(&self, end: &End) -> String {
        let parts: Vec<String> = end.ended_by.iter().map(|e| self.limit_words(&e.limit)).collect();
        if parts.is_empty() { "nothing".to_owned() } else { and_list(&parts) }
    }

    /// The named arrangements with their road-speed windows.
    pub(super) fn arrangements(&self) -> String {
        let subject = &self.report.subject;
        let d = &subject.driveline;
        let mut table = Table::new(
            "Arrangements and the road speeds at which they can stand",
            &[
                "arrangement",
                "closed locks",
                "engine",
                "verdict",
                "#exact window, km/h",
                "upper end by",
                "#used by the supervisor, km/h",
            ],
        );
        let kmh = |end: &End| end.road_kmh.map_or("any".to_owned(), |v| format!("{:.1}", v + 0.0));
        for (i, (a, window)) in
            d.arrangements.iter().zip(windows(d, &subject.kinematics)).enumerate()
        {
            let set = subject.kinematics.set(a.closed);
            let (exact, by) = match &window {
                Ok(w) => (format!("{} to {}", kmh(&w.low), kmh(&w.high)), self.end_words(&w.high)),
                Err(none) => {
                    let limits: Vec<String> =
                        none.because.iter().map(|l| self.limit_words(l)).collect();
                    ("none".to_owned(), format!("{} contradict", and_list(&limits)))
                }
            };
            let (low, high) = window_kmh(subject, i);
            let used =
                if low < high { format!("{low:.1} to {high:.1}") } else { "none".to_owned() };
            table.row(vec![
                escaped(&a.name),
                escaped(&self.set_words(a.closed)),
                match a.engine {
                    EngineUse::On => "on",
                    EngineUse::Off => "off",
                    EngineUse::Either => "as it is",
                }
                .to_owned(),
                set.verdict.word().to_owned(),
                escaped(&exact.replace('-', "\u{2212}")),
                escaped(&by),
                used.replace('-', "\u{2212}"),
            ]);
        }
        p("The exact window comes from the kinematics. The supervisor uses a smaller one: every \
           shaft keeps within 97 % of its limits, so that a fault can be met in time; sensor error, age \
           and rounding are taken off, so that measured within means truly within; and 2 % more where \
           it is asked for, so that it is not left as soon as it is reached.")
            + &table.html()
    }

    fn set_words(&self, set: u8) -> String {
        let names = self.report.subject.driveline.lock_names(set);
        if names.is_empty() { "all open".to_owned() } else { names.join(" + ") }
    }

    /// Every lock set with its verdict.
    pub(super) fn lock_sets(&self) -> String {
        let subject = &self.report.subject;
        let (d, sets) = (&subject.driveline, &subject.kinematics.sets);
        let all = sets.len() <= LISTED_SETS;
        let mut table = Table::new(
            "Lock sets in order of their bit pattern",
            &["closed locks", "verdict", "#mobility", "held shafts", "fixed by the output", "why"],
        );
        for set in sets.iter().filter(|s| all || !s.verdict.is_forbidden()) {
            let held: Vec<&str> = set.held.iter().map(|&s| d.shafts[s].name.as_str()).collect();
            let fixed: Vec<String> = (d.shafts.iter().zip(&set.per_output).enumerate())
                .filter(|(s, _)| *s != d.output.shaft && !set.held.contains(s))
                .filter_map(|(_, (shaft, ratio))| {
                    Some(format!("{} {}", shaft.name, exact_text(ratio.as_ref()?)))
                })
                .collect();
            let verdict = match set.verdict.is_forbidden() {
                true => format!("<span class=\"bad\">\u{25b2} {}</span>", set.verdict.word()),
                false => set.verdict.word().to_owned(),
            };
            table.row(vec![
                escaped(&self.set_words(set.closed)),
                verdict,
                set.mobility.to_string(),
                escaped(&or_dash(&held.join(", "))),
                escaped(&or_dash(&fixed.join(", "))),
                escaped(&set.reason),
            ]);
        }
        let mut out = p(
            "Derived from the gears by exact arithmetic; nothing is typed in. \u{201c}Fixed by the \
             output\u{201d} gives speeds per speed of the output.",
        );
        if !all {
            out += &p("Only the lock sets that are not forbidden are listed; survey.json has all.");
        }
        out += &table.html();
        out + &format!("<p>For programs: {}.</p>\n", link("survey.json", "survey.json"))
    }

    /// Smallest forbidden lock sets and overlaps.
    pub(super) fn conflicts(&self) -> String {
        let subject = &self.report.subject;
        let d = &subject.driveline;
        let k = &subject.kinematics;
        let mut out = String::new();
        if k.conflicts.is_empty() {
            out += &p("No lock set is forbidden.");
        } else {
            let mut table = Table::new(
                "Never closed together: the smallest forbidden lock sets",
                &["locks", "holds", "why"],
            );
            for c in &k.conflicts {
                let holds: Vec<&str> = c.holds.iter().map(|&s| d.shafts[s].name.as_str()).collect();
                table.row(vec![
                    escaped(&self.set_words(c.locks)),
                    escaped(&holds.join(", ")),
                    escaped(&c.reason),
                ]);
            }
            out += &table.html();
            let stick = Stick::new(d);
            out += "<div class=\"pictures\">\n";
            for (i, c) in k.conflicts.iter().enumerate().take(MOST_PICTURES) {
                let drawn = inlined(&stick.draw(&conflict(d, k, c)), &format!("conflict-{i}"));
                let set = self.set_words(c.locks);
                let caption = format!("{}: {}", escaped(&set), escaped(&c.reason));
                out += &picture(&drawn, &format!("Conflict of {set}"), &caption);
            }
            out += "</div>\n";
        }
        if !k.overlaps.is_empty() {
            let mut table = Table::new(
                "Closed together only at rest and for a short time: the smallest overlaps",
                &["locks", "holds", "why"],
            );
            for o in &k.overlaps {
                let holds: Vec<&str> =
                    o.machines.iter().map(|&m| d.machines[m].name.as_str()).collect();
                table.row(vec![
                    escaped(&self.set_words(o.locks)),
                    escaped(&holds.join(", ")),
                    escaped(&o.reason),
                ]);
            }
            out += &table.html();
        }
        let told: Vec<u8> = subject.table.conflicts.iter().map(|c| c.locks.0).collect();
        let derived: Vec<u8> = k.conflicts.iter().map(|c| c.locks).collect();
        if told != derived {
            out += &list(&["The table under review does not hold the same conflicts as the \
                            kinematics derives: do not use it."
                .to_owned()]);
        }
        out
    }

    /// The state diagram, drawn from the table.
    pub(super) fn diagram(&self) -> String {
        let subject = &self.report.subject;
        let caption = format!(
            "Lock sets that the ways between the arrangements pass through, drawn from the table. \
             For programs: {}.",
            link("table.json", "table.json")
        );
        let drawn = inlined(&state_diagram(&subject.driveline, &subject.table), "states");
        picture(&drawn, "State diagram", &caption)
    }
}

/// A dash for nothing.
fn or_dash(text: &str) -> String {
    if text.is_empty() { "\u{2013}".to_owned() } else { text.to_owned() }
}
