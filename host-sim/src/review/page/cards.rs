//! A card for each arrangement: its locks, speeds of all shafts, levers, window, verdict.

use super::super::cases::window_kmh;
use super::Page;
use super::html::{escaped, link, picture};
use crate::exact::text as exact_text;
use crate::picture::inlined;
use crate::picture::levers::{Levers, axis, levers, range};
use crate::picture::stick::{Operation, Stick, arrangement as highlight};

const RPM: f64 = std::f64::consts::PI / 30.0;

impl Page<'_> {
    /// All cards.
    pub(super) fn cards(&self) -> String {
        let count = self.report.subject.driveline.arrangements.len();
        let stick = Stick::new(&self.report.subject.driveline);
        let cards: String = (0..count).map(|a| self.card(a, &stick)).collect();
        format!("<div class=\"cards\">\n{cards}</div>\n")
    }

    fn card(&self, a: usize, stick: &Stick) -> String {
        let subject = &self.report.subject;
        let (d, k) = (&subject.driveline, &subject.kinematics);
        let arrangement = &d.arrangements[a];
        let set = k.set(arrangement.closed);
        let (low, high) = window_kmh(subject, a);
        // One example for both pictures: two would look like a contradiction.
        let at = Operation::example(d, k, arrangement);
        let rpm = &at.speed_rpm;
        let kmh = rpm[d.output.shaft] * RPM / d.output_radps_per_kmh().unwrap_or(1.0);
        let range = axis(range(rpm));
        let title = format!("Levers of {} at {kmh:.0} km/h", arrangement.name);
        let shown = Levers { rpm, range, title: &title, machine_nm: &[] };
        let levers = picture(
            &inlined(&levers(d, &shown), &format!("card-{a}-levers")),
            &title,
            &format!(
                "The same example, {kmh:.0} km/h: a free engine in the middle of its range, other \
                 free shafts slow."
            ),
        );
        let path = stick.draw(&highlight(d, k, arrangement, &at));
        let path = picture(
            &inlined(&path, &format!("card-{a}-stick")),
            &format!("Way of the power in {}", arrangement.name),
            "The way of the power, without losses, at half of the highest speed of the exact window.",
        );
        let ratios: Vec<String> = d
            .shafts
            .iter()
            .zip(&set.per_output)
            .map(|(shaft, ratio)| {
                let ratio = match ratio {
                    Some(ratio) => exact_text(ratio),
                    None => "free".to_owned(),
                };
                format!("{} {}", shaft.name, ratio)
            })
            .collect();
        let names = d.lock_names(arrangement.closed);
        let closed = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
        let window = match low < high {
            true => format!("{low:.1} to {high:.1} km/h").replace('-', "\u{2212}"),
            false => "none".to_owned(),
        };
        format!(
            "<section class=\"card\" id=\"arrangement-{a}\" aria-labelledby=\"arrangement-{a}-title\">\n\
             <h3 id=\"arrangement-{a}-title\">{}</h3>\n<dl class=\"pairs\">\n<dt>Closed</dt><dd>{}</dd>\n\
             <dt>Verdict</dt><dd>{}, mobility {}</dd>\n<dt>Speeds, output = 1</dt><dd>{}</dd>\n\
             <dt>Road speeds</dt><dd>{window}</dd>\n<dt>From and to it</dt><dd>{}</dd>\n</dl>\n\
             <div class=\"pictures\">\n{path}{levers}</div>\n</section>\n",
            escaped(&arrangement.name),
            escaped(&closed),
            escaped(set.verdict.word()),
            set.mobility,
            escaped(&ratios.join(", ")),
            link("#transitions", "transitions"),
        )
    }
}
