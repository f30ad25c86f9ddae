//! What others would write for the shuttle's four arrangements, and what a tick of it costs: a
//! `match` by hand and a general-purpose state machine crate. Both know three slips, one limit and
//! a request. They lack all else: ways from any lock set, faults, time-outs, sensors that lie, a
//! last gate, heat, speed windows, a reset in the middle, reasons.
#![no_std]
#![no_main]

use board::host::{File, exit, stdout};
use core::fmt::Write;
use core::hint::black_box;
use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_rt::entry;
use rust_fsm::state_machine;

/// Slip below which a lock may close, rad/s.
const LIMIT: f32 = 6.0;

/// Arrangements of the shuttle, and what is between two of them.
#[derive(Clone, Copy)]
enum Hand {
    SingleElectric,
    DualElectric,
    Series,
    PowerSplit,
}

/// One tick by hand: the locks that are ordered closed.
#[inline(never)]
fn by_hand(state: &mut Hand, slips: &[f32; 3], request: u8) -> u8 {
    let ready = |lock: usize| slips.get(lock).is_some_and(|s| *s < LIMIT && *s > -LIMIT);
    *state = match (*state, request) {
        (Hand::SingleElectric, 1) if ready(1) => Hand::DualElectric,
        (Hand::SingleElectric, 2 | 3) if ready(2) => Hand::Series,
        (Hand::DualElectric, 0 | 2) if ready(0) => Hand::SingleElectric,
        (Hand::DualElectric, 3) if ready(2) => Hand::PowerSplit,
        (Hand::Series, 3) if ready(1) => Hand::PowerSplit,
        (Hand::Series, 0 | 1) => Hand::SingleElectric,
        (Hand::PowerSplit, 2) if ready(0) => Hand::Series,
        (Hand::PowerSplit, 0 | 1) => Hand::DualElectric,
        (same, _) => same,
    };
    match state {
        Hand::SingleElectric => 0b001,
        Hand::DualElectric => 0b010,
        Hand::Series => 0b101,
        Hand::PowerSplit => 0b110,
    }
}

state_machine! {
    machine(SingleElectric)

    SingleElectric => {
        ToDual => DualElectric,
        ToSeries => Series,
    },
    DualElectric => {
        ToSingle => SingleElectric,
        ToSplit => PowerSplit,
    },
    Series => {
        ToSplit => PowerSplit,
        ToSingle => SingleElectric,
    },
    PowerSplit => {
        ToSeries => Series,
        ToDual => DualElectric,
    },
}

/// Nearly the same with the crate: guards by the request alone are ours, transitions its own.
#[inline(never)]
fn by_crate(machine: &mut machine::StateMachine, slips: &[f32; 3], request: u8) -> u8 {
    let ready = |lock: usize| slips.get(lock).is_some_and(|s| *s < LIMIT && *s > -LIMIT);
    let input = match request {
        0 if ready(0) => Some(machine::Input::ToSingle),
        1 if ready(1) => Some(machine::Input::ToDual),
        2 if ready(2) => Some(machine::Input::ToSeries),
        3 if ready(1) => Some(machine::Input::ToSplit),
        _ => None,
    };
    if let Some(input) = input {
        // An input that the state does not know is refused, and the state stays.
        let _ = machine.consume(&input);
    }
    match machine.state() {
        machine::State::SingleElectric => 0b001,
        machine::State::DualElectric => 0b010,
        machine::State::Series => 0b101,
        machine::State::PowerSplit => 0b110,
    }
}

struct Line(File);

impl Write for Line {
    fn write_str(&mut self, text: &str) -> core::fmt::Result {
        self.0.write(text.as_bytes());
        Ok(())
    }
}

fn instructions(before: u32, after: u32) -> u32 {
    ((before.wrapping_sub(after) & 0x00ff_ffff) * 10 + 128) / 256
}

/// Worst and mean over every request from every state that comes up, slips in and out of the limit.
fn cost(mut tick: impl FnMut(&[f32; 3], u8) -> u8) -> (u32, u32) {
    let (mut most, mut sum, mut count) = (0, 0, 0);
    for round in 0..400u32 {
        let slip = |bit: u32| if round >> bit & 1 == 0 { 1.0 } else { 50.0 };
        let slips = black_box([slip(0), slip(1), slip(2)]);
        let request = black_box((round / 8 % 4) as u8);
        let empty = {
            let before = SYST::get_current();
            let after = SYST::get_current();
            instructions(before, after)
        };
        let before = SYST::get_current();
        let given = tick(&slips, request);
        let after = SYST::get_current();
        black_box(given);
        let spent = instructions(before, after).saturating_sub(empty);
        most = most.max(spent);
        sum += spent;
        count += 1;
    }
    (most, sum / count)
}

#[entry]
fn main() -> ! {
    let Some(mut core) = cortex_m::Peripherals::take() else { exit(2) };
    core.SYST.set_clock_source(SystClkSource::Core);
    core.SYST.set_reload(0x00ff_ffff);
    core.SYST.clear_current();
    core.SYST.enable_counter();
    let mut hand = Hand::SingleElectric;
    let mut machine = machine::StateMachine::new();
    let by_hand = cost(|slips, request| by_hand(&mut hand, slips, request));
    let by_crate = cost(|slips, request| by_crate(&mut machine, slips, request));
    if let Some(out) = stdout() {
        let mut line = Line(out);
        let _ = writeln!(line, "hand most {} mean {}", by_hand.0, by_hand.1);
        let _ = writeln!(line, "crate most {} mean {}", by_crate.0, by_crate.1);
    }
    exit(0)
}
