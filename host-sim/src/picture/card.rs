//! A card of one arrangement: the stick diagram with the way of the power, and the lever diagram of
//! the same speeds beside it.

use super::inline::inlined;
use super::levers::{Levers, axis, levers, range};
use super::stick::{Operation, Stick, arrangement as marked};
use super::svg::Svg;
use crate::driveline::{Arrangement, Driveline};
use crate::kinematics::Kinematics;

/// Between the two pictures, px.
const GAP: f64 = 16.0;

/// The card, without losses, in the middle of the arrangement's speeds.
pub fn card(d: &Driveline, k: &Kinematics, arrangement: &Arrangement) -> String {
    let at = Operation::example(d, k, arrangement);
    let stick = Stick::new(d).draw(&marked(d, k, arrangement, &at));
    let name = &arrangement.name;
    let title = format!("Levers of {name}, speeds in rpm");
    let rpm = &at.speed_rpm;
    let range = axis(range(rpm));
    let lever = levers(d, &Levers { rpm, range, title: &title, machine_nm: &at.machine_nm });
    let title = format!("{}: {name}", d.name);
    let about =
        format!("The way of the power in {name} on the stick diagram; beside it its levers.");
    let ((wide, high), (more, tall)) = (size(&stick), size(&lever));
    let mut svg = Svg::themed(wide + GAP + more, high.max(tall), &title, &about, "");
    svg.put(&inlined(&stick, "stick"), (0.0, 0.0));
    svg.put(&inlined(&lever, "levers"), (wide + GAP, (0.5 * (high - tall)).max(0.0)));
    svg.finish()
}

/// Width and height of a picture, px.
fn size(svg: &str) -> (f64, f64) {
    let head = svg.split('>').next().unwrap_or("");
    let side = |name: &str| -> f64 {
        let text = head.split(name).nth(1).and_then(|rest| rest.split('"').next());
        text.and_then(|text| text.parse().ok()).unwrap_or(0.0)
    };
    (side(" width=\""), side(" height=\""))
}
