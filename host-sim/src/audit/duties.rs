//! What machines do while an arrangement stands: who holds a free speed, at which speed, and who
//! follows the driver.
//!
//! The builder chooses holders one by one and solves for their speeds. Here the outcome is judged:
//! the holders are a basis of what is free that no single exchange makes better, and their speeds
//! meet the condition of the least squares of speed per limit (no motion that is left makes the
//! sum smaller).

use num_traits::{Signed, Zero};
use supervisor::table as t;

use crate::driveline::{EngineUse, Role};
use crate::exact::{Matrix, Q, Row, dot, int, ratio};

use super::Audited;
use super::context::Context;
use super::numbers::{exact, exact32};
use super::push::shares;

/// Rounded coefficients leave so much of a sum that should be zero, as a share of its terms.
fn rounding() -> Q {
    ratio(1, 1 << 20)
}

/// One arrangement under audit.
struct Subject<'a> {
    context: &'a Context<'a>,
    id: usize,
    duties: &'a [t::Duty],
    closed: u8,
    holders: Vec<usize>,
    /// The output's speed in each motion of the lock set.
    output: Row,
    /// The engine's, where it is joined and has a motion of its own.
    engine: Option<Row>,
}

pub(super) fn examine(context: &Context, id: usize, out: &mut Audited) {
    let arrangement = &context.table.arrangements[id];
    let closed = context.d.arrangements[id].closed;
    let duties = &arrangement.duties[..context.d.machines.len()];
    let holds = |m: &usize| matches!(duties[*m], t::Duty::Hold { .. });
    let holders: Vec<usize> = (0..duties.len()).filter(holds).collect();
    let mut subject =
        Subject { context, id, duties, closed, holders, output: Row::new(), engine: None };
    subject.output = subject.speeds(context.d.output.shaft);
    let engine = context.d.engine().map(|(m, _)| subject.machine(m));
    subject.engine = engine
        .filter(|engine| context.engine_joined(closed) && rank(&[&subject.output, engine]) == 2);
    for m in 0..duties.len() {
        subject.role(m, out);
    }
    if subject.holders_fit(out) {
        subject.held_speeds(out);
        subject.pace(out);
    }
}

fn rank(rows: &[&Row]) -> usize {
    Matrix::new(rows[0].len(), rows.iter().map(|row| (*row).clone()).collect()).rank()
}

