//! Why a defect that nothing finds is none: shown from the broken table, or not at all.

use supervisor::bits::Bits;
use supervisor::table::{EngineUse, Stuck, WAYS, Why};

use super::explored::Explored;
use crate::audit::Audited;
use crate::table::{TableData, stuck_variants};

/// A reason that was checked.
#[derive(Clone, Debug, PartialEq)]
pub enum Reason {
    /// The audit proves this row of the broken table as well: what is measured within the changed
    /// number is still truly within what it guards.
    Proved {
        /// Where the row stands.
        place: String,
        /// What is left, in its unit.
        left: f64,
        /// The unit.
        unit: &'static str,
    },
    /// Limits of a step were changed, and every shaft that it moves is still guarded by a row
    /// that is proved.
    Covered,
    /// Every way of the broken table arrives, costs the same as before, and was explored.
    SameCost,
    /// Another fallback is as near, wants the engine as much, and was explored.
    AsNear,
}

impl Reason {
    /// In words.
    pub fn text(&self) -> String {
        match self {
            Reason::Proved { place, left, unit } => {
                format!("still proved: {place}, {left:.3e} {unit} left")
            }
            Reason::Covered => {
                "every shaft that the step moves is still guarded by a proved row".to_string()
            }
            Reason::SameCost => {
                "every way arrives at the same cost, and everything explored holds".to_string()
            }
            Reason::AsNear => "this fallback is as near, and everything explored holds".to_string(),
        }
    }
}

/// The reason why this change of a table is none, if there is one. Both audits have no finding.
pub(super) fn reason(
    (good, broken): (&TableData, &TableData),
    (before, after): (&Audited, &Audited),
    explored: &Explored,
) -> Option<Reason> {
    let unchanged = TableData { hash: good.hash, ..broken.clone() } == *good;
    if !after.findings.is_empty() || unchanged {
        return None;
    }
    if let Some(proved) = proved(good, broken, before, after) {
        return Some(proved);
    }
    if only_limits_differ(good, broken) && covered(before, after) {
        return Some(Reason::Covered);
    }
    if !matches!(explored, Explored::Holds(_)) {
        return None;
    }
    if only_ways_differ(good, broken) && same_costs(good, broken) {
        return Some(Reason::SameCost);
    }
    as_near(good, broken).then_some(Reason::AsNear)
}

/// The reason, in words, why this change of a table is none, where the audits alone show it.
pub fn excuse_unexplored(
    tables: (&TableData, &TableData),
    audits: (&Audited, &Audited),
) -> Option<String> {
    reason(tables, audits, &Explored::Not("it was not explored")).map(|reason| reason.text())
}

/// The rows whose numbers the change touched, all proved; the tightest of them. Nothing else may
/// be changed than numbers, or what else it does would go unseen.
fn proved(
    good: &TableData,
    broken: &TableData,
    before: &Audited,
    after: &Audited,
) -> Option<Reason> {
    let changed = changed_numbers(good, broken)?;
    let differs = |p: &&crate::audit::Proof| {
        before.proofs.iter().any(|q| q.place == p.place && q.id == p.id && q.limit != p.limit)
    };
    let touched: Vec<_> = after.proofs.iter().filter(differs).collect();
    let all_hold = touched.iter().all(|p| p.holds && p.left >= 0.0);
    let tightest = touched.iter().min_by(|a, b| a.left.total_cmp(&b.left))?;
    (changed == 1 && all_hold).then(|| Reason::Proved {
        place: tightest.place.clone(),
        left: tightest.left,
        unit: tightest.unit,
    })
}

/// How many numbers of limits differ; `None` where anything else does.
fn changed_numbers(good: &TableData, broken: &TableData) -> Option<usize> {
    let mut same = broken.clone();
    let mut count = 0;
    let mut mend = |broken: &mut f32, good: f32| {
        count += usize::from(*broken != good);
        *broken = good;
    };
    for (b, g) in same.locks.iter_mut().zip(&good.locks) {
        mend(&mut b.slip_max, g.slip_max);
        mend(&mut b.begin_max, g.begin_max);
        mend(&mut b.moving_min, g.moving_min);
        mend(&mut b.rate_max, g.rate_max);
        mend(&mut b.rise_max_k, g.rise_max_k);
    }
    for (b, g) in same.arrangements.iter_mut().zip(&good.arrangements) {
        for (b, g) in [(&mut b.window, g.window), (&mut b.keep, g.keep)] {
            mend(&mut b.min, g.min);
            mend(&mut b.max, g.max);
        }
        mend(&mut b.pace.min, g.pace.min);
        mend(&mut b.pace.max, g.pace.max);
    }
    for (b, g) in same.steps.iter_mut().zip(&good.steps) {
        mend(&mut b.target_min, g.target_min);
        mend(&mut b.target_max, g.target_max);
        mend(&mut b.load_max, g.load_max);
        mend(&mut b.demand_max, g.demand_max);
        mend(&mut b.window.min, g.window.min);
        mend(&mut b.window.max, g.window.max);
    }
    for (b, g) in same.limits.iter_mut().zip(&good.limits) {
        mend(&mut b.min, g.min);
        mend(&mut b.max, g.max);
    }
    same.hash = good.hash;
    (same == *good).then_some(count)
}

