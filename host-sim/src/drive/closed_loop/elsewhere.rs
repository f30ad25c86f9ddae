//! A run whose supervisor may work elsewhere: on a board, behind a link or behind pins. The tick
//! is cut in two where the supervisor stands.

use supervisor::bits::{MAX_LOCKS, MAX_MACHINES};
use supervisor::io::Inputs;
use supervisor::status::Status;
use supervisor::table::Table;
use supervisor::trace::Trace;
use supervisor::{Output, Supervisor};

use super::asking::window_that_stands;
use super::{Run, Setup, closed, step_now};
use crate::drive::driver::Pedals;
use crate::drive::faults::{Reset, reset_at};
use crate::drive::record::TickRecord;
use crate::drive::witness::claim;
use crate::plant::{PlantModel, PlantState};

/// What a supervisor is told in one tick.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Call {
    /// What it sees.
    pub inputs: Inputs,
    /// Whether it gets this tick at all.
    pub called: bool,
    /// The reset that comes before it.
    pub reset: Option<Reset>,
}

/// Whether what a run reads of its table beside the supervisor (the speed limit that the driver
/// sees, what a step claims) is the same in two tables, while the supervisor says this of itself.
pub fn looks_alike(a: &Table, b: &Table, status: &Status) -> bool {
    claim(a, status) == claim(b, status)
        && step_now(a, status) == step_now(b, status)
        && window_that_stands(a, status) == window_that_stands(b, status)
}

/// What a supervisor knows at the start of a run: it pressed what is closed, and what is hot is.
pub(super) fn trace_at_start(state: &PlantState, start: &Setup) -> Trace {
    let mut rises_k = [0.0; MAX_LOCKS];
    for (lock, rise_k) in &start.start_rises_k {
        if let Some(slot) = rises_k.get_mut(*lock) {
            let near = *rise_k as f32;
            // It may only think them hotter than they are.
            *slot = if f64::from(near) < *rise_k { near.next_up() } else { near };
        }
    }
    Trace::pressing(closed(state)).with_rises(rises_k)
}

impl<'a> Run<'a> {
    /// What a supervisor elsewhere may know at the start.
    pub fn first_trace(&self) -> Trace {
        trace_at_start(&self.state, self.setup)
    }

    /// Begin a tick; `None` after the last one. [Finish](Run::finish_tick) it before the next.
    pub fn begin_tick(&mut self) -> Option<Call> {
        if self.is_over() {
            return None;
        }
        let dt_s = self.prepared.tick_s;
        let reset = reset_at(&self.setup.faults, self.tick as f64 * dt_s, dt_s);
        self.see();
        Some(Call { inputs: self.now.inputs, called: self.now.called, reset })
    }

    /// What this run's own supervisor makes of the tick that was begun; once a tick.
    pub fn own_output(&mut self) -> Output {
        self.decide();
        self.output
    }

    /// This run's own supervisor.
    pub fn own_supervisor(&self) -> &Supervisor {
        &self.supervisor
    }

    /// The supervisor elsewhere was found to have begun anew, without a trace, before this tick.
    pub fn board_began_anew(&mut self) {
        self.supervisor = Supervisor::new();
        self.now.reset = true;
    }

    /// Another supervisor with another table takes over, as if both had been there from the start:
    /// only where both gave the same orders so far, and [look alike](looks_alike), is that so.
    pub fn hand_over<'b>(self, table: Table<'b>, supervisor: Supervisor) -> Run<'b>
    where
        'a: 'b,
    {
        Run { table, supervisor, limited_by: None, ..self }
    }

    /// The same with a driver elsewhere too: his pedals, and the slope, count instead.
    pub fn begin_tick_driven(&mut self, pedals: Pedals, grade: f64) -> Option<Call> {
        let call = self.begin_tick()?;
        self.now.pedals = pedals;
        self.now.inputs.demand_nm = pedals.demand_nm as f32;
        self.inputs.brake_nm = pedals.brake_nm;
        self.inputs.grade = grade;
        Some(Call { inputs: self.now.inputs, ..call })
    }

    /// Pedals and slope of the tick that was begun.
    pub fn driven(&self) -> (Pedals, f64) {
        (self.now.pedals, self.inputs.grade)
    }

    /// The plant's unchanging half.
    pub fn model(&self) -> &PlantModel {
        &self.prepared.model
    }

    /// Finish the tick with these orders, wherever they come from.
    pub fn finish_tick(&mut self, output: Output) -> &TickRecord {
        self.finish_tick_with(output, &[None; MAX_MACHINES])
    }

    /// The same, with some machines' torque commands given past the drive controller, Nm.
    pub fn finish_tick_with(
        &mut self,
        output: Output,
        direct: &[Option<f64>; MAX_MACHINES],
    ) -> &TickRecord {
        self.output = output;
        self.control();
        for (m, nm) in direct.iter().enumerate().filter_map(|(m, nm)| Some((m, (*nm)?))) {
            self.command.torque_nm[m] = nm;
            self.inputs.torque_nm[m] = nm;
        }
        self.move_plant();
        self.take_truth();
        &self.record
    }
}
