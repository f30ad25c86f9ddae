//! Whether a refusal because of the road speed is true: what the kinematics say of the arrangement, or of
//! the two lock sets of the step, at the true speed of the output.

use supervisor::status::Refusal;

use super::RPM;
use crate::driveline::{Driveline, EngineUse};
use crate::exact::to_f64;
use crate::kinematics::{Kinematics, window_of};

/// Share of a window's width, at either end, in which it is not judged: the supervisor keeps margins there.
const END_SHARE: f64 = 0.1;

/// For how long the speed must have been inside, s; and at most twice as long.
const LOOKS_BACK_S: f64 = 0.3;

/// Least and largest speed of a while, rad/s.
type Span = (f64, f64);

const NOTHING: Span = (f64::INFINITY, f64::NEG_INFINITY);

/// Knows the windows, and how fast the output has turned of late.
#[derive(Clone, Debug)]
pub(super) struct Inside {
    output: usize,
    /// By arrangement; none where no speed keeps every limit, or any does.
    arrangements: Vec<Option<Span>>,
    /// By lock set, with the engine running or not.
    sets: Vec<Option<Span>>,
    /// Of the present while, and of the one before.
    now: Span,
    before: Span,
    /// When the present while began, s; infinite before the first tick.
    since_s: f64,
    /// Whether there was one before.
    whole: bool,
}

impl Inside {
    pub(super) fn new(d: &Driveline, k: &Kinematics) -> Inside {
        let per_kmh = d.output_radps_per_kmh();
        let arrangement = |a: &crate::driveline::Arrangement| {
            let (mut low, mut high) = window(d, k, a.closed, &[a.engine])?;
            if let (Some(kmh), Some(per_kmh)) = (a.max_speed_kmh, per_kmh) {
                high = high.min(kmh * per_kmh);
            }
            if let (Some(kmh), Some(per_kmh)) = (a.min_speed_kmh, per_kmh) {
                low = low.max(kmh * per_kmh);
            }
            middle((low, high))
        };
        let all = 0..1usize << d.locks.len();
        let either = [EngineUse::On, EngineUse::Off];
        let set = |set: usize| middle(window(d, k, u8::try_from(set).ok()?, &either)?);
        Inside {
            output: d.output.shaft,
            arrangements: d.arrangements.iter().map(arrangement).collect(),
            sets: all.map(set).collect(),
            now: NOTHING,
            before: NOTHING,
            since_s: f64::INFINITY,
            whole: false,
        }
    }

    /// Forget the run.
    pub(super) fn reset(&mut self) {
        (self.now, self.before, self.since_s, self.whole) =
            (NOTHING, NOTHING, f64::INFINITY, false);
    }

    /// Note the speed of a tick.
    pub(super) fn see(&mut self, speed_radps: &[f64], t_s: f64) {
        self.since_s = self.since_s.min(t_s);
        if t_s - self.since_s > LOOKS_BACK_S {
            (self.before, self.now) = (self.now, NOTHING);
            (self.since_s, self.whole) = (t_s, true);
        }
        let radps = speed_radps[self.output];
        self.now = (self.now.0.min(radps), self.now.1.max(radps));
    }

    /// Whether the refusal tells of a speed that the output had not, neither now nor just before; `sets` are
    /// those before and after the step that is refused.
    pub(super) fn denies(&self, refusal: Option<Refusal>, sets: Option<[u8; 2]>) -> bool {
        let all_inside = |windows: &[Option<Span>]| {
            let (low, high) = (self.now.0.min(self.before.0), self.now.1.max(self.before.1));
            let holds = |w: &Option<Span>| w.is_some_and(|(from, to)| from <= low && high <= to);
            self.whole && windows.iter().all(holds)
        };
        match refusal {
            Some(Refusal::ArrangementSpeed { arrangement }) => {
                let window = self.arrangements.get(usize::from(arrangement));
                window.is_some_and(|window| all_inside(&[*window]))
            }
            Some(Refusal::RoadSpeed { .. }) => sets.is_some_and(|sets| {
                all_inside(&sets.map(|set| self.sets.get(usize::from(set)).copied().flatten()))
            }),
            _ => false,
        }
    }
}

/// Speeds of the output that keep every limit, rad/s, whether the engine runs as told or not.
fn window(d: &Driveline, k: &Kinematics, set: u8, engine: &[EngineUse]) -> Option<Span> {
    engine.iter().try_fold((f64::NEG_INFINITY, f64::INFINITY), |(low, high), engine| {
        let window = window_of(d, k, set, *engine)?;
        let end = |rpm: &Option<_>| rpm.as_ref().map(|rpm| to_f64(rpm) * RPM);
        let from = end(&window.low.output_rpm).unwrap_or(f64::NEG_INFINITY);
        let to = end(&window.high.output_rpm).unwrap_or(f64::INFINITY);
        Some((low.max(from), high.min(to)))
    })
}

/// Without its ends.
fn middle((low, high): Span) -> Option<Span> {
    let end = END_SHARE * (high - low);
    (end.is_finite() && end > 0.0).then_some((low + end, high - end))
}
