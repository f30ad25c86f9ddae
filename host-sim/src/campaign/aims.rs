//! Cases that are aimed: what chance hardly ever brings together. Each aim sets up what one check of
//! the supervisor is there for (hot plates, an engine that is braked down, a hand-over under full
//! pedal), so that a supervisor without that check comes to harm in it. What is aimed at is drawn
//! from a stream of its own: the other cases stay as they are.

use super::seed::{Draw, rounded};
use super::world::World;
use crate::drive::closed_loop::Setup;
use crate::drive::driver::Wish;
use crate::drive::faults::{Injected, TimedFault};
use crate::drive::scenario::words::named;
use crate::driveline::{EngineUse, LockKind, Machine, MachineKind};
use crate::plant::random::Random;

/// Share of the cases that are aimed.
const AIMED_SHARE: f64 = 0.4;
/// Speeds are whole tenths of a km/h.
const PER_KMH: f64 = 10.0;

/// What a case is aimed at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Aim {
    /// Plates about as hot as they may be when they close: a drive that has gone on for long.
    HotPlates,
    /// A vehicle with its engine joined is braked down hard.
    BrakedEngine,
    /// Changes under the whole pedal, mostly uphill.
    FullPedal,
    /// Changes between driving and braking that jump to and fro.
    Kicks,
    /// Changes at a walk and at standstill.
    NearRest,
    /// Changes just beside an end of the wanted arrangement's window.
    WindowEnd,
    /// A sensor is a little off: near what relations between sensors let pass.
    SoftSensor,
    /// A machine's torque is late, too small, too large or wrong while it synchronises.
    StrayMachine,
    /// Wheels that spin or block during a change.
    LooseWheels,
    /// A lock without a switch that can be believed.
    BlindSwitch,
}

/// All of them.
pub const AIMS: [Aim; 10] = [
    Aim::HotPlates,
    Aim::BrakedEngine,
    Aim::FullPedal,
    Aim::Kicks,
    Aim::NearRest,
    Aim::WindowEnd,
    Aim::SoftSensor,
    Aim::StrayMachine,
    Aim::LooseWheels,
    Aim::BlindSwitch,
];

impl Aim {
    /// Whether a drawn case can be turned to this.
    fn fits(self, world: &World, setup: &Setup) -> bool {
        let d = world.driveline();
        match self {
            Aim::HotPlates => {
                let plates = d.locks.iter().any(|l| matches!(l.kind, LockKind::Friction(_)));
                // It goes on knowing how hot they are: no reset, of which a cold one would forget it.
                plates && !setup.faults.iter().any(|f| resets_with_supply(&f.fault))
            }
            Aim::BrakedEngine => !with_engine(world).is_empty(),
            Aim::FullPedal | Aim::Kicks | Aim::NearRest => true,
            Aim::WindowEnd => world.windows_kmh.len() > 1,
            Aim::SoftSensor => faulty(setup).is_some() && !d.sensors.is_empty(),
            Aim::StrayMachine => {
                let electric = |m: &Machine| matches!(m.kind, MachineKind::Electric(_));
                faulty(setup).is_some() && d.machines.iter().any(electric)
            }
            Aim::LooseWheels => faulty(setup).is_some(),
            Aim::BlindSwitch => faulty(setup).is_some() && d.locks.iter().any(|l| l.has_switch),
        }
    }
}

/// Turns a drawn case to an aim, or leaves it as it is.
pub(super) fn aim(world: &World, random: &mut Random, setup: &mut Setup) {
    if !random.chance(AIMED_SHARE) {
        return;
    }
    let fit: Vec<Aim> = AIMS.into_iter().filter(|aim| aim.fits(world, setup)).collect();
    let aim = random.one_of(&fit);
    turn(world, random, setup, aim);
}

