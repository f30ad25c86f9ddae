//! One case: everything that happens in one run, from its seed alone.

use super::aims::aim;
use super::faults::{resets, timed_faults};
use super::profile::{Begin, begin};
use super::requests::requests;
use super::seed::{Draw, Stream, case_seed, rounded};
use super::world::World;
use crate::checkers::answer_bound_s;
use crate::drive::closed_loop::Setup;

/// A run that explains itself: same seed and number, same case.
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// Its number in the campaign, from 0.
    pub number: u64,
    /// Its seed.
    pub seed: u64,
    /// Seed of the plant.
    pub plant_seed: u64,
    /// What happens.
    pub setup: Setup,
}

/// Grows when the same seed and number become another case. 2: some cases are aimed (`campaign/aims`).
pub const CASE_RULES: u64 = 2;

/// Share of the cases that are driven on until every answer must have come.
const WAITED_SHARE: f64 = 0.06;

/// Case `number` of the campaign with `seed` in which at most `faults` faults are injected.
pub fn case(world: &World, seed: u64, faults: u8, number: u64) -> Case {
    let own = case_seed(seed, number);
    let mut drive = Stream::Drive.of(own);
    let Begin { arrangement, speed_kmh, charge, wish, grade, calm_s } = begin(world, &mut drive);
    let mut asked = Stream::Requests.of(own);
    let requests = requests(world, &mut asked, arrangement);
    let last_s = requests.last().map_or(0.0, |r| r.0);
    let tail_s = if asked.chance(WAITED_SHARE) {
        answer_bound_s(world.driveline()) + 0.5
    } else {
        asked.between(1.0, 4.0)
    };
    let duration_s = rounded((last_s + tail_s).max(calm_s), 10.0);
    let mut broken = Stream::Faults.of(own);
    let mut list = timed_faults(world, &mut broken, faults, (&requests, duration_s));
    list.extend(resets(&mut broken, &requests, duration_s));
    let mut setup = Setup {
        duration_s,
        start_speed_kmh: speed_kmh,
        start_arrangement: arrangement,
        start_charge: charge,
        start_rises_k: Vec::new(),
        wish,
        grade,
        requests,
        faults: list,
    };
    aim(world, &mut Stream::Aim.of(own), &mut setup);
    Case { number, seed: own, plant_seed: Stream::Plant.of(own).next_u64() >> 32, setup }
}
