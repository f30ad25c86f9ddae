//! What the two sides say to each other.

use super::answer::Answer;
use super::bytes::{Reader, Writer};
use crate::bits::Bits;
use crate::io::{Inputs, LockReport, Speed, Torque};
use crate::trace::TRACE_BYTES;

/// Which side speaks.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Role {
    /// Holds the plant.
    Host,
    /// Runs the supervisor.
    Board,
}

/// Who speaks, and what it was built from. Neither side does anything before both have said it
/// and agree.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Hello {
    /// [`super::PROTOCOL`] of the sender.
    pub protocol: u16,
    /// [`crate::table::TABLE_FORMAT`] of the sender.
    pub table_format: u16,
    /// Hash of its table.
    pub table_hash: u32,
    /// Its tick, microseconds.
    pub tick_us: u32,
    /// Which side it is.
    pub role: Role,
    /// Name of its build: printable ASCII, zeros behind.
    pub build: [u8; 16],
}

/// Who makes time go on.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Mode {
    /// The host: each tick waits for its inputs and is answered.
    #[default]
    Lockstep,
    /// The board's timer: each tick takes the inputs that came last.
    RealTime,
}

/// Begin a run: the supervisor starts anew.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Begin {
    /// Who makes time go on.
    pub mode: Mode,
    /// After so many ticks without inputs the board goes to its safe state; at least 1.
    pub lost_ticks: u16,
    /// A supervisor's trace ([`crate::trace::Trace::to_bytes`]): what it may know of locks that
    /// are closed at the start.
    pub trace: Option<[u8; TRACE_BYTES]>,
}

/// One tick's inputs.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Call {
    /// What the supervisor sees.
    pub inputs: Inputs,
    /// Whether it gets this tick; else the last orders stand.
    pub called: bool,
    /// Begin anew before this tick, with the trace that the last supervisor left.
    pub warm_reset: bool,
    /// Begin anew before this tick, without a trace.
    pub cold_reset: bool,
}

/// Why a hello is refused: the first thing that differs.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Differs {
    /// The protocol.
    Protocol,
    /// The table's layout.
    TableFormat,
    /// The table's content.
    TableHash,
    /// The tick.
    Tick,
    /// Both are of the same side.
    Role,
    /// The board's own table is damaged: its content does not match its hash.
    TableDamaged,
}

impl Hello {
    /// What differs from what the `other` side said, if anything.
    pub fn differs(&self, other: &Hello) -> Option<Differs> {
        [
            (self.protocol != other.protocol, Differs::Protocol),
            (self.role == other.role, Differs::Role),
            (self.table_format != other.table_format, Differs::TableFormat),
            (self.table_hash != other.table_hash, Differs::TableHash),
            (self.tick_us != other.tick_us, Differs::Tick),
        ]
        .into_iter()
        .find_map(|(differs, what)| differs.then_some(what))
    }

    fn write(&self, out: &mut Writer) {
        out.u16(self.protocol);
        out.u16(self.table_format);
        out.u32(self.table_hash);
        out.u32(self.tick_us);
        out.u8(u8::from(self.role == Role::Board));
        out.bytes(&self.build);
    }

    fn read(mut from: Reader) -> Option<Hello> {
        let hello = Hello {
            protocol: from.u16()?,
            table_format: from.u16()?,
            table_hash: from.u32()?,
            tick_us: from.u32()?,
            role: match from.u8()? {
                0 => Role::Host,
                1 => Role::Board,
                _ => return None,
            },
            build: from.bytes()?,
        };
        from.end(hello)
    }
}

impl Begin {
    fn write(&self, out: &mut Writer) {
        out.u8(u8::from(self.mode == Mode::RealTime) | u8::from(self.trace.is_some()) << 1);
        out.u16(self.lost_ticks);
        out.bytes(&self.trace.unwrap_or([0; TRACE_BYTES]));
    }

    fn read(mut from: Reader) -> Option<Begin> {
        let flags = from.u8()?;
        let lost_ticks = from.u16()?;
        let trace = from.bytes()?;
        let mode = if flags & 1 == 1 { Mode::RealTime } else { Mode::Lockstep };
        let trace = (flags & 2 == 2).then_some(trace);
        let begin = Begin { mode, lost_ticks, trace };
        from.end(begin).filter(|_| flags < 4 && lost_ticks > 0)
    }
}

/// Bit set of the places where `test` holds.
fn mask<T>(list: &[T], test: impl Fn(&T) -> bool) -> u8 {
    let bits = (0u8..).zip(list);
    bits.fold(Bits::EMPTY, |bits, (i, x)| bits.with(i, test(x))).0
}

