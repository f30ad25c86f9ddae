//! Any bytes into a receiver: every message that comes out was sent as exactly these bytes.
#![no_main]

use libfuzzer_sys::fuzz_target;
use supervisor::link::{Receiver, Wire};

fuzz_target!(|bytes: &[u8]| {
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
});
