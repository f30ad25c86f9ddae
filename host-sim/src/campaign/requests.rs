//! What is asked for in a case, and when.

use super::seed::{Draw, rounded};
use super::world::World;
use crate::plant::random::Random;

/// Longest time in which all requests come, s.
const MOST_S: f64 = 9.0;

/// Requests: (s, arrangement), rising in time.
pub(super) fn requests(
    world: &World,
    random: &mut Random,
    start: Option<usize>,
) -> Vec<(f64, usize)> {
    let all = world.windows_kmh.len();
    let mut list: Vec<(f64, usize)> = start.map(|a| (0.0, a)).into_iter().collect();
    let mut t_s = rounded(random.between(0.1, 1.2), 100.0);
    let mut ask = |random: &mut Random, list: &mut Vec<(f64, usize)>, wait: (f64, f64)| {
        let present = list.last().map(|r| r.1);
        let other = random.below(all as u64) as usize;
        // Mostly another one than what is asked for already.
        let other = if Some(other) == present { (other + 1) % all } else { other };
        if t_s <= MOST_S && list.last().is_none_or(|r| r.0 < t_s) {
            list.push((t_s, other));
        }
        t_s = rounded(t_s + random.between(wait.0, wait.1), 1000.0);
    };
    match random.weighted(&[0.04, 0.3, 0.3, 0.14, 0.22]) {
        0 => {}
        1 => ask(random, &mut list, (1.0, 1.0)),
        2 => (0..2 + random.below(2)).for_each(|_| ask(random, &mut list, (1.2, 4.0))),
        // Chatter: faster than anything can be done.
        3 => {
            (0..3 + random.below(14)).for_each(|_| ask(random, &mut list, (0.02, 0.4)));
        }
        // The worst moments: half-way through what was begun, then back or elsewhere.
        _ => (0..2 + random.below(3)).for_each(|_| ask(random, &mut list, (0.05, 1.0))),
    }
    list
}
