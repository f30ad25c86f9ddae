//! Which drives a review makes: every ordered pair of arrangements in several situations.
//!
//! Speeds are chosen inside the common road-speed window of the two arrangements as the table
//! holds it (already tightened by the margins), and are whole tenths of km/h, so that a scenario
//! file says exactly what was driven.

use supervisor::table::{Stuck, Why};

use crate::checkers::answer_bound_s;
use crate::drive::closed_loop::Setup;
use crate::drive::driver::Wish;
use crate::driveline::Driveline;

use super::forecast::{Forecast, forecast, slope_percent, steady_demand_nm};
use super::subject::Subject;

/// When the arrangement is asked for, s: the start has settled by then.
pub(super) const REQUEST_AT_S: f64 = 2.0;
/// Seconds driven on after an arrangement is reached.
pub(super) const TAIL_S: f64 = 1.5;
/// A refusal that has stood this long without a step is taken as the answer, s.
pub(super) const REFUSAL_STANDS_S: f64 = 4.0;
/// Steepest slope that the climbs use, percent: what the driver may still ask for.
const SLOPE_MAX_PERCENT: f64 = 20.0;
/// Slopes of the two climbs where no step has a hand-over limit, percent.
const PLAIN_CLIMBS_PERCENT: (f64, f64) = (4.0, 8.0);
/// Slope of the drive downhill, percent.
const DOWNHILL_PERCENT: f64 = -6.0;
/// Fastest drive in reverse, km/h.
const REVERSE_MAX_KMH: f64 = 8.0;

/// The situation of a drive.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Case {
    /// At standstill, or at the low end of the common window where that excludes standstill.
    Low,
    /// Slowly in reverse.
    Reverse,
    /// At half of the common window's upper end, level road.
    Middle,
    /// At 93 % of the common window's upper end, level road.
    Fast,
    /// At half of the upper end, downhill: the machines brake.
    Downhill,
    /// At a quarter of the upper end, on a slope that asks for 85 % of the smallest hand-over
    /// limit on the preferred way.
    Climb,
    /// The same with 125 % of that limit: the preferred way is barred.
    HardClimb,
    /// At half of the upper end; the first arrangement is asked for again half-way.
    TurnBack,
    /// Outside the window of the arrangement asked for: it must be refused.
    Outside,
}

impl Case {
    /// All cases in the order in which they are driven.
    pub const ALL: [Case; 9] = [
        Case::Low,
        Case::Reverse,
        Case::Middle,
        Case::Fast,
        Case::Downhill,
        Case::Climb,
        Case::HardClimb,
        Case::TurnBack,
        Case::Outside,
    ];

    /// The word in file names, tables and JSON.
    pub fn word(self) -> &'static str {
        match self {
            Case::Low => "low",
            Case::Reverse => "reverse",
            Case::Middle => "middle",
            Case::Fast => "fast",
            Case::Downhill => "downhill",
            Case::Climb => "climb",
            Case::HardClimb => "hard-climb",
            Case::TurnBack => "turn-back",
            Case::Outside => "outside",
        }
    }

    /// What it is, for a person.
    pub fn about(self) -> &'static str {
        match self {
            Case::Low => "at standstill, or at the low end of the common speed window",
            Case::Reverse => "slowly in reverse (half of the window's lower end, at most 8 km/h)",
            Case::Middle => "at half of the upper end of the common window, level road",
            Case::Fast => "at 93 % of the upper end of the common window, level road",
            Case::Downhill => "at half of the upper end, 6 % downhill: the machines brake",
            Case::Climb => {
                "at a quarter of the upper end, on a slope that asks for 85 % of the smallest \
                 hand-over limit of the preferred way (4 % slope where no step has one)"
            }
            Case::HardClimb => {
                "the same at 125 % of that limit, so that the preferred way is barred (8 % slope \
                 where no step has one; never more than 20 %)"
            }
            Case::TurnBack => {
                "at half of the upper end; half-way through, the first arrangement is asked for again"
            }
            Case::Outside => {
                "at a speed outside the window of the arrangement asked for, where it must be refused"
            }
        }
    }
}