impl Subject<'_> {
    /// Speed of a shaft in each motion.
    fn speeds(&self, shaft: usize) -> Row {
        self.context.k.set(self.closed).basis.iter().map(|n| n[shaft].clone()).collect()
    }

    fn machine(&self, machine: usize) -> Row {
        self.speeds(self.context.d.machines[machine].shaft)
    }

    fn wrong(&self, machine: usize, sentence: &str, out: &mut Audited) {
        let d = self.context.d;
        let names = (&d.arrangements[self.id].name, &d.machines[machine].name);
        let place = format!("arrangement {} duty of {}", names.0, names.1);
        out.find("AU-DUTY", place, sentence);
    }

    fn stated_role(&self, machine: usize) -> Option<Role> {
        self.context.d.arrangements[self.id].roles.get(machine).copied().flatten()
    }

    /// Whether it has nothing to do: said so, or neither pushing nor joined to what matters.
    fn is_idle(&self, machine: usize) -> bool {
        let (context, d) = (self.context, self.context.d);
        if let Some(role) = self.stated_role(machine) {
            return role == Role::Idle;
        }
        if !context.is_electric(machine) {
            let off = d.arrangements[self.id].engine == EngineUse::Off;
            return off || !context.engine_joined(self.closed);
        }
        if context.holds(self.closed, d.machines[machine].shaft) {
            return true;
        }
        let others = (0..d.machines.len()).filter(|&m| m != machine);
        let mut rows: Vec<Row> = others.map(|m| self.machine(m)).collect();
        rows.push(self.output.clone());
        let tied = Matrix::new(self.output.len(), rows).combine_rows(&self.machine(machine));
        let pushes = shares(context, self.closed).is_some_and(|s| !s[machine].is_zero());
        tied.is_none() && !pushes
    }

    /// Whether a machine's duty is of the right kind.
    fn role(&self, machine: usize, out: &mut Audited) {
        match (self.is_idle(machine), self.duties[machine]) {
            (true, t::Duty::Unload) | (false, t::Duty::Free) => {}
            (false, t::Duty::Hold { .. }) if self.context.is_electric(machine) => {}
            (true, _) => self.wrong(machine, "it has nothing to do here and does not rest", out),
            (false, t::Duty::Unload) => self.wrong(machine, "it has work here and rests", out),
            (false, _) => self.wrong(machine, "the engine cannot hold a speed", out),
        }
    }

    /// What makes a holder better than another: its role, then the smaller share of the push.
    fn preference(&self, machine: usize, shares: &Option<Row>) -> (u8, Q) {
        let role = match self.stated_role(machine) {
            Some(Role::HoldsSpeed) => 0,
            Some(Role::Generates) => 1,
            None | Some(Role::Idle) => 2,
            Some(Role::Drives) => 3,
        };
        (role, shares.as_ref().map_or_else(Q::zero, |s| s[machine].abs()))
    }

    /// Whether the holders fix all that is free, nothing twice, and no exchange is better.
    fn holders_fit(&self, out: &mut Audited) -> bool {
        let row = |m: usize| self.machine(m);
        let rank_with = |machines: &[usize]| {
            let rows: Vec<Row> = machines.iter().map(|&m| row(m)).collect();
            let rows: Vec<&Row> = std::iter::once(&self.output).chain(&rows).collect();
            rank(&rows)
        };
        let full = 1 + self.holders.len();
        if rank_with(&self.holders) != full {
            self.wrong(self.holders[0], "it holds a speed that is given already", out);
            return false;
        }
        let shares = shares(self.context, self.closed);
        let works = |m: &usize| {
            self.context.is_electric(*m) && !self.is_idle(*m) && !self.holders.contains(m)
        };
        let slightly = rounding();
        for free in (0..self.duties.len()).filter(works) {
            let with: Vec<usize> = self.holders.iter().copied().chain([free]).collect();
            if rank_with(&with) > full {
                self.wrong(free, "nobody holds its speed", out);
                return false;
            }
            for &holder in &self.holders {
                let instead: Vec<usize> = with.iter().copied().filter(|&m| m != holder).collect();
                let own = self.preference(holder, &shares);
                let other = self.preference(free, &shares);
                let better =
                    other.0 < own.0 || other.0 == own.0 && other.1 < &own.1 * (int(1) - &slightly);
                if better && rank_with(&instead) == full {
                    self.wrong(holder, "another machine is the one to hold the speed", out);
                    return false;
                }
            }
        }
        true
    }

    /// Electric machines with the weight of their speed in the sum of squares.
    fn weights(&self) -> Vec<(Row, Q)> {
        let d = self.context.d;
        let electric = (0..d.machines.len()).filter(|&m| self.context.is_electric(m));
        electric
            .map(|m| {
                let limit = exact(d.shafts[d.machines[m].shaft].max_rpm.unwrap_or(1000.0));
                (self.machine(m), int(1) / (&limit * &limit))
            })
            .collect()
    }

    /// The motion that the duties make of an output speed and a pace; what they leave open is as
    /// the sum of squares wants it. `None` when there is none.
    fn motion(&self, output: &Q, pace: &Q) -> Option<Row> {
        let (mut rows, mut right) = (vec![self.output.clone()], vec![output.clone()]);
        for &m in &self.holders {
            let t::Duty::Hold { per_output, per_pace } = self.duties[m] else { continue };
            rows.push(self.machine(m));
            right.push(exact32(per_output) * output + exact32(per_pace) * pace);
        }
        // An engine that the holders leave alone runs at its pace by itself.
        if let Some(engine) = &self.engine {
            let known = Matrix::new(engine.len(), rows.clone());
            if known.combine_rows(engine).is_none() {
                rows.push(engine.clone());
                right.push(pace.clone());
            }
        }
        let weights = self.weights();
        for left in Matrix::new(self.output.len(), rows.clone()).null_space() {
            let mut sum = vec![Q::zero(); self.output.len()];
            for (speed, weight) in &weights {
                let share = dot(speed, &left) * weight;
                sum.iter_mut().zip(speed).for_each(|(s, v)| *s += v * &share);
            }
            rows.push(sum);
            right.push(Q::zero());
        }
        Matrix::new(self.output.len(), rows).solve(&right)
    }

    /// Largest speed of an electric machine in a motion.
    fn fastest(&self, motion: &Row) -> Q {
        let speeds = self.weights().into_iter().map(|(v, _)| dot(&v, motion).abs());
        speeds.max().unwrap_or_else(Q::zero)
    }

    /// Whether no motion that keeps these speeds makes the sum of squares smaller; speeds are
    /// rounded as shares of `fastest`.
    fn is_least(&self, motion: &Row, fastest: &Q, given: &[&Row]) -> bool {
        let rows = given.iter().map(|row| (*row).clone()).collect();
        Matrix::new(self.output.len(), rows).null_space().iter().all(|direction| {
            let (mut sum, mut size) = (Q::zero(), Q::zero());
            for (v, weight) in self.weights() {
                let along = dot(&v, direction) * weight;
                size += along.abs() * fastest;
                sum += dot(&v, motion) * along;
            }
            sum.abs() <= size * rounding()
        })
    }

    fn held_speeds(&self, out: &mut Audited) {
        let Some(&first) = self.holders.first() else { return };
        let mut given = vec![&self.output];
        given.extend(&self.engine);
        let unpaced = |m: &usize| matches!(self.duties[*m], t::Duty::Hold { per_pace, .. } if per_pace != 0.0);
        if self.engine.is_none() && self.holders.iter().any(unpaced) {
            self.wrong(first, "it follows an engine that has no motion of its own", out);
        }
        let columns = [(int(1), Q::zero()), (Q::zero(), int(1))];
        for (output, pace) in columns.iter().take(given.len()) {
            let fits = self.motion(output, pace).is_some_and(|motion| {
                let turns = self.engine.as_ref().is_none_or(|engine| {
                    (dot(engine, &motion) - pace).abs() <= rounding() * int(16)
                });
                turns && self.is_least(&motion, &self.fastest(&motion), &given)
            });
            if !fits {
                let sentence = "the speeds that are held are not the least for their limits";
                return self.wrong(first, sentence, out);
            }
        }
    }

    /// The engine runs where the electric machines turn easiest.
    fn pace(&self, out: &mut Audited) {
        let (d, pace) = (self.context.d, self.context.table.arrangements[self.id].pace);
        let place = format!("arrangement {} pace", d.arrangements[self.id].name);
        let off = d.arrangements[self.id].engine == EngineUse::Off;
        if self.engine.is_none() || off {
            if pace != t::Pace::default() {
                out.find("AU-PACE", place, "the engine has no pace of its own here");
            }
            return;
        }
        if pace.min > pace.max {
            out.find("AU-PACE", &place, "its range is empty");
        }
        // What is held is a sum of two speeds that may cancel.
        let (one, none, per_output) = (int(1), Q::zero(), exact32(pace.per_output));
        let alone = [(&one, &none), (&none, &per_output)];
        let parts = alone.map(|(output, pace)| self.motion(output, pace));
        let fastest = parts.iter().flatten().fold(Q::zero(), |sum, m| sum + self.fastest(m));
        let motion = self.motion(&one, &per_output);
        if motion.is_some_and(|motion| !self.is_least(&motion, &fastest, &[&self.output])) {
            out.find("AU-PACE", &place, "the electric machines turn easier at another pace");
        }
    }
}
