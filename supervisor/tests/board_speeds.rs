//! Pick-ups, quadrature and resolver against a shaft that turns as the test says: the truth is a
//! motion worked out in f64, edges are where its teeth pass.

use std::f64::consts::TAU;

use proptest::prelude::*;
use supervisor::board::pickup::{Clock, Counts, Periods, Wheel};
use supervisor::board::quadrature::Quadrature;
use supervisor::board::resolver::{ANGLE_ERROR, Resolver, TURN_MAX, Windings};

const CLOCK: Clock = Clock { hz: 1_000_000, least: 40, most: 200_000 };
const TRIGGER: Wheel = Wheel { places: 60, missing: 2 };
const WHOLE: Wheel = Wheel { places: 48, missing: 0 };

/// Edges of a wheel on a shaft with constant acceleration, as counts of the clock.
fn edges(wheel: Wheel, start_radps: f64, accel: f64, from: u32, seconds: f64) -> Vec<u32> {
    let tooth = TAU / f64::from(wheel.places);
    let mut found = Vec::new();
    for k in 1.. {
        let angle = f64::from(k) * tooth;
        // angle = w t + a t^2 / 2
        let t = match accel == 0.0 {
            true => angle / start_radps,
            false => {
                let root = start_radps * start_radps + 2.0 * accel * angle;
                if root < 0.0 {
                    break;
                }
                (root.sqrt() - start_radps) / accel
            }
        };
        if t > seconds {
            break;
        }
        let place = k % i32::from(wheel.places);
        if place < i32::from(wheel.places) - i32::from(wheel.missing) {
            found.push(from.wrapping_add((t * f64::from(CLOCK.hz)) as u32));
        }
    }
    found
}

/// Speed told every millisecond; the closure sees time in s and what was told.
fn follow(
    pickup: &mut Periods,
    edges: &[(u32, bool)],
    from: u32,
    seconds: f64,
    mut see: impl FnMut(f64, supervisor::io::Speed),
) {
    let mut next = edges.iter().peekable();
    for tick in 1..=(seconds * 1000.0) as u32 {
        let now = tick * 1000;
        while let Some((stamp, forward)) = next.next_if(|e| e.0.wrapping_sub(from) <= now) {
            pickup.edge(*stamp, *forward);
        }
        see(f64::from(tick) / 1000.0, pickup.speed(from.wrapping_add(now)));
    }
}

