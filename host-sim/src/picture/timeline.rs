//! The timeline of a run: what was asked and reached, shaft speeds, slips against their
//! limits with lock states, torques; step boundaries numbered and listed.

use supervisor::table::Action;

use super::columns::Columns;
use super::palette::text_width;
use super::panels::{
    ACTUAL, COMMANDED, LEFT, Line, PATTERNS, PLOT, REPORTED, STYLE, WIDTH, lane, lane_legend,
    line_panel, name_lane, slip_strip, time_axis,
};
use super::svg::{Anchor, Svg};
use crate::checkers::Finding;
use crate::drive::record::TickRecord;
use crate::driveline::Driveline;

const RPM: f64 = std::f64::consts::PI / 30.0;
/// Where the strips begin, below title and subtitle.
const TOP: f64 = 82.0;
/// Most steps that are marked and listed.
const MOST_STEPS: usize = 48;
const GAP: f64 = 26.0;

/// Words around the picture.
#[derive(Clone, Debug, PartialEq)]
pub struct TimelineText {
    /// Large line.
    pub title: String,
    /// Small line below it.
    pub subtitle: String,
}

/// Gathers a run, then draws it.
#[derive(Clone, Debug)]
pub struct Timeline {
    driveline: Driveline,
    duration_s: f64,
    columns: Columns,
    steps: Vec<(f64, String)>,
    more_steps: usize,
    last_step: Option<u16>,
    /// Newtons at the wheels per newton metre at the output, where that is drawn too.
    force_per_nm: Option<f64>,
}

/// Where each series and lane stands.
struct Index {
    shafts: usize,
    locks: usize,
    machines: usize,
}

impl Index {
    fn of(driveline: &Driveline) -> Index {
        Index {
            shafts: driveline.shafts.len(),
            locks: driveline.locks.len(),
            machines: driveline.machines.len(),
        }
    }

    fn slip(&self, lock: usize) -> usize {
        self.shafts + lock
    }

    fn lock_torque(&self, lock: usize) -> usize {
        self.shafts + self.locks + lock
    }

    fn machine(&self, machine: usize) -> usize {
        self.shafts + 2 * self.locks + machine
    }

    fn demand(&self) -> usize {
        self.machine(self.machines)
    }

    fn output(&self) -> usize {
        self.demand() + 1
    }

    fn road(&self) -> usize {
        self.demand() + 2
    }

    fn force(&self) -> usize {
        self.demand() + 3
    }

    fn series(&self) -> usize {
        self.demand() + 4
    }

    /// Lanes: asked, reached, refused, faults, then three a lock.
    fn lock_lane(&self, lock: usize) -> usize {
        4 + 3 * lock
    }
}

const ASKED: usize = 0;
const REACHED: usize = 1;
const REFUSED: usize = 2;
const FAULTS: usize = 3;

impl Timeline {
    /// For a run of `duration_s` seconds with `ticks` ticks.
    pub fn new(driveline: &Driveline, duration_s: f64, ticks: u64) -> Timeline {
        let index = Index::of(driveline);
        let count = ticks.clamp(1, PLOT as u64) as usize;
        let lanes = index.lock_lane(index.locks);
        Timeline {
            driveline: driveline.clone(),
            duration_s: duration_s.max(1e-3),
            columns: Columns::new(duration_s, count, index.series(), lanes),
            steps: Vec::new(),
            more_steps: 0,
            last_step: None,
            force_per_nm: None,
        }
    }

    /// Draw the force at the wheels too: `newton` for each newton metre at the output.
    #[must_use]
    pub fn with_force(self, newton: f64) -> Timeline {
        Timeline { force_per_nm: Some(newton), ..self }
    }