/// Turns a drawn case, which [fits](Aim::fits), to this aim.
pub(super) fn turn(world: &World, random: &mut Random, setup: &mut Setup, aim: Aim) {
    match aim {
        Aim::HotPlates => hot_plates(world, random, setup),
        Aim::BrakedEngine => braked_engine(world, random, setup),
        Aim::FullPedal => full_pedal(world, random, setup),
        Aim::Kicks => kicks(random, setup),
        Aim::NearRest => near_rest(world, random, setup),
        Aim::WindowEnd => window_end(world, random, setup),
        Aim::SoftSensor => soft_sensor(world, random, setup),
        Aim::StrayMachine => stray_machine(world, random, setup),
        Aim::LooseWheels => loose_wheels(random, setup),
        Aim::BlindSwitch => blind_switch(world, random, setup),
    }
    if setup.requests.iter().all(|r| r.0 <= 0.0) {
        let all = world.windows_kmh.len() as u64;
        let t_s = rounded(random.between(0.2, 1.2), 100.0);
        setup.requests.push((t_s, random.below(all) as usize));
    }
    let last_s = setup.requests.last().map_or(0.0, |r| r.0);
    setup.duration_s = setup.duration_s.max(rounded(last_s + 1.5, 10.0));
}

fn resets_with_supply(fault: &Injected) -> bool {
    matches!(fault, Injected::SupplyDip | Injected::SupplyColdDip)
}

fn is_reset(fault: &Injected) -> bool {
    matches!(fault, Injected::SupervisorReset | Injected::SupervisorColdReset)
}

/// The first fault that counts as one.
fn faulty(setup: &Setup) -> Option<usize> {
    setup.faults.iter().position(|f| !is_reset(&f.fault))
}

/// Another fault in the place of one that was drawn, so that a case has no more of them.
fn instead(setup: &mut Setup, fault: Option<Injected>, from_s: f64, to_s: f64) {
    if let (Some(at), Some(fault)) = (faulty(setup), fault) {
        setup.faults[at] = TimedFault { from_s, to_s, fault };
        setup.faults.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    }
}

/// Arrangements in which the engine runs.
fn with_engine(world: &World) -> Vec<usize> {
    let list = &world.driveline().arrangements;
    (0..list.len()).filter(|&a| list[a].engine == EngineUse::On).collect()
}

/// A new start; what was asked for later stays asked for.
fn start_in(setup: &mut Setup, arrangement: usize, kmh: f64) {
    setup.start_arrangement = Some(arrangement);
    setup.start_speed_kmh = kmh;
    setup.requests.retain(|r| r.0 > 0.0);
    setup.requests.insert(0, (0.0, arrangement));
}

/// A speed within an arrangement's window, between these shares of its way forward.
fn speed_in(world: &World, random: &mut Random, a: usize, (from, to): (f64, f64)) -> f64 {
    let (low, high) = world.windows_kmh[a];
    let low = low.max(0.0);
    rounded(low + (high - low) * random.between(from, to), PER_KMH).clamp(low.ceil(), high)
}

/// Arrangements one after the other, each another than the one before.
fn walk(world: &World, random: &mut Random, setup: &mut Setup, count: u64, wait: (f64, f64)) {
    let all = world.windows_kmh.len();
    setup.requests.retain(|r| r.0 <= 0.0);
    let mut t_s = rounded(random.between(0.3, 1.0), 100.0);
    for _ in 0..count {
        let last = setup.requests.last().map(|r| r.1);
        let other = random.below(all as u64) as usize;
        let other = if Some(other) == last { (other + 1) % all } else { other };
        setup.requests.push((t_s, other));
        t_s = rounded(t_s + random.between(wait.0, wait.1), 100.0);
    }
}

/// As hot as plates can rightly be: at most at their limit when they last closed, and most of what one
/// closing may add. They are wanted before they have cooled.
fn hot_plates(world: &World, random: &mut Random, setup: &mut Setup) {
    setup.faults.retain(|f| !is_reset(&f.fault));
    let sure = random.below(world.driveline().locks.len() as u64) as usize;
    for (i, lock) in world.driveline().locks.iter().enumerate() {
        let (LockKind::Friction(f), drawn) = (&lock.kind, random.chance(0.7) || i == sure) else {
            continue;
        };
        let one_k = f.energy_budget_kj / f.heat_capacity_kj_per_k;
        let rise_k = match random.chance(0.6) {
            true => random.between(f.max_rise_k, f.max_rise_k + 0.8 * one_k),
            false => random.between(0.8 * f.max_rise_k, f.max_rise_k),
        };
        if drawn {
            setup.start_rises_k.push((i, rounded(rise_k.min(1000.0), 10.0)));
        }
    }
    let count = 1 + random.below(4);
    walk(world, random, setup, count, (0.5, 1.8));
}

