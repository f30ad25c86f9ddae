//! The supervisor under RTIC (STM32F411): a hardware task for the tick, one with a higher priority
//! for the edges of a pick-up; the framework guards what they share.
#![no_std]
#![no_main]

use panic_halt as _;

#[rtic::app(device = stm32f4xx_hal::pac, peripherals = true)]
mod app {
    use cortex_m::peripheral::DWT;
    use frames::{TABLE, WHEEL};
    use stm32f4xx_hal::gpio::{Edge, Input, Output, PA0, PA5};
    use stm32f4xx_hal::pac::TIM2;
    use stm32f4xx_hal::prelude::*;
    use stm32f4xx_hal::rcc::Config;
    use stm32f4xx_hal::timer::{CounterHz, Event};
    use supervisor::Supervisor;
    use supervisor::board::pickup::{Clock, Periods};
    use supervisor::board::valve::{Active, AtRest, OnOff, Valve};
    use supervisor::board::{BoardFaults, carry_out};
    use supervisor::io::Inputs;

    /// The processor's own cycle counter.
    const CLOCK: Clock = Clock { hz: 84_000_000, least: 1_700, most: 16_800_000 };

    #[shared]
    struct Shared {
        pickup: Periods,
    }

    #[local]
    struct Local {
        supervisor: Supervisor,
        valve: OnOff<PA5<Output>>,
        failed: BoardFaults,
        timer: CounterHz<TIM2>,
        edge: PA0<Input>,
    }

    #[init]
    fn init(mut cx: init::Context) -> (Shared, Local) {
        let mut rcc = cx.device.RCC.freeze(Config::hsi().sysclk(84.MHz()));
        let a = cx.device.GPIOA.split(&mut rcc);
        let pin = a.pa5.into_push_pull_output();
        let Ok(valve) = OnOff::new(pin, Active::High, AtRest::Open) else {
            loop {
                cortex_m::asm::wfi();
            }
        };
        let mut syscfg = cx.device.SYSCFG.constrain(&mut rcc);
        let mut edge = a.pa0.into_pull_up_input();
        edge.make_interrupt_source(&mut syscfg);
        edge.trigger_on_edge(&mut cx.device.EXTI, Edge::Rising);
        edge.enable_interrupt(&mut cx.device.EXTI);
        cx.core.DCB.enable_trace();
        cx.core.DWT.enable_cycle_counter();
        let mut timer = cx.device.TIM2.counter_hz(&mut rcc);
        timer.listen(Event::Update);
        let _ = timer.start(1.kHz());
        let local = Local {
            supervisor: Supervisor::new(),
            valve,
            failed: BoardFaults::default(),
            timer,
            edge,
        };
        (Shared { pickup: Periods::new(WHEEL, CLOCK) }, local)
    }

    /// A tooth has passed.
    #[task(binds = EXTI0, local = [edge], shared = [pickup], priority = 3)]
    fn tooth(mut cx: tooth::Context) {
        cx.local.edge.clear_interrupt_pending_bit();
        cx.shared.pickup.lock(|pickup| pickup.edge(DWT::cycle_count(), true));
    }

    /// A millisecond has passed.
    #[task(binds = TIM2, local = [supervisor, valve, failed, timer], shared = [pickup], priority = 2)]
    fn tick(mut cx: tick::Context) {
        let _ = cx.local.timer.wait();
        let mut inputs = Inputs::default();
        inputs.speeds[1] = cx.shared.pickup.lock(|pickup| pickup.speed(DWT::cycle_count()));
        cx.local.failed.mark(&mut inputs);
        let output = cx.local.supervisor.tick(&TABLE, &inputs);
        let valves: &mut [&mut dyn Valve] = &mut [cx.local.valve];
        cx.local.failed.valves = carry_out(&output.orders, valves);
    }
}
