//! The driveline: its parts as they stand in the file.

use super::Page;
use super::html::{Table, escaped, link, p, picture, short};
use crate::driveline::{LockKind, MachineKind, Planet};
use crate::exact::text as exact_text;
use crate::picture::inlined;
use crate::picture::stick::Stick;

impl Page<'_> {
    /// What the driveline is made of.
    pub(super) fn driveline(&self) -> String {
        let subject = &self.report.subject;
        let mut out = format!(
            "<p>As the file {} states it; a reviewer compares it with the drawing. The machines' \
             and vehicle's other values stand in the file.</p>\n",
            link("driveline.toml", "driveline.toml")
        );
        let stick = inlined(&Stick::new(&subject.driveline).plain(), "stick");
        out += &picture(
            &stick,
            "Stick diagram",
            "Stick diagram, laid out from the file: the common axis below, gear sets, brakes and \
             clutches side by side.",
        );
        out += &self.gears();
        out += &self.locks_and_machines();
        if !subject.warnings.is_empty() {
            out += &p("The file reader warned; its words stand among the findings.");
        }
        out
    }

    fn gears(&self) -> String {
        let d = &self.report.subject.driveline;
        let shaft = |s: usize| escaped(&d.shafts[s].name);
        let mut table = Table::new("Gears", &["gear", "kind", "shafts", "ratio"]);
        for set in &d.planetaries {
            let kind = match set.planet {
                Planet::Single => "planetary set, single planets",
                Planet::Double => "planetary set, double planets",
            };
            table.row(vec![
                escaped(&set.name),
                kind.to_owned(),
                format!(
                    "sun gear: {}; carrier: {}; ring gear: {}",
                    shaft(set.sun),
                    shaft(set.carrier),
                    shaft(set.ring)
                ),
                format!("sun {} teeth, ring {} teeth", set.sun_teeth, set.ring_teeth),
            ]);
        }
        for pair in &d.gear_pairs {
            table.row(vec![
                escaped(&pair.name),
                "gear pair".to_owned(),
                format!("{}, {}", shaft(pair.a), shaft(pair.b)),
                format!("{} = {} \u{d7} {}", shaft(pair.a), exact_text(&pair.ratio), shaft(pair.b)),
            ]);
        }
        if d.planetaries.is_empty() && d.gear_pairs.is_empty() {
            return p("There are no gears.");
        }
        table.html()
    }

    fn locks_and_machines(&self) -> String {
        let d = &self.report.subject.driveline;
        let shaft = |s: usize| escaped(&d.shafts[s].name);
        let mut locks = Table::new(
            "Brakes and clutches",
            &["lock", "kind", "joins", "#capacity, Nm", "#closing limit, rpm", "switch"],
        );
        for lock in &d.locks {
            let kind = match &lock.kind {
                LockKind::Friction(_) => "friction",
                LockKind::Dog(_) => "dog",
            };
            let role = if lock.b.is_some() { "clutch" } else { "brake" };
            let figure = |value: Option<f64>| value.map_or("\u{2013}".to_owned(), short);
            locks.row(vec![
                escaped(&lock.name),
                format!("{kind} {role}"),
                lock.b.map_or(format!("{}, the case", shaft(lock.a)), |b| {
                    format!("{}, {}", shaft(lock.a), shaft(b))
                }),
                figure(lock.capacity_nm),
                figure(lock.engage_slip_max_rpm),
                if lock.has_switch { "yes" } else { "no" }.to_owned(),
            ]);
        }
        let mut machines = Table::new("Machines", &["machine", "kind", "shaft"]);
        for machine in &d.machines {
            let kind = match &machine.kind {
                MachineKind::Electric(_) => "electric machine",
                MachineKind::Engine(_) => "engine",
            };
            machines.row(vec![escaped(&machine.name), kind.to_owned(), shaft(machine.shaft)]);
        }
        let output =
            format!("<p>The output to the wheels is the shaft {}.</p>\n", shaft(d.output.shaft));
        locks.html() + &machines.html() + &output
    }
}
