//! The node behind two pipes, counting the instructions of each tick. QEMU's `-icount shift=10`
//! lets one instruction take 1024 ns, so that SysTick at 25 MHz counts 25.6 for each. Instructions,
//! not cycles: QEMU knows no cycles.
#![no_std]
#![no_main]

use board::host::{File, exit, stdout};
use board::table::TABLE;
use core::fmt::Write;
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::entry;
use supervisor::io::Inputs;
use supervisor::link::frame::Stamp;
use supervisor::link::message::Call;
use supervisor::link::{Begin, Message, Node, Receiver};
use supervisor::trace::Trace;
use supervisor::{Output, Supervisor};

/// What the ticks took.
#[derive(Default)]
struct Cost {
    ticks: u32,
    sum: u64,
    least: u32,
    most: u32,
}

impl Cost {
    fn add(&mut self, instructions: u32) {
        self.least = if self.ticks == 0 { instructions } else { self.least.min(instructions) };
        self.most = self.most.max(instructions);
        self.sum += u64::from(instructions);
        self.ticks += 1;
    }
}

/// Instructions between two values of the timer, which counts down.
fn instructions(before: u32, after: u32) -> u32 {
    let counts = before.wrapping_sub(after) & 0x00ff_ffff;
    (counts * 10 + 128) / 256
}

/// How deep below this frame the stack is looked at, in words.
const DEPTH: usize = 1024;
const PAINT: u32 = 0xAAAA_5555;

/// Bytes of stack below the caller's frame that `work` used: painted before, looked at after.
#[inline(never)]
fn stack_of(work: impl FnOnce()) -> u32 {
    let top = cortex_m::register::msp::read() as usize & !3;
    let bottom = (top - DEPTH * 4) as *mut u32;
    // What is being written must not be this function's own frame.
    let painted = DEPTH - 64;
    for i in 0..painted {
        // SAFETY: free stack.
        unsafe { bottom.add(i).write_volatile(PAINT) };
    }
    work();
    let free = (0..painted).take_while(|i| {
        // SAFETY: as above.
        unsafe { bottom.add(*i).read_volatile() == PAINT }
    });
    ((DEPTH - free.count()) * 4) as u32
}

/// The supervisor's tick and nothing else.
#[inline(never)]
fn tick(supervisor: &mut Supervisor, call: &supervisor::io::Inputs) -> Output {
    supervisor.tick(TABLE, call)
}

/// A loop of four instructions a round, to see that the counting is right.
#[inline(never)]
fn known_loop(rounds: u32) {
    // SAFETY: touches one register only.
    unsafe {
        core::arch::asm!("1: nop", "nop", "subs {0}, #1", "bne 1b", inout(reg) rounds => _);
    }
}

struct Line(File);

impl Write for Line {
    fn write_str(&mut self, text: &str) -> core::fmt::Result {
        self.0.write(text.as_bytes());
        Ok(())
    }
}

fn empty() -> u32 {
    let before = SYST::get_current();
    let after = SYST::get_current();
    instructions(before, after)
}

fn of_loop(rounds: u32) -> u32 {
    let before = SYST::get_current();
    known_loop(rounds);
    let after = SYST::get_current();
    instructions(before, after).saturating_sub(empty())
}

/// The supervisor that is measured, beside the node that answers.
struct Measured {
    supervisor: Supervisor,
    cost: Cost,
    first: Cost,
    stack: u32,
    last: Stamp,
    fresh: bool,
}

impl Measured {
    fn begin(&mut self, begin: &Begin) {
        let trace = begin.trace.and_then(|bytes| Trace::from_bytes(&bytes, TABLE.hash));
        self.supervisor = trace.map_or_else(Supervisor::new, Supervisor::after_reset);
        self.fresh = true;
    }

    fn call(&mut self, stamp: Stamp, call: &Call) {
        if stamp == self.last {
            return;
        }
        self.last = stamp;
        if call.cold_reset {
            self.supervisor = Supervisor::new();
            self.fresh = true;
        } else if call.warm_reset {
            self.supervisor = Supervisor::after_reset(self.supervisor.trace());
            self.fresh = true;
        }
        if call.called {
            self.tick(&call.inputs);
        }
    }

    fn tick(&mut self, inputs: &Inputs) {
        if self.cost.ticks.is_multiple_of(64) {
            let mut twin = self.supervisor.clone();
            self.stack = self.stack.max(stack_of(|| {
                let _ = core::hint::black_box(tick(&mut twin, inputs));
            }));
        }
        let before = SYST::get_current();
        let given = tick(&mut self.supervisor, inputs);
        let after = SYST::get_current();
        let _ = core::hint::black_box(given);
        let spent = instructions(before, after).saturating_sub(empty());
        // The first tick after a reset checks the table's layout as well.
        let cost = if core::mem::take(&mut self.fresh) { &mut self.first } else { &mut self.cost };
        cost.add(spent);
    }

    /// Everything, as text on the emulator's standard output.
    fn tell(&self) {
        let Some(out) = stdout() else { return };
        let mut line = Line(out);
        let _ = writeln!(line, "loops {} {} {}", of_loop(5), of_loop(50), of_loop(500));
        let state = core::mem::size_of::<Supervisor>();
        let _ = writeln!(line, "state {state} stack {}", self.stack);
        for (name, cost) in [("tick", &self.cost), ("first", &self.first)] {
            let mean = cost.sum / u64::from(cost.ticks.max(1));
            let (ticks, least, most) = (cost.ticks, cost.least, cost.most);
            let _ = writeln!(line, "{name} {ticks} least {least} mean {mean} most {most}");
        }
    }
}

#[entry]
fn main() -> ! {
    let Some(mut core) = cortex_m::Peripherals::take() else { exit(2) };
    core.SYST.set_clock_source(SystClkSource::Core);
    core.SYST.set_reload(0x00ff_ffff);
    core.SYST.clear_current();
    core.SYST.enable_counter();
    let mut node = Node::new(TABLE, board::BUILD);
    let Some(input) = File::open(b"to-board\0", false) else { exit(2) };
    let Some(output) = File::open(b"from-board\0", true) else { exit(2) };
    let mut receiver = Receiver::new();
    output.write(node.hello().bytes());
    let mut measured = Measured {
        supervisor: Supervisor::new(),
        cost: Cost::default(),
        first: Cost::default(),
        stack: 0,
        last: Stamp::default(),
        fresh: true,
    };
    let mut bytes = [0; 256];
    loop {
        let count = input.read(&mut bytes);
        if count == 0 {
            break;
        }
        for byte in bytes.iter().take(count) {
            let Some((stamp, message)) = receiver.byte(*byte) else { continue };
            match &message {
                Message::Begin(begin) => measured.begin(begin),
                Message::Call(call) => measured.call(stamp, call),
                _ => {}
            }
            if let Some(wire) = node.take(stamp, &message, &receiver.counters) {
                output.write(wire.bytes());
            }
        }
    }
    measured.tell();
    exit(0)
}
