//! Built-in traces: the NEDC from its published table, and invented routes for the demos.

use super::trace::{Moment, Trace};

/// Names of the built-in traces, with a sentence each.
pub const BUILT_IN: [(&str, &str); 3] = [
    ("nedc", "New European Driving Cycle, UN Regulation No. 83, Annex 4a (table from memory)"),
    ("mountain", "invented mountain road for the shuttle: a pass and back into the valley"),
    ("track", "invented hill line for the railcar: stops, a ramp, a fast stretch"),
];

/// Elementary urban cycle: (seconds, speed at the end in km/h); 195 s.
const URBAN: [(f64, f64); 25] = [
    (11.0, 0.0),
    (4.0, 15.0),
    (8.0, 15.0),
    (2.0, 10.0),
    (3.0, 0.0),
    (21.0, 0.0),
    (5.0, 15.0),
    (2.0, 15.0),
    (5.0, 32.0),
    (24.0, 32.0),
    (8.0, 10.0),
    (3.0, 0.0),
    (21.0, 0.0),
    (5.0, 15.0),
    (2.0, 15.0),
    (9.0, 35.0),
    (2.0, 35.0),
    (8.0, 50.0),
    (12.0, 50.0),
    (8.0, 35.0),
    (13.0, 35.0),
    (2.0, 32.0),
    (7.0, 10.0),
    (3.0, 0.0),
    (7.0, 0.0),
];

/// Extra-urban cycle; 400 s.
const EXTRA_URBAN: [(f64, f64); 21] = [
    (20.0, 0.0),
    (5.0, 15.0),
    (2.0, 15.0),
    (9.0, 35.0),
    (2.0, 35.0),
    (8.0, 50.0),
    (2.0, 50.0),
    (13.0, 70.0),
    (50.0, 70.0),
    (8.0, 50.0),
    (69.0, 50.0),
    (13.0, 70.0),
    (50.0, 70.0),
    (35.0, 100.0),
    (30.0, 100.0),
    (20.0, 120.0),
    (10.0, 120.0),
    (16.0, 80.0),
    (8.0, 50.0),
    (10.0, 0.0),
    (20.0, 0.0),
];

/// (seconds, speed at the end in km/h, slope at the end in percent); invented.
const MOUNTAIN: [(f64, f64, f64); 26] = [
    (10.0, 0.0, 0.0),
    (18.0, 48.0, 0.0),
    (70.0, 50.0, 1.0),
    (12.0, 62.0, 4.0),
    (130.0, 58.0, 6.0),
    (8.0, 25.0, 8.0),
    (10.0, 45.0, 8.0),
    (90.0, 45.0, 9.0),
    (7.0, 22.0, 9.0),
    (12.0, 46.0, 7.0),
    (110.0, 55.0, 7.0),
    (15.0, 0.0, 2.0),
    (40.0, 0.0, 2.0),
    (15.0, 42.0, 1.0),
    (60.0, 60.0, -2.0),
    (20.0, 45.0, -7.0),
    (120.0, 45.0, -9.0),
    (8.0, 22.0, -8.0),
    (12.0, 48.0, -8.0),
    (140.0, 55.0, -6.0),
    (20.0, 70.0, -1.0),
    (20.0, 90.0, 0.0),
    (200.0, 95.0, 0.0),
    (30.0, 80.0, 1.0),
    (30.0, 0.0, 0.0),
    (10.0, 0.0, 0.0),
];

/// The same for the railcar.
const TRACK: [(f64, f64, f64); 20] = [
    (15.0, 0.0, 0.0),
    (45.0, 40.0, 0.0),
    (60.0, 40.0, 0.5),
    (30.0, 0.0, 0.0),
    (30.0, 0.0, 0.0),
    (50.0, 45.0, 1.5),
    (30.0, 38.0, 4.0),
    (240.0, 34.0, 6.0),
    (60.0, 30.0, 5.0),
    (25.0, 0.0, 0.5),
    (60.0, 0.0, 0.5),
    (50.0, 40.0, -2.0),
    (220.0, 40.0, -5.5),
    (40.0, 55.0, -0.5),
    (40.0, 72.0, 0.0),
    (300.0, 75.0, 0.0),
    (60.0, 70.0, 0.8),
    (60.0, 20.0, 0.0),
    (20.0, 0.0, 0.0),
    (20.0, 0.0, 0.0),
];

/// The built-in trace of this name.
pub fn built_in(name: &str) -> Option<Trace> {
    let flat = |list: &[(f64, f64)]| list.iter().map(|p| (p.0, p.1, 0.0)).collect::<Vec<_>>();
    let pieces: Vec<(f64, f64, f64)> = match name {
        "nedc" => {
            let urban = flat(&URBAN);
            [urban.clone(), urban.clone(), urban.clone(), urban, flat(&EXTRA_URBAN)].concat()
        }
        "mountain" => MOUNTAIN.to_vec(),
        "track" => TRACK.to_vec(),
        _ => return None,
    };
    let mut moments = vec![Moment { t_s: 0.0, kmh: 0.0, slope: pieces[0].2 }];
    let mut t_s = 0.0;
    for (seconds, kmh, slope) in pieces {
        t_s += seconds;
        moments.push(Moment { t_s, kmh, slope });
    }
    Some(Trace { name: name.to_string(), moments })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// UN Regulation No. 83, Annex 4a: 1180 s, urban 195 s four times (1.013 km each in theory),
    /// extra-urban 400 s (6.955 km), about 11.0 km, 120 km/h at most, mean 33.6 km/h; from memory.
    #[test]
    fn the_nedc_has_its_published_statistics() {
        let nedc = built_in("nedc").unwrap();
        assert_eq!((nedc.duration_s(), nedc.max_kmh()), (1180.0, 120.0));
        let km = nedc.distance_m() / 1e3;
        assert!((km - 11.0).abs() < 0.05, "{km}");
        assert!((km / 1180.0 * 3600.0 - 33.6).abs() < 0.05, "{km}");
        let urban = Trace { moments: nedc.moments[..=URBAN.len()].to_vec(), ..nedc.clone() };
        assert_eq!(urban.duration_s(), 195.0);
        // The table's own length is stated as 1.013 km.
        assert!((urban.distance_m() - 1013.0).abs() < 3.0, "{}", urban.distance_m());
        let rest = Trace { moments: nedc.moments[4 * URBAN.len()..].to_vec(), ..nedc.clone() };
        assert!((rest.distance_m() - 6955.0).abs() < 1.0, "{}", rest.distance_m());
    }

    #[test]
    fn every_built_in_trace_begins_and_ends_at_rest() {
        for (name, _) in BUILT_IN {
            let trace = built_in(name).unwrap();
            let ends = [trace.moments.first(), trace.moments.last()];
            assert!(ends.iter().all(|m| m.is_some_and(|m| m.kmh == 0.0)), "{name}");
        }
    }
}
