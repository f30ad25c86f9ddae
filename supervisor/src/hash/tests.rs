//! The checksum against published values, and that no part of a table escapes it.

use std::collections::BTreeSet;

use super::{Crc32c, table_hash};
use crate::bits::Bits;
use crate::fixture::{Owned, STRIDE};
use crate::table::{Action, Duty, EngineNeed, EngineUse, Overlap, StepDuty, Table};

fn crc(bytes: &[u8]) -> u32 {
    let mut crc = Crc32c::default();
    crc.bytes(bytes);
    crc.finish()
}

/// RFC 3720, appendix B.4; the first is the usual check value of the algorithm.
#[test]
fn published_vectors() {
    assert_eq!(crc(b"123456789"), 0xE306_9283);
    assert_eq!(crc(&[0; 32]), 0x8A91_36AA);
    assert_eq!(crc(&[0xFF; 32]), 0x62A8_AB43);
    let rising: [u8; 32] = core::array::from_fn(|i| i as u8);
    let falling: [u8; 32] = core::array::from_fn(|i| 31 - i as u8);
    assert_eq!(crc(&rising), 0x46DD_794E);
    assert_eq!(crc(&falling), 0x113F_DB5C);
}

/// Each field of each part, changed by itself.
const CHANGES: &[fn(&mut Owned)] = &[
    |_| {},
    |t| t.timing.tick_s += 1.0,
    |t| t.timing.dwell += 1,
    |t| t.timing.sync_timeout += 1,
    |t| t.timing.unload_timeout += 1,
    |t| t.timing.overlap_max += 1,
    |t| t.timing.min_stay += 1,
    |t| t.timing.request_dwell += 1,
    |t| t.timing.retry_wait += 1,
    |t| t.timing.debounce += 1,
    |t| t.timing.rate_ticks += 1,
    |t| t.timing.engine_timeout += 1,
    |t| t.timing.retries += 1,
    |t| t.sensors[3].range += 1.0,
    |t| t.sensors[3].allowed.min -= 1.0,
    |t| t.sensors[3].allowed.max += 1.0,
    |t| t.timing.react += 1,
    |t| t.locks[1].slip_row[7] += 1.0,
    |t| t.locks[1].sensors = Bits(0x80),
    |t| t.locks[1].slip_max += 1.0,
    |t| t.locks[1].begin_max += 1.0,
    |t| t.locks[1].moving_min += 1.0,
    |t| t.locks[1].rate_max += 1.0,
    |t| t.locks[1].dog ^= true,
    |t| t.locks[1].has_switch ^= true,
    |t| t.locks[1].close_ticks += 1,
    |t| t.locks[1].close_timeout += 1,
    |t| t.locks[1].release_ticks += 1,
    |t| t.locks[1].release_timeout += 1,
    |t| t.locks[1].heat_k_per_radps_tick += 1.0,
    |t| t.locks[1].drag_k_per_radps_tick += 1.0,
    |t| t.locks[1].cooling_ticks += 1.0,
    |t| t.locks[1].rise_max_k += 1.0,
    |t| t.rests[1].row[7] += 1.0,
    |t| t.rests[1].sensors = Bits(0x80),
    |t| t.rests[1].max += 1.0,
    |t| t.parities[0].row[7] += 1.0,
    |t| t.parities[0].sensors = Bits(0x80),
    |t| t.parities[0].max += 1.0,
    |t| t.conflicts[0].locks = Bits(0x80),
    |t| t.conflicts[0].release_first = 7,
    |t| t.overlaps.push(Overlap { locks: Bits(1), machines: Bits(1) }),
    |t| t.overlaps.push(Overlap { locks: Bits(2), machines: Bits(1) }),
    |t| t.overlaps.push(Overlap { locks: Bits(1), machines: Bits(2) }),
    |t| t.arrangements[1].closed = Bits(0x80),
    |t| t.arrangements[1].engine = EngineUse::Either,
    |t| t.arrangements[1].duties[3] = Duty::Unload,
    |t| t.arrangements[1].duties[3] = Duty::Hold { per_output: 0.0, per_pace: 0.0 },
    |t| t.arrangements[1].duties[3] = Duty::Hold { per_output: 1.0, per_pace: 0.0 },
    |t| t.arrangements[1].duties[3] = Duty::Hold { per_output: 0.0, per_pace: 1.0 },
    |t| t.arrangements[1].pace.per_output += 1.0,
    |t| t.arrangements[1].pace.min += 1.0,
    |t| t.arrangements[1].pace.max += 1.0,
    |t| t.arrangements[1].window.min += 1.0,
    |t| t.arrangements[1].window.max += 1.0,
    |t| t.arrangements[1].keep.min += 1.0,
    |t| t.arrangements[1].keep.max += 1.0,
    |t| t.sets[3].drives ^= true,
    |t| t.sets[3].engine_joined ^= true,
    |t| t.sets[3].engine_geared ^= true,
    |t| t.sets[3].held_machines = Bits(0x80),
    |t| t.sets[3].fallback = 7,
    |t| t.steps[3].from = Bits(0x80),
    |t| t.steps[3].lock = 7,
    |t| t.steps[3].action = Action::Open,
    |t| t.steps[3].keeps_push ^= true,
    |t| t.steps[3].engine = EngineNeed::Running,
    |t| t.steps[3].duties[3] = StepDuty::Unload,
    |t| t.steps[3].duties[3] = StepDuty::Sync,
    |t| t.steps[3].duties[3] = StepDuty::Take { share: 0.0 },
    |t| t.steps[3].duties[3] = StepDuty::Take { share: 1.0 },
    |t| t.steps[3].target_row[7] += 1.0,
    |t| t.steps[3].target_offset += 1.0,
    |t| t.steps[3].target_min += 1.0,
    |t| t.steps[3].target_max += 1.0,
    |t| t.steps[3].sensors = Bits(0x80),
    |t| t.steps[3].load_row[3] += 1.0,
    |t| t.steps[3].load_max += 1.0,
    |t| t.steps[3].demand_max += 1.0,
    |t| t.steps[3].window.min += 1.0,
    |t| t.steps[3].window.max += 1.0,
    |t| t.steps[3].rest = Bits(0x80),
    |t| t.steps[3].limits_from += 1,
    |t| t.steps[3].limits_count += 1,
    |t| t.limits[0].row[7] += 1.0,
    |t| t.limits[0].min += 1.0,
    |t| t.limits[0].max += 1.0,
    |t| *t.next.last_mut().unwrap() ^= 1,
];