/// One drive to be made.
#[derive(Clone, Debug, PartialEq)]
pub struct Drive {
    /// Number, from 1.
    pub number: usize,
    /// Arrangement at the start.
    pub from: usize,
    /// Arrangement asked for.
    pub to: usize,
    /// The situation.
    pub case: Case,
    /// Road speed, km/h.
    pub speed_kmh: f64,
    /// Slope of the road, percent.
    pub slope_percent: f64,
    /// Steady demand at the output that the driver starts with, Nm.
    pub demand_nm: f64,
    /// Smallest hand-over limit on the preferred way, Nm at the output.
    pub limit_nm: Option<f64>,
    /// What the table foretells.
    pub forecast: Forecast,
    /// Seed of the run.
    pub seed: u64,
    /// The run; its duration is the longest that is waited for an answer.
    pub setup: Setup,
}

impl Drive {
    /// Stem of the names of its files: "007-series-to-power-split-middle".
    pub fn stem(&self, d: &Driveline) -> String {
        let name = |a: usize| -> String {
            let name = d.arrangements.get(a).map_or("", |a| a.name.as_str());
            let safe = |c: char| if c.is_ascii_alphanumeric() || c == '-' { c } else { '_' };
            name.chars().take(40).map(safe).collect()
        };
        format!("{:03}-{}-to-{}-{}", self.number, name(self.from), name(self.to), self.case.word())
    }

    /// The arrangement that is asked for last, which the answer is about.
    pub fn asked(&self) -> usize {
        self.setup.requests.last().map_or(self.to, |r| r.1)
    }

    /// When it is asked for, s.
    pub fn asked_at_s(&self) -> f64 {
        self.setup.requests.last().map_or(REQUEST_AT_S, |r| r.0)
    }
}

/// All drives of a review, in order of pair and case.
pub fn drives(subject: &Subject) -> Vec<Drive> {
    let n = subject.driveline.arrangements.len();
    let mut list = Vec::new();
    for from in 0..n {
        for to in (0..n).filter(|&to| to != from) {
            let pair = Pair::new(subject, from, to);
            let found = Case::ALL.into_iter().filter_map(|case| pair.drive(case));
            for mut drive in found {
                drive.number = list.len() + 1;
                drive.seed = subject.seed.wrapping_add(list.len() as u64);
                list.push(drive);
            }
        }
    }
    list
}

/// A pair with the road speeds, km/h, that it can be driven at.
struct Pair<'a> {
    subject: &'a Subject,
    from: usize,
    to: usize,
    window: [(f64, f64); 2],
    common: Option<(f64, f64)>,
    limit_nm: Option<f64>,
}

/// A tenth of km/h.
fn rounded(kmh: f64) -> f64 {
    (kmh * 10.0).round() / 10.0 + 0.0
}

/// Road-speed window of an arrangement, km/h, cut at the vehicle's highest speed.
pub(crate) fn window_kmh(subject: &Subject, arrangement: usize) -> (f64, f64) {
    let d = &subject.driveline;
    let per_kmh = d.output_radps_per_kmh().unwrap_or(1.0);
    let window = &subject.table.arrangements[arrangement].window;
    let (a, b) = (f64::from(window.min) / per_kmh, f64::from(window.max) / per_kmh);
    let most = d.vehicle.as_ref().map_or(f64::MAX, |v| v.max_speed_kmh);
    let (low, high) = if per_kmh < 0.0 { (b, a) } else { (a, b) };
    (low.max(-most), high.min(most))
}

