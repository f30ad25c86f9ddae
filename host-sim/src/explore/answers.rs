//! Answers of one tick that depend on each other because the same measurement is behind them:
//! one road speed is compared with every window, one demand with every limit, and the sensors
//! that are trusted are the same for every set of them.
//!
//! Nothing is said here about the truth: a sensor that lies gives one value in a tick as well. So
//! these ties make the world no less hostile.

use supervisor::bits::Bits;
use supervisor::table::Window;

/// What a comparison with a window says when the road speed is not known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Speed {
    /// No: the speed must have been measured.
    Measured,
    /// Yes: without a speed there is no reason to leave.
    MeasuredOrMissing,
}

/// Most windows that are remembered; what is asked beyond is not tied to them.
const MOST_WINDOWS: usize = 24;

/// What was said of the road speed.
#[derive(Clone, Debug, Default)]
pub struct Road {
    said: [Option<(Window, Speed, bool)>; MOST_WINDOWS],
}

impl Road {
    /// Whether this answer agrees with some road speed, or with none being known, as all answers
    /// before it do.
    pub fn can(&self, window: Window, speed: Speed, answer: bool) -> bool {
        let all = || self.said.iter().flatten().copied().chain([(window, speed, answer)]);
        if all().all(|(_, speed, answer)| answer == (speed == Speed::MeasuredOrMissing)) {
            return true;
        }
        // A lowest speed that fits is the lowest of all, begins a window, or ends one just before.
        let fits = |x: f32| all().all(|(w, _, answer)| answer == (w.min <= x && x <= w.max));
        fits(f32::MIN)
            || all().any(|(w, _, answer)| fits(if answer { w.min } else { w.max.next_up() }))
    }

    /// Remember an answer.
    pub fn put(&mut self, window: Window, speed: Speed, answer: bool) {
        if let Some(slot) = self.said.iter_mut().find(|slot| slot.is_none()) {
            *slot = Some((window, speed, answer));
        }
    }
}

/// What was said of the demand.
#[derive(Clone, Debug)]
pub struct Demand {
    within: f32,
    beyond: f32,
}

impl Default for Demand {
    fn default() -> Demand {
        Demand { within: f32::INFINITY, beyond: f32::NEG_INFINITY }
    }
}

impl Demand {
    /// Whether the demand is within this limit, where what was said leaves no choice.
    pub fn known(&self, limit: f32) -> Option<bool> {
        if limit >= self.within {
            Some(true)
        } else if limit <= self.beyond {
            Some(false)
        } else {
            None
        }
    }

    /// Remember an answer.
    pub fn put(&mut self, limit: f32, answer: bool) {
        match answer {
            true => self.within = self.within.min(limit),
            false => self.beyond = self.beyond.max(limit),
        }
    }
}

/// Most sets of sensors of which it is remembered that not all are trusted.
const MOST_SETS: usize = 8;

/// What was said of sensors.
#[derive(Clone, Debug, Default)]
pub struct Trust {
    trusted: Bits,
    not_all: [Option<Bits>; MOST_SETS],
}

impl Trust {
    /// Whether all these are trusted, where what was said leaves no choice.
    pub fn known(&self, sensors: Bits) -> Option<bool> {
        if self.trusted.contains(sensors) {
            return Some(true);
        }
        let would_be = self.trusted.or(sensors);
        self.not_all.iter().flatten().any(|&set| would_be.contains(set)).then_some(false)
    }

    /// Remember an answer.
    pub fn put(&mut self, sensors: Bits, answer: bool) {
        if answer {
            self.trusted = self.trusted.or(sensors);
        } else if let Some(slot) = self.not_all.iter_mut().find(|slot| slot.is_none()) {
            *slot = Some(sensors);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SPEEDS: [f32; 5] = [-1.0, 0.0, 1.0, 2.0, 3.0];

    fn windows() -> Vec<Window> {
        let from = |min: f32| SPEEDS.into_iter().map(move |max| Window { min, max });
        SPEEDS.into_iter().flat_map(from).filter(|w| w.min <= w.max).collect()
    }

    fn says(window: Window, speed: Speed, output: Option<f32>) -> bool {
        match output {
            Some(x) => window.min <= x && x <= window.max,
            None => speed == Speed::MeasuredOrMissing,
        }
    }

    /// Against every speed at an end, between two and beyond, and against none: an answer is
    /// possible exactly where one of them gives it along with those before.
    #[test]
    fn answers_about_the_road_are_those_of_one_speed() {
        let mut outputs: Vec<Option<f32>> = (-4..=8).map(|half| Some(half as f32 / 2.0)).collect();
        outputs.push(None);
        let kinds = [Speed::Measured, Speed::MeasuredOrMissing];
        let questions: Vec<_> =
            windows().into_iter().flat_map(|w| kinds.map(|kind| (w, kind))).collect();
        let mut possible = 0;
        let mut impossible = 0;
        for &first in &questions {
            for &second in &questions {
                for third in questions.iter().step_by(7) {
                    for answers in 0..8_u8 {
                        let said = |n: u8| answers >> n & 1 == 1;
                        let mut road = Road::default();
                        road.put(first.0, first.1, said(0));
                        road.put(second.0, second.1, said(1));
                        let gives = |output: Option<f32>| {
                            [first, second, *third]
                                .into_iter()
                                .zip(0..)
                                .all(|((w, kind), n)| says(w, kind, output) == said(n))
                        };
                        let so = outputs.iter().any(|&output| gives(output));
                        assert_eq!(road.can(third.0, third.1, said(2)), so, "{first:?} {second:?}");
                        *(if so { &mut possible } else { &mut impossible }) += 1;
                    }
                }
            }
        }
        assert!(possible > 1000 && impossible > 1000);
    }

    #[test]
    fn a_demand_is_compared_with_every_limit_alike() {
        for demand in [0.5_f32, 1.0, 1.5, 2.5, 3.5] {
            let mut said = Demand::default();
            for limit in [2.0, 1.0, 3.0, 2.0] {
                let within = demand <= limit;
                assert!(said.known(limit).is_none_or(|known| known == within));
                said.put(limit, within);
                assert_eq!(said.known(limit), Some(within));
            }
        }
        let mut said = Demand::default();
        said.put(2.0, true);
        assert_eq!((said.known(3.0), said.known(1.0)), (Some(true), None));
        said.put(1.0, false);
        assert_eq!((said.known(0.5), said.known(1.5)), (Some(false), None));
    }

    /// Against every set of trusted sensors.
    #[test]
    fn answers_about_sensors_are_those_of_one_set() {
        for first in 0..8 {
            for second in 0..8 {
                for third in 0..8 {
                    let sets = [Bits(first), Bits(second), Bits(third)];
                    let mut given = std::collections::BTreeMap::<[bool; 2], [bool; 2]>::new();
                    for trusted in 0..8 {
                        let all = sets.map(|set| Bits(trusted).contains(set));
                        given.entry([all[0], all[1]]).or_default()[usize::from(all[2])] = true;
                    }
                    for ([one, two], third) in given {
                        let mut trust = Trust::default();
                        trust.put(sets[0], one);
                        trust.put(sets[1], two);
                        let want = match third {
                            [true, true] => None,
                            [_, yes] => Some(yes),
                        };
                        assert_eq!(trust.known(sets[2]), want, "{sets:?} {one} {two}");
                    }
                }
            }
        }
    }
}