fn braked_engine(world: &World, random: &mut Random, setup: &mut Setup) {
    let a = random.one_of(&with_engine(world));
    let kmh = speed_in(world, random, a, (0.02, 0.5));
    start_in(setup, a, kmh);
    let at_s = rounded(random.between(0.3, 1.5), 100.0);
    let brake = -rounded(random.between(0.4, 1.0), 100.0);
    let end_s = rounded(at_s + random.between(0.5, 3.0), 100.0);
    let pull = rounded(random.between(0.0, 1.0), 100.0);
    setup.wish =
        Wish::Pedal(vec![(0.0, pull), (at_s, pull), (at_s, brake), (end_s, brake), (end_s, pull)]);
    setup.duration_s = setup.duration_s.max(rounded(end_s + 1.0, 10.0));
    uphill(world, random, setup, 0.5);
    // Where machines hold the engine's speed it is not the brake that drags it down.
    if random.chance(0.7) {
        let (word, value) = match random.weighted(&[0.2, 0.55, 0.1, 0.15]) {
            0 => ("machine-offset", -random.log_between(50.0, 250.0)),
            1 => ("machine-sign", 0.0),
            2 => ("machine-scale", random.between(0.25, 1.75)),
            _ => ("machine-lag", random.log_between(5.0, 50.0)),
        };
        let fault = named(word, electric(world, random), Some(rounded(value, 100.0)));
        let from_s = rounded(random.between(0.2, 2.0), 1000.0);
        instead(setup, fault, from_s, f64::INFINITY);
    }
}

fn uphill(world: &World, random: &mut Random, setup: &mut Setup, chance: f64) {
    if random.chance(chance) {
        let rise = random.between(0.4, 1.0) * world.grade_max;
        setup.grade = vec![(0.0, rounded(100.0 * rise, 10.0) / 100.0)];
    }
}

fn full_pedal(world: &World, random: &mut Random, setup: &mut Setup) {
    let a = random.below(world.windows_kmh.len() as u64) as usize;
    let kmh = speed_in(world, random, a, (0.05, 0.7));
    start_in(setup, a, kmh);
    let share = rounded(random.between(0.6, 1.0), 100.0);
    let sign = if random.chance(0.25) { -1.0 } else { 1.0 };
    setup.wish = Wish::Pedal(vec![(0.0, 0.0), (0.2, sign * share)]);
    let count = 1 + random.below(3);
    walk(world, random, setup, count, (0.8, 2.5));
    uphill(world, random, setup, 0.7);
}

fn kicks(random: &mut Random, setup: &mut Setup) {
    let mut points = vec![(0.0, 0.0)];
    let (mut t_s, mut sign) = (rounded(random.between(0.1, 0.6), 100.0), 1.0);
    while t_s < 6.0 {
        let share = sign * rounded(random.between(0.3, 1.0), 100.0);
        points.push((t_s, share));
        t_s = rounded(t_s + random.between(0.1, 0.7), 100.0);
        points.push((t_s, share));
        sign = -sign;
    }
    setup.wish = Wish::Pedal(points);
}

fn near_rest(world: &World, random: &mut Random, setup: &mut Setup) {
    let a = random.below(world.windows_kmh.len() as u64) as usize;
    let (low, high) = world.windows_kmh[a];
    let slow = |random: &mut Random| {
        let kmh = if random.chance(0.5) { 0.0 } else { random.between(-1.5, 3.0) };
        rounded(kmh.clamp(low, high), PER_KMH)
    };
    let kmh = slow(random);
    start_in(setup, a, kmh);
    let (then, at_s) = (slow(random), rounded(random.between(1.0, 3.0), 10.0));
    setup.wish = Wish::Speed(vec![(0.0, kmh), (at_s, then)]);
    let count = 2 + random.below(3);
    walk(world, random, setup, count, (0.6, 1.8));
}