proptest! {
    /// Constant speed, any sign, any start of the counter, with and without missing teeth: within
    /// one count of the clock, the gap never told as another speed.
    #[test]
    fn a_constant_speed_is_told(
        radps in 5.0f64..400.0, forward: bool, from: u32, gap: bool,
    ) {
        let wheel = if gap { TRIGGER } else { WHOLE };
        let mut pickup = Periods::new(wheel, CLOCK);
        let list: Vec<_> = edges(wheel, radps, 0.0, from, 1.5).into_iter().map(|e| (e, forward)).collect();
        let mut valid = 0;
        // After a turn and a half every gap is at its place.
        let settled = 3.0 * TAU / radps;
        let mut worst = 0.0f64;
        let mut wrong = Vec::new();
        follow(&mut pickup, &list, from, 1.5, |t, told| {
            if t > settled && told.valid {
                valid += 1;
                let error = (f64::from(told.radps) - if forward { radps } else { -radps }).abs() / radps;
                worst = worst.max(error);
            } else if t > settled {
                wrong.push(t);
            }
        });
        prop_assert!(wrong.is_empty(), "not valid at {:?}", wrong);
        let ticks = ((1.5 - settled) * 1000.0) as i32;
        prop_assert!(valid >= ticks - 2, "{} of {}", valid, ticks);
        // One count at either end of a tooth.
        let counts = TAU / f64::from(wheel.places) / radps * f64::from(CLOCK.hz);
        prop_assert!(worst <= 2.5 / counts + 1e-5, "{} of {}", worst, counts);
    }

    /// While the shaft changes speed, what is told lies between the speeds of the last two teeth.
    #[test]
    fn a_changing_speed_lags_by_two_teeth_at_most(
        start in 20.0f64..200.0, accel in -60.0f64..200.0, gap: bool,
    ) {
        let wheel = if gap { TRIGGER } else { WHOLE };
        let mut pickup = Periods::new(wheel, CLOCK);
        let seconds = if accel < 0.0 { (0.7 * start / -accel).min(1.0) } else { 1.0 };
        let list: Vec<_> = edges(wheel, start, accel, 7, seconds).into_iter().map(|e| (e, true)).collect();
        let settled = 2.5 * TAU / start;
        let mut bad = Vec::new();
        follow(&mut pickup, &list, 7, seconds, |t, told| {
            if t <= settled || !told.valid { return }
            let truth = start + accel * t;
            let span = 2.0 * f64::from(1 + wheel.missing) * TAU / f64::from(wheel.places) / truth.min(start) + 0.001;
            let slack = accel.abs() * span + 0.004 * truth + 0.1;
            if (f64::from(told.radps) - truth).abs() > slack {
                bad.push((t, truth, told.radps));
            }
        });
        prop_assert!(bad.is_empty(), "{:?}", &bad[..bad.len().min(3)]);
    }

    /// Edges at any time, in any direction: never a panic, never a valid value faster than what
    /// the clock lets through.
    #[test]
    fn hostile_edges_are_bounded(
        gaps in prop::collection::vec((0u32..400_000, any::<bool>()), 1..200), from: u32,
    ) {
        let mut pickup = Periods::new(TRIGGER, CLOCK);
        let fastest = (TAU / 60.0 * f64::from(CLOCK.hz) / f64::from(CLOCK.least)) as f32 * 3.001;
        let mut now = from;
        for (gap, forward) in gaps {
            now = now.wrapping_add(gap);
            pickup.edge(now, forward);
            let told = pickup.speed(now.wrapping_add(gap / 2));
            prop_assert!(!told.valid || told.radps.abs() <= fastest, "{:?}", told);
        }
    }

    /// A counter of any start, forward or backward: whole counts over the window.
    #[test]
    fn counted_teeth_are_told(step in -200i16..200, start: u16, window in 1u8..=16) {
        let mut counts = Counts::new(120, 0.001, window);
        let mut count = start;
        for tick in 0..40u8 {
            let told = counts.speed(count);
            count = count.wrapping_add_signed(step);
            prop_assert_eq!(told.valid, tick >= window);
            if told.valid {
                let truth = f64::from(step) * TAU / 120.0 / 0.001;
                prop_assert!((f64::from(told.radps) - truth).abs() <= 1e-6 * truth.abs() + 1e-6);
            }
        }
        counts.forget();
        prop_assert!(!counts.speed(count).valid);
    }

    /// A walk over quarter teeth is counted, forward and backward; a skipped quarter is noticed.
    #[test]
    fn quarters_are_counted(steps in prop::collection::vec(-1i32..=2, 1..300)) {
        let mut read = Quadrature::default();
        let tracks = |q: i32| [(false, false), (true, false), (true, true), (false, true)][q.rem_euclid(4) as usize];
        let (mut quarter, mut counted, mut jumps) = (0, 0i32, 0u16);
        read.sample(tracks(0).0, tracks(0).1);
        for step in steps {
            quarter += step;
            read.sample(tracks(quarter).0, tracks(quarter).1);
            if step == 2 { jumps += 1 } else { counted += step }
            prop_assert_eq!(read.count(), counted as u16);
            prop_assert_eq!(read.jumps(), jumps);
        }
    }

    /// A resolver at any angle and amplitude.
    #[test]
    fn a_resolver_tells_the_speed(
        angle in 0.0f64..TAU, turn in -1.5f64..1.5, amplitude in 0.5f32..2.0, backward: bool,
    ) {
        let sign = if backward { -1.0 } else { 1.0 };
        let windings = Windings { pole_pairs: 4, sample_s: 0.001, amplitude: (0.8, 1.2), sign };
        let mut resolver = Resolver::new(windings);
        let at = |a: f64| ((a.sin() as f32) * amplitude, (a.cos() as f32) * amplitude);
        let (s, c) = at(angle);
        prop_assert!(!resolver.sample(s, c).valid, "one sample is no speed");
        let (s, c) = at(angle + turn);
        let told = resolver.sample(s, c);
        let sound = (0.801..1.199).contains(&amplitude);
        let torn = !(0.799..=1.201).contains(&amplitude);
        let limit = f64::from(TURN_MAX);
        if sound && turn.abs() < limit * 0.99 { prop_assert!(told.valid) }
        if torn || turn.abs() > limit * 1.01 { prop_assert!(!told.valid) }
        if told.valid {
            let truth = f64::from(sign) * turn / 0.004;
            let slack = f64::from(ANGLE_ERROR) * truth.abs() + 0.1;
            prop_assert!((f64::from(told.radps) - truth).abs() <= slack, "{} {}", told.radps, truth);
        }
    }
}