fn only_limits_differ(good: &TableData, broken: &TableData) -> bool {
    let mut same = broken.clone();
    same.limits.clone_from(&good.limits);
    for (b, g) in same.steps.iter_mut().zip(&good.steps) {
        (b.limits_from, b.limits_count) = (g.limits_from, g.limits_count);
    }
    same.hash = good.hash;
    same == *good
}

/// Whether what each step's limits proved before is proved after, whichever row does it.
fn covered(before: &Audited, after: &Audited) -> bool {
    // "step 4 limit 0 min (ring)" without the number of the row.
    let what = |place: &str| {
        let words: Vec<&str> = place.split(' ').collect();
        (words.get(1).map(|s| s.to_string()), words.get(4..).map(|w| w.join(" ")))
    };
    let limits = |audited: &Audited| -> Vec<_> {
        let rows = audited.proofs.iter().filter(|p| p.id == "AU-LIMITS" && p.holds);
        rows.map(|p| what(&p.place)).collect()
    };
    let (had, has) = (limits(before), limits(after));
    !had.is_empty() && had.iter().all(|row| has.contains(row))
}

/// Whether only a fallback differs, and the other one costs as much and wants the engine as much.
fn as_near(good: &TableData, broken: &TableData) -> bool {
    let mut same = broken.clone();
    let mut all = true;
    for (i, (b, g)) in same.sets.iter_mut().zip(&good.sets).enumerate() {
        if b.fallback == g.fallback {
            continue;
        }
        let cost = |target| cost(good, (0, Stuck::None), Bits(i as u8), target);
        let near = match (cost(b.fallback), cost(g.fallback)) {
            (Some(b), Some(g)) => (b - g).abs() <= 1e-4,
            _ => false,
        };
        let wants = |target: u8| {
            good.arrangements.get(usize::from(target)).map(|a| a.engine == EngineUse::On)
        };
        all &= near && wants(b.fallback) == wants(g.fallback);
        b.fallback = g.fallback;
    }
    same.hash = good.hash;
    all && same == *good
}

fn only_ways_differ(good: &TableData, broken: &TableData) -> bool {
    let same = TableData { next: good.next.clone(), hash: good.hash, ..broken.clone() };
    same == *good
}

/// Whether every entry that leads somewhere leads there at the same cost.
fn same_costs(good: &TableData, broken: &TableData) -> bool {
    let targets = good.arrangements.len() as u8;
    let variants = stuck_variants(good.locks.len());
    (0..WAYS as u8).all(|way| {
        variants.iter().all(|&stuck| {
            (0..good.sets.len()).all(|set| {
                (0..targets).all(|target| {
                    let cost = |table| cost(table, (way, stuck), Bits(set as u8), target);
                    match (cost(good), cost(broken)) {
                        (Some(a), Some(b)) => (a - b).abs() <= 1e-4,
                        (None, None) => true,
                        _ => false,
                    }
                })
            })
        })
    })
}

/// What following the entries costs; `None` where they do not arrive.
fn cost(data: &TableData, (way, stuck): (u8, Stuck), from: Bits, target: u8) -> Option<f64> {
    let table = data.table();
    let (mut set, mut cost) = (from, 0.0);
    for _ in 0..=data.sets.len() {
        match table.next_step(way, stuck, set, target) {
            Err(Why::Arrived) => return Some(cost),
            Err(_) => return None,
            Ok(number) => {
                cost += data.notes.get(usize::from(number))?.cost;
                let lock = table.step(number)?.lock;
                set = set.with(lock, !set.has(lock));
            }
        }
    }
    None
}
