//! Any bytes into a receiver. See `bodies`.
#![no_main]

use libfuzzer_sys::fuzz_target;

#[allow(dead_code, reason = "each target has one of them")]
mod bodies;

fuzz_target!(|bytes: &[u8]| {
    let _ = bodies::receiver(bytes);
});