/// The same for what the table holds by itself.
const CHANGES_OF_TABLE: &[fn(&mut Table)] = &[
    |t| t.engine = None,
    |t| t.engine = Some(0),
    |t| t.engine_min += 1.0,
    |t| t.output_row[7] += 1.0,
    |t| t.output_sensors = Bits(0x80),
    |t| t.output_rate_max += 1.0,
];

/// All flags of one byte, so that none is taken for another.
#[test]
fn every_field_is_hashed() {
    let mut hashes = BTreeSet::new();
    for (n, change) in CHANGES.iter().enumerate().step_by(STRIDE.min(7)) {
        let mut owned = Owned::new();
        change(&mut owned);
        assert!(hashes.insert(table_hash(&owned.table())), "change {n} is not seen");
    }
    for (n, change) in CHANGES_OF_TABLE.iter().enumerate() {
        let owned = Owned::new();
        let mut table = owned.table();
        change(&mut table);
        assert!(hashes.insert(table_hash(&table)), "change {n} of the table is not seen");
    }
    let owned = Owned::new();
    let mut table = owned.table();
    table.hash ^= 1;
    assert!(!hashes.insert(table_hash(&table)), "the stored hash is not hashed");
}

/// The bytes of a step, written down by themselves: flags are bit 0 for a kept push and bit 1
/// for an engine that must run.
#[test]
fn a_step_byte_by_byte() {
    for (keeps_push, engine, flags) in [
        (false, EngineNeed::Any, 0u8),
        (true, EngineNeed::Any, 1),
        (false, EngineNeed::Running, 2),
        (true, EngineNeed::Running, 3),
    ] {
        let mut owned = Owned::new();
        owned.steps.truncate(1);
        let step = &mut owned.steps[0];
        (step.keeps_push, step.engine) = (keeps_push, engine);
        step.duties =
            [StepDuty::Free, StepDuty::Unload, StepDuty::Sync, StepDuty::Take { share: 0.5 }];
        let mut bytes = std::vec![0b01, 0, 1, flags, 0, 1, 2, 3];
        let numbers = |bytes: &mut std::vec::Vec<u8>, numbers: &[f32]| {
            bytes.extend(numbers.iter().flat_map(|x| x.to_bits().to_le_bytes()));
        };
        numbers(&mut bytes, &[0.5]);
        numbers(&mut bytes, &[0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, -500.0, 500.0]);
        bytes.push(0b0111);
        numbers(&mut bytes, &[1.0, 0.0, 0.0, 0.0, 5.0, 100.0, -1000.0, 1000.0]);
        bytes.extend([0, 0, 0, 0, 0, 1]);
        let mut hashed = Crc32c::default();
        super::steps(&mut hashed, &owned.table());
        assert_eq!(hashed.finish(), crc(&bytes), "{keeps_push} {engine:?}");
    }
}
