//! Changes of times and of what kind a lock is. A time is changed by a factor, so that the same
//! change can be made to a table with shrunk timers.

use supervisor::table::{Lock, Timing};

use super::list::{List, Part};

const DECIDES: Part = Part::Decides;

/// A field that holds a number of ticks.
type Ticks<T> = fn(&mut T) -> &mut u16;

const OF_LOCK: [(&str, Ticks<Lock>); 4] = [
    ("close_ticks", |l| &mut l.close_ticks),
    ("close_timeout", |l| &mut l.close_timeout),
    ("release_ticks", |l| &mut l.release_ticks),
    ("release_timeout", |l| &mut l.release_timeout),
];

const OF_TIMING: [(&str, Ticks<Timing>); 10] = [
    ("dwell", |t| &mut t.dwell),
    ("sync_timeout", |t| &mut t.sync_timeout),
    ("unload_timeout", |t| &mut t.unload_timeout),
    ("overlap_max", |t| &mut t.overlap_max),
    ("min_stay", |t| &mut t.min_stay),
    ("request_dwell", |t| &mut t.request_dwell),
    ("retry_wait", |t| &mut t.retry_wait),
    ("debounce", |t| &mut t.debounce),
    ("rate_ticks", |t| &mut t.rate_ticks),
    ("engine_timeout", |t| &mut t.engine_timeout),
];

/// Factors as twice what they are: wrong by half, by twice, and none at all.
const FACTORS: [(u16, &str); 3] = [(0, "0"), (1, "/2"), (4, "x2")];

fn scaled(ticks: u16, doubled: u16) -> u16 {
    (u32::from(ticks) * u32::from(doubled) / 2).min(u32::from(u16::MAX)) as u16
}

pub(super) fn add(list: &mut List) {
    for (i, lock) in list.d.locks.iter().enumerate() {
        let place = format!("lock {}", lock.name);
        for (field, ticks) in OF_LOCK {
            for (doubled, name) in FACTORS {
                let place = format!("{place} {field}");
                list.add((DECIDES, "lock time"), place, name, move |t| {
                    let ticks = ticks(&mut t.locks[i]);
                    *ticks = scaled(*ticks, doubled);
                });
            }
        }
        list.add((DECIDES, "lock has_switch"), &place, "flipped", move |t| {
            t.locks[i].has_switch = !t.locks[i].has_switch;
        });
        list.add((DECIDES, "lock dog"), &place, "flipped", move |t| {
            t.locks[i].dog = !t.locks[i].dog;
        });
    }
    for (field, ticks) in OF_TIMING {
        // How far apart the samples of a rate are concerns measuring alone.
        let part = if field == "rate_ticks" { Part::Measures } else { DECIDES };
        for (doubled, name) in FACTORS {
            list.add((part, "timing"), format!("timing {field}"), name, move |t| {
                let ticks = ticks(&mut t.timing);
                *ticks = scaled(*ticks, doubled);
            });
        }
    }
    let missing = "x100 (no limit on overlaps)";
    list.add((DECIDES, "timing"), "timing overlap_max", missing, |t| {
        t.timing.overlap_max = t.timing.overlap_max.saturating_mul(100);
    });
    for (doubled, name) in FACTORS {
        list.add((DECIDES, "timing"), "timing retries", name, move |t| {
            t.timing.retries = scaled(t.timing.retries.into(), doubled).min(255) as u8;
        });
        list.add((Part::Measures, "timing"), "timing tick_s", name, move |t| {
            t.timing.tick_s *= f32::from(doubled) / 2.0;
        });
    }
}
