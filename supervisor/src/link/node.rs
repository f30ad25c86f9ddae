//! The board's end of the link: a state machine without a wire, a timer or a pin.
//!
//! Messages and ticks go in, frames and orders come out. A firmware calls it from one context and
//! feeds it from a queue; a test calls it on the host. Without a run, and while the link is lost,
//! its orders are safe: no torque at any machine, and no lock that is closed anew.

use super::PROTOCOL;
use super::answer::Answer;
use super::frame::{Stamp, Wire};
use super::message::{Begin, Call, Differs, Hello, Message, Mode, Role};
use super::receiver::{Counters, Order, order_of};
use crate::check::check_all;
use crate::io::{Inputs, MachineOrder, Orders};
use crate::table::{TABLE_FORMAT, Table};
use crate::trace::Trace;
use crate::{Output, Supervisor};

/// Where the node stands.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Session {
    /// Nobody agreed on anything.
    #[default]
    Idle,
    /// Both hellos agree; a run may begin.
    Agreed,
    /// A run.
    Running(Mode),
}

/// The board's end.
#[derive(Clone, Debug)]
pub struct Node<'a> {
    table: &'a Table<'a>,
    own: Hello,
    damaged: bool,
    session: Session,
    supervisor: Supervisor,
    output: Output,
    last: Stamp,
    /// The answer to the last call, for a host that did not get it.
    sent: Wire,
    inputs: Inputs,
    /// Whether a call waits for the timer's tick.
    waits: bool,
    /// Whether the supervisor gets no ticks of the timer, as the last call says.
    held: bool,
    /// Ticks since the last call.
    age: u16,
    lost_ticks: u16,
    was_lost: bool,
    tick: u32,
    stale: u32,
}

/// Name of a build as a [`Hello`] carries it; what is longer is cut off.
pub const fn build_name(text: &str) -> [u8; 16] {
    let mut name = [0; 16];
    let (mut to, mut from): (&mut [u8], &[u8]) = (&mut name, text.as_bytes());
    while let (Some((slot, slots)), Some((byte, bytes))) =
        (to.split_first_mut(), from.split_first())
    {
        *slot = *byte;
        (to, from) = (slots, bytes);
    }
    name
}

/// A host's or board's hello for a table.
pub fn hello(table: &Table, role: Role, build: [u8; 16]) -> Hello {
    Hello {
        protocol: PROTOCOL,
        table_format: TABLE_FORMAT,
        table_hash: table.hash,
        tick_us: tick_us(table),
        role,
        build,
    }
}

#[allow(clippy::float_arithmetic, reason = "once, at the start")]
fn tick_us(table: &Table) -> u32 {
    (table.timing.tick_s * 1e6 + 0.5) as u32
}

