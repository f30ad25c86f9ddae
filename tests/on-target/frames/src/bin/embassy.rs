//! The supervisor under an async executor (embassy): one task ticks, one listens to the rig link;
//! between them stand channels, and the timer's interrupt wakes the first.
#![no_std]
#![no_main]

use cortex_m_rt::exception;
use embassy_executor::Spawner;
use embassy_sync::blocking_mutex::raw::CriticalSectionRawMutex;
use embassy_sync::channel::Channel;
use embassy_sync::signal::Signal;
use frames::TABLE;
use panic_halt as _;
use supervisor::link::frame::Stamp;
use supervisor::link::node::build_name;
use supervisor::link::receiver::Counters;
use supervisor::link::{Message, Node, Receiver, Wire};

/// A millisecond has passed.
static TICK: Signal<CriticalSectionRawMutex, ()> = Signal::new();
/// Bytes from the serial port; its interrupt puts them here.
static BYTES: Channel<CriticalSectionRawMutex, u8, 256> = Channel::new();
static HEARD: Channel<CriticalSectionRawMutex, (Stamp, Message, Counters), 2> = Channel::new();
/// Frames to send; the serial port's driver takes them from here.
static TO_SEND: Channel<CriticalSectionRawMutex, Wire, 2> = Channel::new();

#[exception]
fn SysTick() {
    TICK.signal(());
}

/// Bytes to messages.
#[embassy_executor::task]
async fn listen() {
    let mut receiver = Receiver::new();
    loop {
        if let Some((stamp, message)) = receiver.byte(BYTES.receive().await) {
            HEARD.send((stamp, message, receiver.counters)).await;
        }
    }
}

/// The node: what was heard, then a tick.
#[embassy_executor::task]
async fn work() {
    let mut node = Node::new(&TABLE, build_name("embassy example"));
    let mut counters = Counters::default();
    TO_SEND.send(node.hello()).await;
    loop {
        TICK.wait().await;
        while let Ok((stamp, message, counted)) = HEARD.try_receive() {
            counters = counted;
            if let Some(wire) = node.take(stamp, &message, &counters) {
                // A tick never waits for the serial port: a host asks again.
                let _ = TO_SEND.try_send(wire);
            }
        }
        if let Some(wire) = node.timer(&counters) {
            let _ = TO_SEND.try_send(wire);
        }
        // `node.orders()` to the pins, as in the plain loop; then the watchdog.
        core::hint::black_box(node.orders());
    }
}

#[embassy_executor::main]
async fn main(spawner: Spawner) {
    if let Some(mut core) = cortex_m::Peripherals::take() {
        core.SYST.set_reload(16_000 - 1);
        core.SYST.clear_current();
        core.SYST.enable_interrupt();
        core.SYST.enable_counter();
    }
    if let (Ok(listening), Ok(working)) = (listen(), work()) {
        spawner.spawn(listening);
        spawner.spawn(working);
    }
}
