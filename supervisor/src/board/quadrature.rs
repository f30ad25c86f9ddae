//! Direction and count from two tracks that are a quarter of a tooth apart.

use embedded_hal::digital::InputPin;

use super::PinFailed;

/// A count of quarter teeth, up and down, from sampled tracks.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Quadrature {
    count: u16,
    last: Option<(bool, bool)>,
    jumps: u16,
}

/// Place of a pair of tracks in the order that they pass through when turning forward.
const fn place(a: bool, b: bool) -> u8 {
    match (a, b) {
        (false, false) => 0,
        (true, false) => 1,
        (true, true) => 2,
        (false, true) => 3,
    }
}

impl Quadrature {
    /// One sample of both tracks. It must come at least once for every quarter tooth: when both
    /// tracks changed at once, one was missed, and that is counted.
    pub fn sample(&mut self, a: bool, b: bool) {
        let last = self.last.replace((a, b));
        let Some((last_a, last_b)) = last else { return };
        match place(a, b).wrapping_sub(place(last_a, last_b)) & 3 {
            1 => self.count = self.count.wrapping_add(1),
            3 => self.count = self.count.wrapping_sub(1),
            2 => self.jumps = self.jumps.wrapping_add(1),
            _ => {}
        }
    }

    /// Quarter teeth since the start, forward less backward, wrapping.
    pub const fn count(&self) -> u16 {
        self.count
    }

    /// How often a sample came too late, wrapping. When it grows, the count is not to be trusted.
    pub const fn jumps(&self) -> u16 {
        self.jumps
    }
}

/// The same, from two pins.
#[derive(Clone, Debug)]
pub struct Tracks<A, B> {
    a: A,
    b: B,
    /// What was read from them.
    pub read: Quadrature,
}

impl<A: InputPin, B: InputPin> Tracks<A, B> {
    /// Two pins.
    pub fn new(a: A, b: B) -> Tracks<A, B> {
        Tracks { a, b, read: Quadrature::default() }
    }

    /// Read both pins.
    ///
    /// # Errors
    /// A pin failed; nothing is counted.
    pub fn sample(&mut self) -> Result<(), PinFailed> {
        let a = self.a.is_high().map_err(|_| PinFailed)?;
        let b = self.b.is_high().map_err(|_| PinFailed)?;
        self.read.sample(a, b);
        Ok(())
    }

    /// The pins again.
    pub fn free(self) -> (A, B) {
        (self.a, self.b)
    }
}