    /// Take in one tick.
    pub fn add(&mut self, record: &TickRecord) {
        let index = Index::of(&self.driveline);
        let truth = &record.truth;
        // Columns hold what was during the tick: a little before its end.
        let t = truth.t_s - 0.5 * truth.dt_s;
        let c = &mut self.columns;
        for s in 0..index.shafts {
            c.add(s, t, truth.speed_radps[s] / RPM);
        }
        for i in 0..index.locks {
            let lock = &truth.locks[i];
            c.add(index.slip(i), t, lock.slip_radps / RPM);
            c.add(index.lock_torque(i), t, lock.torque_nm);
            let first = index.lock_lane(i);
            for (lane, state) in record.lanes(i).into_iter().enumerate() {
                c.mark(first + lane, t, state);
            }
        }
        for m in 0..index.machines {
            c.add(index.machine(m), t, truth.machine_nm[m]);
        }
        c.add(index.demand(), t, record.demand_nm);
        c.add(index.output(), t, truth.output_nm);
        c.add(index.road(), t, record.road_mps * 3.6);
        if let Some(newton) = self.force_per_nm {
            c.add(index.force(), t, newton * truth.output_nm);
        }
        c.mark(ASKED, t, truth.request.map_or(0, |a| a.saturating_add(1)));
        c.mark(REACHED, t, truth.stated_reached.map_or(0, |a| a.saturating_add(1)));
        c.mark(REFUSED, t, u8::from(record.status.refusal.is_some()));
        c.mark(FAULTS, t, u8::from(record.faults != 0));
        self.add_step(record);
    }

    fn add_step(&mut self, record: &TickRecord) {
        let now = record.step.map(|s| s.number);
        if let (Some(step), true) = (record.step, now != self.last_step) {
            let verb = if step.action == Action::Close { "close" } else { "open" };
            let lock = &self.driveline.locks[usize::from(step.lock)].name;
            if self.steps.len() < MOST_STEPS {
                let begun_s = (record.truth.t_s - record.truth.dt_s).max(0.0);
                self.steps.push((begun_s, format!("{verb} {lock}")));
            } else {
                self.more_steps += 1;
            }
        }
        self.last_step = now;
    }

    /// The finished picture. Findings are marked at their times.
    pub fn draw(&self, text: &TimelineText, findings: &[Finding]) -> String {
        let (strips, panels) = (self.strips_height(), self.panels_height());
        let key = self.key_height(findings);
        let top = TOP;
        let height = top + strips + panels + key + 46.0;
        let about = self.about(findings);
        let mut svg = Svg::themed(WIDTH, height, &text.title, &about, STYLE);
        svg.definitions(PATTERNS);
        svg.text((LEFT, 28.0), Anchor::Start, &text.title, "class=\"title\"");
        svg.text((LEFT, 47.0), Anchor::Start, &text.subtitle, "class=\"sub\"");
        let below_strips = self.draw_strips(&mut svg, top);
        let bottom = self.draw_panels(&mut svg, below_strips);
        self.draw_boundaries(&mut svg, top, bottom, findings);
        time_axis(&mut svg, bottom, self.duration_s);
        self.draw_key(&mut svg, bottom + 40.0, findings);
        svg.finish()
    }

    /// Where the panels end, from the top of the picture; what is below is the key.
    pub(crate) fn bottom(&self) -> f64 {
        TOP + self.strips_height() + self.panels_height()
    }

    fn about(&self, findings: &[Finding]) -> String {
        format!(
            "Timeline of {:.1} s on {}: arrangements asked and reached, speeds of {} shafts in \
             rpm, slip of {} locks against their closing limits with commanded, reported and \
             actual state, torques of locks and machines, output torque against the demand in \
             Nm. Steps numbered and listed: {}; findings: {}.",
            self.duration_s,
            self.driveline.name,
            self.driveline.shafts.len(),
            self.driveline.locks.len(),
            self.steps.len() + self.more_steps,
            findings.len(),
        )
    }

    fn extra_strips(&self) -> Vec<(usize, &'static str, &'static str)> {
        [(REFUSED, "refused", "var(--sw-held)"), (FAULTS, "faults injected", "var(--sw-alarm)")]
            .into_iter()
            .filter(|(lane, _, _)| self.columns.is_used(*lane))
            .collect()
    }

    fn strips_height(&self) -> f64 {
        44.0 + 14.0 * self.extra_strips().len() as f64 + 8.0
    }

    fn draw_strips(&self, svg: &mut Svg, top: f64) -> f64 {
        let names: Vec<String> =
            self.driveline.arrangements.iter().map(|a| a.name.clone()).collect();
        name_lane(svg, &self.columns, top, 18.0, ASKED, "asked", &names);
        name_lane(svg, &self.columns, top + 22.0, 18.0, REACHED, "reached", &names);
        let mut y = top + 44.0;
        for (number, label, fill) in self.extra_strips() {
            lane(svg, &self.columns, y, 10.0, number, label, &["", fill]);
            y += 14.0;
        }
        y + 8.0
    }

