//! What an exploration is told as: text for a person, JSON for a program.

use serde_json::{Value, json};

use super::always::Always;
use super::excuses::{Dead, Idle};
use super::live::Liveness;
use super::model::Subject;
use super::search::Found;
use super::sometimes::{REFUSALS, Reaction};
use crate::driveline::Driveline;
use crate::table::TableData;
use crate::text::{Table, labelled, paragraph};

const TEXT_WIDTH: usize = 80;
/// Version of the JSON's format.
const JSON_FORMAT: u32 = 3;

/// The answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Everything was explored, and everything that must hold does.
    Holds,
    /// Something is broken.
    Broken,
    /// Nothing is broken, but something never occurs and nobody has said why, or an excuse for
    /// something is not needed.
    Dead,
    /// The search was stopped before everything was explored.
    Inconclusive,
}

impl Answer {
    fn word(self) -> &'static str {
        match self {
            Answer::Holds => "holds",
            Answer::Broken => "broken",
            Answer::Dead => "dead",
            Answer::Inconclusive => "inconclusive",
        }
    }
}

/// Everything that is reported.
pub struct Report<'a> {
    /// The driveline.
    pub driveline: &'a Driveline,
    /// The shrunk table.
    pub table: &'a TableData,
    /// Hash of the table before its timers were shrunk.
    pub table_hash: u32,
    /// Whether only the interlock was explored.
    pub interlock_alone: bool,
    /// Whether guard bits are tied to the kinematics.
    pub feasible_guards: bool,
    /// Most faults.
    pub faults: u8,
    /// What was found.
    pub found: &'a Found,
    /// Liveness, where everything was explored.
    pub live: Option<Liveness>,
    /// What never occurred, where everything was explored.
    pub dead: Vec<Dead>,
    /// Excuses of the user that excuse nothing.
    pub idle: Vec<Idle>,
    /// Shortest ways to what is broken, in words.
    pub ways: Vec<(Always, Vec<String>)>,
}

