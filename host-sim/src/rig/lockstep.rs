//! Lockstep: every tick answered by the board before the next, and compared bit for bit with the
//! supervisor here.

use supervisor::link::answer::Answer;
use supervisor::link::frame::Stamp;
use supervisor::link::message::Call;
use supervisor::link::{Begin, Message, Mode, Wire};
use supervisor::table::Table;

use super::error::RigError;
use super::link::Link;
use crate::drive::closed_loop::Run;
use crate::drive::faults::Reset;

/// The first tick at which board and host differ.
#[derive(Clone, Debug)]
pub struct Mismatch {
    /// Tick of the run.
    pub tick: u32,
    /// What the supervisor here gave and remembers.
    pub host: Answer,
    /// What the board's gave and remembers.
    pub board: Answer,
}

impl Mismatch {
    /// What differs, and both states whole.
    pub fn text(&self) -> String {
        let (host, board) = (&self.host, &self.board);
        let parts = [
            ("orders", format!("{:?}", host.orders), format!("{:?}", board.orders)),
            ("status", format!("{:?}", host.status), format!("{:?}", board.status)),
            (
                "memory",
                format!("{:?}", host.memory.kernel()),
                format!("{:?}", board.memory.kernel()),
            ),
            (
                "temperatures (bits)",
                format!("{:08x?}", host.memory.rise_k),
                format!("{:08x?}", board.memory.rise_k),
            ),
        ];
        let mut told = format!("board and host differ first at tick {}\n", self.tick);
        for (name, host, board) in parts {
            let same = if host == board { "same" } else { "DIFFERENT" };
            told += &format!("  {name}: {same}\n    host  {host}\n    board {board}\n");
        }
        told
    }
}

/// Bytes of what must be equal: bit for bit, NaN included.
fn bytes(answer: &Answer) -> Wire {
    let bare = Answer { was_lost: false, bad_frames: 0, stale_frames: 0, ..*answer };
    Wire::new(Stamp::default(), &Message::Answer(bare))
}

/// Runs on a board in lockstep.
pub struct Lockstep<'l> {
    link: &'l mut Link,
    tick: u32,
    /// Ticks of all runs.
    pub ticks: u64,
    /// Where board and host differ first, in any run.
    pub mismatch: Option<Mismatch>,
    /// Why it stopped.
    pub failed: Option<RigError>,
}

impl<'l> Lockstep<'l> {
    /// Over this link.
    pub fn new(link: &'l mut Link) -> Lockstep<'l> {
        Lockstep { link, tick: 0, ticks: 0, mismatch: None, failed: None }
    }

    /// Begin a run on the board.
    ///
    /// # Errors
    /// The board does not.
    pub fn begin(&mut self, run: &Run, table: &Table, lost_ticks: u16) -> Result<(), RigError> {
        self.tick = 0;
        let trace = Some(run.first_trace().to_bytes(table.hash));
        self.link.begin(Begin { mode: Mode::Lockstep, lost_ticks, trace })
    }

    /// One tick of the run, its orders from the board; false when it is over, or stopped.
    pub fn step(&mut self, run: &mut Run, table: &Table) -> bool {
        if self.failed.is_some() || self.mismatch.is_some() {
            return false;
        }
        let Some(asked) = run.begin_tick() else { return false };
        let call = Call {
            inputs: asked.inputs,
            called: asked.called,
            warm_reset: asked.reset == Some(Reset::Warm),
            cold_reset: asked.reset == Some(Reset::Cold),
        };
        let answered = match self.link.exchange(self.tick, &call) {
            Ok(answered) => answered,
            Err(error) => {
                self.failed = Some(error);
                return false;
            }
        };
        if answered.anew {
            run.board_began_anew();
        }
        let output = run.own_output();
        let own = Answer::of(&output, run.own_supervisor(), table);
        if bytes(&own).bytes() != bytes(&answered.answer).bytes() {
            let (tick, board) = (self.tick, answered.answer);
            self.mismatch = Some(Mismatch { tick, host: own, board });
        }
        run.finish_tick(answered.answer.output());
        self.tick = self.tick.wrapping_add(1);
        self.ticks += 1;
        true
    }
}
