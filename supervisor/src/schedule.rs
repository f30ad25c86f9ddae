//! Which arrangement to ask for: a compact table over road speed and demand, made by the host
//! from the energy map, and the memory that keeps requests from hunting.
//!
//! It asks, it does not decide: its answer is a request like a driver's, and everything that
//! guards a request guards this one.

/// Most arrangements that a schedule tells apart.
pub const MOST_ARRANGEMENTS: u8 = 16;

/// A schedule: plain data, in flash on a board.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Schedule<'a> {
    /// Upper edges of the columns but the last: speed of the output shaft without sign, rad/s,
    /// rising.
    pub speed_radps: &'a [f32],
    /// Upper edges of the rows but the last: torque asked at the output, positive when it drives
    /// the way the vehicle goes, Nm, rising.
    pub demand_nm: &'a [f32],
    /// Best arrangement of each cell, a column of rows after the other.
    pub best: &'a [u8],
    /// Arrangements that can serve each cell, as bits.
    pub can: &'a [u16],
    /// An arrangement is left only where it is no longer best with the speed this much higher
    /// and lower, rad/s,
    pub speed_margin_radps: f32,
    /// and the demand this much higher and lower, Nm.
    pub demand_margin_nm: f32,
    /// Ticks for which an answer stays; cut short only where the old answer cannot serve the demand
    pub min_stay: u32,
    /// for this many ticks running: the driver overtakes, or the hill is steeper.
    pub override_dwell: u32,
}

/// What a schedule remembers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub struct Chooser {
    asked: Option<u8>,
    stayed: u32,
    /// Ticks for which it could not serve the demand.
    short: u32,
}

/// Number of edges that `value` has passed.
fn passed(edges: &[f32], value: f32) -> usize {
    edges.iter().take_while(|edge| value >= **edge).count()
}

impl Schedule<'_> {
    /// Whether its parts fit together: edges rise, every cell is there and names arrangements
    /// below `arrangements`.
    pub fn is_sound(&self, arrangements: u8) -> bool {
        let rising = |edges: &[f32]| {
            edges.iter().all(|e| e.is_finite())
                && edges.iter().zip(edges.iter().skip(1)).all(|(a, b)| a < b)
        };
        let columns = self.speed_radps.len().saturating_add(1);
        let cells = columns.saturating_mul(self.demand_nm.len().saturating_add(1));
        let most = arrangements.min(MOST_ARRANGEMENTS);
        rising(self.speed_radps)
            && rising(self.demand_nm)
            && self.best.len() == cells
            && self.can.len() == cells
            && self.best.iter().all(|best| *best < most)
            && self.speed_margin_radps >= 0.0
            && self.demand_margin_nm >= 0.0
    }

    /// Place of the cell at this speed (without sign) and demand.
    fn cell(&self, speed_radps: f32, demand_nm: f32) -> usize {
        let rows = self.demand_nm.len().saturating_add(1);
        passed(self.speed_radps, speed_radps)
            .saturating_mul(rows)
            .saturating_add(passed(self.demand_nm, demand_nm))
    }

    /// The best arrangement there, without memory.
    pub fn best_at(&self, speed_radps: f32, demand_nm: f32) -> Option<u8> {
        self.best.get(self.cell(speed_radps, demand_nm)).copied()
    }

    /// Whether an arrangement can serve there.
    pub fn can_serve(&self, arrangement: u8, speed_radps: f32, demand_nm: f32) -> bool {
        let can = self.can.get(self.cell(speed_radps, demand_nm)).copied().unwrap_or(0);
        can.checked_shr(u32::from(arrangement)).unwrap_or(0) & 1 == 1
    }

    /// Whether it is the best there or a margin away.
    fn is_near(&self, arrangement: u8, speed_radps: f32, demand_nm: f32) -> bool {
        let (v, t) = (self.speed_margin_radps, self.demand_margin_nm);
        [(0.0, 0.0), (v, 0.0), (-v, 0.0), (0.0, t), (0.0, -t)]
            .iter()
            .any(|(dv, dt)| self.best_at(speed_radps + dv, demand_nm + dt) == Some(arrangement))
    }
}

impl Chooser {
    /// The arrangement that was asked last.
    pub fn asked(&self) -> Option<u8> {
        self.asked
    }