impl Report<'_> {
    /// The answer.
    pub fn answer(&self) -> Answer {
        let stuck = self.live.as_ref().is_some_and(|live| live.stuck.is_some());
        if !self.found.broken.is_empty() || stuck {
            Answer::Broken
        } else if !self.found.complete {
            Answer::Inconclusive
        } else if !self.idle.is_empty() || self.dead.iter().any(|dead| dead.excuse.is_none()) {
            Answer::Dead
        } else {
            Answer::Holds
        }
    }

    fn subject(&self) -> Subject {
        if self.interlock_alone { Subject::InterlockAlone } else { Subject::Kernel }
    }

    fn assumptions(&self) -> Vec<String> {
        let mut list = vec![
            format!(
                "lock faults in one history: at most {}, each a lock stuck open or closed, a lock \
                 that opens by itself, or a switch that always says open or closed",
                self.faults
            ),
            "every other answer is free in every tick (sensors missing or implausible, slips, \
             loads, speeds, demand, heat, engine, request), and the supervisor may be reset in any \
             tick, with or without its trace; slips and rest that the exact kinematics force are \
             forced"
                .to_string(),
            "a closing lock may take any time; a lock that lets go takes at most its stated time"
                .to_string(),
            "timers are shrunk in order (docs/exploration.md)".to_string(),
        ];
        if self.feasible_guards {
            list.push(
                "slip and rest bits of one tick fit one motion of the locks that hold, with every \
                 sensor within its stated error, unless speed sensors lie, which costs a fault"
                    .to_string(),
            );
        }
        if self.interlock_alone {
            list.push("the decision is replaced by any orders at all".to_string());
        }
        list
    }

    fn ended(&self) -> &'static str {
        match (self.found.complete, self.found.too_wide) {
            (true, _) => ", everything explored",
            (false, true) => {
                ", stopped before the end: there are more different states, or more levels, than \
                 a word of sixteen bytes can tell apart"
            }
            (false, false) => ", stopped before the end",
        }
    }

    /// For a person.
    pub fn text(&self) -> String {
        let found = self.found;
        let subject = if self.interlock_alone { "interlock alone" } else { "kernel" };
        let faults = match self.faults {
            0 => "no lock fault".to_string(),
            1 => "at most 1 lock fault".to_string(),
            n => format!("at most {n} lock faults"),
        };
        let ended = self.ended();
        let mut out = paragraph(
            &format!(
                "{}: {subject}, {faults}: {} states, {} transitions, depth {}{ended}",
                self.driveline.name,
                found.store.len(),
                found.reached.transitions,
                found.reached.depth,
            ),
            0,
            TEXT_WIDTH,
        );
        let mut table = Table::new(&["property", "verdict", "meaning"]);
        for always in Always::ALL {
            let verdict = match (found.broken.contains_key(&always), found.complete) {
                _ if !always.is_judged(self.subject()) => "not judged",
                (true, _) => "BROKEN",
                (false, true) => "holds",
                (false, false) => "not broken so far",
            };
            table.row(vec![always.id().into(), verdict.into(), always.text().into()]);
        }
        out.push('\n');
        out += &table.titled("Always", TEXT_WIDTH);
        if let Some(live) = &self.live {
            out.push('\n');
            out += &self.live_text(live);
        }
        if !self.interlock_alone {
            out.push('\n');
            out += &self.sometimes_text();
        }
        for (always, lines) in &self.ways {
            out.push('\n');
            out +=
                &paragraph(&format!("The shortest way to {} broken", always.id()), 0, TEXT_WIDTH);
            for line in lines {
                out += &paragraph(line, 2, TEXT_WIDTH);
            }
        }
        out.push('\n');
        out += &paragraph("Assumptions", 0, TEXT_WIDTH);
        for assumption in self.assumptions() {
            out += &labelled("- ", &assumption, 2, TEXT_WIDTH);
        }
        out
    }

    fn live_text(&self, live: &Liveness) -> String {
        let text = match &live.stuck {
            None => format!(
                "from every state, once the world helps, every arrangement stands or is refused \
                 within {} ticks of the shrunk table ({} pairs of state and arrangement end in the \
                 arrangement, {} in a refusal)",
                live.bound, live.arrived, live.refused
            ),
            Some((_, arrangement)) => format!(
                "BROKEN: from some state, {} is neither reached nor refused, however the world helps",
                self.driveline.arrangements[usize::from(*arrangement)].name
            ),
        };
        paragraph("Liveness", 0, TEXT_WIDTH) + &labelled("EX-LIVE  ", &text, 2, TEXT_WIDTH)
    }

    fn sometimes_text(&self) -> String {
        let seen = &self.found.sometimes;
        let mut out = paragraph("Sometimes", 0, TEXT_WIDTH);
        let steps = (0..self.table.steps.len()).filter(|&s| seen.steps.has(s)).count();
        let steps = format!("{steps} of {} are taken", self.table.steps.len());
        out += &labelled("steps         ", &steps, 2, TEXT_WIDTH);
        let names = self.arrangements();
        out += &labelled("arrangements  ", &names.join(", "), 2, TEXT_WIDTH);
        out += &labelled("refusals      ", &self.refusals().join(", "), 2, TEXT_WIDTH);
        out += &labelled("reactions     ", &self.reactions().join(", "), 2, TEXT_WIDTH);
        for dead in &self.dead {
            let why = match &dead.excuse {
                Some(reason) => format!("{} (excused: {reason})", dead.name),
                None => format!("{} (NOT EXCUSED)", dead.name),
            };
            out += &labelled("never         ", &why, 2, TEXT_WIDTH);
        }
        for idle in &self.idle {
            let why = format!("{} (TAKE THE EXCUSE AWAY: {})", idle.name, idle.why);
            out += &labelled("not needed    ", &why, 2, TEXT_WIDTH);
        }
        out
    }

    fn arrangements(&self) -> Vec<&str> {
        let named = self.driveline.arrangements.iter().enumerate();
        let seen = named.filter(|(a, _)| self.found.sometimes.arrangements.has(*a));
        seen.map(|(_, arrangement)| arrangement.name.as_str()).collect()
    }

    fn refusals(&self) -> Vec<&'static str> {
        let seen = &self.found.sometimes.refusals;
        (0..REFUSALS.len()).filter(|&n| seen.has(n)).map(|n| REFUSALS[n]).collect()
    }

    fn reactions(&self) -> Vec<&'static str> {
        let seen = &self.found.sometimes.reactions;
        Reaction::ALL.into_iter().filter(|&r| seen.has(r as usize)).map(Reaction::name).collect()
    }

    /// For a program; the format is told in `docs/exploration.md`.
    pub fn json(&self) -> Value {
        let found = self.found;
        let live = self.live.as_ref().map(|l| {
            json!({ "bound_ticks": l.bound, "arrived": l.arrived, "refused": l.refused,
                    "holds": l.stuck.is_none() })
        });
        let always: Vec<Value> = Always::ALL
            .iter()
            .map(|always| {
                let way = self.ways.iter().find(|(a, _)| a == always).map(|(_, lines)| lines);
                let broken = found.broken.contains_key(always);
                let judged = always.is_judged(self.subject());
                json!({ "id": always.id(), "text": always.text(), "judged": judged,
                        "broken": broken, "path": way })
            })
            .collect();
        let dead: Vec<Value> =
            self.dead.iter().map(|d| json!({ "name": d.name, "excuse": d.excuse })).collect();
        let idle: Vec<Value> =
            self.idle.iter().map(|i| json!({ "name": i.name, "why": i.why })).collect();
        json!({
            "explore_format": JSON_FORMAT,
            "driveline": self.driveline.name,
            "table_hash": format!("{:08x}", self.table_hash),
            "subject": if self.interlock_alone { "interlock-alone" } else { "kernel" },
            "faults": self.faults,
            "guards": if self.feasible_guards { "feasible" } else { "free" },
            "verdict": self.answer().word(),
            "complete": found.complete,
            "states": found.store.len(),
            "transitions": found.reached.transitions,
            "kernel_ticks": found.reached.kernel_ticks,
            "depth": found.reached.depth,
            "bytes_per_state": found.store.bytes() as f64 / found.store.len().max(1) as f64,
            "always": always,
            "live": live,
            "sometimes": {
                "steps": found.sometimes.steps.numbers(),
                "arrangements": self.arrangements(),
                "refusals": self.refusals(),
                "reactions": self.reactions(),
                "dead": dead,
                "idle_excuses": idle,
            },
            "assumptions": self.assumptions(),
        })
    }
}
