//! Locks that a fault closes: at which road speeds the shafts can still stay inside their limits.

use super::arrangements::window_text;
use crate::driveline::Driveline;
use crate::kinematics::{
    Kinematics, NoWindow, PressedLock, Window, and_list, pressed_locks, pressed_locks_tested,
    windows,
};
use crate::text::paragraph;

/// One entry for each arrangement and lock that leaves less than the arrangement's own window; empty
/// when there is none.
pub(super) fn pressed(d: &Driveline, k: &Kinematics, width: usize) -> String {
    let own = windows(d, k);
    let narrower = |pressed: &PressedLock| match &own[pressed.arrangement] {
        Ok(own) => pressed.narrows(own),
        Err(_) => false,
    };
    let tested = pressed_locks_tested(d, k);
    let all: Vec<(PressedLock, PressedLock)> =
        pressed_locks(d, k).into_iter().zip(tested).filter(|(one, _)| narrower(one)).collect();
    if all.is_empty() {
        return String::new();
    }
    let mut out = paragraph(
        "Locks that a fault closes: road speeds at which every shaft can still stay inside its \
         limits. Beyond them a shaft passes its limit, whatever the machines do, as long as these \
         locks are closed: drive slower, build shafts that bear it, or bar the lock by other means",
        0,
        width,
    );
    let tests = d.shafts.iter().any(|shaft| shaft.tested_rpm.is_some());
    for (pressed, tested) in &all {
        out += &paragraph(&title(d, pressed), 2, width);
        out += &paragraph(&says(d, pressed), 4, width);
        if tests && tested.window != pressed.window {
            out += &paragraph(&bears(d, &own[pressed.arrangement], tested), 4, width);
        }
    }
    out
}

/// What the shafts were tested to bear for a while makes of it.
fn bears(d: &Driveline, own: &Result<Window, NoWindow>, tested: &PressedLock) -> String {
    match own {
        Ok(own) if !tested.narrows(own) => {
            "at speeds that the shafts were tested to bear for a while: all that the arrangement allows"
                .to_string()
        }
        _ => format!(
            "at speeds that the shafts were tested to bear for a while: {}",
            says(d, tested)
        ),
    }
}

fn title(d: &Driveline, pressed: &PressedLock) -> String {
    let name = &d.arrangements[pressed.arrangement].name;
    let lock = &d.locks[pressed.lock].name;
    match pressed.let_go {
        0 => format!("{name} and {lock}"),
        locks => format!("{name} and {lock}, without {}", and_list(&d.lock_names(locks))),
    }
}

fn says(d: &Driveline, pressed: &PressedLock) -> String {
    match &pressed.window {
        Ok(window) => window_text(d, window),
        Err(_) => "none at all".to_string(),
    }
}
