//! What every ready scenario and every drive of the demos' reviews ends in, bit for bit, pinned: a
//! change that only makes the closed loop faster must leave every number as it is.
//!
//! A change of a number here is a change of the closed loop's arithmetic or decisions: it must be
//! meant, and be named in the commit. The test prints what it found.

use host_sim::drive::scenario::{self, READY};
use host_sim::drive::simulate::simulate;
use host_sim::driveline::DEMOS;
use host_sim::review::{Quiet, Report, Subject};
use slipwarden_tests::demo::Demo;
use supervisor::hash::Crc32c;

/// Plant's last state, and CRC-32C of the trace of every tick, of each ready scenario with seed 1.
const SCENARIOS: [(&str, u64, u32); 6] = [
    ("shuttle-tour", 0x2169_ec91_1c07_3f8b, 0xcecf_f8a7),
    ("shuttle-stuck-ring-brake", 0x5de1_9831_6a45_83d3, 0x038d_6f4a),
    ("shuttle-reset", 0x2353_3448_bce1_30c1, 0xddc8_2c4e),
    ("railcar-tour", 0x4c34_0f59_2f7b_25da, 0x7fe6_34a6),
    ("railcar-climb", 0x13d2_5a1d_548e_9d01, 0x318f_01c7),
    ("axle-shift", 0x2b42_d119_f25c_fa61, 0x1df7_70c4),
];

/// CRC-32C over the digests, and over the traces, of all drives of a demo's review with seed 1, and
/// how many drives that are.
const REVIEWS: [(&str, usize, u32, u32); 3] = [
    ("shuttle", 103, 0x4219_564b, 0xc3cd_40ba),
    ("railcar", 166, 0x9a68_5461, 0x47b1_145b),
    ("axle", 50, 0x64ab_f64a, 0x1875_4edf),
];

#[test]
fn ready_scenarios_end_where_they_did() {
    let mut found = Vec::new();
    for ready in READY {
        let demo = Demo::new(ready.driveline);
        let setup = scenario::parse(ready.name, ready.text, &demo.driveline).expect("good").setup;
        let mut trace = Vec::new();
        let (d, k, t) = (&demo.driveline, &demo.kinematics, demo.table.table());
        let digest = simulate(d, k, t, &setup, 1, Some((&mut trace, 1))).expect("runs").digest;
        found.push((ready.name, digest, crc(&trace)));
    }
    let told = |(name, digest, trace): &(&str, u64, u32)| {
        format!("(\"{name}\", 0x{digest:016x}, 0x{trace:08x}),")
    };
    let lines: Vec<String> = found.iter().map(told).collect();
    assert_eq!(found, SCENARIOS, "found\n{}", lines.join("\n"));
}

#[test]
fn drives_of_reviews_end_where_they_did() {
    let mut found = Vec::new();
    for demo in DEMOS {
        let report = Report::of(Subject::read(demo, 1).expect("embedded"), 2, &mut Quiet);
        let (mut digests, mut traces) = (Crc32c::default(), Crc32c::default());
        for result in &report.results {
            digests.bytes(&result.digest.to_le_bytes());
            traces.bytes(&result.trace);
        }
        found.push((demo, report.results.len(), digests.finish(), traces.finish()));
    }
    let told = |(name, drives, digests, traces): &(&str, usize, u32, u32)| {
        format!("(\"{name}\", {drives}, 0x{digests:08x}, 0x{traces:08x}),")
    };
    let lines: Vec<String> = found.iter().map(told).collect();
    assert_eq!(found, REVIEWS, "found\n{}", lines.join("\n"));
}

fn crc(bytes: &[u8]) -> u32 {
    let mut crc = Crc32c::default();
    crc.bytes(bytes);
    crc.finish()
}
