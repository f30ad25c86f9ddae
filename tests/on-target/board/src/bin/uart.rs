//! The template for a board: a tick from a timer, the link in another context, queues between
//! them, pins, a watchdog that both must feed, events.
//!
//! Contexts, the most urgent first: the serial port's interrupt puts bytes into a queue; the timer's
//! interrupt counts ticks; PendSV owns node and pins and does a tick's work; the main loop takes
//! bytes to messages and sends frames. Nothing is shared but queues and two counters.
#![no_std]
#![no_main]

use board::dog::Dog;
use board::own::Own;
use board::pins::Line;
use board::table::TABLE;
use board::uart::LINK;
use core::sync::atomic::{AtomicU32, Ordering};
use cortex_m::peripheral::scb::SystemHandler;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m::peripheral::{NVIC, SCB};
use cortex_m_rt::{entry, exception};
use heapless::spsc::{Consumer, Producer, Queue};
use supervisor::bits::Bits;
use supervisor::board::valve::{Active, AtRest, OnOff, Valve};
use supervisor::board::watchdog::Alive;
use supervisor::board::{carry_out, enable_machines, release_all};
use supervisor::io::Orders;
use supervisor::link::frame::Stamp;
use supervisor::link::node::Session;
use supervisor::link::receiver::Counters;
use supervisor::link::{Message, Node, Receiver, Wire};
use supervisor::status::Status;

const CLOCK_HZ: u32 = 25_000_000;
/// After this long without a tick or without the link's loop every output goes off, after twice as
/// long the board resets. An emulator on a busy computer needs such a long time; a board does not.
const WATCHDOG_MS: u32 = 1000;

type Heard = (Stamp, Message, Counters);

static BYTES: Own<Queue<u8, 1024>> = Own::new();
static HEARD: Own<Queue<Heard, 4>> = Own::new();
static TO_SEND: Own<Queue<Wire, 4>> = Own::new();
/// Of the serial port's interrupt.
static PORT: Own<Producer<'static, u8>> = Own::new();
/// Of PendSV.
static WORK: Own<Work> = Own::new();
/// Ticks that the timer has counted, and rounds of the link's loop.
static TICKS: AtomicU32 = AtomicU32::new(0);
static ROUNDS: AtomicU32 = AtomicU32::new(0);
/// Bytes and frames for which there was no room.
static DROPPED: AtomicU32 = AtomicU32::new(0);

/// All that a tick's work needs.
struct Work {
    node: Node<'static>,
    heard: Consumer<'static, Heard>,
    to_send: Producer<'static, Wire>,
    valves: [OnOff<Line>; 3],
    machines: [OnOff<Line>; 3],
    alive: Alive<Dog>,
    counters: Counters,
    ticks: u32,
    rounds: u32,
    said: Status,
    session: Session,
    lost: bool,
}

fn line(number: u32) -> OnOff<Line> {
    match OnOff::new(Line(number), Active::High, AtRest::Open) {
        Ok(line) => line,
        Err(_) => board::give_up(board::STRANGE),
    }
}

impl Work {
    /// One run of PendSV: what was heard, then the ticks that are due.
    fn run(&mut self) {
        while let Some((stamp, message, counters)) = self.heard.dequeue() {
            self.counters = counters;
            if let Some(wire) = self.node.take(stamp, &message, &counters) {
                self.send(wire);
            }
        }
        let ticks = TICKS.load(Ordering::Relaxed);
        while self.ticks != ticks {
            self.ticks = self.ticks.wrapping_add(1);
            #[cfg(feature = "planted-hang")]
            if self.ticks > 1000 {
                loop {}
            }
            #[cfg(feature = "planted-fault")]
            if self.ticks > 300 {
                cortex_m::asm::udf();
            }
            if let Some(wire) = self.node.timer(&self.counters) {
                self.send(wire);
            }
            self.alive.report(0);
            let rounds = ROUNDS.load(Ordering::Relaxed);
            if rounds != core::mem::replace(&mut self.rounds, rounds) {
                self.alive.report(1);
            }
        }
        let orders = self.node.orders();
        self.pins(&orders);
        self.tell();
    }

    fn send(&mut self, wire: Wire) {
        if self.to_send.enqueue(wire).is_err() {
            DROPPED.fetch_add(1, Ordering::Relaxed);
        }
    }

    fn pins(&mut self, orders: &Orders) {
        let [a, b, c] = &mut self.valves;
        let valves: &mut [&mut dyn Valve] = &mut [a, b, c];
        let failed = carry_out(orders, valves);
        if !failed.is_empty() {
            defmt::error!("valves {} failed", failed);
            let _ = release_all(valves);
        }
        let [a, b, c] = &mut self.machines;
        let failed = enable_machines(orders, &mut [a, b, c]);
        if !failed.is_empty() {
            defmt::error!("machine lines {} failed", failed);
        }
    }

