//! CRC-32C over a table's content: the firmware checks at start that its flash holds
//! the table that was reviewed.

use crate::table::{Duty, EngineNeed, Pace, SpeedRow, StepDuty, TABLE_FORMAT, Table, Window};

#[cfg(test)]
mod tests;

/// CRC-32C (Castagnoli, reflected polynomial 0x82F63B78), fed byte by byte.
#[derive(Clone, Copy, Debug)]
pub struct Crc32c(u32);

impl Default for Crc32c {
    fn default() -> Crc32c {
        Crc32c(u32::MAX)
    }
}

impl Crc32c {
    /// Take in bytes.
    pub fn bytes(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.0 ^= u32::from(byte);
            for _ in 0..8 {
                let carry = 0u32.wrapping_sub(self.0 & 1);
                self.0 = (self.0 >> 1) ^ (0x82F6_3B78 & carry);
            }
        }
    }

    /// The checksum of what was taken in.
    pub const fn finish(self) -> u32 {
        !self.0
    }

    fn u8(&mut self, x: u8) {
        self.bytes(&[x]);
    }

    fn u16(&mut self, x: u16) {
        self.bytes(&x.to_le_bytes());
    }

    fn f32(&mut self, x: f32) {
        self.bytes(&x.to_bits().to_le_bytes());
    }

    fn row(&mut self, row: &[f32]) {
        row.iter().for_each(|&x| self.f32(x));
    }

    fn window(&mut self, window: &Window) {
        self.row(&[window.min, window.max]);
    }
}

/// Checksum of everything in the table but its stored hash.
pub fn table_hash(table: &Table) -> u32 {
    let mut crc = Crc32c::default();
    crc.u16(TABLE_FORMAT);
    crc.u8(table.engine.unwrap_or(u8::MAX));
    crc.f32(table.engine_min);
    crc.row(&table.output_row);
    crc.u8(table.output_sensors.0);
    crc.f32(table.output_rate_max);
    timing(&mut crc, table);
    for sensor in table.sensors {
        crc.f32(sensor.range);
        crc.window(&sensor.allowed);
    }
    locks(&mut crc, table);
    for rest in table.rests {
        row_limit(&mut crc, &rest.row, rest.sensors.0, rest.max);
    }
    for parity in table.parities {
        row_limit(&mut crc, &parity.row, parity.sensors.0, parity.max);
    }
    for conflict in table.conflicts {
        crc.bytes(&[conflict.locks.0, conflict.release_first]);
    }
    for overlap in table.overlaps {
        crc.bytes(&[overlap.locks.0, overlap.machines.0]);
    }
    arrangements(&mut crc, table);
    for set in table.sets {
        let engine = u8::from(set.engine_joined) << 1 | u8::from(set.engine_geared) << 2;
        let flags = u8::from(set.drives) | engine;
        crc.bytes(&[flags, set.held_machines.0, set.fallback]);
    }
    steps(&mut crc, table);
    for limit in table.limits {
        crc.row(&limit.row);
        crc.row(&[limit.min, limit.max]);
    }
    table.next.iter().for_each(|&entry| crc.u16(entry));
    crc.finish()
}

fn timing(crc: &mut Crc32c, table: &Table) {
    let t = &table.timing;
    crc.f32(t.tick_s);
    let ticks = [
        t.dwell,
        t.sync_timeout,
        t.unload_timeout,
        t.overlap_max,
        t.min_stay,
        t.request_dwell,
        t.retry_wait,
        t.debounce,
        t.rate_ticks,
        t.engine_timeout,
        t.react,
    ];
    ticks.iter().for_each(|&x| crc.u16(x));
    crc.u8(t.retries);
}

fn row_limit(crc: &mut Crc32c, row: &SpeedRow, sensors: u8, max: f32) {
    crc.row(row);
    crc.u8(sensors);
    crc.f32(max);
}

fn locks(crc: &mut Crc32c, table: &Table) {
    for lock in table.locks {
        row_limit(crc, &lock.slip_row, lock.sensors.0, lock.slip_max);
        crc.row(&[lock.begin_max, lock.moving_min, lock.rate_max]);
        crc.u8(u8::from(lock.dog) | u8::from(lock.has_switch) << 1);
        let ticks =
            [lock.close_ticks, lock.close_timeout, lock.release_ticks, lock.release_timeout];
        ticks.iter().for_each(|&x| crc.u16(x));
        let heats = [lock.heat_k_per_radps_tick, lock.drag_k_per_radps_tick];
        crc.row(&heats);
        crc.row(&[lock.cooling_ticks, lock.rise_max_k]);
    }
}

fn arrangements(crc: &mut Crc32c, table: &Table) {
    for arrangement in table.arrangements {
        crc.bytes(&[arrangement.closed.0, arrangement.engine as u8]);
        for duty in &arrangement.duties {
            match *duty {
                Duty::Free => crc.u8(0),
                Duty::Unload => crc.u8(1),
                Duty::Hold { per_output, per_pace } => {
                    crc.u8(2);
                    crc.row(&[per_output, per_pace]);
                }
            }
        }
        let Pace { per_output, min, max } = arrangement.pace;
        crc.row(&[per_output, min, max]);
        crc.window(&arrangement.window);
        crc.window(&arrangement.keep);
    }
}

fn steps(crc: &mut Crc32c, table: &Table) {
    for step in table.steps {
        let running = step.engine == EngineNeed::Running;
        let flags = u8::from(step.keeps_push) | u8::from(running) << 1;
        crc.bytes(&[step.from.0, step.lock, step.action as u8, flags]);
        for duty in &step.duties {
            match *duty {
                StepDuty::Free => crc.u8(0),
                StepDuty::Unload => crc.u8(1),
                StepDuty::Sync => crc.u8(2),
                StepDuty::Take { share } => {
                    crc.u8(3);
                    crc.f32(share);
                }
            }
        }
        crc.row(&step.target_row);
        crc.row(&[step.target_offset, step.target_min, step.target_max]);
        crc.u8(step.sensors.0);
        crc.row(&step.load_row);
        crc.row(&[step.load_max, step.demand_max]);
        crc.window(&step.window);
        crc.u8(step.rest.0);
        crc.bytes(&step.limits_from.to_le_bytes());
        crc.u8(step.limits_count);
    }
}
