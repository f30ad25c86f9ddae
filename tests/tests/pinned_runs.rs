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
    ("shuttle-tour", 0xa22e_db70_d596_3fc1, 0xbe16_5e3f),
    ("shuttle-stuck-ring-brake", 0xbce0_2ccf_a2d3_ba79, 0x300a_fdbc),
    ("shuttle-reset", 0x34c9_6e79_7f8a_4741, 0xc1c6_d254),
    ("railcar-tour", 0x55e9_e55f_745d_fad7, 0x357c_da39),
    ("railcar-climb", 0x39ef_b132_d6e7_e75a, 0xb1c9_7d53),
    ("axle-shift", 0x3944_654c_f9d1_5c79, 0x0433_3a60),
];

/// CRC-32C over the digests, and over the traces, of all drives of a demo's review with seed 1, and
/// how many drives that are.
const REVIEWS: [(&str, usize, u32, u32); 3] = [
    ("shuttle", 99, 0xd6b9_de9a, 0xee62_3943),
    ("railcar", 165, 0xedfc_a3fa, 0xf4f3_7af4),
    ("axle", 50, 0x75ad_f703, 0x8076_ef84),
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
