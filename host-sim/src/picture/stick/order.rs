//! Where parts and shafts go: order of the columns, side and row of each shaft.
//!
//! A small annealing with a fixed seed: the same driveline always gives the same picture.
//! Whatever it finds is a correct drawing; it only makes shafts short and crossings few.

use super::parts::{self, Part, Slot};
use crate::driveline::Driveline;

/// Units of a column; its slots stand at 0, 1 and 2 of it.
const STEP: i32 = 6;
const TRIES: u32 = 12_000;

/// A layout without lengths.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Plan {
    /// Parts from left to right.
    pub(super) order: Vec<Part>,
    /// Whether left and right are exchanged in the column of the same index.
    pub(super) flip: Vec<bool>,
    /// By shaft: runs outside of the gears.
    pub(super) outer: Vec<bool>,
    /// By shaft: row, counted from the gears.
    pub(super) row: Vec<usize>,
}

/// What a plan costs and the rows that go with it.
struct Judged {
    cost: i64,
    row: Vec<usize>,
}

fn place(column: usize, slot: Slot) -> i32 {
    column as i32 * STEP + slot as i32
}

/// First and last place of each shaft, and all places at which it leaves the gears.
fn spans(d: &Driveline, plan: &Plan) -> Vec<Vec<i32>> {
    let mut at = vec![Vec::new(); d.shafts.len()];
    for (column, (&part, &flip)) in plan.order.iter().zip(&plan.flip).enumerate() {
        for join in parts::joins(d, part, &plan.outer, flip) {
            at[join.shaft].push(place(column, join.slot));
        }
    }
    for list in &mut at {
        list.sort_unstable();
    }
    at
}

/// Whether two shafts of one side may not share a row: there is less than a column between
/// them, unless a lock stands there that joins them.
fn collide(d: &Driveline, plan: &Plan, a: &[i32], b: &[i32], shafts: (usize, usize)) -> bool {
    let (Some(&a0), Some(&a1), Some(&b0), Some(&b1)) = (a.first(), a.last(), b.first(), b.last())
    else {
        return false;
    };
    let (end, start, left, right) =
        if a0 <= b0 { (a1, b0, shafts.0, shafts.1) } else { (b1, a0, shafts.1, shafts.0) };
    if end + 3 < start {
        return false;
    }
    let joined = match plan.order.get((end / STEP) as usize) {
        Some(Part::Lock(i)) => {
            let lock = &d.locks[*i];
            let ends = (lock.a, lock.b);
            end / STEP == start / STEP
                && (ends == (left, Some(right)) || ends == (right, Some(left)))
        }
        _ => false,
    };
    // A shaft with one place only has its label beside it, where the lock would stand.
    let long = a0 < a1 && b0 < b1;
    !(joined && long && end < start)
}

fn judge(d: &Driveline, plan: &Plan) -> Judged {
    let at = spans(d, plan);
    let mut by_length: Vec<usize> = (0..at.len()).collect();
    let length = |s: usize| at[s].last().unwrap_or(&0) - at[s].first().unwrap_or(&0);
    by_length.sort_by_key(|&s| (length(s), s));
    let mut row = vec![0usize; at.len()];
    let mut cost = 0i64;
    for (n, &s) in by_length.iter().enumerate() {
        for &other in &by_length[..n] {
            if plan.outer[other] == plan.outer[s]
                && collide(d, plan, &at[s], &at[other], (s, other))
            {
                row[s] = row[s].max(row[other] + 1);
            }
        }
        cost += i64::from(length(s)) * 2 + row[s] as i64 * at[s].len() as i64 * 3;
    }
    // A vertical piece crosses every nearer row whose shaft passes there.
    for s in 0..at.len() {
        for t in (0..at.len()).filter(|&t| plan.outer[t] == plan.outer[s] && row[t] < row[s]) {
            let (Some(&low), Some(&high)) = (at[t].first(), at[t].last()) else { continue };
            cost += 40 * at[s].iter().filter(|&&x| low < x && x < high).count() as i64;
        }
    }
    let last = plan.order.len() as i64 - 1;
    for (column, &part) in plan.order.iter().enumerate() {
        cost += match part {
            Part::Output => 2 * (last - column as i64),
            Part::Machine(_) => (column as i64).min(last - column as i64),
            _ => 0,
        };
        cost += if parts::is_twisted(d, part, &plan.outer) { 1_000_000 } else { 0 };
    }
    Judged { cost, row }
}

/// SplitMix64 (Steele, Lea, Flood 2014; constants from memory).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) % n.max(1) as u64) as usize
    }
}

fn change(plan: &mut Plan, dice: &mut Dice) {
    let n = plan.order.len();
    match dice.below(8) {
        0..=1 => {
            let (i, j) = (dice.below(n), dice.below(n));
            plan.order.swap(i, j);
            plan.flip.swap(i, j);
        }
        2..=4 => {
            let (from, to) = (dice.below(n), dice.below(n));
            let (part, flip) = (plan.order.remove(from), plan.flip.remove(from));
            plan.order.insert(to, part);
            plan.flip.insert(to, flip);
        }
        5..=6 => {
            let i = dice.below(n);
            plan.flip[i] = !plan.flip[i];
        }
        _ => {
            let s = dice.below(plan.outer.len());
            plan.outer[s] = !plan.outer[s];
        }
    }
}

/// The plan of a driveline.
pub(super) fn plan(d: &Driveline) -> Plan {
    let order = parts::parts(d);
    let mut plan = Plan {
        flip: vec![false; order.len()],
        order,
        outer: vec![false; d.shafts.len()],
        row: Vec::new(),
    };
    let mut dice = Dice(1);
    let mut judged = judge(d, &plan);
    let mut best = (judged.cost, plan.clone(), judged.row.clone());
    for n in 0..TRIES {
        let mut next = plan.clone();
        change(&mut next, &mut dice);
        let found = judge(d, &next);
        // Worse is taken less and less often: a threshold that falls to nothing.
        let allowed = 60 * i64::from(TRIES - n) / i64::from(TRIES) * dice.below(100) as i64 / 100;
        if found.cost <= judged.cost + allowed {
            plan = next;
            judged = found;
            if judged.cost < best.0 {
                best = (judged.cost, plan.clone(), judged.row.clone());
            }
        }
    }
    let (_, mut plan, row) = best;
    plan.row = row;
    plan
}
