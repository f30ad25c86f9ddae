//! The node behind two pipes of the host: lockstep only, as fast as the emulator is.
#![no_std]
#![no_main]

use board::host::{File, exit};
use board::table::TABLE;
use cortex_m_rt::entry;
use supervisor::link::{Node, Receiver};

#[entry]
fn main() -> ! {
    let mut node = Node::new(TABLE, board::BUILD);
    let Some(input) = File::open(b"to-board\0", false) else { exit(2) };
    let Some(output) = File::open(b"from-board\0", true) else { exit(2) };
    let mut receiver = Receiver::new();
    if !output.write(node.hello().bytes()) {
        exit(2);
    }
    let mut bytes = [0; 256];
    loop {
        let count = input.read(&mut bytes);
        if count == 0 {
            // The host has gone.
            exit(0);
        }
        for byte in bytes.iter().take(count) {
            let Some((stamp, message)) = receiver.byte(*byte) else { continue };
            #[cfg(feature = "planted-order")]
            let message = planted(stamp.tick, message);
            let counters = receiver.counters;
            if let Some(wire) = node.take(stamp, &message, &counters)
                && !output.write(wire.bytes())
            {
                exit(2);
            }
        }
    }
}

/// From tick 1000 on the board sees a first speed that is one bit higher than it was sent: what a
/// comparison must find.
#[cfg(feature = "planted-order")]
fn planted(tick: u32, message: supervisor::link::Message) -> supervisor::link::Message {
    use supervisor::link::Message;
    match message {
        Message::Call(mut call) if tick >= 1000 => {
            call.inputs.request = Some(1);
            Message::Call(call)
        }
        other => other,
    }
}
