//! Orders and status as bytes.

use super::bytes::{Reader, Writer};
use crate::bits::Bits;
use crate::check::TableFault;
use crate::io::{LockOrder, MachineOrder, Orders};
use crate::status::{Faults, Phase, Refusal, Status};
use crate::table::Why;

impl Orders {
    pub(super) fn write(&self, out: &mut Writer) {
        let mut closing = Bits::EMPTY;
        let mut filling = Bits::EMPTY;
        for (lock, order) in (0u8..).zip(&self.locks) {
            closing = closing.with(lock, *order == LockOrder::Close);
            filling = filling.with(lock, *order == LockOrder::Prefill);
        }
        out.u8(closing.0);
        out.u8(filling.0);
        for order in &self.machines {
            let (kind, value) = match *order {
                MachineOrder::Free => (0, 0.0),
                MachineOrder::HoldSpeed { target_radps } => (1, target_radps),
                MachineOrder::TakeTorque { nm } => (2, nm),
                MachineOrder::Unload => (3, 0.0),
                MachineOrder::Off => (4, 0.0),
            };
            out.u8(kind);
            out.f32(value);
        }
        out.u8(u8::from(self.engine_run));
    }

    pub(super) fn read(from: &mut Reader) -> Option<Orders> {
        let mut orders = Orders::default();
        let (closing, filling) = (Bits(from.u8()?), Bits(from.u8()?));
        if !closing.and(filling).is_empty() {
            return None;
        }
        for (lock, order) in (0u8..).zip(&mut orders.locks) {
            *order = match (closing.has(lock), filling.has(lock)) {
                (true, _) => LockOrder::Close,
                (_, true) => LockOrder::Prefill,
                _ => LockOrder::Open,
            };
        }
        for order in &mut orders.machines {
            let (kind, value) = (from.u8()?, from.f32()?);
            *order = match kind {
                0 => MachineOrder::Free,
                1 => MachineOrder::HoldSpeed { target_radps: value },
                2 => MachineOrder::TakeTorque { nm: value },
                3 => MachineOrder::Unload,
                4 => MachineOrder::Off,
                _ => return None,
            };
        }
        orders.engine_run = match from.u8()? {
            0 => false,
            1 => true,
            _ => return None,
        };
        Some(orders)
    }
}

impl Status {
    pub(super) fn write(&self, out: &mut Writer) {
        out.u8(self.held.0);
        out.u8(self.possibly_closed.0);
        out.index(self.arrangement);
        out.index(self.goal);
        let (phase, step, ready) = self.phase.numbers();
        out.u8(phase);
        out.u16(step);
        out.u16(ready);
        let (kind, small, large) = self.refusal.map_or((0, 0, 0), refusal_numbers);
        out.u8(kind);
        out.u8(small);
        out.u16(large);
        let Faults { stuck_open, stuck_closed, switch, lost, sensors, racing } = self.faults;
        out.bytes(&[stuck_open.0, stuck_closed.0, switch.0, lost.0, sensors.0, racing.0]);
    }

    pub(super) fn read(from: &mut Reader) -> Option<Status> {
        let (held, possibly_closed) = (Bits(from.u8()?), Bits(from.u8()?));
        let (arrangement, goal) = (from.index()?, from.index()?);
        let (phase, step, ready) = (from.u8()?, from.u16()?, from.u16()?);
        let phase = match phase {
            0 => Phase::Wake,
            1 => Phase::Rest,
            2 => Phase::Prepare { step, ready },
            3 => Phase::Closing { step },
            4 => Phase::Opening { step },
            5 => Phase::Settle,
            _ => return None,
        };
        let (kind, small, large) = (from.u8()?, from.u8()?, from.u16()?);
        let refusal = if kind == 0 { None } else { Some(refusal_of(kind, small, large)?) };
        let [stuck_open, stuck_closed, switch, lost, sensors, racing] = from.bytes()?.map(Bits);
        let faults = Faults { stuck_open, stuck_closed, switch, lost, sensors, racing };
        Some(Status { held, possibly_closed, arrangement, goal, phase, refusal, faults })
    }
}

fn refusal_numbers(refusal: Refusal) -> (u8, u8, u16) {
    match refusal {
        Refusal::NoWay(why) => (1, why as u8, 0),
        Refusal::ArrangementSpeed { arrangement } => (2, arrangement, 0),
        Refusal::RoadSpeed { step } => (3, 0, step),
        Refusal::TargetSpeed { step } => (4, 0, step),
        Refusal::Torque { step } => (5, 0, step),
        Refusal::Hot { lock } => (6, lock, 0),
        Refusal::EngineNotRunning => (7, 0, 0),
        Refusal::Sensors { step } => (8, 0, step),
        Refusal::NotCalm => (9, 0, 0),
        Refusal::Switch { lock } => (10, lock, 0),
        Refusal::SyncTimeout { lock } => (11, lock, 0),
        Refusal::UnloadTimeout { lock } => (12, lock, 0),
        Refusal::NotClosed { lock } => (13, lock, 0),
        Refusal::NotOpened { lock } => (14, lock, 0),
        Refusal::Interlock { lock } => (15, lock, 0),
        Refusal::Table(fault) => {
            let (kind, number) = table_fault_numbers(fault);
            (16, kind, number)
        }
        Refusal::OverlapTooLong => (17, 0, 0),
    }
}

fn refusal_of(kind: u8, small: u8, large: u16) -> Option<Refusal> {
    let (lock, step) = (small, large);
    Some(match kind {
        // Where the table is read, an unknown code forbids; here it is no message.
        1 => Refusal::NoWay(Some(Why::from_code(small)).filter(|why| *why as u8 == small)?),
        2 => Refusal::ArrangementSpeed { arrangement: small },
        3 => Refusal::RoadSpeed { step },
        4 => Refusal::TargetSpeed { step },
        5 => Refusal::Torque { step },
        6 => Refusal::Hot { lock },
        7 => Refusal::EngineNotRunning,
        8 => Refusal::Sensors { step },
        9 => Refusal::NotCalm,
        10 => Refusal::Switch { lock },
        11 => Refusal::SyncTimeout { lock },
        12 => Refusal::UnloadTimeout { lock },
        13 => Refusal::NotClosed { lock },
        14 => Refusal::NotOpened { lock },
        15 => Refusal::Interlock { lock },
        16 => Refusal::Table(table_fault_of(small, large)?),
        17 => Refusal::OverlapTooLong,
        _ => return None,
    })
}

fn table_fault_numbers(fault: TableFault) -> (u8, u16) {
    match fault {
        TableFault::Format => (0, 0),
        TableFault::Size => (1, 0),
        TableFault::Timing => (2, 0),
        TableFault::Sensors => (3, 0),
        TableFault::Lock(lock) => (4, u16::from(lock)),
        TableFault::Relation => (5, 0),
        TableFault::Conflict => (6, 0),
        TableFault::Arrangement(arrangement) => (7, u16::from(arrangement)),
        TableFault::Step(step) => (8, step),
        TableFault::Hash => (9, 0),
    }
}

fn table_fault_of(kind: u8, number: u16) -> Option<TableFault> {
    let small = u8::try_from(number);
    Some(match kind {
        0 => TableFault::Format,
        1 => TableFault::Size,
        2 => TableFault::Timing,
        3 => TableFault::Sensors,
        4 => TableFault::Lock(small.ok()?),
        5 => TableFault::Relation,
        6 => TableFault::Conflict,
        7 => TableFault::Arrangement(small.ok()?),
        8 => TableFault::Step(number),
        9 => TableFault::Hash,
        _ => return None,
    })
}