    /// One tick with the measured speed of the output and the torque asked there; the
    /// arrangement to ask for. Values that are no numbers leave the answer as it was. So does
    /// `under_way`: while a transition goes on, its own gap in the torque makes the driver ask for
    /// more, and a new answer to that would end what the old one began.
    pub fn tick(
        &mut self,
        schedule: &Schedule,
        output_radps: f32,
        demand_nm: f32,
        under_way: bool,
    ) -> Option<u8> {
        self.stayed = self.stayed.saturating_add(1);
        if !output_radps.is_finite() || !demand_nm.is_finite() || under_way {
            self.short = 0;
            return self.asked;
        }
        let backward = output_radps < 0.0;
        let speed = if backward { -output_radps } else { output_radps };
        let demand = if backward { -demand_nm } else { demand_nm };
        let Some(best) = schedule.best_at(speed, demand) else { return self.asked };
        let serves = |a: u8| schedule.can_serve(a, speed, demand);
        let falls_short = self.asked.is_some_and(|a| !serves(a) && serves(best));
        self.short = if falls_short { self.short.saturating_add(1) } else { 0 };
        let keep = match self.asked {
            None => false,
            Some(_) if self.short > schedule.override_dwell => false,
            Some(a) => {
                self.stayed < schedule.min_stay
                    || schedule.is_near(a, speed, demand)
                    || !serves(best)
            }
        };
        // What is not kept is not the best: that would be near, and serve.
        if !keep {
            *self = Chooser { asked: Some(best), stayed: 0, short: 0 };
        }
        self.asked
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two columns, two rows: 0 best but for high speed with high demand, where 1 is; 0 cannot
    /// serve high demand at high speed.
    const SCHEDULE: Schedule<'static> = Schedule {
        speed_radps: &[100.0],
        demand_nm: &[50.0],
        best: &[0, 0, 2, 1],
        can: &[0b111, 0b111, 0b111, 0b110],
        speed_margin_radps: 10.0,
        demand_margin_nm: 5.0,
        min_stay: 100,
        override_dwell: 3,
    };

    /// Each part that does not fit is seen by itself.
    #[test]
    fn a_schedule_must_fit_together() {
        assert!(SCHEDULE.is_sound(3));
        // Names an arrangement that there is not, or that has no bit.
        assert!(!SCHEDULE.is_sound(2));
        let high = Schedule { best: &[0, 0, 15, 1], ..SCHEDULE };
        assert!(high.is_sound(16) && high.is_sound(255) && !high.is_sound(15));
        assert!(!Schedule { best: &[0, 0, 16, 1], ..SCHEDULE }.is_sound(255));
        // Edges rise, and are numbers.
        let nine = Schedule {
            speed_radps: &[1.0, 2.0],
            demand_nm: &[-5.0, 5.0],
            best: &[0; 9],
            can: &[1; 9],
            ..SCHEDULE
        };
        assert!(nine.is_sound(1));
        let (nan, endless) = (f32::NAN, f32::INFINITY);
        for edges in [[2.0, 2.0], [2.0, 1.0], [1.0, endless], [-endless, 1.0], [nan, 1.0]] {
            assert!(!Schedule { speed_radps: &edges, ..nine }.is_sound(1), "{edges:?}");
            assert!(!Schedule { demand_nm: &edges, ..nine }.is_sound(1), "{edges:?}");
        }
        // One cell for each column and row.
        for count in [0, 8, 10] {
            assert!(!Schedule { best: &[0; 10][..count], ..nine }.is_sound(1), "{count}");
            assert!(!Schedule { can: &[1; 10][..count], ..nine }.is_sound(1), "{count}");
        }
        assert!(
            Schedule { speed_radps: &[], demand_nm: &[], best: &[0], can: &[1], ..nine }
                .is_sound(1)
        );
        // Margins lead outwards.
        for margin in [-1.0, nan] {
            assert!(!Schedule { speed_margin_radps: margin, ..nine }.is_sound(1), "{margin}");
            assert!(!Schedule { demand_margin_nm: margin, ..nine }.is_sound(1), "{margin}");
        }
        assert!(Schedule { speed_margin_radps: 0.0, demand_margin_nm: 0.0, ..nine }.is_sound(1));
    }

    /// Cells are told apart at their edges, which belong to the upper one; bits beyond the word say no.
    #[test]
    fn a_cell_begins_at_its_edge() {
        let below = |x: f32| f32::from_bits(x.to_bits() - 1);
        for (speed, demand, best, can) in [
            (0.0, below(50.0), 0, 0b111),
            (below(100.0), 50.0, 0, 0b111),
            (100.0, below(50.0), 2, 0b111),
            (100.0, 50.0, 1, 0b110),
            (1e9, 1e9, 1, 0b110),
            (0.0, -1e9, 0, 0b111),
        ] {
            assert_eq!(SCHEDULE.best_at(speed, demand), Some(best), "{speed} {demand}");
            for arrangement in 0..=255u8 {
                let serves = arrangement < 3 && can >> arrangement & 1 == 1;
                assert_eq!(SCHEDULE.can_serve(arrangement, speed, demand), serves, "{arrangement}");
            }
        }
    }