impl<'a> Node<'a> {
    /// A board with this table, which is read whole and checked. A damaged one is never run:
    /// every hello is refused.
    pub fn new(table: &'a Table<'a>, build: [u8; 16]) -> Node<'a> {
        Node {
            table,
            own: hello(table, Role::Board, build),
            damaged: check_all(table).is_err(),
            session: Session::Idle,
            supervisor: Supervisor::new(),
            output: safe(&Orders::default()),
            last: Stamp::default(),
            sent: Wire::default(),
            inputs: Inputs::default(),
            waits: false,
            held: false,
            age: 0,
            lost_ticks: 1,
            was_lost: false,
            tick: 0,
            stale: 0,
        }
    }

    /// What this board says first, and whenever it is asked.
    pub fn hello(&self) -> Wire {
        Wire::new(Stamp::default(), &Message::Hello(self.own))
    }

    /// Where it stands.
    pub const fn session(&self) -> Session {
        self.session
    }

    /// Whether the table in flash is not what it was when it was made.
    pub const fn table_is_damaged(&self) -> bool {
        self.damaged
    }

    /// What the pins are to do now.
    pub fn orders(&self) -> Orders {
        match self.session {
            Session::Running(_) if !self.is_lost() => self.output.orders,
            Session::Running(_) => safe(&self.output.orders).orders,
            _ => safe(&Orders::default()).orders,
        }
    }

    /// What the supervisor says of itself.
    pub const fn output(&self) -> &Output {
        &self.output
    }

    /// Whether no call came for too long.
    pub const fn is_lost(&self) -> bool {
        self.age >= self.lost_ticks
    }

    /// A message that came; what to send back, if anything. `counters` are those of the receiver
    /// that it came through.
    pub fn take(&mut self, stamp: Stamp, message: &Message, counters: &Counters) -> Option<Wire> {
        match message {
            Message::Hello(theirs) => Some(self.greet(stamp, theirs)),
            Message::Begin(begin) => self.begin(stamp, begin),
            Message::Call(call) => self.call(stamp, call, counters),
            Message::End => {
                self.session = Session::Idle;
                self.output = safe(&Orders::default());
                None
            }
            // A board's own words, come back.
            Message::Refused(_) | Message::Ready | Message::Answer(_) => {
                self.stale = self.stale.saturating_add(1);
                None
            }
        }
    }

    /// A host says who it is. A run that is under way goes on: the host may have come back.
    fn greet(&mut self, stamp: Stamp, theirs: &Hello) -> Wire {
        let differs = match self.damaged {
            true => Some(Differs::TableDamaged),
            false => self.own.differs(theirs),
        };
        if let Some(differs) = differs {
            return Wire::new(stamp, &Message::Refused(differs));
        }
        if self.session == Session::Idle {
            self.session = Session::Agreed;
        }
        Wire::new(stamp, &Message::Hello(self.own))
    }

    fn begin(&mut self, stamp: Stamp, begin: &Begin) -> Option<Wire> {
        if self.session == Session::Idle {
            self.stale = self.stale.saturating_add(1);
            return None;
        }
        let trace = begin.trace.and_then(|bytes| Trace::from_bytes(&bytes, self.table.hash));
        self.supervisor = trace.map_or_else(Supervisor::new, Supervisor::after_reset);
        self.output = safe(&Orders::default());
        self.session = Session::Running(begin.mode);
        self.last = stamp;
        self.sent = Wire::default();
        (self.age, self.lost_ticks) = (0, begin.lost_ticks.max(1));
        (self.was_lost, self.waits, self.held, self.tick) = (false, false, false, 0);
        self.inputs = Inputs::default();
        Some(Wire::new(stamp, &Message::Ready))
    }

    fn call(&mut self, stamp: Stamp, call: &Call, counters: &Counters) -> Option<Wire> {
        let Session::Running(mode) = self.session else {
            self.stale = self.stale.saturating_add(1);
            // A host that knows of a run that this board does not: it has begun anew.
            return (self.session == Session::Agreed).then(|| self.hello());
        };
        match order_of(stamp.sequence, self.last.sequence) {
            Order::New => {}
            // The answer was lost: the same again, without another tick.
            Order::Again if mode == Mode::Lockstep && stamp == self.last => {
                self.stale = self.stale.saturating_add(1);
                return Some(self.sent);
            }
            Order::Again | Order::Old => {
                self.stale = self.stale.saturating_add(1);
                return None;
            }
        }
        self.last = stamp;
        self.age = 0;
        self.inputs = call.inputs;
        if call.cold_reset {
            self.supervisor = Supervisor::new();
        } else if call.warm_reset {
            self.supervisor = Supervisor::after_reset(self.supervisor.trace());
        }
        if mode == Mode::RealTime {
            (self.waits, self.held) = (true, !call.called);
            return None;
        }
        if call.called {
            self.output = self.supervisor.tick(self.table, &call.inputs);
        }
        Some(self.answer(stamp, counters))
    }

    fn answer(&mut self, stamp: Stamp, counters: &Counters) -> Wire {
        let counters = Counters { stale: self.stale, ..*counters };
        let was_lost = core::mem::take(&mut self.was_lost);
        let answer = Answer::of(&self.output, &self.supervisor, self.table);
        self.sent = Wire::new(stamp, &Message::Answer(answer.with_counts(was_lost, &counters)));
        self.sent
    }

    /// The timer's tick. In real time the supervisor works on the last inputs, or, when they are
    /// too old, on none at all; where the last call says that it gets no tick, its orders stand
    /// until the next one says otherwise. A call that came since the last tick is answered. In lockstep only
    /// the age of the last call is counted.
    pub fn timer(&mut self, counters: &Counters) -> Option<Wire> {
        let Session::Running(mode) = self.session else { return None };
        self.age = self.age.saturating_add(1);
        let lost = self.is_lost();
        self.was_lost = self.was_lost || lost;
        if mode == Mode::Lockstep {
            return None;
        }
        let inputs = if lost { Inputs::default() } else { self.inputs };
        if lost || !self.held {
            self.output = self.supervisor.tick(self.table, &inputs);
        }
        self.tick = self.tick.wrapping_add(1);
        let stamp = Stamp { sequence: self.last.sequence, tick: self.tick };
        core::mem::take(&mut self.waits).then(|| self.answer(stamp, counters))
    }
}

/// The same lock orders without any torque: opening a lock at speed may let a machine run away,
/// so what stands stays.
pub fn safe(orders: &Orders) -> Output {
    let machines = [MachineOrder::Off; crate::bits::MAX_MACHINES];
    let orders = Orders { machines, engine_run: false, ..*orders };
    Output { orders, ..Output::default() }
}
