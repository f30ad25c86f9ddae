//! Changes of what is measured with: rows, limits, sensor bits, windows.

use supervisor::bits::Bits;
use supervisor::table::{Lock, Window};

use super::list::{List, Part};
use crate::table::TableData;

const MEASURES: Part = Part::Measures;

pub(super) fn add(list: &mut List) {
    locks(list);
    rests(list);
    parities(list);
    output(list);
    windows(list);
}

/// A field that holds one number.
type Number<T> = fn(&mut T) -> &mut f32;

/// A number of a lock, and the factor that makes it worse.
const OF_LOCK: [(&str, Number<Lock>, f32); 8] = [
    ("slip_max", |l| &mut l.slip_max, 2.0),
    ("begin_max", |l| &mut l.begin_max, 2.0),
    ("moving_min", |l| &mut l.moving_min, 0.5),
    ("rate_max", |l| &mut l.rate_max, 2.0),
    ("rise_max_k", |l| &mut l.rise_max_k, 2.0),
    ("heat_k_per_radps_tick", |l| &mut l.heat_k_per_radps_tick, 0.5),
    ("drag_k_per_radps_tick", |l| &mut l.drag_k_per_radps_tick, 0.5),
    ("cooling_ticks", |l| &mut l.cooling_ticks, 0.5),
];

/// The sensors that a row reads.
pub(super) fn read_by(row: &[f32]) -> Vec<u8> {
    (0..row.len() as u8).filter(|&i| row[usize::from(i)] != 0.0).collect()
}

/// Every sign of a row over the sensors, and every one of its sensor bits.
pub(super) fn signs_and_bits(
    list: &mut List,
    [signs, bits]: [&'static str; 2],
    place: &str,
    row: &[f32],
    named: Bits,
    of: impl Fn(&mut TableData) -> (&mut [f32], &mut Bits) + Clone + Send + Sync + 'static,
) {
    for sensor in read_by(row) {
        let (of, name) = (of.clone(), format!("of {} flipped", list.sensor(sensor)));
        list.add((MEASURES, signs), place, name, move |t| {
            let c = &mut of(t).0[usize::from(sensor)];
            *c = -*c;
        });
    }
    for sensor in named.iter() {
        let (of, name) = (of.clone(), format!("without {}", list.sensor(sensor)));
        list.add((MEASURES, bits), place, name, move |t| {
            let bits = of(t).1;
            *bits = bits.with(sensor, false);
        });
    }
}

fn locks(list: &mut List) {
    for (i, lock) in list.good.locks.iter().enumerate() {
        let place = format!("lock {}", list.d.locks[i].name);
        for (field, number, factor) in OF_LOCK {
            let place = format!("{place} {field}");
            list.add((MEASURES, "lock limit"), place, format!("x{factor}"), move |t| {
                *number(&mut t.locks[i]) *= factor;
            });
        }
        signs_and_bits(
            list,
            ["lock row sign", "lock sensor dropped"],
            &place,
            &lock.slip_row,
            lock.sensors,
            move |t| {
                let lock = &mut t.locks[i];
                (&mut lock.slip_row, &mut lock.sensors)
            },
        );
    }
}

fn rests(list: &mut List) {
    for (i, rest) in list.good.rests.iter().enumerate() {
        let place = format!("rest of {}", list.d.machines[i].name);
        list.add((MEASURES, "rest limit"), &place, "max x2", move |t| t.rests[i].max *= 2.0);
        let kinds = ["rest row sign", "rest sensor dropped"];
        signs_and_bits(list, kinds, &place, &rest.row, rest.sensors, move |t| {
            let rest = &mut t.rests[i];
            (&mut rest.row, &mut rest.sensors)
        });
    }
}

fn parities(list: &mut List) {
    for (i, parity) in list.good.parities.iter().enumerate() {
        let place = format!("parity {i}");
        list.add((MEASURES, "parity limit"), &place, "max x3", move |t| t.parities[i].max *= 3.0);
        list.add((MEASURES, "parity removed"), &place, "removed", move |t| {
            t.parities.remove(i);
        });
        let kinds = ["parity row sign", "parity sensor dropped"];
        signs_and_bits(list, kinds, &place, &parity.row, parity.sensors, move |t| {
            let parity = &mut t.parities[i];
            (&mut parity.row, &mut parity.sensors)
        });
    }
}

fn output(list: &mut List) {
    let (row, sensors) = (list.good.output_row, list.good.output_sensors);
    let kinds = ["output row sign", "output sensor dropped"];
    signs_and_bits(list, kinds, "output", &row, sensors, |t| {
        (&mut t.output_row, &mut t.output_sensors)
    });
    for factor in [0.0, 0.5, 2.0] {
        let name = format!("x{factor}");
        list.add((MEASURES, "output_rate_max"), "output", &name, move |t| {
            t.output_rate_max *= factor;
        });
        list.add((MEASURES, "engine_min"), "engine", &name, move |t| t.engine_min *= factor);
    }
    for (i, sensor) in list.d.sensors.iter().enumerate() {
        for factor in [0.5, 2.0] {
            let place = format!("sensor {}", sensor.name);
            list.add((MEASURES, "sensor range"), place, format!("x{factor}"), move |t| {
                t.sensors[i].range *= factor;
            });
            let place = format!("sensor {}", sensor.name);
            list.add((Part::Orders, "allowed speed"), place, format!("x{factor}"), move |t| {
                let allowed = &mut t.sensors[i].allowed;
                (allowed.min, allowed.max) = (allowed.min * factor, allowed.max * factor);
            });
        }
    }
}

/// A number a tenth and one beyond itself; one that is no limit stays what it is.
pub(super) fn beyond(x: f32, up: bool) -> f32 {
    let step = 0.1 * x.abs() + 1.0;
    match x.abs() < f32::MAX {
        true if up => x + step,
        true => x - step,
        false => x,
    }
}

/// Both ends of a window, each moved outwards.
pub(super) fn widened(
    list: &mut List,
    kind: &'static str,
    place: &str,
    of: impl Fn(&mut TableData) -> &mut Window + Clone + Send + Sync + 'static,
) {
    let low = of.clone();
    list.add((MEASURES, kind), place, "min lower", move |t| {
        let window = low(t);
        window.min = beyond(window.min, false);
    });
    list.add((MEASURES, kind), place, "max higher", move |t| {
        let window = of(t);
        window.max = beyond(window.max, true);
    });
}

fn windows(list: &mut List) {
    for i in 0..list.good.arrangements.len() {
        let place = format!("arrangement {}", list.d.arrangements[i].name);
        let (ask, keep) = (format!("{place} window"), format!("{place} keep"));
        widened(list, "arrangement window", &ask, move |t| &mut t.arrangements[i].window);
        widened(list, "arrangement keep", &keep, move |t| &mut t.arrangements[i].keep);
    }
}