impl<'a> Pair<'a> {
    fn new(subject: &'a Subject, from: usize, to: usize) -> Pair<'a> {
        let window = [window_kmh(subject, from), window_kmh(subject, to)];
        let low = window[0].0.max(window[1].0);
        let high = window[0].1.min(window[1].1);
        let common = (low < high).then_some((low, high));
        Pair { subject, from, to, window, common, limit_nm: limit_nm(subject, from, to) }
    }

    /// The drive of a case; `None` where the pair has no such situation.
    fn drive(&self, case: Case) -> Option<Drive> {
        let d = &self.subject.driveline;
        if case == Case::Outside {
            return Some(self.make(case, self.outside_kmh()?, 0.0));
        }
        let (low, high) = self.common?;
        // A window that lies in reverse alone is driven in reverse.
        let top = if high > 0.0 { high } else { low };
        // Clear of the window's ends, so that neither rounding nor the road's swing leaves it.
        let edge = 0.03 * (high - low);
        let inside = |kmh: f64| rounded(kmh.clamp(low + edge, high - edge));
        let middle = inside(0.5 * top);
        let climb = inside(0.25 * top);
        let slope = |share: f64, plain: f64| match self.limit_nm {
            Some(limit) => {
                let percent = slope_percent(d, climb, share * limit * top.signum());
                percent.unwrap_or(SLOPE_MAX_PERCENT).clamp(-SLOPE_MAX_PERCENT, SLOPE_MAX_PERCENT)
            }
            None => plain * top.signum(),
        };
        Some(match case {
            Case::Low => {
                let stand = low <= 0.0 && high >= 0.0;
                let nearest = if top > 0.0 { low } else { high };
                self.make(case, if stand { 0.0 } else { inside(nearest) }, 0.0)
            }
            Case::Reverse if low < -1.0 && high > 0.0 => {
                self.make(case, rounded((0.5 * low).max(-REVERSE_MAX_KMH)), 0.0)
            }
            Case::Reverse => return None,
            Case::Middle | Case::TurnBack => self.make(case, middle, 0.0),
            Case::Fast => self.make(case, inside(0.93 * top), 0.0),
            Case::Downhill => self.make(case, middle, DOWNHILL_PERCENT * top.signum()),
            Case::Climb => self.make(case, climb, slope(0.85, PLAIN_CLIMBS_PERCENT.0)),
            Case::HardClimb => self.make(case, climb, slope(1.25, PLAIN_CLIMBS_PERCENT.1)),
            Case::Outside => return None,
        })
    }

    /// A speed at which the first arrangement can stand and the second cannot.
    fn outside_kmh(&self) -> Option<f64> {
        let [(from_low, from_high), (to_low, to_high)] = self.window;
        if from_low >= from_high {
            return None;
        }
        let above = from_high - to_high;
        let below = to_low - from_low;
        let room = 0.03 * (from_high - from_low);
        let kmh = match () {
            () if above > room => from_high - 0.5 * above.min(from_high - from_low),
            () if below > room => from_low + 0.5 * below.min(from_high - from_low),
            () => return None,
        };
        Some(rounded(kmh))
    }

    fn make(&self, case: Case, speed_kmh: f64, slope_percent: f64) -> Drive {
        let d = &self.subject.driveline;
        let grade = slope_percent / 100.0;
        let demand_nm = steady_demand_nm(d, speed_kmh, grade);
        let forecast = forecast(self.subject, (self.from, self.to), speed_kmh, demand_nm);
        let mut requests = vec![(0.0, self.from), (REQUEST_AT_S, self.to)];
        if case == Case::TurnBack {
            let on_the_way_s = match forecast {
                Forecast::Goes { time_s, .. } => time_s,
                Forecast::Refused(_) => 1.0,
            };
            let wait_s = d.timing.request_dwell_ms / 1e3 + 0.5 * on_the_way_s;
            requests.push((REQUEST_AT_S + (wait_s * 100.0).round() / 100.0, self.from));
        }
        let last_s = requests.last().map_or(0.0, |r| r.0);
        let setup = Setup {
            duration_s: last_s + answer_bound_s(d) + 1.0,
            start_speed_kmh: speed_kmh,
            start_arrangement: Some(self.from),
            start_charge: start_charge(d),
            start_rises_k: Vec::new(),
            wish: Wish::Speed(vec![(0.0, speed_kmh)]),
            grade: if slope_percent == 0.0 { Vec::new() } else { vec![(0.0, grade)] },
            requests,
            faults: Vec::new(),
        };
        Drive {
            number: 0,
            from: self.from,
            to: self.to,
            case,
            speed_kmh,
            slope_percent,
            demand_nm,
            limit_nm: self.limit_nm,
            forecast,
            seed: 0,
            setup,
        }
    }
}

/// The middle of the battery's window, to two decimals.
fn start_charge(d: &Driveline) -> f64 {
    let [low, high] = d.battery.as_ref().map_or([0.5, 0.5], |b| b.charge_window);
    ((low + high) * 50.0).round() / 100.0
}

/// Smallest demand, Nm at the output, up to which a step of the preferred way is taken.
fn limit_nm(subject: &Subject, from: usize, to: usize) -> Option<f64> {
    let table = subject.table.table();
    let mut set = subject.table.arrangements[from].closed;
    let mut least = f32::MAX;
    for _ in 0..=subject.table.sets.len() {
        match table.next_step(0, Stuck::None, set, to as u8) {
            Ok(number) => {
                let step = table.step(number)?;
                least = least.min(step.demand_max);
                set = set.with(step.lock, !set.has(step.lock));
            }
            Err(Why::Arrived) => break,
            Err(_) => return None,
        }
    }
    (least < f32::MAX).then_some(f64::from(least))
}
