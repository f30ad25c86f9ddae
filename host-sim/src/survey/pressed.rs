//! Locks that a fault closes: at which road speeds the shafts can still stay inside their limits.

use super::arrangements::window_text;
use crate::driveline::Driveline;
use crate::kinematics::{Kinematics, PressedLock, and_list, pressed_locks, windows};
use crate::text::paragraph;

/// One entry for each arrangement and lock that leaves less than the arrangement's own window; empty
/// when there is none.
pub(super) fn pressed(d: &Driveline, k: &Kinematics, width: usize) -> String {
    let own = windows(d, k);
    let narrower = |pressed: &PressedLock| match &own[pressed.arrangement] {
        Ok(own) => pressed.narrows(own),
        Err(_) => false,
    };
    let all: Vec<PressedLock> = pressed_locks(d, k).into_iter().filter(narrower).collect();
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
    for pressed in &all {
        out += &paragraph(&title(d, pressed), 2, width);
        out += &paragraph(&says(d, pressed), 4, width);
    }
    out
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
