//! One tick: `observe -> decide -> interlock -> orders`.

use crate::bits::{Bits, MAX_LOCKS, MAX_MACHINES};
use crate::check::{TableFault, check};
use crate::decide::{Decision, State, decide};
use crate::heat::Heat;
use crate::interlock::{Seen, Watch, pass};
use crate::io::{Inputs, LockOrder, MachineOrder, Orders};
use crate::journal::{Event, EventKind, Journal};
use crate::observe::{Memory, Reading};
use crate::plan::machine_orders;
use crate::status::{Faults, Refusal, Status};
use crate::table::Table;

/// All memory of a supervisor. A new one is what a reset leaves: nothing is known.
#[derive(Clone, Debug, Default)]
pub struct Supervisor {
    state: State,
    watch: Watch,
    memory: Memory,
    heat: Heat,
    journal: Journal,
    status: Status,
    table_fault: Option<TableFault>,
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
    /// As after a reset.
    pub fn new() -> Supervisor {
        Supervisor::default()
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
        &self.state
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
        if self.watch.is_asleep() && self.table_fault.is_none() {
            self.table_fault = check(table).err();
        }
        match self.table_fault {
            Some(fault) => self.refuse_table(fault),
            None => self.work(table, inputs),
        }
    }

    /// Nothing can be done with this table.
    fn refuse_table(&mut self, fault: TableFault) -> Output {
        let machines = [MachineOrder::Unload; MAX_MACHINES];
        let orders = Orders { machines, ..Orders::default() };
        let status = Status { refusal: Some(Refusal::Table(fault)), ..Status::default() };
        self.finish(orders, status)
    }

    fn work(&mut self, table: &Table, inputs: &Inputs) -> Output {
        let mut reading = Reading::new(table, inputs, &self.heat, &mut self.memory);
        let reported = reading.reported_closed();
        let not_moving = reading.not_moving_locks();
        if self.watch.is_asleep() {
            self.journal.push(Event { tick: self.tick, kind: EventKind::Reset, held: Bits::EMPTY });
            let adopted = Watch::adopt(table, reported.and(not_moving), reading.doubtful_locks());
            self.watch.wake(adopted);
            self.state.adopt(adopted, inputs.engine_running);
        }
        let granted = self.watch.granted();
        let maybe_closed = self.watch.possibly_closed(table, &inputs.reports);
        let decision = decide(table, &mut self.state, &mut reading);
        let wanted = decision.close.or(decision.prefill);
        let seen = Seen {
            wanted,
            granted,
            maybe_closed,
            surely_held: reported.or(granted).and(not_moving),
            releasing: self.watch.releasing(table),
            ready: reading.ready_locks(),
            at_rest: reading.machines_at_rest(),
        };
        let passed = pass(table, &seen);
        let let_go = wanted.and(granted).without(passed);
        if !let_go.is_empty() {
            let held = self.status.held;
            self.journal.push(Event { tick: self.tick, kind: EventKind::LetGo(let_go), held });
        }
        self.state.settle(table, wanted, passed);
        let granted = passed.and(decision.close);
        self.watch.remember(table, granted, passed.without(granted), reading.moving_locks());
        let orders = Orders {
            locks: lock_orders(&decision, passed),
            machines: machine_orders(table, &reading, inputs, decision.plan),
            engine_run: decision.engine_run,
        };
        let status = self.describe(table, &mut reading, maybe_closed.or(passed));
        // Plates that are pressed and not (or no longer) locked together slip and get hot.
        let working = passed.without(status.held).or(passed.and(reading.moving_locks()));
        let working = working.or(self.watch.still_pressed(table));
        let slips: [Option<f32>; MAX_LOCKS] = core::array::from_fn(|i| reading.slip_radps(i as u8));
        self.heat.tick(table, working, |lock| slips.get(lock as usize).copied().flatten());
        self.finish(orders, status)
    }

    fn finish(&mut self, orders: Orders, status: Status) -> Output {
        self.journal.compare(self.tick, &self.status, &status);
        self.status = status;
        self.tick = self.tick.wrapping_add(1);
        Output { orders, status }
    }

    fn describe(&self, table: &Table, reading: &mut Reading, possibly_closed: Bits) -> Status {
        let locks = &self.state.locks;
        Status {
            held: self.state.held(),
            possibly_closed,
            arrangement: self.state.arrangement(table, reading),
            goal: self.state.request.accepted(),
            phase: self.state.phase,
            refusal: self.state.refusal,
            faults: Faults {
                stuck_open: locks.stuck_open,
                stuck_closed: locks.stuck_closed,
                switch: locks.switch,
                lost: locks.lost,
                sensors: reading.bad_sensors(),
            },
        }
    }
}

fn lock_orders(decision: &Decision, passed: Bits) -> [LockOrder; MAX_LOCKS] {
    core::array::from_fn(|i| {
        let lock = i as u8;
        if !passed.has(lock) {
            LockOrder::Open
        } else if decision.close.has(lock) {
            LockOrder::Close
        } else {
            LockOrder::Prefill
        }
    })
}
