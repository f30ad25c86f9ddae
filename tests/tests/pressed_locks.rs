//! Locks that a fault closes: what is left of a window, against the windows of the lock sets that
//! result, every choice of what to let go, and motions at the ends.

use host_sim::driveline::{self, Driveline};
use host_sim::exact::to_f64;
use host_sim::kinematics::{
    self, Kinematics, LimitKind, PressedLock, find_window, pressed_locks, pressed_locks_tested,
    windows,
};

const DEMOS: [&str; 3] = ["shuttle", "railcar", "axle"];

fn demo(name: &str) -> (Driveline, Kinematics) {
    let text = driveline::demo(name).expect("an embedded demo");
    let d = driveline::parse(name, text).expect("demos are valid").driveline;
    let k = kinematics::analyse(&d).expect("the demo can move");
    (d, k)
}

fn closed(d: &Driveline, pressed: &PressedLock) -> u8 {
    d.arrangements[pressed.arrangement].closed & !pressed.let_go | 1 << pressed.lock
}

#[test]
fn as_few_locks_are_let_go_as_will_do_and_the_window_is_that_of_the_rest() {
    let (mut let_go, mut all) = (0, 0);
    for name in DEMOS {
        let (d, k) = demo(name);
        let forbidden = |set: u8| k.set(set).verdict.is_forbidden();
        let open = |p: &PressedLock| d.arrangements[p.arrangement].closed >> p.lock & 1 == 0;
        assert!(pressed_locks(&d, &k).iter().all(open), "{name}: what is closed is not pressed");
        for (a, arrangement) in d.arrangements.iter().enumerate() {
            for lock in (0..d.locks.len()).filter(|l| arrangement.closed >> l & 1 == 0) {
                let found = pressed_locks(&d, &k);
                let one: Vec<&PressedLock> =
                    found.iter().filter(|p| (p.arrangement, p.lock) == (a, lock)).collect();
                // Every choice: none that lets go of fewer is allowed.
                let fewest = (0..=u8::MAX)
                    .filter(|part| part & !arrangement.closed == 0)
                    .filter(|part| !forbidden(arrangement.closed & !part | 1 << lock))
                    .map(u8::count_ones)
                    .min();
                assert_eq!(one.len(), usize::from(fewest.is_some()), "{name} {a} {lock}");
                let [one] = one[..] else { continue };
                assert_eq!(Some(one.let_go.count_ones()), fewest, "{name} {a} {lock}");
                assert!(!forbidden(closed(&d, one)));
                assert_eq!(one.window, find_window(&d, &k, closed(&d, one), arrangement.engine));
                (let_go, all) = (let_go + one.let_go.count_ones(), all + 1);
            }
        }
    }
    assert!(let_go > 3 && all > 20, "{let_go} {all}");
}

/// Reckoned by hand from the axle's gears: with the low brake and the disconnect closed, and the high
/// clutch let go, it is in low, whatever it was in before.
#[test]
fn the_axle_that_a_fault_puts_in_low_has_the_window_of_low() {
    let (d, k) = demo("axle");
    let place =
        |name: &str| d.arrangements.iter().position(|a| a.name == name).expect("it is there");
    let (low, high) = (place("low"), place("high"));
    let brake = d.locks.iter().position(|l| l.name == "low-brake").expect("it is there");
    let own = windows(&d, &k);
    let found = pressed_locks(&d, &k);
    let pressed = found.iter().find(|p| (p.arrangement, p.lock) == (high, brake)).expect("a lock");
    assert_eq!(d.lock_names(pressed.let_go), ["high-clutch"]);
    let (left, low, high) = (pressed.window.as_ref(), own[low].as_ref(), own[high].as_ref());
    let (left, low, high) = (left.expect("one"), low.expect("one"), high.expect("one"));
    assert_eq!((&left.low, &left.high), (&low.low, &low.high));
    assert!(pressed.narrows(high) && !pressed.narrows(low));
    assert!(!pressed.narrows(left), "what is as wide is not narrower");
}