    /// What changed, as events.
    fn tell(&mut self) {
        let (session, lost) = (self.node.session(), self.node.is_lost());
        if session != self.session {
            defmt::info!("session {}", session);
        }
        if lost != self.lost && matches!(session, Session::Running(_)) {
            defmt::warn!("link lost: {}", lost);
        }
        let now = self.node.output().status;
        if (now.arrangement, now.goal, now.refusal, now.faults)
            != (self.said.arrangement, self.said.goal, self.said.refusal, self.said.faults)
        {
            defmt::info!("{}", now);
        }
        (self.session, self.lost, self.said) = (session, lost, now);
    }
}

#[exception]
fn SysTick() {
    TICKS.fetch_add(1, Ordering::Relaxed);
    SCB::set_pendsv();
}

#[exception]
fn PendSV() {
    // SAFETY: only PendSV uses it after it was put there.
    if let Some(work) = unsafe { WORK.get() } {
        work.run();
    }
}

/// The watchdog's first word: nothing has fed it for long. It is not fed here either.
#[exception]
unsafe fn NonMaskableInt() {
    board::pins::all_off();
}

/// Received bytes (interrupt 0); every other interrupt stays off.
#[exception]
unsafe fn DefaultHandler(number: i16) {
    if number != 0 {
        board::give_up(board::STRANGE);
    }
    LINK.clear();
    // SAFETY: only this interrupt uses it after it was put there.
    let Some(port) = (unsafe { PORT.get() }) else { return };
    while let Some(byte) = LINK.take() {
        if port.enqueue(byte).is_err() {
            DROPPED.fetch_add(1, Ordering::Relaxed);
        }
    }
}

/// The serial port's interrupt.
#[derive(Clone, Copy)]
struct Port;

// SAFETY: interrupt 0 exists.
unsafe impl cortex_m::interrupt::InterruptNumber for Port {
    fn number(self) -> u16 {
        0
    }
}

#[entry]
fn main() -> ! {
    let Some(mut core) = cortex_m::Peripherals::take() else { board::give_up(board::STRANGE) };
    board::uart::EVENTS.enable(false);
    let node = Node::new(TABLE, board::BUILD);
    defmt::info!("table {=u32:08x}, damaged: {=bool}", TABLE.hash, node.table_is_damaged());
    // SAFETY: no interrupt runs yet; each queue is split once.
    let (port, bytes, heard, sender, queue) = unsafe {
        let (port, bytes) = BYTES.get().get_or_insert_with(Queue::new).split();
        let (heard_in, heard) = HEARD.get().get_or_insert_with(Queue::new).split();
        let (to_send, queue) = TO_SEND.get().get_or_insert_with(Queue::new).split();
        (port, bytes, (heard_in, heard), to_send, queue)
    };
    let (heard_in, heard) = heard;
    let hello = node.hello();
    let work = Work {
        node,
        heard,
        to_send: sender,
        valves: [line(0), line(1), line(2)],
        machines: [line(4), line(5), line(6)],
        alive: Alive::new(Dog::start(WATCHDOG_MS), Bits(3)),
        counters: Counters::default(),
        ticks: 0,
        rounds: 0,
        said: Status::default(),
        session: Session::Idle,
        lost: false,
    };
    // SAFETY: no interrupt runs yet.
    unsafe {
        *WORK.get() = Some(work);
        *PORT.get() = Some(port);
        core.SCB.set_priority(SystemHandler::PendSV, 0xff);
        core.SCB.set_priority(SystemHandler::SysTick, 0x80);
        core.NVIC.set_priority(Port, 0x40);
        NVIC::unmask(Port);
    }
    core.SYST.set_clock_source(SystClkSource::Core);
    core.SYST.set_reload(CLOCK_HZ / 1000 - 1);
    core.SYST.clear_current();
    core.SYST.enable_interrupt();
    core.SYST.enable_counter();
    LINK.enable(true);
    LINK.send(hello.bytes());
    link(bytes, heard_in, queue)
}

/// The link's loop.
fn link(
    mut bytes: Consumer<'static, u8>,
    mut heard: Producer<'static, Heard>,
    mut to_send: Consumer<'static, Wire>,
) -> ! {
    let mut receiver = Receiver::new();
    loop {
        ROUNDS.fetch_add(1, Ordering::Relaxed);
        while let Some(byte) = bytes.dequeue() {
            let Some((stamp, message)) = receiver.byte(byte) else { continue };
            if heard.enqueue((stamp, message, receiver.counters)).is_err() {
                DROPPED.fetch_add(1, Ordering::Relaxed);
            }
            SCB::set_pendsv();
        }
        while let Some(wire) = to_send.dequeue() {
            LINK.send(wire.bytes());
        }
        // Without interrupts nothing can come between the question and the sleep; a pending one
        // ends the sleep all the same.
        cortex_m::interrupt::free(|_| {
            if !bytes.ready() && !to_send.ready() {
                cortex_m::asm::wfi();
            }
        });
    }
}
