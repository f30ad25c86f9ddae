//! Speed pick-ups on a toothed wheel: from the time between teeth, or from their number.

use crate::io::Speed;

/// A toothed wheel.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Wheel {
    /// Places for teeth, missing ones included (60 for a wheel of 60 less 2).
    pub places: u16,
    /// Teeth missing in a row, at one place; 0 for none.
    pub missing: u8,
}

impl Wheel {
    const fn teeth(&self) -> u16 {
        self.places.saturating_sub(self.missing as u16)
    }
}

/// A timer that stamps edges.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Clock {
    /// Counts per second.
    pub hz: u32,
    /// Edges closer than this many counts are no teeth (faster than the shaft may turn).
    pub least: u32,
    /// After this many counts without an edge the shaft counts as standing.
    pub most: u32,
}

/// How far a gap's period may be from what the teeth before it lead one to expect, as a share of a
/// tooth: a gap is one when it is longer than so many teeth.
const GAP_SHARE: f32 = 0.6;

/// Speed from the time between teeth. Edges come from an input capture; direction from the level
/// of a second track at the edge, or from elsewhere.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Periods {
    wheel: Wheel,
    clock: Clock,
    /// The last edge, or the first look at a wheel of which nothing is known.
    stamp: Option<u32>,
    /// Whether the last stamp was an edge.
    awake: bool,
    /// No edge came for long.
    stands: bool,
    /// Counts for one tooth, the last known one.
    period: Option<u32>,
    forward: bool,
    /// Teeth since the gap; `None` before the first gap.
    since_gap: Option<u16>,
    /// Edges still to come until the wheel is believed again.
    doubt: u16,
    glitches: u16,
}

impl Periods {
    /// Nothing is known yet.
    pub const fn new(wheel: Wheel, clock: Clock) -> Periods {
        Periods {
            wheel,
            clock,
            stamp: None,
            awake: false,
            stands: false,
            period: None,
            forward: true,
            since_gap: None,
            doubt: 0,
            glitches: 0,
        }
    }

    /// An edge at `stamp` (wrapping counts of the clock), while turning forward or not.
    pub fn edge(&mut self, stamp: u32, forward: bool) {
        let stood = core::mem::replace(&mut self.stands, false);
        let Some(last) = self.stamp.filter(|_| !stood && self.awake) else {
            (self.stamp, self.forward, self.awake) = (Some(stamp), forward, true);
            return;
        };
        let counts = stamp.wrapping_sub(last);
        if counts < self.clock.least {
            // Not a tooth. The one that comes next is measured from the last real one.
            self.glitches = self.glitches.saturating_add(1);
            self.doubt = self.doubt.max(2);
            return;
        }
        self.stamp = Some(stamp);
        if forward != self.forward || counts > self.clock.most {
            // The same tooth passes again, or it stood: a period over that says nothing.
            self.forward = forward;
            (self.period, self.since_gap) = (None, None);
            return;
        }
        self.doubt = self.doubt.saturating_sub(1);
        self.period = Some(self.one_tooth(counts));
    }

    /// Counts for one tooth from counts between two edges, of which one may be the gap.
    fn one_tooth(&mut self, counts: u32) -> u32 {
        let parts = u32::from(self.wheel.missing).saturating_add(1);
        let long = self.period.is_some_and(|usual| {
            let more = (counts as f32) - (usual as f32);
            more > GAP_SHARE * f32::from(self.wheel.missing) * (usual as f32)
        });
        let teeth = self.wheel.teeth();
        if self.wheel.missing == 0 {
            // A tooth that is missing where none should be.
            if self.period.is_some_and(|usual| counts > usual.saturating_mul(8)) {
                self.doubt = self.doubt.max(2);
            }
            return counts;
        }
        if long {
            // A gap at the wrong place is a broken tooth or a lost edge.
            if self.since_gap.is_some_and(|n| n.saturating_add(1) != teeth) {
                self.doubt = teeth;
            }
            self.since_gap = Some(0);
            return counts.checked_div(parts).unwrap_or(counts);
        }
        if let Some(n) = &mut self.since_gap {
            *n = n.saturating_add(1);
            if *n >= teeth {
                // The gap did not come.
                self.doubt = teeth;
                self.since_gap = None;
            }
        }
        counts
    }

    /// The speed now; to be called every tick, at `now` (counts of the clock). When no edge came
    /// for longer than the last tooth took, the shaft is slower than that, and is told so. After
    /// the start, a standstill or a change of direction it is not valid before the second edge:
    /// one edge alone says nothing of the speed.
    pub fn speed(&mut self, now: u32) -> Speed {
        let stamp = *self.stamp.get_or_insert(now);
        let idle = now.wrapping_sub(stamp);
        if self.stands || idle > self.clock.most {
            (self.stands, self.period, self.since_gap) = (true, None, None);
            (self.doubt, self.awake) = (0, false);
            return Speed { radps: 0.0, valid: true };
        }
        let Some(period) = self.period else { return Speed::default() };
        let parts = u32::from(self.wheel.missing).saturating_add(1);
        let idle = idle.checked_div(parts).unwrap_or(idle);
        let counts = period.max(idle).max(1) as f32;
        let tooth = core::f32::consts::TAU / f32::from(self.wheel.places.max(1));
        let size = tooth * (self.clock.hz as f32) / counts;
        let radps = if self.forward { size } else { -size };
        Speed { radps, valid: self.doubt == 0 && size.is_finite() }
    }

    /// Edges that were no teeth.
    pub const fn glitches(&self) -> u16 {
        self.glitches
    }
}

/// Most ticks over which teeth are counted.
pub const WINDOW_MAX: usize = 16;

/// Speed from the number of teeth (or quarter teeth) in a window of ticks; the count is that of a
/// hardware counter or of [`Quadrature`](super::quadrature::Quadrature), signed and wrapping.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Counts {
    radps_per_count: f32,
    counts: [u16; WINDOW_MAX],
    window: u8,
    filled: u8,
    at: u8,
}

impl Counts {
    /// Counts for one turn of the shaft, time of a tick in s, and the window in ticks, 1 to
    /// [`WINDOW_MAX`]. The speed is told in steps of one count a window.
    pub fn new(per_turn: u16, tick_s: f32, window: u8) -> Counts {
        let window = window.clamp(1, WINDOW_MAX as u8);
        let turn = f32::from(per_turn.max(1));
        let radps_per_count = core::f32::consts::TAU / (turn * tick_s * f32::from(window));
        Counts { radps_per_count, counts: [0; WINDOW_MAX], window, filled: 0, at: 0 }
    }

    /// The counter's value at this tick. Not valid until the window is full.
    pub fn speed(&mut self, count: u16) -> Speed {
        let Some(slot) = self.counts.get_mut(usize::from(self.at)) else {
            return Speed::default();
        };
        let old = core::mem::replace(slot, count);
        self.at = self.at.wrapping_add(1);
        if self.at >= self.window {
            self.at = 0;
        }
        if self.filled < self.window {
            self.filled = self.filled.saturating_add(1);
            return Speed::default();
        }
        // Up to half of the counter's range either way in a window.
        let moved = count.wrapping_sub(old).cast_signed();
        let radps = self.radps_per_count * f32::from(moved);
        Speed { radps, valid: radps.is_finite() }
    }

    /// The counter or its pins failed: the window begins anew.
    pub fn forget(&mut self) {
        self.filled = 0;
    }
}