/// At an end that is left, the named limits are reached by a motion in which the lock does not slip; a
/// little beyond, no motion keeps them (the window of the rest ends there).
#[test]
fn at_the_end_that_is_left_a_shaft_is_at_its_limit_and_the_pressed_lock_holds() {
    let mut ends = 0;
    for name in DEMOS {
        let (d, k) = demo(name);
        let own = windows(&d, &k);
        for pressed in pressed_locks(&d, &k) {
            let (Ok(left), Ok(own)) = (&pressed.window, &own[pressed.arrangement]) else {
                continue;
            };
            if !pressed.narrows(own) {
                continue;
            }
            for end in [&left.low, &left.high] {
                let speeds: Vec<f64> = end.speeds_rpm.iter().map(to_f64).collect();
                let lock = &d.locks[pressed.lock];
                let other = lock.b.map_or(0.0, |b| speeds[b]);
                assert!((speeds[lock.a] - other).abs() < 1e-9, "{name} {}", lock.name);
                for by in end.ended_by.iter().filter(|by| by.limit.shaft != d.output.shaft) {
                    assert_eq!(speeds[by.limit.shaft], to_f64(&by.limit.rpm), "{name}");
                    ends += 1;
                }
            }
        }
    }
    assert!(ends > 10, "{ends}");
}

/// Tested at 1.2 times its limit, a shaft ends the window at 1.2 times the road speed. In the demos what the shafts
/// were tested for is enough at the upper end of every arrangement, whatever lock a fault closes.
#[test]
fn tested_speeds_widen_what_is_left_by_as_much() {
    let (mut wider, mut all) = (0, 0);
    for name in DEMOS {
        let (d, k) = demo(name);
        let own = windows(&d, &k);
        for (pressed, tested) in pressed_locks(&d, &k).iter().zip(&pressed_locks_tested(&d, &k)) {
            let Ok(own) = &own[pressed.arrangement] else { continue };
            all += usize::from(pressed.narrows(own) && !tested.narrows(own));
        }
        // The vehicle's highest speed would end most of them.
        let d = Driveline { vehicle: None, ..d };
        for (pressed, tested) in pressed_locks(&d, &k).iter().zip(&pressed_locks_tested(&d, &k)) {
            assert_eq!(
                (pressed.arrangement, pressed.lock, pressed.let_go),
                (tested.arrangement, tested.lock, tested.let_go)
            );
            let (Ok(a), Ok(b)) = (&pressed.window, &tested.window) else { continue };
            assert!(!tested.narrows(a), "never less");
            let shafts_alone = |end: &kinematics::End| {
                !end.ended_by.is_empty()
                    && end
                        .ended_by
                        .iter()
                        .all(|e| matches!(e.limit.kind, LimitKind::ShaftMax | LimitKind::ShaftMin))
            };
            for (a, b) in [(&a.low, &b.low), (&a.high, &b.high)] {
                let (Some(from), Some(to)) = (&a.output_rpm, &b.output_rpm) else { continue };
                if shafts_alone(a) && shafts_alone(b) {
                    let ratio = to_f64(to) / to_f64(from);
                    let tested = |end: &kinematics::EndedBy| {
                        let shaft = &d.shafts[end.limit.shaft];
                        shaft.tested_rpm.expect("tested") / shaft.max_rpm.expect("limited")
                    };
                    let ended = a.ended_by.iter().chain(&b.ended_by).map(tested);
                    let (least, most) =
                        ended.fold((f64::INFINITY, 0.0f64), |(a, b), x| (a.min(x), b.max(x)));
                    let slack = 1e-12;
                    assert!(least - slack < ratio && ratio < most + slack, "{name} {ratio}");
                    wider += 1;
                }
            }
        }
    }
    assert!(wider > 10 && all >= 5, "{wider} {all}");
}

/// An end that nothing sets is the widest; a window without ends is not narrower than another one.
#[test]
fn an_end_that_nothing_sets_is_the_widest() {
    let (d, k) = demo("axle");
    let pressed = pressed_locks(&d, &k).into_iter().find(|p| p.window.is_ok()).expect("a lock");
    let own = pressed.window.clone().expect("a window");
    for (low, high) in [(true, false), (false, true), (true, true)] {
        let mut free = own.clone();
        if low {
            free.low.output_rpm = None;
        }
        if high {
            free.high.output_rpm = None;
        }
        let wide = PressedLock { window: Ok(free.clone()), ..pressed.clone() };
        assert!(pressed.narrows(&free) && !wide.narrows(&own), "{low} {high}");
        assert!(!wide.narrows(&free) && !pressed.narrows(&own), "{low} {high}");
    }
}
