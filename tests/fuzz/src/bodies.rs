//! What the fuzz targets do with their bytes. The tests run the same over random bytes
//! (`tests/tests/fuzz_bodies.rs`). Each returns how many messages were good.

use supervisor::io::MachineOrder;
use supervisor::link::crc::crc32c;
use supervisor::link::frame::{Stamp, message_of};
use supervisor::link::node::{Session, build_name, hello};
use supervisor::link::receiver::Counters;
use supervisor::link::{Message, Node, Receiver, Role, Wire};

// A generated table for any crate; here it is a part of this one.
#[allow(unreachable_pub)]
#[path = "../../src/tables/axle.rs"]
mod axle;

/// Any bytes into a receiver: every message that comes out has a frame.
pub(crate) fn receiver(bytes: &[u8]) -> u32 {
    let mut receiver = Receiver::new();
    let mut good = 0;
    for byte in bytes {
        if let Some((stamp, message)) = receiver.byte(*byte) {
            good += 1;
            let wire = Wire::new(stamp, &message);
            assert!(!wire.bytes().is_empty());
        }
    }
    assert_eq!(receiver.counters.good, good);
    good
}

/// Any bodies, each under a right checksum, into a board that has agreed with a host: no panic, no
/// torque without a run. A byte says how long the next body is.
pub(crate) fn node(bytes: &[u8]) -> u32 {
    let mut node = Node::new(&axle::TABLE, build_name("fuzz"));
    let greeting = Message::Hello(hello(&axle::TABLE, Role::Host, build_name("host")));
    let counters = Counters::default();
    let _ = node.take(Stamp::default(), &greeting, &counters);
    let (mut left, mut good) = (bytes, 0);
    while let Some((length, rest)) = left.split_first() {
        let (body, rest) = rest.split_at(rest.len().min(usize::from(*length)));
        left = rest;
        let mut body = body.to_vec();
        body.extend(crc32c(&body).to_le_bytes());
        if let Ok((stamp, message)) = message_of(&body) {
            good += 1;
            let _ = node.take(stamp, &message, &counters);
        }
        let _ = node.timer(&counters);
        if !matches!(node.session(), Session::Running(_)) || node.is_lost() {
            assert_eq!(node.orders().machines, [MachineOrder::Off; 4]);
        }
    }
    good
}

/// Any answer, under a right checksum, to a host: what is decoded encodes to a frame again.
pub(crate) fn host(bytes: &[u8]) -> u32 {
    let mut body = vec![6, 0, 0, 0, 0, 0, 0];
    body.extend(bytes.iter().take(ANSWER));
    body.resize(7 + ANSWER, 0);
    body.extend(crc32c(&body).to_le_bytes());
    let Ok((stamp, Message::Answer(answer))) = message_of(&body) else { return 0 };
    let _ = answer.memory.kernel();
    assert!(!Wire::new(stamp, &Message::Answer(answer)).bytes().is_empty());
    1
}

/// Length of an answer.
pub(crate) const ANSWER: usize = 175;
