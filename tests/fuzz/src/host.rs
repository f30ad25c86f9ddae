//! Any answer, under a right checksum, to a host: what is decoded encodes to a frame again.
#![no_main]

use libfuzzer_sys::fuzz_target;
use supervisor::link::crc::crc32c;
use supervisor::link::frame::message_of;
use supervisor::link::{Message, Wire};

fuzz_target!(|bytes: &[u8]| {
    let mut body = vec![6, 0, 0, 0, 0, 0, 0];
    body.extend(bytes.iter().take(175));
    body.resize(7 + 175, 0);
    body.extend(crc32c(&body).to_le_bytes());
    if let Ok((stamp, Message::Answer(answer))) = message_of(&body) {
        let _ = answer.memory.kernel();
        assert!(!Wire::new(stamp, &Message::Answer(answer)).bytes().is_empty());
    }
});
