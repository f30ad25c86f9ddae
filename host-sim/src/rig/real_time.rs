//! Real time: the plant moves on at a fixed rate whether or not the board answers.

use std::io;
use std::time::{Duration, Instant};

use supervisor::Output;
use supervisor::link::frame::Stamp;
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
    /// How often an answer came again after the link was lost.
    pub back: u64,
    /// Calls that went out.
    pub calls: u64,
    /// Times that the board had begun anew and forgotten the run.
    pub begun_anew: u64,
}

/// What stands between the ticks of a run.
struct Side<'l> {
    link: &'l mut Link,
    begin: Begin,
    /// Calls that were not answered yet.
    asked: Vec<(u16, Instant)>,
    last: Output,
    /// Ticks since the last answer.
    age: u16,
    lost: bool,
    /// The way is broken and being opened anew.
    broken: bool,
    /// When the board was last told to begin, because it had forgotten the run.
    begun: Option<Instant>,
    /// A board that began anew, and what stopped the run.
    anew: bool,
    told: Told,
}

/// Most calls that wait for an answer: older ones will get none.
const MOST_ASKED: usize = 1000;
/// How long a board may take to begin before it is told again.
const PATIENCE: Duration = Duration::from_millis(200);

/// Drive one run. `see` gets every tick. A way that breaks is opened anew while the plant goes on
/// without torque; a board that has begun anew is greeted and goes on as after a cold reset.
///
/// # Errors
/// The board cannot begin, or another one came back.
pub fn drive(
    link: &mut Link,
    run: &mut Run,
    table: &Table,
    pace: Pace,
    mut see: impl FnMut(&TickRecord),
) -> Result<Told, RigError> {
    let trace = Some(run.first_trace().to_bytes(table.hash));
    let begin = Begin { mode: Mode::RealTime, lost_ticks: pace.lost_ticks, trace };
    link.begin(begin)?;
    let tick = Duration::from_secs_f32(table.timing.tick_s);
    let last = safe(&Output::default().orders);
    let mut side = Side {
        link,
        begin: Begin { trace: None, ..begin },
        asked: Vec::new(),
        last,
        age: 0,
        lost: false,
        broken: false,
        begun: None,
        anew: false,
        told: Told::default(),
    };
    // A reset between two calls must not be forgotten.
    let mut reset = None;
    let began = Instant::now();
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
            side.call(n, call);
            reset = None;
        }
        let due = began + tick * (n + 1);
        side.listen(due)?;
        if std::mem::take(&mut side.anew) {
            run.board_began_anew();
        }
        see(run.finish_tick(side.output(pace.lost_ticks)));
        side.told.ticks += 1;
        side.told.missed += u64::from(Instant::now() > due + tick);
    }
    Ok(side.told)
}

impl Side<'_> {
    fn call(&mut self, n: u32, call: Call) {
        self.told.calls += 1;
        if self.broken {
            self.broken = !(self.link.revive() && self.link.wave().is_ok());
        }
        if self.broken {
            return;
        }
        match self.link.say(n, &Message::Call(call)) {
            Ok(stamp) => self.asked.push((stamp.sequence, Instant::now())),
            Err(_) => self.broken = true,
        }
        if self.asked.len() > MOST_ASKED {
            self.asked.remove(0);
        }
    }

    /// Take what comes before `due`; returns then.
    fn listen(&mut self, due: Instant) -> Result<(), RigError> {
        self.age = self.age.saturating_add(1);
        loop {
            let left = due.saturating_duration_since(Instant::now());
            if self.broken {
                std::thread::sleep(left);
                return Ok(());
            }
            match self.link.hear(left) {
                Ok(None) => return Ok(()),
                Ok(Some((stamp, Message::Answer(answer)))) => {
                    self.answered(stamp.sequence, answer.output());
                }
                Ok(Some(heard)) => self.other(&heard)?,
                Err(error) => self.broken = error.kind() != io::ErrorKind::TimedOut,
            }
        }
    }

    fn answered(&mut self, sequence: u16, output: Output) {
        if let Some(at) = self.asked.iter().position(|a| a.0 == sequence) {
            self.told.delays.add(self.asked[at].1.elapsed());
            self.asked.drain(..=at);
        }
        self.told.back += u64::from(self.lost);
        (self.last, self.age, self.lost) = (output, 0, false);
        self.told.fresh += 1;
    }

    /// A hello with number 0 is that of a board that has just started, or knows of no run.
    fn other(&mut self, heard: &(Stamp, Message)) -> Result<(), RigError> {
        self.link.known(heard)?;
        let starts = matches!(heard, (stamp, Message::Hello(_)) if *stamp == Stamp::default());
        if starts && self.begun.is_none_or(|at| at.elapsed() > PATIENCE) {
            self.begun = Some(Instant::now());
            let begin = Message::Begin(self.begin);
            self.broken = self.link.wave().and_then(|()| self.link.say(0, &begin)).is_err();
        }
        if matches!(heard.1, Message::Ready) {
            self.anew = true;
            self.told.begun_anew += 1;
        }
        Ok(())
    }

    /// The orders for the plant in this tick.
    fn output(&mut self, lost_ticks: u16) -> Output {
        let is_lost = self.age >= lost_ticks;
        self.told.losses += u64::from(is_lost && !self.lost);
        self.told.lost += u64::from(is_lost);
        self.lost = is_lost;
        match is_lost {
            true => Output { status: self.last.status, ..safe(&self.last.orders) },
            false => self.last,
        }
    }
}