impl Call {
    fn write(&self, out: &mut Writer) {
        let inputs = &self.inputs;
        inputs.speeds.iter().for_each(|s| out.f32(s.radps));
        out.u8(mask(&inputs.speeds, |s| s.valid));
        out.u8(mask(&inputs.reports, |r| *r == LockReport::Closed));
        out.u8(mask(&inputs.reports, |r| *r == LockReport::Open));
        inputs.torques.iter().for_each(|t| out.f32(t.nm));
        out.u8(mask(&inputs.torques, |t| t.valid));
        out.index(inputs.request);
        out.f32(inputs.demand_nm);
        let flags = [inputs.engine_running, self.called, self.warm_reset, self.cold_reset];
        out.u8(mask(&flags, |f| *f));
    }

    fn read(mut from: Reader) -> Option<Call> {
        let mut inputs = Inputs::default();
        for speed in &mut inputs.speeds {
            *speed = Speed { radps: from.f32()?, valid: false };
        }
        let valid = Bits(from.u8()?);
        (0u8..).zip(&mut inputs.speeds).for_each(|(i, s)| s.valid = valid.has(i));
        let (closed, open) = (Bits(from.u8()?), Bits(from.u8()?));
        if !closed.and(open).is_empty() {
            return None;
        }
        for (i, report) in (0u8..).zip(&mut inputs.reports) {
            *report = match (closed.has(i), open.has(i)) {
                (true, _) => LockReport::Closed,
                (_, true) => LockReport::Open,
                _ => LockReport::Missing,
            };
        }
        for torque in &mut inputs.torques {
            *torque = Torque { nm: from.f32()?, valid: false };
        }
        let valid = Bits(from.u8()?);
        (0u8..).zip(&mut inputs.torques).for_each(|(i, t)| t.valid = valid.has(i));
        inputs.request = from.index()?;
        inputs.demand_nm = from.f32()?;
        let flags = Bits(from.u8()?);
        inputs.engine_running = flags.has(0);
        let call = Call {
            inputs,
            called: flags.has(1),
            warm_reset: flags.has(2),
            cold_reset: flags.has(3),
        };
        from.end(call).filter(|_| flags.0 < 16 && valid.0 < 16)
    }
}

/// Everything that can be said.
#[derive(Clone, Copy, PartialEq, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[allow(clippy::large_enum_variant, reason = "there is no heap to put an answer on")]
pub enum Message {
    /// Either side, first.
    Hello(Hello),
    /// Board: the host's hello is refused.
    Refused(Differs),
    /// Host: begin a run.
    Begin(Begin),
    /// Board: the run has begun.
    Ready,
    /// Host: one tick's inputs.
    Call(Call),
    /// Board: what its tick gave.
    Answer(Answer),
    /// Host: the run is over.
    End,
}

impl Message {
    /// Its number on the wire.
    pub const fn kind(&self) -> u8 {
        match self {
            Message::Hello(_) => 1,
            Message::Refused(_) => 2,
            Message::Begin(_) => 3,
            Message::Ready => 4,
            Message::Call(_) => 5,
            Message::Answer(_) => 6,
            Message::End => 7,
        }
    }

    pub(super) fn write(&self, out: &mut Writer) {
        match self {
            Message::Hello(hello) => hello.write(out),
            Message::Refused(differs) => out.u8(*differs as u8),
            Message::Begin(begin) => begin.write(out),
            Message::Call(call) => call.write(out),
            Message::Answer(answer) => answer.write(out),
            Message::Ready | Message::End => {}
        }
    }

    /// `None` when there is no such message.
    pub(super) fn read(kind: u8, mut from: Reader) -> Option<Message> {
        match kind {
            1 => Hello::read(from).map(Message::Hello),
            2 => {
                let differs = match from.u8()? {
                    0 => Differs::Protocol,
                    1 => Differs::TableFormat,
                    2 => Differs::TableHash,
                    3 => Differs::Tick,
                    4 => Differs::Role,
                    5 => Differs::TableDamaged,
                    _ => return None,
                };
                from.end(Message::Refused(differs))
            }
            3 => Begin::read(from).map(Message::Begin),
            4 => from.end(Message::Ready),
            5 => Call::read(from).map(Message::Call),
            6 => Answer::read(from).map(Message::Answer),
            7 => from.end(Message::End),
            _ => None,
        }
    }
}