/// The stated error of the angle, by a scan; and not stated much too large.
#[test]
fn the_error_of_the_angle_is_as_stated() {
    let windings = Windings { pole_pairs: 1, sample_s: 1.0, amplitude: (0.5, 1.5), sign: 1.0 };
    let mut worst = 0.0f64;
    for step in 1..=7_000 {
        for sign in [-1.0, 1.0] {
            let turn = sign * f64::from(step) * 1e-4 * 0.99;
            let mut resolver = Resolver::new(windings);
            let _ = resolver.sample(0.0, 1.0);
            let told = resolver.sample(turn.sin() as f32, turn.cos() as f32);
            assert!(told.valid);
            worst = worst.max(((f64::from(told.radps) - turn) / turn).abs());
        }
    }
    assert!(worst <= f64::from(ANGLE_ERROR), "{worst}");
    assert!(worst >= f64::from(ANGLE_ERROR) / 4.0, "stated too large: {worst}");
}

/// No edges: nothing is known at first, then the shaft counts as standing.
#[test]
fn a_standstill_is_found_and_left() {
    let mut pickup = Periods::new(WHOLE, CLOCK);
    let first = pickup.speed(5_000);
    assert!(!first.valid, "too early to say");
    assert!(!pickup.speed(5_000 + CLOCK.most).valid);
    let told = pickup.speed(5_001 + CLOCK.most);
    assert!(told.valid && told.radps == 0.0);
    // Long after, when the counter has gone round: still standing.
    assert!(pickup.speed(4_999).valid);
    pickup.edge(10_000, true);
    assert!(!pickup.speed(10_500).valid, "one edge says nothing of the speed");
    pickup.edge(20_000, true);
    let told = pickup.speed(20_500);
    assert!(told.valid && (f64::from(told.radps) - TAU / 48.0 / 0.01).abs() < 1e-3);
    // Slower and slower while no edge comes.
    let later = pickup.speed(60_000);
    assert!(later.valid && (f64::from(later.radps) - TAU / 48.0 / 0.04).abs() < 1e-3);
}

/// The time from a first look at the wheel to its first edge is no time between two edges.
#[test]
fn a_look_is_no_edge() {
    let mut pickup = Periods::new(WHOLE, CLOCK);
    assert!(!pickup.speed(0).valid);
    for (edge, valid) in [(2_000, false), (6_000, true)] {
        pickup.edge(edge, true);
        let told = pickup.speed(edge + 100);
        assert_eq!(told.valid, valid, "{edge}");
        let truth = if valid { TAU / 48.0 / 0.004 } else { 0.0 };
        assert!((f64::from(told.radps) - truth).abs() < 1e-3, "{edge}: {told:?}");
    }
}