    fn speed_height(&self) -> f64 {
        (self.driveline.shafts.len() as f64 * 15.0 + 12.0).max(150.0)
    }

    fn panels_height(&self) -> f64 {
        let locks = self.driveline.locks.len() as f64;
        let speeds = 2.0 * GAP + 70.0 + self.speed_height();
        let lock_rows = locks * (GAP + 60.0 + 3.0 * 12.0 + 2.0);
        let torques = 3.0 * GAP + 3.0 * 110.0;
        let torques = torques + self.force_per_nm.map_or(0.0, |_| GAP + 90.0);
        speeds + lock_rows + torques
    }

    fn draw_panels(&self, svg: &mut Svg, from: f64) -> f64 {
        let d = &self.driveline;
        let index = Index::of(d);
        let c = &self.columns;
        let mut y = from + GAP;
        y = line_panel(
            svg,
            c,
            y,
            70.0,
            "Road speed, km/h",
            &[Line::plain(index.road(), "road speed", 0)],
        );
        let shafts = self.shaft_lines();
        y = line_panel(svg, c, y + GAP, self.speed_height(), "Shaft speeds, rpm", &shafts);
        for (i, lock) in d.locks.iter().enumerate() {
            y = self.draw_lock(svg, y + GAP, i, &lock.name, lock.engage_slip_max_rpm);
        }
        let torques: Vec<Line> = (d.locks.iter().enumerate())
            .map(|(i, lock)| Line::plain(index.lock_torque(i), &lock.name, i))
            .collect();
        y = line_panel(svg, c, y + GAP, 110.0, "Lock torques, Nm", &torques);
        let machines: Vec<Line> = (d.machines.iter().enumerate())
            .map(|(m, machine)| Line::machine(index.machine(m), &machine.name, m))
            .collect();
        y = line_panel(svg, c, y + GAP, 110.0, "Machine torques, Nm", &machines);
        let output = [
            Line::plain(index.output(), "at the output", 0),
            Line::plain(index.demand(), "demand", 1),
        ];
        y = line_panel(svg, c, y + GAP, 110.0, "Output torque, Nm", &output);
        if self.force_per_nm.is_some() {
            let force = [Line::plain(index.force(), "at the wheels", 0)];
            y = line_panel(svg, c, y + GAP, 90.0, "Force at the wheels, N", &force);
        }
        y
    }

    /// Shafts: one with a machine in the colour of its first machine, the others plain.
    fn shaft_lines(&self) -> Vec<Line> {
        let d = &self.driveline;
        let mut others = 0;
        let shafts = d.shafts.iter().enumerate().map(|(s, shaft)| {
            match d.machines.iter().position(|machine| machine.shaft == s) {
                Some(m) => Line::machine(s, &format!("{} ({})", shaft.name, d.machines[m].name), m),
                None => {
                    others += 1;
                    Line::plain(s, &shaft.name, others - 1)
                }
            }
        });
        shafts.collect()
    }

    fn draw_lock(
        &self,
        svg: &mut Svg,
        top: f64,
        lock: usize,
        name: &str,
        limit: Option<f64>,
    ) -> f64 {
        let index = Index::of(&self.driveline);
        let line = Line::plain(index.slip(lock), &format!("{name}: slip, rpm, and state"), 0);
        let mut y = slip_strip(svg, &self.columns, top, 60.0, &line, limit) + 2.0;
        let first = index.lock_lane(lock);
        let lanes: [(&str, [&str; 3]); 3] =
            [("commanded", COMMANDED), ("reported", REPORTED), ("actual", ACTUAL)];
        for (k, (label, fills)) in lanes.iter().enumerate() {
            lane(svg, &self.columns, y, 10.0, first + k, label, fills);
            y += 12.0;
        }
        lane_legend(svg, y - 36.0);
        y
    }

    fn x(&self, t_s: f64) -> f64 {
        LEFT + PLOT * (t_s / self.duration_s).clamp(0.0, 1.0)
    }

