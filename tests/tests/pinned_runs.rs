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
    ("shuttle-tour", 0xfef6_8e14_e6c8_b89f, 0xa63e_a95e),
    ("shuttle-stuck-ring-brake", 0xf4c7_1b85_a6b1_b9b4, 0x766e_4916),
    ("shuttle-reset", 0xfd5d_1822_9866_61c7, 0x8a0b_5968),
    ("railcar-tour", 0x215e_bc99_b33b_9052, 0x127f_01c1),
    ("railcar-climb", 0x03c9_5716_52cb_9c6b, 0x322a_9763),
    ("axle-shift", 0xc6ac_c592_8d88_525e, 0xda23_687e),
];

/// CRC-32C over the digests, and over the traces, of all drives of a demo's review with seed 1, and
/// how many drives that are.
const REVIEWS: [(&str, usize, u32, u32); 3] = [
    ("shuttle", 99, 0xaeae_cc05, 0x1883_0906),
    ("railcar", 165, 0xd580_da45, 0x7aed_91fe),
    ("axle", 50, 0xa4b8_6b60, 0xadd1_9ea6),
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
