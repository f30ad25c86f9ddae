//! Where a case begins and what its driver does.

use super::seed::{Draw, rounded};
use super::world::World;
use crate::drive::driver::Wish;
use crate::plant::random::Random;

/// The beginning, the driver and the road of a case.
pub(super) struct Begin {
    pub(super) arrangement: Option<usize>,
    pub(super) speed_kmh: f64,
    pub(super) charge: f64,
    pub(super) wish: Wish,
    pub(super) grade: Vec<(f64, f64)>,
    /// Shortest time in which the drive shows what it is about, s.
    pub(super) calm_s: f64,
}

/// What a driver does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Style {
    Steady,
    Ramps,
    Stands,
    Creeps,
    Reverses,
    Pedal,
    RollsBack,
    StopAndGo,
}

const STYLES: [Style; 8] = [
    Style::Steady,
    Style::Ramps,
    Style::Stands,
    Style::Creeps,
    Style::Reverses,
    Style::Pedal,
    Style::RollsBack,
    Style::StopAndGo,
];
const WEIGHTS: [f64; 8] = [0.24, 0.22, 0.09, 0.09, 0.07, 0.16, 0.05, 0.08];
/// Share of the cases that begin with every lock open.
const OPEN_SHARE: f64 = 0.06;
/// Slowest and fastest creep, km/h.
const CREEP_KMH: (f64, f64) = (0.3, 6.0);
/// Share of a window at each end that a start keeps away from.
const EDGE: f64 = 0.02;

pub(super) fn begin(world: &World, random: &mut Random) -> Begin {
    let arrangements = world.windows_kmh.len() as u64;
    let style = STYLES[random.weighted(&WEIGHTS)];
    let arrangement = random.below(arrangements) as usize;
    let open = random.chance(OPEN_SHARE);
    let (low, high) = world.windows_kmh[arrangement];
    let speed_kmh = start_kmh(random, style, (low, high));
    let charge = charge(world, random);
    let grade = grade(world, random, style);
    let (wish, calm_s) = wish(random, style, speed_kmh, (low, high));
    Begin { arrangement: (!open).then_some(arrangement), speed_kmh, charge, wish, grade, calm_s }
}

/// Inside the window of the arrangement, often near its ends.
fn start_kmh(random: &mut Random, style: Style, (low, high): (f64, f64)) -> f64 {
    let edge = EDGE * (high - low);
    let (low, high) = (low + edge, high - edge);
    let wished = match style {
        Style::Stands | Style::RollsBack => 0.0,
        Style::Creeps => random.between(CREEP_KMH.0, CREEP_KMH.1),
        Style::Reverses => -random.between(CREEP_KMH.0, 12.0),
        _ if random.chance(0.15) => random.between(0.9, 1.0) * high,
        _ if random.chance(0.1) => low.max(0.0) + random.unit() * 0.1 * high,
        _ => random.between(low.max(0.0), high),
    };
    // Toward zero where rounding would leave the window; a window without room is its middle.
    if low < high {
        rounded(wished.clamp(low, high), 10.0)
    } else {
        rounded(0.5 * (low + high), 10.0)
    }
}

fn charge(world: &World, random: &mut Random) -> f64 {
    let battery = world.driveline().battery.as_ref();
    let [low, high] = battery.map_or([0.5, 0.5], |b| b.charge_window);
    rounded(random.between(low, high), 100.0).clamp(low, high)
}

fn grade(world: &World, random: &mut Random, style: Style) -> Vec<(f64, f64)> {
    let most = world.grade_max;
    // Whole tenths of a percent, as a scenario file says it.
    let steep = |random: &mut Random| rounded(100.0 * most * random.signed_unit(), 10.0) / 100.0;
    match random.weighted(&[0.5, 0.3, 0.2]) {
        0 if style != Style::RollsBack => Vec::new(),
        2 => {
            let mut t_s = 0.0;
            let points = 2 + random.below(3);
            (0..points)
                .map(|_| {
                    let point = (t_s, steep(random));
                    t_s = rounded(t_s + random.between(0.1, 3.0), 10.0);
                    point
                })
                .collect()
        }
        _ => vec![(0.0, steep(random))],
    }
}

fn wish(random: &mut Random, style: Style, start: f64, (low, high): (f64, f64)) -> (Wish, f64) {
    let mut t_s = 0.0;
    match style {
        Style::Steady | Style::Stands | Style::Reverses => (Wish::Speed(vec![(0.0, start)]), 1.5),
        Style::Creeps => {
            let to = rounded(random.between(0.0, CREEP_KMH.1), 10.0);
            (Wish::Speed(vec![(0.0, start), (rounded(random.between(1.0, 3.0), 10.0), to)]), 2.0)
        }
        Style::Ramps => {
            let mut points = vec![(0.0, start)];
            for _ in 0..1 + random.below(3) {
                t_s = rounded(t_s + random.between(0.5, 4.0), 10.0);
                // Sometimes beyond the window: the driver does not know it.
                let top = if random.chance(0.2) { 1.15 * high } else { high };
                points.push((t_s, rounded(random.between(low.max(0.0), top), 10.0)));
            }
            (Wish::Speed(points), t_s + 0.5)
        }
        Style::StopAndGo => {
            let stop_s = rounded(random.between(1.0, 3.0), 10.0);
            let go_s = rounded(stop_s + random.between(0.2, 1.5), 10.0);
            let end_s = rounded(go_s + random.between(1.0, 3.0), 10.0);
            let points = vec![(0.0, start), (stop_s, 0.0), (go_s, 0.0), (end_s, start)];
            (Wish::Speed(points), end_s + 0.5)
        }
        Style::Pedal => {
            let mut points = Vec::new();
            for _ in 0..2 + random.below(5) {
                let share = match random.weighted(&[0.2, 0.2, 0.6]) {
                    0 => 0.0,
                    1 => random.one_of(&[-1.0, 1.0, 0.05, -0.05]),
                    _ => rounded(random.signed_unit(), 100.0),
                };
                points.push((t_s, share));
                // A jump: the pedal is stamped or let go.
                let next = if random.chance(0.4) { 0.05 } else { random.between(0.3, 2.0) };
                t_s = rounded(t_s + next, 100.0);
            }
            (Wish::Pedal(points), t_s + 0.5)
        }
        Style::RollsBack => {
            let let_go_s = rounded(random.between(0.2, 1.5), 10.0);
            let catch_s = rounded(let_go_s + random.between(0.3, 2.0), 10.0);
            let pull = rounded(random.between(0.0, 0.6), 100.0);
            let points = vec![
                (0.0, -0.3),
                (let_go_s, -0.3),
                (let_go_s, 0.0),
                (catch_s, 0.0),
                (catch_s, pull),
            ];
            (Wish::Pedal(points), catch_s + 1.0)
        }
    }
}
