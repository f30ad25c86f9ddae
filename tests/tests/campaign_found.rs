//! Cases in which a campaign found a fault of the supervisor that was then mended: they are run again, with all judges.
//! Each is checked to be still the case that it was, so that a change of what is drawn does not empty a test.

use host_sim::campaign::{Court, case, scenario_text};
use slipwarden_tests::defects_found::world_of;

/// A case of a campaign, the faults that it must have, and how often it closes the lock that it is about.
struct Found {
    demo: &'static str,
    seed: u64,
    faults: u8,
    number: u64,
    has: &'static [(&'static str, &'static str)],
    lock: &'static str,
    closings: f64,
}

const FOUND: [Found; 2] = [
    // A dog that lets go late each time was closed 75 times in 44 s.
    Found {
        demo: "railcar",
        seed: 2046,
        faults: 2,
        number: 1868,
        has: &[("lock-slow-release", "cross-clutch"), ("cold-reset", "")],
        lock: "cross-clutch",
        closings: 2.0,
    },
    // A clutch stuck half-way at a reset, whose switch says open: what stood without it was stated.
    Found {
        demo: "shuttle",
        seed: 2043,
        faults: 1,
        number: 1624,
        has: &[("lock-stuck-closed", "engine-clutch"), ("reset", "")],
        lock: "engine-clutch",
        closings: 1.0,
    },
];

#[test]
fn what_campaigns_found_and_was_mended_stays_so() {
    for found in &FOUND {
        let name = format!("{} {} {}", found.demo, found.seed, found.number);
        let world = world_of(found.demo);
        let case = case(&world, found.seed, found.faults, found.number);
        let text = scenario_text(world.driveline(), &case, "found", "");
        for (kind, target) in found.has {
            let mut is = format!("kind = \"{kind}\"\n");
            if !target.is_empty() {
                is += &format!("target = \"{target}\"\n");
            }
            assert!(text.contains(&is), "{name}: another case than it was:\n{text}");
        }
        let prepared = world.prepared().expect("demos have all");
        let judged = Court::new(&world, &prepared).judge(&case).expect("it starts");
        assert_eq!(judged.findings, [], "{name}");
        let of_lock = |m: &&host_sim::checkers::Margin| {
            m.rule == "SW-CHATTER" && m.subject.starts_with(found.lock)
        };
        let closings = judged.margins.iter().find(of_lock).map(|m| m.worst);
        assert_eq!(closings, Some(found.closings), "{name}: {:?}", judged.margins);
    }
}
