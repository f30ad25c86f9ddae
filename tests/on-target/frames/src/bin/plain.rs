//! The supervisor on a common development board (STM32F411) with its HAL crate, in a plain loop: a
//! tick each millisecond, valves, switches, the watchdog.
#![no_std]
#![no_main]

use cortex_m_rt::entry;
use frames::{COURSE, DEBOUNCE, TABLE};
use panic_halt as _;
use stm32f4xx_hal::prelude::*;
use stm32f4xx_hal::{pac, rcc::Config, watchdog::IndependentWatchdog};
use supervisor::Supervisor;
use supervisor::bits::Bits;
use supervisor::board::pressure::Proportional;
use supervisor::board::switch::{Contact, Switch};
use supervisor::board::valve::{Active, AtRest, OnOff, Valve};
use supervisor::board::watchdog::{Alive, Watchdog};
use supervisor::board::{BoardFaults, carry_out, read_switches};
use supervisor::check::check_all;
use supervisor::io::Inputs;

struct Dog(IndependentWatchdog);

impl Watchdog for Dog {
    fn feed(&mut self) {
        self.0.feed();
    }
}

#[entry]
fn main() -> ! {
    let Some(device) = pac::Peripherals::take() else { halt() };
    let mut rcc = device.RCC.freeze(Config::hsi().sysclk(84.MHz()));
    let a = device.GPIOA.split(&mut rcc);
    let b = device.GPIOB.split(&mut rcc);
    // Outputs first: no current before anything else.
    let pin = a.pa5.into_push_pull_output();
    let Ok(mut first) = OnOff::new(pin, Active::High, AtRest::Open) else { halt() };
    let (_, (channel, ..)) = device.TIM3.pwm_hz(1.kHz(), &mut rcc);
    let mut pwm = channel.with(a.pa6);
    pwm.enable();
    let Ok(mut second) = Proportional::new(pwm, COURSE, AtRest::Open) else { halt() };
    let mut switch_0 = Contact::new(b.pb0.into_pull_up_input(), Active::Low, DEBOUNCE);
    let mut switch_1 = Contact::new(b.pb1.into_pull_up_input(), Active::Low, DEBOUNCE);
    // A table that is not what was reviewed is never run.
    if check_all(&TABLE).is_err() {
        halt();
    }
    let mut dog = IndependentWatchdog::new(device.IWDG);
    dog.start(20.millis());
    let mut alive = Alive::new(Dog(dog), Bits(1));
    let mut timer = device.TIM2.counter_hz(&mut rcc);
    if timer.start(1.kHz()).is_err() {
        halt();
    }
    let mut supervisor = Supervisor::new();
    let mut failed = BoardFaults::default();
    loop {
        let _ = timer.wait();
        // Speeds, torques and the request come from pick-ups and the vehicle's bus.
        let mut inputs = Inputs::default();
        let switches: &mut [Option<&mut dyn Switch>] =
            &mut [Some(&mut switch_0), Some(&mut switch_1)];
        failed.switches = read_switches(switches, &mut inputs);
        failed.mark(&mut inputs);
        let output = supervisor.tick(&TABLE, &inputs);
        let valves: &mut [&mut dyn Valve] = &mut [&mut first, &mut second];
        failed.valves = carry_out(&output.orders, valves);
        alive.report(0);
    }
}

/// Nothing has been switched on yet, or never will be.
fn halt() -> ! {
    loop {
        cortex_m::asm::wfi();
    }
}
