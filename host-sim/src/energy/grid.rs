//! A measured map from a CSV file: a value over speed and torque, interpolated, held at its edges.

use crate::driveline::suggest::quoted;
use crate::driveline::{Diagnostics, bytes_of, source};
use crate::energy::lines::{Line, lines};

/// What the third column of a map may be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MapKind {
    /// `loss_w`, or `efficiency` (then turned into a loss).
    Loss,
    /// `fuel_g_per_s`, or `fuel_g_per_kwh` (then turned into g/s).
    Fuel,
}

impl MapKind {
    fn columns(self) -> [&'static str; 2] {
        match self {
            MapKind::Loss => ["loss_w", "efficiency"],
            MapKind::Fuel => ["fuel_g_per_s", "fuel_g_per_kwh"],
        }
    }
}

/// A value over a full grid of speeds (rad/s) and torques (Nm), both rising.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    speeds: Vec<f64>,
    torques: Vec<f64>,
    /// One row of torques after the other, a row a speed.
    values: Vec<f64>,
    /// The map gives torques of one sign only: the other one is its mirror image.
    mirrored: bool,
}

const RPM: f64 = std::f64::consts::PI / 30.0;
/// Most points of a map.
const MOST_POINTS: usize = 100_000;

/// Place of `x` in `axis`: index of the lower point and share of the way to the next one; held
/// at the ends.
fn place(axis: &[f64], x: f64) -> (usize, f64) {
    if axis.len() < 2 {
        return (0, 0.0);
    }
    let i = axis.partition_point(|a| *a <= x).clamp(1, axis.len() - 1) - 1;
    (i, ((x - axis[i]) / (axis[i + 1] - axis[i])).clamp(0.0, 1.0))
}

impl Grid {
    /// The value at this speed and torque: bilinear inside, the edge's value outside. Speed
    /// counts without sign; torque without sign where the map gives one sign only.
    pub fn at(&self, radps: f64, nm: f64) -> f64 {
        let (w, t) = if radps < 0.0 { (-radps, -nm) } else { (radps, nm) };
        let t = if self.mirrored { t.abs() } else { t };
        let ((i, x), (j, y)) = (place(&self.speeds, w), place(&self.torques, t));
        let n = self.torques.len();
        let get = |i: usize, j: usize| self.values[i.min(self.speeds.len() - 1) * n + j.min(n - 1)];
        let low = get(i, j) * (1.0 - y) + get(i, j + 1) * y;
        let high = get(i + 1, j) * (1.0 - y) + get(i + 1, j + 1) * y;
        low * (1.0 - x) + high * x
    }

    /// Whether a point lies on or inside the edges of the map.
    pub fn covers(&self, radps: f64, nm: f64) -> bool {
        let (w, t) = if radps < 0.0 { (-radps, -nm) } else { (radps, nm) };
        let t = if self.mirrored { t.abs() } else { t };
        let inside = |axis: &[f64], x: f64| {
            axis.first().is_some_and(|a| x >= *a - 1e-9)
                && axis.last().is_some_and(|a| x <= *a + 1e-9)
        };
        inside(&self.speeds, w) && inside(&self.torques, t)
    }

    /// Read a map file.
    ///
    /// # Errors
    /// Every fault with its line and column.
    pub fn read(path: &str, kind: MapKind) -> Result<Grid, String> {
        let bytes = bytes_of(path, "give its path as seen from the driveline file")
            .map_err(|sentence| format!("error: {sentence}\n"))?;
        let text = source::text_of(path, &bytes).map_err(|found| found.render(false))?;
        Grid::parse(path, &text, kind).map_err(|found| found.render(false))
    }

    /// Read the text of a map; `name` is how messages call it.
    ///
    /// # Errors
    /// Every fault with its line and column.
    pub fn parse(name: &str, text: &str, kind: MapKind) -> Result<Grid, Diagnostics> {
        let mut found = Diagnostics::new(name, text);
        let Some((rows, second)) = rows(text, kind, &mut found) else { return Err(found) };
        if rows.is_empty() && !found.has_errors() {
            found.whole("the map has no points", "add lines below the head, one a point");
        }
        let axis = |pick: fn(&Point) -> f64| {
            let mut list: Vec<f64> = rows.iter().map(pick).collect();
            list.sort_by(f64::total_cmp);
            list.dedup();
            list
        };
        let (speeds, torques) = (axis(|p| p.rpm), axis(|p| p.nm));
        let mut values = vec![f64::NAN; speeds.len() * torques.len()];
        for p in &rows {
            let at = |axis: &[f64], x: f64| axis.partition_point(|a| *a < x);
            let cell = at(&speeds, p.rpm) * torques.len() + at(&torques, p.nm);
            if !values[cell].is_nan() {
                found.error(
                    p.span.clone(),
                    format!("a second value at {} rpm and {} Nm", p.rpm, p.nm),
                    "keep one of them",
                );
            }
            values[cell] = value_of(p, kind, second);
        }
        if let Some(hole) = values.iter().position(|v| v.is_nan()).filter(|_| !found.has_errors()) {
            let (i, j) = (hole / torques.len(), hole % torques.len());
            found.whole(
                format!("the map has no value at {} rpm and {} Nm", speeds[i], torques[j]),
                "give every torque at every speed: the points must form a full grid",
            );
        }
        if found.has_errors() {
            return Err(found);
        }
        let mirrored = kind == MapKind::Loss && torques.first().is_some_and(|t| *t >= 0.0);
        let speeds = speeds.iter().map(|rpm| rpm * RPM).collect();
        Ok(Grid { speeds, torques, values, mirrored })
    }
}