/// Of the windows' ends those that another arrangement can be driven at.
fn window_end(world: &World, random: &mut Random, setup: &mut Setup) {
    let all = world.windows_kmh.len();
    let (a, b) = (random.below(all as u64) as usize, random.below(all as u64 - 1) as usize);
    let b = if b >= a { b + 1 } else { b };
    let ((low, high), (from, to)) = (world.windows_kmh[a], world.windows_kmh[b]);
    let end = if random.chance(0.5) { from } else { to };
    let within = |kmh: f64| rounded(kmh.clamp(low.ceil(), high.floor()), PER_KMH);
    let off = |random: &mut Random| random.between(-0.06, 0.06) * end.abs().max(10.0);
    let (kmh, then) = (within(end + off(random)), within(end + off(random)));
    start_in(setup, a, kmh);
    let at_s = rounded(random.between(1.0, 4.0), 10.0);
    setup.wish = Wish::Speed(vec![(0.0, kmh), (at_s, then)]);
    let first_s = rounded(random.between(0.2, 2.0), 100.0);
    let back_s = rounded(first_s + random.between(1.0, 2.5), 100.0);
    setup.requests = vec![(0.0, a), (first_s, b), (back_s, a)];
}

fn soft_sensor(world: &World, random: &mut Random, setup: &mut Setup) {
    let sensor = Some(random.below(world.driveline().sensors.len() as u64) as usize);
    let sign = if random.chance(0.5) { -1.0 } else { 1.0 };
    let (word, value) = match random.weighted(&[0.5, 0.15, 0.1, 0.1, 0.15]) {
        0 => ("sensor-bias", sign * random.log_between(5.0, 400.0)),
        1 => ("sensor-scale", 1.0 + sign * random.log_between(0.01, 0.2)),
        2 => ("sensor-noise", random.log_between(2.0, 60.0)),
        3 => ("sensor-coarse", random.log_between(5.0, 60.0)),
        _ => ("sensor-late", random.log_between(1.0, 20.0)),
    };
    let from_s = rounded(random.between(0.0, 0.6), 1000.0);
    instead(setup, named(word, sensor, Some(rounded(value, 100.0))), from_s, f64::INFINITY);
}

/// An electric machine, where there is one.
fn electric(world: &World, random: &mut Random) -> Option<usize> {
    let machines = &world.driveline().machines;
    let is_electric = |m: &usize| matches!(machines[*m].kind, MachineKind::Electric(_));
    let list: Vec<usize> = (0..machines.len()).filter(is_electric).collect();
    (!list.is_empty()).then(|| random.one_of(&list))
}

fn stray_machine(world: &World, random: &mut Random, setup: &mut Setup) {
    let machine = electric(world, random);
    let sign = if random.chance(0.5) { -1.0 } else { 1.0 };
    let (word, value) = match random.weighted(&[0.5, 0.2, 0.3]) {
        0 => ("machine-lag", random.log_between(2.0, 50.0)),
        1 => ("machine-scale", random.between(0.25, 1.75)),
        _ => ("machine-offset", sign * random.log_between(2.0, 100.0)),
    };
    let from_s = rounded(random.between(0.0, 0.3), 1000.0);
    let fault = named(word, machine, Some(rounded(value, 100.0)));
    instead(setup, fault, from_s, f64::INFINITY);
}

fn loose_wheels(random: &mut Random, setup: &mut Setup) {
    let share = rounded(random.log_between(0.02, 0.2), 100.0).max(0.01);
    let asked = setup.requests.iter().map(|r| r.0).find(|t_s| *t_s > 0.0);
    let at_s = asked.unwrap_or(0.5);
    let from_s = rounded((at_s + random.between(-0.1, 0.4)).max(0.0), 1000.0);
    let to_s = rounded(from_s + random.between(0.1, 1.5), 1000.0);
    instead(setup, named("wheel-slip", None, Some(share)), from_s, to_s);
    let sign = if random.chance(0.5) { -1.0 } else { 1.0 };
    let pedal = sign * rounded(random.between(0.3, 1.0), 100.0);
    setup.wish = Wish::Pedal(vec![(0.0, 0.1), (0.1, pedal)]);
}