    /// The margins count in both directions of both axes, each by itself.
    #[test]
    fn near_is_a_margin_away_in_one_direction() {
        for (speed, demand, near) in [
            (91.0, 45.0, [true, false, true]),
            (91.0, 46.0, [true, false, true]),
            (91.0, 56.0, [true, true, false]),
            (89.0, 56.0, [true, false, false]),
            (109.0, 40.0, [true, false, true]),
            (111.0, 40.0, [false, false, true]),
            (111.0, 46.0, [false, true, true]),
            (111.0, 54.0, [false, true, true]),
            (111.0, 56.0, [false, true, false]),
        ] {
            let is = [0, 1, 2].map(|a| SCHEDULE.is_near(a, speed, demand));
            assert_eq!(is, near, "{speed} {demand}");
        }
    }

    #[test]
    fn it_stays_until_the_margin_is_passed_and_the_stay_is_over() {
        assert!(SCHEDULE.is_sound(3) && !SCHEDULE.is_sound(2));
        let mut chooser = Chooser::default();
        assert_eq!(chooser.asked(), None);
        assert_eq!(chooser.tick(&SCHEDULE, 95.0, 0.0, false), Some(0));
        assert_eq!(chooser.asked(), Some(0));
        for _ in 0..200 {
            assert_eq!(chooser.tick(&SCHEDULE, 105.0, 0.0, false), Some(0), "within the margin");
        }
        assert_eq!(chooser.tick(&SCHEDULE, 112.0, 0.0, false), Some(2));
        for _ in 0..99 {
            assert_eq!(chooser.tick(&SCHEDULE, 10.0, 0.0, false), Some(2), "it has just come");
        }
        assert_eq!(chooser.tick(&SCHEDULE, 10.0, 0.0, false), Some(0));
    }

    #[test]
    fn a_demand_that_it_cannot_serve_ends_the_stay() {
        let mut chooser = Chooser::default();
        assert_eq!(chooser.tick(&SCHEDULE, 95.0, 60.0, false), Some(0));
        for _ in 0..3 {
            assert_eq!(chooser.tick(&SCHEDULE, 120.0, 60.0, false), Some(0), "only just");
        }
        assert_eq!(chooser.tick(&SCHEDULE, 120.0, 60.0, false), Some(1));
    }

    #[test]
    fn a_transition_under_way_is_not_called_back() {
        let mut chooser = Chooser::default();
        assert_eq!(chooser.tick(&SCHEDULE, 95.0, 60.0, false), Some(0));
        for _ in 0..1000 {
            assert_eq!(chooser.tick(&SCHEDULE, 120.0, 60.0, true), Some(0));
        }
        assert_eq!(chooser.tick(&SCHEDULE, 120.0, 60.0, false), Some(1), "the stay is over");
    }

    #[test]
    fn backwards_counts_like_forwards_and_nonsense_changes_nothing() {
        let mut chooser = Chooser::default();
        assert_eq!(chooser.tick(&SCHEDULE, -120.0, -60.0, false), Some(1));
        assert_eq!(chooser.tick(&SCHEDULE, f32::NAN, 0.0, false), Some(1));
        assert_eq!(chooser.tick(&SCHEDULE, 0.0, f32::INFINITY, false), Some(1));
        // Nor does it when the stay is long over; and at a standstill demand is as it is.
        let quick =
            Schedule { speed_radps: &[], best: &[0, 1], can: &[3, 3], min_stay: 0, ..SCHEDULE };
        let mut chooser = Chooser::default();
        assert_eq!(chooser.tick(&quick, 0.0, 60.0, false), Some(1));
        assert_eq!(chooser.tick(&quick, f32::NAN, 0.0, false), Some(1));
        assert_eq!(chooser.tick(&quick, 0.0, f32::NEG_INFINITY, false), Some(1));
        assert_eq!(chooser.tick(&quick, 0.0, 0.0, false), Some(0));
    }

    #[test]
    fn a_schedule_without_cells_asks_for_nothing() {
        let empty = Schedule { best: &[], can: &[], ..SCHEDULE };
        assert!(!empty.is_sound(3));
        assert_eq!(Chooser::default().tick(&empty, 1.0, 1.0, false), None);
    }
}
