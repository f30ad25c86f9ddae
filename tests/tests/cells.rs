//! Which guard bits can be measured together: the exact enumeration against random motions that
//! the board's own code measures, with every sensor somewhere within its stated error.

use host_sim::driveline::Driveline;
use host_sim::exact::to_f64;
use host_sim::explore::cells::{Cells, GuardBit};
use host_sim::kinematics::{Kinematics, analyse};
use host_sim::table::{RPM, TableData, build};
use slipwarden_tests::drivelines::{axle, railcar, shuttle};
use slipwarden_tests::random::Dice;
use supervisor::bits::Bits;
use supervisor::guards::Guards;
use supervisor::heat::Heat;
use supervisor::io::{Inputs, Speed};
use supervisor::observe::{Memory, Reading};

const SEED: u64 = 20_261_125;
const TRIES: usize = 20_000;

struct Demo {
    d: Driveline,
    k: Kinematics,
    data: TableData,
}

impl Demo {
    fn new(d: Driveline) -> Demo {
        let k = analyse(&d).expect("the output turns");
        let data = build(&d, &k).expect("a demo makes a table");
        Demo { d, k, data }
    }

    /// Motions of a lock set of every size, from far below the limits to far above.
    fn motion(&self, dice: &mut Dice, held: u8) -> Vec<f64> {
        let mut speeds = vec![0.0; self.d.shafts.len()];
        let size = 10_f64.powf(1.0 + 1.5 * dice.signed_unit());
        for motion in &self.k.sets[usize::from(held)].basis {
            let share = if dice.chance(1, 4) { 0.0 } else { dice.signed_unit() };
            speeds.iter_mut().zip(motion).for_each(|(s, m)| *s += size * share * to_f64(m));
        }
        speeds
    }

    /// What the board says of it: bits that are true, and bits that are false although known.
    fn measured(&self, dice: &mut Dice, speeds: &[f64]) -> (u32, u32) {
        let mut inputs = Inputs::default();
        for (sensor, slot) in self.d.sensors.iter().zip(&mut inputs.speeds) {
            let end = dice.chance(1, 2);
            let error = if end { dice.signed_unit().signum() } else { dice.signed_unit() };
            let step = sensor.resolution_rpm * RPM;
            let read = speeds[sensor.shaft] + error * sensor.error_rpm * RPM;
            let radps = if step > 0.0 { (read / step).round() * step } else { read };
            *slot = Speed { radps: radps as f32, valid: true };
        }
        let (table, heat, mut memory) = (self.data.table(), Heat::default(), Memory::default());
        let mut reading = Reading::new(&table, &inputs, &heat, &mut memory);
        let (mut yes, mut no) = (0, 0);
        let mut put = |bit: GuardBit, is: bool| {
            *(if is { &mut yes } else { &mut no }) |= bit.mask();
        };
        for lock in 0..table.lock_count() {
            let slip = reading.slip(lock);
            if slip.known {
                put(GuardBit::Moving(lock), slip.moving);
                put(GuardBit::Within(lock), slip.within);
                put(GuardBit::Near(lock), slip.near);
            }
        }
        for (machine, rest) in (0..).zip(table.rests) {
            if rest.max > 0.0 && reading.plausible(rest.sensors) {
                put(GuardBit::Rest(machine), reading.at_rest(Bits::one(machine)));
            }
        }
        (yes, no)
    }

    /// Random measurements that the cells forbid, of how many.
    fn forbidden(&self, cells: &Cells, tries: usize) -> usize {
        let mut dice = Dice::new(SEED);
        let sets = self.k.sets.len() as u32;
        let mut forbidden = 0;
        for _ in 0..tries {
            let held = dice.whole(0, sets - 1) as u8;
            let speeds = self.motion(&mut dice, held);
            let (yes, no) = self.measured(&mut dice, &speeds);
            forbidden += usize::from(!cells.allow(held, yes, no));
        }
        forbidden
    }
}

/// Whatever a motion and sensors within their errors make the board say is allowed. Planted: where
/// motions are left out, something that is measured is not.
#[test]
fn what_the_board_can_measure_is_never_forbidden() {
    for d in [axle(), shuttle(), railcar()] {
        let demo = Demo::new(d);
        let table = demo.data.table();
        let cells = Cells::new(&demo.d, &demo.k, &table);
        let tries = if demo.k.sets.len() > 8 { TRIES / 10 } else { TRIES };
        assert_eq!(demo.forbidden(&cells, tries), 0, "{}, seed {SEED}", demo.d.name);
        let mut stiff = demo.k.clone();
        stiff.sets.iter_mut().for_each(|set| set.basis.truncate(1));
        let stiff = Cells::new(&demo.d, &stiff, &table);
        assert!(demo.forbidden(&stiff, tries) > 0, "{}, seed {SEED}", demo.d.name);
    }
}

/// All the cells of each lock set: every measured one is among them, most of them are measured,
/// and they are far fewer than the combinations that each row allows by itself.
#[test]
fn the_cells_are_those_that_random_motions_find() {
    for (d, counts) in [(axle(), AXLE), (shuttle(), SHUTTLE)] {
        let demo = Demo::new(d);
        let cells = Cells::new(&demo.d, &demo.k, &demo.data.table());
        let mut dice = Dice::new(SEED);
        let mut listed = Vec::new();
        for held in 0..demo.k.sets.len() as u8 {
            let all = cells.all(held);
            let mut found = std::collections::BTreeSet::new();
            for _ in 0..TRIES {
                let speeds = demo.motion(&mut dice, held);
                let (yes, no) = demo.measured(&mut dice, &speeds);
                if (yes | no).count_ones() as usize == cells.bits() {
                    assert!(all.contains(&yes), "{} {held}: {yes:b}, seed {SEED}", demo.d.name);
                    found.insert(yes);
                }
            }
            listed.push((all.len(), found.len()));
        }
        println!("{}: {listed:?} of {}", demo.d.name, 1_u64 << cells.bits());
        let shown: Vec<usize> = listed.iter().map(|(all, _)| *all).collect();
        assert_eq!(shown, counts, "{}", demo.d.name);
        let (all, found) = listed.iter().fold((0, 0), |(a, f), (x, y)| (a + x, f + y));
        assert!(2 * found >= all, "{}: {found} of {all}, seed {SEED}", demo.d.name);
    }
}

/// By lock set.
const AXLE: [usize; 8] = [104, 20, 20, 4, 26, 5, 5, 1];
const SHUTTLE: [usize; 8] = [462, 88, 86, 12, 110, 20, 20, 2];

/// A lock that holds does not move; one whose sides are both at rest does not either.
#[test]
fn what_the_gears_forbid_is_forbidden() {
    let demo = Demo::new(shuttle());
    let cells = Cells::new(&demo.d, &demo.k, &demo.data.table());
    for lock in 0..demo.d.locks.len() as u8 {
        let moving = GuardBit::Moving(lock).mask();
        assert!(cells.allow(0, moving, 0));
        assert!(!cells.allow(1 << lock, moving, 0), "lock {lock} holds");
        let near = GuardBit::Near(lock).mask();
        assert!(!cells.allow(0, near, GuardBit::Within(lock).mask()), "begins, but may not go on");
    }
    // Each row by itself allows four answers about a slip and two about a rest.
    let alone = 4_usize.pow(demo.d.locks.len() as u32) << demo.data.rests.len();
    assert!(cells.all(0).len() < alone, "with every lock open too, not all goes together");
}
