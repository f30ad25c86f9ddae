//! One tick: `observe -> decide -> interlock -> orders`.

use crate::bits::{Bits, MAX_MACHINES};
use crate::check::{TableFault, check};
use crate::decide::State;
use crate::heat::Heat;
use crate::io::{Inputs, MachineOrder, Orders};
use crate::journal::{Event, EventKind, Journal};
use crate::kernel::Kernel;
use crate::midway::Midway;
use crate::observe::{Memory, Reading};
use crate::plan::{calm_orders, calm_share, machine_orders};
use crate::race::Race;
use crate::status::{Phase, Refusal, Status};
use crate::stray::Stray;
use crate::table::Table;
use crate::trace::Trace;
use crate::unasked::{self, Unasked};
use crate::unseen;

#[cfg(test)]
mod properties;
#[cfg(test)]
mod tests;

/// All memory of a supervisor. A new one is what a reset leaves: nothing is known.
#[derive(Clone, Debug, Default)]
pub struct Supervisor {
    kernel: Kernel,
    memory: Memory,
    heat: Heat,
    journal: Journal,
    status: Status,
    table_fault: Option<TableFault>,
    race: Race,
    stray: Stray,
    unasked: Unasked,
    midway: Midway,
    tick: u32,
}

/// What one tick gives.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use = "orders that are not carried out leave the driveline as it was"]
pub struct Output {
    /// What every actuator is asked to do.
    pub orders: Orders,
    /// What the supervisor says of itself.
    pub status: Status,
}

impl Supervisor {
    /// As after a reset of which nothing is known.
    pub fn new() -> Supervisor {
        Supervisor::default()
    }

    /// As after a short reset, with what the last supervisor left in memory that was not cleared:
    /// locks that it pressed and that are still closed stay so, and plates are as hot as they were.
    pub fn after_reset(trace: Trace) -> Supervisor {
        Supervisor {
            kernel: Kernel::after_reset(Some(trace.watch)),
            heat: Heat::of_kept(trace.rises),
            midway: Midway::after_reset(trace.watch.granted()),
            ..Supervisor::default()
        }
    }

    /// What to keep for the next supervisor; of this tick.
    pub fn trace(&self) -> Trace {
        Trace { watch: *self.kernel.watch(), rises: self.heat.kept() }
    }

    /// The event memory.
    pub const fn journal(&self) -> &Journal {
        &self.journal
    }

    /// What was said in the last tick.
    pub const fn status(&self) -> &Status {
        &self.status
    }

    /// Memory of the decision, for exploration and comparison.
    pub const fn state(&self) -> &State {
        self.kernel.state()
    }

    /// Memory of decision and interlock, for comparison.
    pub const fn kernel(&self) -> &Kernel {
        &self.kernel
    }

    /// Estimated temperature rise of a lock's plates over the oil, K.
    pub fn rise_k(&self, table: &Table, lock: u8) -> f32 {
        self.heat.rise_k(table, lock)
    }

    /// One tick, to be called at the table's period.
    ///
    /// Speeds in rad/s, torques in Nm. Never panics and never loops unboundedly,
    /// whatever the inputs. A table that is not sound ([`check`]) gets every lock opened and
    /// every machine unloaded.
    pub fn tick(&mut self, table: &Table, inputs: &Inputs) -> Output {
        if self.kernel.watch.is_asleep() && self.table_fault.is_none() {
            self.table_fault = check(table).err();
        }
        self.go(table, inputs)
    }

    fn go(&mut self, table: &Table, inputs: &Inputs) -> Output {
        let mut orders = Orders::default();
        let status = match self.table_fault {
            Some(fault) => refuse_table(fault, &mut orders),
            None => self.work(table, inputs, &mut orders),
        };
        self.journal.compare(self.tick, &self.status, &status);
        self.status = status;
        self.tick = self.tick.wrapping_add(1);
        Output { orders, status }
    }

