//! What the three frames share: the demo's table. Two locks' valves, two switches and one pick-up
//! stand for all of them.
#![no_std]

#[path = "../../../src/tables/shuttle.rs"]
mod shuttle;

pub use shuttle::TABLE;
use supervisor::board::pickup::Wheel;
use supervisor::board::pressure::Course;

/// Constants of the proportional valve of lock 1: invented.
pub const COURSE: Course =
    Course { pulse: 900, pulse_ticks: 40, kiss: 300, ramp_ticks: 60, pressed: 800 };
/// The output's toothed wheel: invented.
pub const WHEEL: Wheel = Wheel { places: 60, missing: 2 };
/// Readings in a row that a switch needs.
pub const DEBOUNCE: u8 = 3;

/// No events are sent from these examples.
#[defmt::global_logger]
struct Silent;

// SAFETY: it does nothing.
unsafe impl defmt::Logger for Silent {
    fn acquire() {}
    unsafe fn flush() {}
    unsafe fn release() {}
    unsafe fn write(_: &[u8]) {}
}