/// Turning back: not valid until two edges of the new direction came; never the wrong sign.
#[test]
fn a_change_of_direction_is_no_speed() {
    let mut pickup = Periods::new(WHOLE, CLOCK);
    for k in 0..10 {
        pickup.edge(k * 2_000, true);
    }
    assert!(pickup.speed(18_100).radps > 0.0);
    pickup.edge(20_000, false);
    assert!(!pickup.speed(20_100).valid);
    pickup.edge(23_000, false);
    let told = pickup.speed(23_100);
    assert!(told.valid && told.radps < 0.0);
}

/// A tooth breaks off, an edge is lost, a spike comes: not valid until it is sure again.
#[test]
fn a_damaged_wheel_is_noticed() {
    let whole = edges(TRIGGER, 100.0, 0.0, 0, 1.0);
    for (what, change) in [("two broken teeth", 2usize), ("a spike", usize::MAX)] {
        let mut pickup = Periods::new(TRIGGER, CLOCK);
        let mut list: Vec<(u32, bool)> = whole.iter().map(|e| (*e, true)).collect();
        // In the third turn, far from the gap.
        let at = 58 * 2 + 25;
        let t_broken = f64::from(list[at].0) / 1e6;
        match change {
            usize::MAX => list.insert(at, (list[at - 1].0 + 20, true)),
            n => drop(list.drain(at..at + n)),
        }
        let mut doubted = 0;
        let mut wrong = Vec::new();
        follow(&mut pickup, &list, 0, 1.0, |t, told| {
            let near = (t_broken - 0.001..t_broken + 0.1).contains(&t);
            doubted += i32::from(near && !told.valid);
            // The two ticks in which the long period itself is not known yet.
            if told.valid && t > 0.13 && (f64::from(told.radps) - 100.0).abs() > 1.0 {
                wrong.push((t, told.radps));
            }
        });
        assert!(doubted > 0, "{what} was not noticed");
        assert!(wrong.len() <= 3, "{what}: {wrong:?}");
    }
}

/// Edges at these times, all forward; then what is told at the last of them, and how many were no teeth.
fn after(wheel: Wheel, stamps: &[u32]) -> (supervisor::io::Speed, u16) {
    let mut pickup = Periods::new(wheel, CLOCK);
    stamps.iter().for_each(|stamp| pickup.edge(*stamp, true));
    (pickup.speed(stamps.last().copied().unwrap_or(0)), pickup.glitches())
}

/// A spike is no tooth: it is counted, and two teeth later the wheel is believed again. One count more
/// between two edges, and it is a tooth.
#[test]
fn a_spike_is_counted_and_forgotten_after_two_teeth() {
    let teeth = |spike: u32| [0, 2_000, 4_000, 4_000 + spike, 6_000, 8_000];
    for (edges, valid, glitches) in [(3, true, 0), (4, false, 1), (5, false, 1), (6, true, 1)] {
        let (told, counted) = after(WHOLE, &teeth(CLOCK.least - 1)[..edges]);
        assert_eq!((told.valid, counted), (valid, glitches), "{edges} edges");
    }
    let (told, counted) = after(WHOLE, &teeth(CLOCK.least)[..4]);
    let fast = TAU / 48.0 / f64::from(CLOCK.least) * 1e6;
    assert!(told.valid && (f64::from(told.radps) - fast).abs() < 1e-3 * fast);
    assert_eq!(counted, 0);
}

