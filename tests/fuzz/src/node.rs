//! Any bodies, each under a right checksum, into a board that has agreed with a host: no panic, no
//! torque without a run.
#![no_main]

use libfuzzer_sys::fuzz_target;
use supervisor::io::MachineOrder;
use supervisor::link::crc::crc32c;
use supervisor::link::frame::{Stamp, message_of};
use supervisor::link::node::{Session, build_name, hello};
use supervisor::link::receiver::Counters;
use supervisor::link::{Message, Node, Role};

#[path = "../../src/tables/axle.rs"]
mod axle;

fuzz_target!(|bytes: &[u8]| {
    let mut node = Node::new(&axle::TABLE, build_name("fuzz"));
    let greeting = Message::Hello(hello(&axle::TABLE, Role::Host, build_name("host")));
    let counters = Counters::default();
    let _ = node.take(Stamp::default(), &greeting, &counters);
    // A byte says how long the next body is.
    let mut left = bytes;
    while let Some((length, rest)) = left.split_first() {
        let (body, rest) = rest.split_at(rest.len().min(usize::from(*length)));
        left = rest;
        let mut body = body.to_vec();
        body.extend(crc32c(&body).to_le_bytes());
        if let Ok((stamp, message)) = message_of(&body) {
            let _ = node.take(stamp, &message, &counters);
        }
        let _ = node.timer(&counters);
        if !matches!(node.session(), Session::Running(_)) {
            assert_eq!(node.orders().machines, [MachineOrder::Off; 4]);
        }
    }
});
