//! Links only if no panic path is reachable from the supervisor's tick, the link and the parts
//! between them and a board's pins.
#![no_std]
#![no_main]

use core::convert::Infallible;
use core::hint::black_box;
use core::panic::PanicInfo;

use supervisor::Supervisor;
use supervisor::board::pickup::{Clock, Counts, Periods, Wheel};
use supervisor::board::pressure::{Course, Proportional};
use supervisor::board::quadrature::Tracks;
use supervisor::board::resolver::{Resolver, Windings};
use supervisor::board::switch::{Contact, Pair, Switch};
use supervisor::board::valve::{Active, AtRest, OnOff, Valve};
use supervisor::board::{BoardFaults, carry_out, enable_machines, read_switches, release_all};
use supervisor::check::check_all;
use supervisor::io::{Inputs, Orders};
use supervisor::link::{Node, Receiver};
use supervisor::schedule::{Chooser, Schedule};
use supervisor::table::Table;

unsafe extern "C" {
    /// Exists nowhere.
    fn a_panic_can_be_reached() -> !;
}

#[panic_handler]
fn panic(_: &PanicInfo) -> ! {
    // SAFETY: never called: the image does not link when it is needed.
    unsafe { a_panic_can_be_reached() }
}

/// The table, the inputs and the supervisor come from outside: nothing about them is known.
#[unsafe(no_mangle)]
pub extern "C" fn tick(
    supervisor: &mut Supervisor,
    table: &Table<'_>,
    schedule: &Schedule<'_>,
    inputs: &Inputs,
) -> u32 {
    let output = supervisor.tick(black_box(table), black_box(inputs));
    let _ = black_box(output);
    let mut seen = 0u32;
    for event in supervisor.journal().iter() {
        seen = seen.wrapping_add(event.tick);
    }
    #[cfg(feature = "planted")]
    {
        seen += [1u32, 2, 3][black_box(seen) as usize];
    }
    let mut chooser = black_box(Chooser::default());
    let asked = chooser.tick(black_box(schedule), black_box(1.0), black_box(2.0), false);
    seen = seen.wrapping_add(u32::from(asked.unwrap_or(u8::from(schedule.is_sound(3)))));
    seen.wrapping_add(u32::from(black_box(check_all(table)).is_err()))
        .wrapping_add(black_box(supervisor.rise_k(table, black_box(3))) as u32)
}

/// A pin that could be any.
struct Pin;

impl embedded_hal::digital::ErrorType for Pin {
    type Error = Infallible;
}

impl embedded_hal::digital::OutputPin for Pin {
    fn set_low(&mut self) -> Result<(), Infallible> {
        black_box(Ok(()))
    }

    fn set_high(&mut self) -> Result<(), Infallible> {
        black_box(Ok(()))
    }
}

impl embedded_hal::digital::InputPin for Pin {
    fn is_high(&mut self) -> Result<bool, Infallible> {
        Ok(black_box(true))
    }

    fn is_low(&mut self) -> Result<bool, Infallible> {
        Ok(black_box(true))
    }
}

impl embedded_hal::pwm::ErrorType for Pin {
    type Error = Infallible;
}

impl embedded_hal::pwm::SetDutyCycle for Pin {
    fn max_duty_cycle(&self) -> u16 {
        black_box(1000)
    }

    fn set_duty_cycle(&mut self, duty: u16) -> Result<(), Infallible> {
        black_box(duty);
        Ok(())
    }
}

/// The board's end of the link, with any byte.
#[unsafe(no_mangle)]
pub extern "C" fn link(node: &mut Node<'_>, receiver: &mut Receiver, byte: u8) -> usize {
    let mut sent = 0;
    if let Some((stamp, message)) = receiver.byte(black_box(byte)) {
        let counters = receiver.counters;
        let wire = node.take(stamp, &message, &counters);
        sent = black_box(wire).map_or(0, |w| w.bytes().len());
    }
    let wire = node.timer(&receiver.counters);
    black_box((node.orders(), node.hello()));
    black_box(wire).map_or(sent, |w| w.bytes().len())
}

/// Valves and switches with any order.
#[unsafe(no_mangle)]
pub extern "C" fn pins(orders: &Orders, inputs: &mut Inputs, course: &Course) -> u8 {
    let Ok(mut plain) = OnOff::new(Pin, Active::High, AtRest::Closed) else { return 0 };
    let Ok(mut line) = OnOff::new(Pin, Active::Low, AtRest::Open) else { return 0 };
    let Ok(mut pressed) = Proportional::new(Pin, *course, AtRest::Open) else { return 0 };
    let mut contact = Contact::new(Pin, Active::Low, black_box(3));
    let mut pair = Pair::new(Pin, Pin, Active::High, black_box(3));
    let valves: &mut [&mut dyn Valve] = &mut [&mut plain, &mut pressed];
    let mut failed = BoardFaults { valves: carry_out(orders, valves), ..BoardFaults::default() };
    failed.machines = enable_machines(orders, &mut [&mut line]);
    let switches: &mut [Option<&mut dyn Switch>] = &mut [Some(&mut contact), Some(&mut pair)];
    failed.switches = read_switches(switches, inputs);
    failed.mark(inputs);
    release_all(valves).0 | failed.valves.0 | failed.switches.0
}

/// Speeds from any edges, counts and windings.
#[unsafe(no_mangle)]
pub extern "C" fn speeds(wheel: &Wheel, clock: &Clock, windings: &Windings, at: u32) -> f32 {
    let (mut periods, mut resolver) = (Periods::new(*wheel, *clock), Resolver::new(*windings));
    let mut counts = Counts::new(at as u16, windings.sample_s, at as u8);
    let mut tracks = Tracks::new(Pin, Pin);
    let mut sum = 0.0;
    for step in 0..black_box(at) {
        periods.edge(black_box(step), step & 1 == 0);
        let _ = black_box(tracks.sample());
        sum += periods.speed(black_box(at)).radps + counts.speed(tracks.read.count()).radps;
        sum += resolver.sample(black_box(sum), black_box(sum)).radps;
    }
    sum
}

#[unsafe(no_mangle)]
extern "C" fn _start() -> ! {
    let mut supervisor = Supervisor::new();
    loop {
        // SAFETY: never run; only linked.
        let (table, schedule, inputs) = unsafe {
            (
                &*black_box(core::ptr::null::<Table>()),
                &*black_box(core::ptr::null::<Schedule>()),
                &*black_box(core::ptr::null::<Inputs>()),
            )
        };
        black_box(tick(&mut supervisor, table, schedule, inputs));
        let mut node = Node::new(table, black_box([0; 16]));
        black_box(link(&mut node, &mut Receiver::new(), black_box(0)));
        let mut seen = *inputs;
        // SAFETY: never run; only linked.
        let (orders, course, wheel, clock, windings) = unsafe {
            (
                &*black_box(core::ptr::null::<Orders>()),
                &*black_box(core::ptr::null::<Course>()),
                &*black_box(core::ptr::null::<Wheel>()),
                &*black_box(core::ptr::null::<Clock>()),
                &*black_box(core::ptr::null::<Windings>()),
            )
        };
        black_box(pins(orders, &mut seen, course));
        black_box(speeds(wheel, clock, windings, black_box(9)));
    }
}