/// On a wheel without a gap a tooth that takes more than eight times as long as the last is doubted
/// for two teeth; eight times is a shaft that slows down.
#[test]
fn a_tooth_that_is_missing_is_doubted() {
    for (long, doubts) in [(16_000, false), (16_001, true), (CLOCK.most, true)] {
        let stamps = [0, 2_000, 2_000 + long, 4_000 + long, 6_000 + long];
        let valid: Vec<bool> = (2..=5).map(|n| after(WHOLE, &stamps[..n]).0.valid).collect();
        // The edge that ends it starts the doubt; the next is one of the two.
        assert_eq!(valid, [true, !doubts, !doubts, true], "{long}");
    }
    // It stood: the period before says nothing, and the next one is the first.
    let (told, _) = after(WHOLE, &[0, 2_000, 2_001 + CLOCK.most]);
    assert!(!told.valid);
    let (told, _) = after(WHOLE, &[0, 2_000, 2_001 + CLOCK.most, 4_001 + CLOCK.most]);
    assert!(told.valid);
}

/// A gap of two teeth is one from more than 2.2 teeth on (its own and 0.6 of what is missing), and is told
/// as three teeth; at its place once a turn, else the whole turn after it is doubted.
#[test]
fn the_gap_is_known_by_its_length_and_place() {
    let tooth = |counts: f64| TAU / 60.0 / counts * 1e6;
    let close = |told: supervisor::io::Speed, truth: f64| {
        told.valid && (f64::from(told.radps) - truth).abs() < 1e-3 * truth
    };
    for (gap, teeth) in [(2_190, 1.0), (2_200, 1.0), (2_210, 3.0), (3_000, 3.0)] {
        let (told, _) = after(TRIGGER, &[0, 1_000, 2_000, 2_000 + gap]);
        assert!(close(told, tooth(f64::from(gap) / teeth)), "{gap}: {told:?}");
    }
    // From a first gap on: so many plain teeth, and another gap or not. Where that is not as it should
    // be, so many teeth later the wheel is believed again, and never when the gap after a gap fails too.
    for (plain, gap, believed_after) in [
        (57u32, true, Some(0)),
        (57, false, Some(0)),
        (58, false, Some(58)),
        (58, true, Some(57)),
        (56, true, None),
        (1, true, None),
    ] {
        let mut stamps = vec![0, 1_000, 4_000];
        stamps.extend((1..=plain).map(|n| 4_000 + n * 1_000));
        let mut now = 4_000 + plain * 1_000;
        if gap {
            now += 3_000;
            stamps.push(now);
        }
        let believed = (0..=58).find(|&n| {
            let more = (1..=n).map(|n| now + n * 1_000);
            let all: Vec<u32> = stamps.iter().copied().chain(more).collect();
            after(TRIGGER, &all).0.valid
        });
        assert_eq!(believed, believed_after, "{plain} teeth, {gap}");
    }
    // Nothing comes: a gap may pass before the shaft counts as slower.
    let mut pickup = Periods::new(TRIGGER, CLOCK);
    [0, 1_000, 2_000].iter().for_each(|stamp| pickup.edge(*stamp, true));
    for (idle, counts) in [(0, 1_000.0), (1_000, 1_000.0), (3_000, 1_000.0), (6_000, 2_000.0)] {
        assert!(close(pickup.speed(2_000 + idle), tooth(counts)), "{idle}");
    }
}

/// Half a turn of the windings and near it: too far in any case, whichever way it went.
#[test]
fn half_a_turn_is_no_speed() {
    let windings = Windings { pole_pairs: 1, sample_s: 1.0, amplitude: (0.5, 1.5), sign: 1.0 };
    for degrees in [0.0, 39.0, 42.0, 89.0, 90.0, 91.0, 135.0, 180.0, 225.0, 270.0, 271.0, 330.0] {
        let angle = f64::to_radians(degrees);
        let mut resolver = Resolver::new(windings);
        let _ = resolver.sample(0.0, 1.0);
        let told = resolver.sample(angle.sin() as f32, angle.cos() as f32);
        let turn = if degrees > 180.0 { angle - TAU } else { angle };
        assert_eq!(told.valid, turn.abs() < f64::from(TURN_MAX), "{degrees}");
        let quarter = (90.0..=270.0).contains(&degrees);
        assert!(!quarter || told.radps.abs() < 1e-6 || !told.valid, "{degrees}");
    }
}
