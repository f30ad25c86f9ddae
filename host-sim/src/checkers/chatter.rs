//! `SW-CHATTER`: no lock is ordered closed more often than the stated times and attempts allow.

use std::sync::Arc;

use supervisor::bits::MAX_LOCKS;

use super::truth::lock_name;
use super::{Checker, Finding, Findings, LockSets, Margin, TickTruth, Worst};
use crate::driveline::Driveline;

const RULE: &str = "SW-CHATTER";
/// Closings that a window of as many shortest times may hold.
const WINDOW: usize = 10;
/// Orders of preference in which a request may be tried (the table's ways).
const WAYS: u32 = 3;

/// Orders of one lock.
#[derive(Clone, Copy, Debug)]
struct Orders {
    /// Times of the last closings, s, the oldest at `next`.
    times_s: [f64; WINDOW],
    next: usize,
    /// Closings under the present request.
    count: u32,
    worst_count: Worst,
}

const NO_ORDERS: Orders =
    Orders { times_s: [f64::NEG_INFINITY; WINDOW], next: 0, count: 0, worst_count: Worst::NONE };

/// Counts the orders to close.
#[derive(Clone, Debug)]
pub struct ChatterChecker {
    driveline: Arc<Driveline>,
    window_s: [f64; MAX_LOCKS],
    most: u32,
    request: Option<u8>,
    closed_before: u8,
    orders: [Orders; MAX_LOCKS],
    findings: Findings,
}

/// Shortest time from one order to close a lock to the next one, s: the wait after a failed
/// attempt, or closing and releasing it in full.
fn shortest_s(driveline: &Driveline, lock: usize) -> f64 {
    let data = &driveline.locks[lock];
    driveline.timing.confirm_timeout_ms.min(data.close_ms + data.release_ms) / 1e3
}

impl ChatterChecker {
    /// For the locks and the timing of a driveline.
    pub fn new(driveline: &Arc<Driveline>) -> ChatterChecker {
        let mut window_s = [0.0; MAX_LOCKS];
        for (i, window) in window_s.iter_mut().enumerate().take(driveline.locks.len()) {
            *window = WINDOW as f64 * shortest_s(driveline, i);
        }
        ChatterChecker {
            driveline: driveline.clone(),
            window_s,
            // Towards the goal and towards a fallback: each way as often as may be, and once more
            // on a way that another lock ends.
            most: 2 * (WAYS * driveline.timing.retries + 1),
            request: None,
            closed_before: 0,
            orders: [NO_ORDERS; MAX_LOCKS],
            findings: Findings::default(),
        }
    }

    /// Lock `i` was ordered closed in this tick.
    fn count(&mut self, i: usize, t_s: f64) {
        let orders = &mut self.orders[i];
        let oldest = std::mem::replace(&mut orders.times_s[orders.next], t_s);
        orders.next = (orders.next + 1) % WINDOW;
        orders.count += 1;
        orders.worst_count.see(f64::from(orders.count), t_s);
        let count = orders.count;
        let took = t_s - oldest;
        let name = lock_name(&self.driveline, i);
        if took < self.window_s[i] * (1.0 - 1e-9) {
            let (n, window) = (WINDOW + 1, self.window_s[i]);
            let text = format!(
                "{name} was ordered closed {n} times within {took:.2} s; that takes at least \
                 {window:.2} s"
            );
            self.findings.add(RULE, t_s, text);
        }
        if count == self.most + 1 {
            let text = format!(
                "{name} was ordered closed {count} times under one request; {} are enough for \
                 every way and attempt",
                self.most
            );
            self.findings.add(RULE, t_s, text);
        }
    }
}

impl Checker for ChatterChecker {
    fn id(&self) -> &'static str {
        RULE
    }

    fn look(&mut self, truth: &TickTruth, sets: &LockSets) {
        if truth.reset {
            for orders in &mut self.orders {
                (orders.times_s, orders.count) = (NO_ORDERS.times_s, 0);
            }
        }
        if truth.request != self.request {
            self.request = truth.request;
            self.orders.iter_mut().for_each(|orders| orders.count = 0);
        }
        let closed = sets.ordered_closed;
        let mut fresh = closed & !std::mem::replace(&mut self.closed_before, closed);
        while fresh != 0 {
            self.count(fresh.trailing_zeros() as usize, truth.t_s);
            fresh &= fresh - 1;
        }
    }

    fn finish(&mut self) -> Vec<Finding> {
        self.findings.take()
    }

    fn margins(&self) -> Vec<Margin> {
        let of = |(i, orders): (usize, &Orders)| {
            let name = self.driveline.locks.get(i).map(|_| lock_name(&self.driveline, i))?;
            let subject = format!("{name} under one request");
            orders.worst_count.margin(RULE, &subject, f64::from(self.most), "closings")
        };
        self.orders.iter().enumerate().filter_map(of).collect()
    }

    fn reset(&mut self) {
        (self.request, self.closed_before) = (None, 0);
        self.orders = [NO_ORDERS; MAX_LOCKS];
        self.findings.clear();
    }
}