fn blind_switch(world: &World, random: &mut Random, setup: &mut Setup) {
    let locks = &world.driveline().locks;
    let with: Vec<usize> = (0..locks.len()).filter(|&i| locks[i].has_switch).collect();
    let lock = random.one_of(&with);
    let words = ["switch-missing", "switch-stuck-open", "switch-stuck-closed", "switch-chatter"];
    let word = words[random.weighted(&[0.4, 0.2, 0.3, 0.1])];
    let from_s = rounded(random.between(0.0, 1.0), 1000.0);
    instead(setup, named(word, Some(lock), None), from_s, f64::INFINITY);
}

#[cfg(test)]
mod tests {
    use super::super::case::case;
    use super::*;
    use crate::drive::closed_loop::Run;
    use crate::driveline::DEMOS;
    use crate::review::Subject;

    /// Whatever a case is aimed at, it can mostly start, has no more faults than it had, and asks
    /// for something in rising order of time.
    #[test]
    fn aimed_cases_start_and_have_no_more_faults() {
        for demo in DEMOS {
            let world = World::new(Subject::read(demo, 1).expect("an embedded demo"));
            let prepared = world.prepared().expect("demos have all");
            for aim in AIMS {
                let (mut cases, mut run) = (0, 0);
                for number in 0..40 {
                    let mut setup = case(&world, 9, 2, number).setup;
                    if !setup.start_rises_k.is_empty() || !aim.fits(&world, &setup) {
                        continue;
                    }
                    let count =
                        |setup: &Setup| setup.faults.iter().filter(|f| !is_reset(&f.fault)).count();
                    let before = count(&setup);
                    turn(&world, &mut Random::new(number), &mut setup, aim);
                    assert_eq!(count(&setup), before, "{demo} {aim:?} {number}");
                    let times: Vec<f64> = setup.requests.iter().map(|r| r.0).collect();
                    assert!(times.windows(2).all(|t| t[0] < t[1]), "{demo} {aim:?}: {times:?}");
                    assert!(times.last().is_some_and(|t| *t > 0.0 && *t < setup.duration_s));
                    cases += 1;
                    run += usize::from(Run::of(&prepared, &setup, 1).is_ok());
                }
                let wanted = aim != Aim::BrakedEngine || !with_engine(&world).is_empty();
                assert!(!wanted || cases > 10, "{demo} {aim:?}: {cases}");
                assert!(4 * run >= 3 * cases, "{demo} {aim:?}: {run} of {cases} start");
            }
        }
    }

    #[test]
    fn plates_are_no_hotter_than_one_closing_makes_them_and_nothing_forgets_it() {
        let world = World::new(Subject::read("axle", 1).expect("an embedded demo"));
        let (mut below, mut above) = (0, 0);
        for number in 0..400 {
            let setup = case(&world, 4, 1, number).setup;
            let forgets = |f: &TimedFault| is_reset(&f.fault) || resets_with_supply(&f.fault);
            let hot = !setup.start_rises_k.is_empty();
            assert!(!hot || !setup.faults.iter().any(forgets), "{number}");
            for (lock, rise_k) in setup.start_rises_k {
                let LockKind::Friction(f) = &world.driveline().locks[lock].kind else {
                    panic!("a dog has no plates")
                };
                let one_k = f.energy_budget_kj / f.heat_capacity_kj_per_k;
                assert!(rise_k <= f.max_rise_k + one_k, "{number}: {rise_k}");
                below += usize::from(rise_k < f.max_rise_k);
                above += usize::from(rise_k > f.max_rise_k);
            }
        }
        assert!(below > 5 && above > 5, "{below} {above}");
    }
}