    fn work(&mut self, table: &Table, inputs: &Inputs, orders: &mut Orders) -> Status {
        let Memory { samples, slips } = &mut self.memory;
        let mut reading = Reading::before(table, inputs, &self.heat, samples, slips);
        reading.measure(samples, self.race.is_on());
        if self.kernel.watch.is_asleep() {
            self.journal.push(Event { tick: self.tick, kind: EventKind::Reset, held: Bits::EMPTY });
        }
        let ruling = self.kernel.step(table, &mut reading);
        if !ruling.let_go.is_empty() {
            let held = self.status.held;
            let kind = EventKind::LetGo(ruling.let_go);
            self.journal.push(Event { tick: self.tick, kind, held });
        }
        let passed = ruling.passed;
        let possibly_closed = ruling.seen.maybe_closed.or(passed);
        orders.locks = ruling.lock_orders();
        orders.engine_run = ruling.decision.engine_run;
        let (plan, phase) = (ruling.decision.plan, self.kernel.state.phase);
        let at_try = (plan, self.kernel.state.tries());
        machine_orders(table, &reading, inputs, at_try, &mut orders.machines);
        if let Some(share) = calm_share(table, plan, phase)
            && !table.set(possibly_closed).drives
        {
            calm_orders(table, &reading, share, &mut orders.machines);
        }
        self.stray.cut(table, phase, &reading, &mut orders.machines);
        let arrived = self.kernel.state.locks.closed.or(reading.reported_closed());
        self.midway.tick(ruling.granted, arrived, reading.moving_locks());
        let standing = standing(&self.kernel.state, self.midway, table, &mut reading);
        unseen::cut(table, &reading, standing.is_shown(), &mut orders.machines);
        let racing = reading.racing();
        let joined = || table.set(possibly_closed).engine_joined;
        let pushes = !racing.is_empty() && joined() && reading.engine_pushes();
        self.race.cut(table, racing, pushes, orders);
        let gains = || joined() && reading.engine_gains();
        self.race.cut_creep(table, reading.wheels(), gains, orders);
        self.race.cut_slip(table, reading.wheels_slip(), orders);
        let settled = phase == Phase::Rest || unasked::needs_no_push(table, &reading, orders);
        let geared = settled && table.set(possibly_closed).engine_geared;
        self.unasked.cut(table, geared, &reading, orders);
        let mut status = describe(&self.kernel.state, standing, possibly_closed);
        status.faults.sensors = reading.bad_sensors();
        status.faults.racing = self.race.sensors();
        // Plates that are pressed and not (or no longer) locked together slip and get hot.
        let working = passed.without(status.held).or(passed.and(reading.moving_locks()));
        let working = working.or(self.kernel.watch.still_pressed(table));
        self.heat.tick(table, working, &self.memory.slips);
        status
    }
}

/// Which arrangement stands, and which of its locks nobody has shown.
fn standing(state: &State, midway: Midway, table: &Table, reading: &mut Reading) -> Standing {
    let locks = &state.locks;
    // What stands is stated only when each of its locks is shown closed, by speeds and switch.
    let arrangement = state.arrangement(table, reading);
    let unshown = state.held().without(locks.closed).or(state.held().and(locks.switch));
    // Nor while another lock is claimed to be closed, or has been left on its way.
    Standing { arrangement, unshown: unshown.or(locks.claimed(table)).or(midway.locks()) }
}

#[inline(never)]
fn describe(state: &State, standing: Standing, possibly_closed: Bits) -> Status {
    let locks = &state.locks;
    let Standing { arrangement, unshown } = standing;
    let unsure = match (arrangement == state.request.accepted(), unshown.lowest()) {
        (true, Some(lock)) if locks.switch.has(lock) => Some(Refusal::Switch { lock }),
        (true, Some(lock)) => Some(Refusal::NotOpened { lock }),
        _ => None,
    };
    Status {
        held: state.held(),
        possibly_closed,
        arrangement: arrangement.filter(|_| unshown.is_empty()),
        goal: state.request.accepted(),
        phase: state.phase,
        refusal: state.refusal.or(unsure.filter(|_| arrangement.is_some())),
        faults: locks.faults(),
    }
}

/// The arrangement that the locks make, and those of them that nobody has shown.
#[derive(Clone, Copy, Debug)]
struct Standing {
    arrangement: Option<u8>,
    unshown: Bits,
}

impl Standing {
    /// Whether an arrangement stands, with each of its locks shown closed.
    const fn is_shown(&self) -> bool {
        self.arrangement.is_some() && self.unshown.is_empty()
    }
}

/// Nothing can be done with this table.
fn refuse_table(fault: TableFault, orders: &mut Orders) -> Status {
    orders.machines = [MachineOrder::Unload; MAX_MACHINES];
    Status { refusal: Some(Refusal::Table(fault)), ..Status::default() }
}
