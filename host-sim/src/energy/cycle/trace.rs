//! A speed trace: road speed and slope over time, from a CSV file or built in.

use crate::driveline::suggest::quoted;
use crate::driveline::{Diagnostics, bytes_of, source};
use crate::energy::lines::{Line, lines};

/// One moment of a trace.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// Time, s.
    pub t_s: f64,
    /// Road speed, km/h.
    pub kmh: f64,
    /// Slope, percent (rise per horizontal distance).
    pub slope: f64,
}

/// A trace; straight between its moments.
#[derive(Clone, Debug, PartialEq)]
pub struct Trace {
    /// Its name.
    pub name: String,
    /// Its moments, rising in time.
    pub moments: Vec<Moment>,
}

/// Most moments of a trace.
const MOST_MOMENTS: usize = 100_000;
/// Longest trace, s.
const MOST_S: f64 = 100_000.0;

impl Trace {
    /// Length, s.
    pub fn duration_s(&self) -> f64 {
        match (self.moments.first(), self.moments.last()) {
            (Some(a), Some(b)) => b.t_s - a.t_s,
            _ => 0.0,
        }
    }

    /// The moment at this time after the start, straight between the points.
    pub fn at(&self, t_s: f64) -> Moment {
        let t = t_s + self.moments[0].t_s;
        let i = self.moments.partition_point(|m| m.t_s <= t).clamp(1, self.moments.len() - 1);
        let (a, b) = (self.moments[i - 1], self.moments[i]);
        let x = ((t - a.t_s) / (b.t_s - a.t_s)).clamp(0.0, 1.0);
        let between = |a: f64, b: f64| a + x * (b - a);
        Moment { t_s, kmh: between(a.kmh, b.kmh), slope: between(a.slope, b.slope) }
    }

    /// Distance, m: exact, as the trace is straight between its moments.
    pub fn distance_m(&self) -> f64 {
        let piece = |p: &[Moment]| (p[1].t_s - p[0].t_s) * 0.5 * (p[0].kmh + p[1].kmh) / 3.6;
        self.moments.windows(2).map(piece).sum()
    }

    /// Highest road speed, km/h.
    pub fn max_kmh(&self) -> f64 {
        self.moments.iter().map(|m| m.kmh).fold(0.0, f64::max)
    }

    /// Read a trace file.
    ///
    /// # Errors
    /// Every fault with its line and column.
    pub fn read(path: &str, hint: &str) -> Result<Trace, String> {
        let bytes = bytes_of(path, hint).map_err(|sentence| format!("error: {sentence}\n"))?;
        let text = source::text_of(path, &bytes).map_err(|found| found.render(false))?;
        Trace::parse(path, &text).map_err(|found| found.render(false))
    }

    /// Read the text of a trace; `name` is how messages call it.
    ///
    /// # Errors
    /// Every fault with its line and column.
    pub fn parse(name: &str, text: &str) -> Result<Trace, Diagnostics> {
        let mut found = Diagnostics::new(name, text);
        let moments = moments(text, &mut found);
        if !found.has_errors() && moments.len() < 2 {
            found.whole("a trace needs two moments at least", "add lines below the head");
        }
        if found.has_errors() {
            return Err(found);
        }
        Ok(Trace { name: name.to_string(), moments })
    }
}

fn moments(text: &str, found: &mut Diagnostics) -> Vec<Moment> {
    let mut columns: Option<[Option<usize>; 3]> = None;
    let mut list: Vec<Moment> = Vec::new();
    for Line { span, bare, cells } in lines(text) {
        let start = span.start;
        let Some(places) = columns else {
            let column = |name: &str| cells.iter().position(|c| c.trim() == name);
            let places = ["time_s", "speed_kmh", "slope_percent"].map(column);
            if places[0].is_none() || places[1].is_none() {
                let fix = "name the columns time_s, speed_kmh and, if you like, slope_percent";
                found.error(span, "the head of the trace lacks a column", fix);
                return list;
            }
            columns = Some(places);
            continue;
        };
        if list.len() == MOST_MOMENTS {
            found.error(span, format!("more than {MOST_MOMENTS} moments"), "thin the trace out");
            return list;
        }
        if let Some(moment) = moment(&cells, places, start, bare.len(), found) {
            if list.last().is_some_and(|m| moment.t_s <= m.t_s) {
                found.error(span, "the time does not rise", "give the moments in order of time");
            }
            list.push(moment);
        }
    }
    list
}

fn moment(
    cells: &[&str],
    places: [Option<usize>; 3],
    start: usize,
    length: usize,
    found: &mut Diagnostics,
) -> Option<Moment> {
    let limits = [(0.0, MOST_S), (-200.0, 600.0), (-50.0, 50.0)];
    let mut values = [Some(0.0); 3];
    for ((value, place), (low, high)) in values.iter_mut().zip(places).zip(limits) {
        let Some(column) = place else { continue };
        let before: usize = cells.iter().take(column).map(|c| c.len() + 1).sum();
        let span = match cells.get(column) {
            Some(c) => start + before..start + before + c.len(),
            None => start..start + length,
        };
        let cell = cells.get(column).map_or("", |c| c.trim());
        *value = cell.parse::<f64>().ok().filter(|x| *x >= low && *x <= high);
        if value.is_none() {
            let message = format!("{} is no number from {low} to {high}", quoted(cell));
            found.error(span, message, "correct the value");
        }
    }
    Some(Moment { t_s: values[0]?, kmh: values[1]?, slope: values[2]? })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trace_is_straight_between_its_moments() {
        let text = "time_s,speed_kmh,slope_percent\n10,0,0\n20,36,4\n";
        let trace = Trace::parse("t", text).unwrap();
        assert_eq!(trace.at(5.0), Moment { t_s: 5.0, kmh: 18.0, slope: 2.0 });
        assert!((trace.distance_m() - 50.0).abs() < 1e-9);
    }

    #[test]
    fn faults_are_told_with_their_places() {
        let of = |text: &str| Trace::parse("t.csv", text).unwrap_err().render(false);
        assert!(of("time_s,speed_kmh\n0,1\n0,2\n").contains("t.csv:3:1"));
        assert!(of("time_s,speed_kmh\n0,nan\n1,2\n").contains("t.csv:2:3"));
        assert!(of("time,speed\n").contains("t.csv:1:1"));
        assert!(of("time_s,speed_kmh\n0,1\n").contains("two moments"));
    }
}
