//! Any bodies, each under a right checksum, into a board. See `bodies`.
#![no_main]

use libfuzzer_sys::fuzz_target;

#[allow(dead_code, reason = "each target has one of them")]
mod bodies;

fuzz_target!(|bytes: &[u8]| {
    let _ = bodies::node(bytes);
});
