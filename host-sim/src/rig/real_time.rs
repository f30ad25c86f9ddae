//! Real time: the plant moves on at a fixed rate whether or not the board answers.

use std::io;
use std::time::{Duration, Instant};

use supervisor::Output;
use supervisor::link::message::Call;
use supervisor::link::node::safe;
use supervisor::link::{Begin, Message, Mode};
use supervisor::table::Table;

use super::delays::Delays;
use super::error::RigError;
use super::link::Link;
use crate::drive::closed_loop::Run;
use crate::drive::faults::Reset;
use crate::drive::record::TickRecord;

/// How a run goes.
#[derive(Clone, Copy, Debug)]
pub struct Pace {
    /// A call goes out every so many ticks.
    pub every: u32,
    /// After so many ticks without an answer the plant gets no torque.
    pub lost_ticks: u16,
}

/// What a run in real time was like.
#[derive(Clone, Debug, Default)]
pub struct Told {
    /// Ticks.
    pub ticks: u64,
    /// From a call to its answer.
    pub delays: Delays,
    /// Ticks that began later than a tick after their time.
    pub missed: u64,
    /// Ticks in which the plant had no torque because no answer had come for too long.
    pub lost: u64,
    /// Ticks in which a new answer came.
    pub fresh: u64,
    /// How often the link was lost.
    pub losses: u64,
    /// Calls that went out.
    pub calls: u64,
    /// Times that the way to the board broke and was not there.
    pub broken: u64,
}

/// Drive one run. `see` gets every tick.
///
/// # Errors
/// The board cannot begin.
pub fn drive(
    link: &mut Link,
    run: &mut Run,
    table: &Table,
    pace: Pace,
    mut see: impl FnMut(&TickRecord),
) -> Result<Told, RigError> {
    let trace = Some(run.first_trace().to_bytes(table.hash));
    link.begin(Begin { mode: Mode::RealTime, lost_ticks: pace.lost_ticks, trace })?;
    let tick = Duration::from_secs_f32(table.timing.tick_s);
    let mut told = Told::default();
    let mut asked: Vec<(u16, Instant)> = Vec::new();
    let mut last = safe(&Output::default().orders);
    let (mut age, mut lost) = (0u16, false);
    // A reset between two calls must not be forgotten.
    let mut reset = None;
    let begun = Instant::now();
    for n in 0u32.. {
        let Some(now) = run.begin_tick() else { break };
        reset = now.reset.or(reset);
        if n.is_multiple_of(pace.every.max(1)) {
            let call = Call {
                inputs: now.inputs,
                called: now.called,
                warm_reset: reset == Some(Reset::Warm),
                cold_reset: reset == Some(Reset::Cold),
            };
            match link.say(n, &Message::Call(call)) {
                Ok(stamp) => asked.push((stamp.sequence, Instant::now())),
                Err(_) => told.broken += 1,
            }
            (reset, told.calls) = (None, told.calls + 1);
        }
        age = age.saturating_add(1);
        let due = begun + tick * (n + 1);
        while let Some((sequence, output)) = next_answer(link, due) {
            if let Some(at) = asked.iter().position(|a| a.0 == sequence) {
                told.delays.add(asked[at].1.elapsed());
                asked.drain(..=at);
            }
            (last, age) = (output, 0);
            told.fresh += 1;
        }
        let is_lost = age >= pace.lost_ticks;
        told.losses += u64::from(is_lost && !lost);
        told.lost += u64::from(is_lost);
        lost = is_lost;
        let output = if lost { Output { status: last.status, ..safe(&last.orders) } } else { last };
        see(run.finish_tick(output));
        told.ticks += 1;
        told.missed += u64::from(Instant::now() > due + tick);
    }
    Ok(told)
}

/// The next answer before `due`; waits until then.
fn next_answer(link: &mut Link, due: Instant) -> Option<(u16, Output)> {
    loop {
        let left = due.saturating_duration_since(Instant::now());
        match link.hear(left) {
            Ok(Some((stamp, Message::Answer(answer)))) => {
                return Some((stamp.sequence, answer.output()));
            }
            Ok(Some(_)) => {}
            Ok(None) => return None,
            Err(error) => {
                // Gone: the plant goes on without it.
                if error.kind() != io::ErrorKind::TimedOut {
                    std::thread::sleep(left);
                }
                return None;
            }
        }
    }
}