struct Point {
    rpm: f64,
    nm: f64,
    value: f64,
    span: std::ops::Range<usize>,
}

fn value_of(p: &Point, kind: MapKind, second: bool) -> f64 {
    let power_w = (p.rpm * RPM * p.nm).abs();
    match (kind, second) {
        (_, false) => p.value,
        // Driving: electric = shaft / e; generating: electric = e x shaft.
        (MapKind::Loss, true) if p.nm >= 0.0 => power_w * (1.0 / p.value - 1.0),
        (MapKind::Loss, true) => power_w * (1.0 - p.value),
        (MapKind::Fuel, true) => p.value * power_w / 3.6e6,
    }
}

/// The points, and whether the third column is the second of its kind.
fn rows(text: &str, kind: MapKind, found: &mut Diagnostics) -> Option<(Vec<Point>, bool)> {
    let mut columns: Option<([usize; 3], bool)> = None;
    let mut points = Vec::new();
    for Line { span, bare, cells } in lines(text) {
        let start = span.start;
        let Some((place, second)) = columns else {
            columns = Some(head(&cells, span, kind, found)?);
            continue;
        };
        if points.len() == MOST_POINTS {
            found.error(span, format!("more than {MOST_POINTS} points"), "thin the map out");
            return None;
        }
        let numbers = place.map(|c| number(&cells, c, bare, start, found));
        if let [Some(rpm), Some(nm), Some(value)] = numbers {
            let p = Point { rpm, nm, value, span };
            if let Some((message, fix)) = out_of_range(&p, kind, second) {
                found.error(p.span, message, fix);
            } else {
                points.push(p);
            }
        }
    }
    if columns.is_none() {
        found.whole("the map is empty", "begin it with a head: speed_rpm,torque_nm and a value");
    }
    Some((points, columns?.1))
}

fn head(
    cells: &[&str],
    span: std::ops::Range<usize>,
    kind: MapKind,
    found: &mut Diagnostics,
) -> Option<([usize; 3], bool)> {
    let column = |name: &str| cells.iter().position(|c| c.trim() == name);
    let [first, other] = kind.columns();
    let value = column(first).map(|c| (c, false)).or(column(other).map(|c| (c, true)));
    if let (Some(rpm), Some(nm), Some((value, second))) =
        (column("speed_rpm"), column("torque_nm"), value)
    {
        return Some(([rpm, nm, value], second));
    }
    found.error(
        span,
        "the head of the map lacks a column",
        format!("name the columns speed_rpm, torque_nm and one of {first}, {other}"),
    );
    None
}

fn number(
    cells: &[&str],
    column: usize,
    line: &str,
    start: usize,
    found: &mut Diagnostics,
) -> Option<f64> {
    let before: usize = cells.iter().take(column).map(|c| c.len() + 1).sum();
    let Some(cell) = cells.get(column) else {
        let message = format!("the line ends before column {}", column + 1);
        found.error(start..start + line.len(), message, "give a value for every column");
        return None;
    };
    match cell.trim().parse::<f64>() {
        Ok(x) if x.is_finite() => Some(x),
        _ => {
            let message = format!("{} is no number", quoted(cell.trim()));
            found.error(start + before..start + before + cell.len(), message, "write a number");
            None
        }
    }
}

fn out_of_range(p: &Point, kind: MapKind, second: bool) -> Option<(String, &'static str)> {
    if p.rpm < 0.0 {
        return Some((format!("the speed {} is negative", p.rpm), "give speeds from 0 up"));
    }
    match (kind, second) {
        (MapKind::Loss, true) if !(p.value > 0.0 && p.value <= 1.0) => Some((
            format!("the efficiency {} is not above 0 and at most 1", p.value),
            "write 0.93 for 93 %",
        )),
        _ if p.value < 0.0 => Some((format!("the value {} is negative", p.value), "correct it")),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bilinear_value_is_met_exactly_inside_and_held_outside() {
        let mut text = String::from("speed_rpm,torque_nm,loss_w\n");
        let value = |rpm: f64, nm: f64| 10.0 + 0.2 * rpm + 3.0 * nm + 0.01 * rpm * nm;
        for rpm in [0.0, 700.0, 3000.0] {
            for nm in [-50.0, 0.0, 120.0] {
                text += &format!("{rpm},{nm},{}\n", value(rpm, nm).max(0.0) + 2000.0);
            }
        }
        let grid = Grid::parse("m", &text, MapKind::Loss).unwrap();
        let at = grid.at(1500.0 * RPM, 77.0);
        assert!((at - value(1500.0, 77.0) - 2000.0).abs() < 1e-9, "{at}");
        assert_eq!(grid.at(9000.0 * RPM, 500.0), grid.at(3000.0 * RPM, 120.0));
        assert!(grid.covers(10.0, 5.0) && !grid.covers(1000.0, 5.0));
    }

    #[test]
    fn faults_are_told_with_their_places() {
        let of = |text: &str| Grid::parse("m.csv", text, MapKind::Loss).unwrap_err().render(false);
        let holed = "speed_rpm,torque_nm,efficiency\n0,1,0.9\n0,2,x\n1,1,1.7\n";
        assert!(of(holed).contains("m.csv:3:5"), "{}", of(holed));
        assert!(of(holed).contains("m.csv:4:1"), "{}", of(holed));
        assert!(of("speed_rpm,torque_nm,loss_w\n0,0,1\n1,1,1\n").contains("full grid"));
        assert!(of("rpm,nm,w\n").contains("m.csv:1:1"));
        assert!(of("").contains("empty"));
    }
}
