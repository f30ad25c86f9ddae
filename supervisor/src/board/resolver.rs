//! Speed from a resolver: sine and cosine in, no angle needed in between.

use crate::io::Speed;

/// Largest error of the angle between two samples, as a share of that angle, while it is at most
/// [`TURN_MAX`]; found by a scan against f64 (a test repeats the scan).
pub const ANGLE_ERROR: f32 = 0.004;

/// Largest angle between two samples that is told, rad: beyond it a direction would be a guess.
pub const TURN_MAX: f32 = 0.7;

/// What a resolver and its samples are like.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Windings {
    /// Electrical turns for one turn of the shaft.
    pub pole_pairs: u8,
    /// Time between two samples, s.
    pub sample_s: f32,
    /// Smallest and largest amplitude of sound windings: outside, a wire is broken or shorted.
    pub amplitude: (f32, f32),
    /// -1.0 when the sine grows while the shaft turns backward, else 1.0.
    pub sign: f32,
}

/// A resolver on one shaft.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Resolver {
    windings: Windings,
    last: Option<(f32, f32)>,
}

impl Resolver {
    /// Nothing is known yet.
    pub const fn new(windings: Windings) -> Resolver {
        Resolver { windings, last: None }
    }

    /// One sample of both windings, demodulated, in any common unit. The speed is valid when this
    /// sample and the last were sound and the shaft did not turn too far between them.
    pub fn sample(&mut self, sine: f32, cosine: f32) -> Speed {
        let (least, most) = self.windings.amplitude;
        let square = sine * sine + cosine * cosine;
        // False for NaN as well.
        let sound = square >= least * least && square <= most * most;
        let now = sound.then_some((sine, cosine));
        let last = core::mem::replace(&mut self.last, now);
        let (Some((s1, c1)), Some((s0, c0))) = (now, last) else { return Speed::default() };
        let across = s1 * c0 - c1 * s0;
        let along = c1 * c0 + s1 * s0;
        // Half a turn either way: beyond the largest angle in any case.
        if along <= 0.0 {
            return Speed::default();
        }
        let turn = arc_tangent(across / along);
        let per_turn = self.windings.sample_s * f32::from(self.windings.pole_pairs);
        let radps = self.windings.sign * turn / per_turn;
        let within = (-TURN_MAX..=TURN_MAX).contains(&turn);
        Speed { radps, valid: within && radps.is_finite() }
    }
}

/// A Padé approximant; exact towards zero, where `micromath`'s own is one percent wrong.
fn arc_tangent(x: f32) -> f32 {
    let square = x * x;
    x * (15.0 + 4.0 * square) / (15.0 + 9.0 * square)
}