    /// Numbered lines at the steps, one label for markers that stand close together, and
    /// marks at the findings.
    fn draw_boundaries(&self, svg: &mut Svg, top: f64, bottom: f64, findings: &[Finding]) {
        let mut clusters: Vec<(usize, usize)> = Vec::new();
        for (i, (t_s, _)) in self.steps.iter().enumerate() {
            let x = self.x(*t_s);
            svg.line((x, top - 4.0), (x, bottom), "class=\"step\"");
            match clusters.last_mut() {
                Some(last) if x < self.x(self.steps[last.0].0) + label_width(*last) => last.1 = i,
                _ => clusters.push((i, i)),
            }
        }
        for cluster in clusters {
            let at = (self.x(self.steps[cluster.0].0), top - 8.0);
            svg.text(at, Anchor::Start, &label(cluster), "class=\"small\"");
        }
        for finding in findings.iter().take(MOST_STEPS) {
            let x = self.x(finding.t_s);
            svg.line((x, top - 4.0), (x, bottom), "class=\"found\"");
            let points = [(x - 5.0, top - 14.0), (x + 5.0, top - 14.0), (x, top - 4.0)];
            svg.path(&points, true, "class=\"flag\"");
        }
    }

    fn key_rows(&self) -> usize {
        self.steps.len().div_ceil(4)
    }

    fn key_height(&self, findings: &[Finding]) -> f64 {
        let steps = if self.steps.is_empty() { 0.0 } else { 22.0 + 14.0 * self.key_rows() as f64 };
        let more = if self.more_steps > 0 { 14.0 } else { 0.0 };
        let found =
            if findings.is_empty() { 0.0 } else { 22.0 + 14.0 * findings.len().min(12) as f64 };
        20.0 + steps + more + found + 18.0
    }

    fn draw_key(&self, svg: &mut Svg, top: f64, findings: &[Finding]) {
        let mut y = top;
        if !self.steps.is_empty() {
            svg.text((LEFT, y), Anchor::Start, "Steps", "class=\"head\"");
            let rows = self.key_rows();
            for (i, (t_s, text)) in self.steps.iter().enumerate() {
                let x = LEFT + (i / rows) as f64 * 262.0;
                let at = y + 16.0 + 14.0 * (i % rows) as f64;
                svg.text((x + 14.0, at), Anchor::End, &(i + 1).to_string(), "class=\"head\"");
                svg.text((x + 66.0, at), Anchor::End, &format!("{t_s:.2} s"), "");
                svg.text((x + 76.0, at), Anchor::Start, text, "");
            }
            y += 22.0 + 14.0 * rows as f64;
        }
        if self.more_steps > 0 {
            let words = format!("and {} more steps; the trace has them all", self.more_steps);
            svg.text((LEFT, y), Anchor::Start, &words, "");
            y += 14.0;
        }
        if !findings.is_empty() {
            svg.text((LEFT, y + 6.0), Anchor::Start, "Findings", "class=\"head\"");
            for (i, f) in findings.iter().take(12).enumerate() {
                let at = y + 22.0 + 14.0 * i as f64;
                svg.text((LEFT + 66.0, at), Anchor::End, &format!("{:.2} s", f.t_s), "");
                svg.text((LEFT + 76.0, at), Anchor::Start, f.rule, "class=\"head\"");
                // The whole text stands beside the picture, in the list of findings.
                let mut words: String = f.text.chars().take(115).collect();
                if words.len() < f.text.len() {
                    words.push('\u{2026}');
                }
                // Heads are bold, so wider than plain letters.
                let after = 92.0 + 1.15 * text_width(f.rule, 12.0);
                svg.text((LEFT + after.max(180.0), at), Anchor::Start, &words, "");
            }
            y += 22.0 + 14.0 * findings.len().min(12) as f64;
        }
        let note = "Slip axes are linear within the closing limit (shaded) and logarithmic beyond. \
                    Rigid-shaft plant, invented data: evidence for review, no certificate.";
        svg.text((LEFT, y + 12.0), Anchor::Start, note, "class=\"small\"");
    }
}

/// "3", or "3-5" for steps that stand close together.
fn label((first, last): (usize, usize)) -> String {
    if first == last {
        format!("{}", first + 1)
    } else {
        format!("{}\u{2013}{}", first + 1, last + 1)
    }
}

/// Room that a label needs, px, were it to grow by one step.
fn label_width((first, last): (usize, usize)) -> f64 {
    6.0 * label((first, last + 1)).chars().count() as f64 + 3.0
}
