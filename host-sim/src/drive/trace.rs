//! The per-tick trace as CSV (RFC 4180), written as it comes. `docs/trace-format.md`
//! describes the columns.

use std::io::{self, Write};

use supervisor::io::{LockOrder, LockReport, MachineOrder};

use crate::checkers::LockTruth;
use crate::drive::reason::refusal_text;
use crate::drive::record::{TickRecord, phase_word};
use crate::driveline::Driveline;
use supervisor::table::{Action, Table};

/// Version of the columns, in the name of none of them but in the document.
pub const TRACE_FORMAT: u32 = 1;

/// Writes a trace; every `every`-th tick is written, the first one always.
#[derive(Debug)]
pub struct TraceWriter<W: Write> {
    out: W,
    every: u64,
    tick: u64,
}

/// A field with quotes where RFC 4180 asks for them.
pub fn field(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}

/// A number that reads back as the same f64, short where it can be; `-0` is 0.
pub fn number(value: f64) -> String {
    let value = if value == 0.0 { 0.0 } else { value };
    // Nine significant digits: finer than any sensor, and stable between runs.
    let text = format!("{value:.6}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// Names of the columns, in order.
pub fn columns(driveline: &Driveline) -> Vec<String> {
    let mut names: Vec<String> =
        ["t_s", "road_speed_mps", "demand_nm", "output_torque_nm", "brake_torque_nm", "charge"]
            .map(String::from)
            .to_vec();
    names.extend(driveline.shafts.iter().map(|s| format!("speed_radps:{}", s.name)));
    for lock in &driveline.locks {
        for what in
            ["slip_radps", "commanded", "reported", "actual", "torque_nm", "friction_work_j"]
        {
            names.push(format!("{what}:{}", lock.name));
        }
    }
    for machine in &driveline.machines {
        for what in ["order", "order_value", "command_nm", "torque_nm"] {
            names.push(format!("{what}:{}", machine.name));
        }
    }
    names.extend(
        [
            "engine_run_order",
            "engine_running",
            "request",
            "arrangement",
            "phase",
            "step",
            "refusal",
            "faults_stated",
            "faults_injected",
        ]
        .map(String::from),
    );
    names
}

fn order_word(order: LockOrder) -> &'static str {
    match order {
        LockOrder::Open => "open",
        LockOrder::Prefill => "prefill",
        LockOrder::Close => "close",
    }
}

fn report_word(report: LockReport) -> &'static str {
    match report {
        LockReport::Open => "open",
        LockReport::Closed => "closed",
        LockReport::Missing => "missing",
    }
}

/// One word for the true state of a lock.
pub fn actual_word(lock: &LockTruth) -> &'static str {
    match (lock.engaged, lock.sticking) {
        (false, _) => "open",
        (true, false) => "slipping",
        (true, true) => "locked",
    }
}

fn machine_order(order: MachineOrder) -> (&'static str, String) {
    match order {
        MachineOrder::Free => ("free", String::new()),
        MachineOrder::HoldSpeed { target_radps } => ("hold", number(f64::from(target_radps))),
        MachineOrder::TakeTorque { nm } => ("take", number(f64::from(nm))),
        MachineOrder::Unload => ("unload", String::new()),
        MachineOrder::Off => ("off", String::new()),
    }
}

impl<W: Write> TraceWriter<W> {
    /// Begin a trace: writes the line of column names.
    ///
    /// # Errors
    /// Whatever the writer reports.
    pub fn new(mut out: W, driveline: &Driveline, every: u64) -> io::Result<TraceWriter<W>> {
        let names: Vec<String> = columns(driveline).iter().map(|n| field(n)).collect();
        writeln!(out, "{}", names.join(","))?;
        Ok(TraceWriter { out, every: every.max(1), tick: 0 })
    }

    /// Write one tick if its turn has come.
    ///
    /// # Errors
    /// Whatever the writer reports; a closed pipe is `BrokenPipe`.
    pub fn add(
        &mut self,
        driveline: &Driveline,
        table: &Table,
        record: &TickRecord,
    ) -> io::Result<()> {
        let due = self.tick.is_multiple_of(self.every);
        self.tick += 1;
        if due { writeln!(self.out, "{}", line(driveline, table, record)) } else { Ok(()) }
    }

    /// Flush what is buffered.
    ///
    /// # Errors
    /// Whatever the writer reports.
    pub fn finish(mut self) -> io::Result<()> {
        self.out.flush()
    }
}

/// Name of an arrangement, empty for none.
fn arrangement_name(driveline: &Driveline, number: Option<u8>) -> &str {
    number.and_then(|a| driveline.arrangements.get(usize::from(a))).map_or("", |a| a.name.as_str())
}

fn line(driveline: &Driveline, table: &Table, record: &TickRecord) -> String {
    let truth = &record.truth;
    let mut cells: Vec<String> = [
        truth.t_s,
        record.road_mps,
        record.demand_nm,
        truth.output_nm,
        record.brake_nm,
        record.charge,
    ]
    .map(number)
    .to_vec();
    cells.extend(truth.speed_radps[..driveline.shafts.len()].iter().map(|&w| number(w)));
    for (i, lock) in truth.locks[..driveline.locks.len()].iter().enumerate() {
        cells.push(number(lock.slip_radps));
        cells.push(order_word(record.orders.locks[i]).to_owned());
        cells.push(report_word(record.reports[i]).to_owned());
        cells.push(actual_word(lock).to_owned());
        cells.push(number(lock.torque_nm));
        cells.push(number(lock.work_j));
    }
    for m in 0..driveline.machines.len() {
        let (word, value) = machine_order(record.orders.machines[m]);
        cells.push(word.to_owned());
        cells.push(value);
        cells.push(number(record.command_nm[m]));
        cells.push(number(truth.machine_nm[m]));
    }
    cells.push(u8::from(truth.engine_run_order).to_string());
    cells.push(u8::from(truth.engine_running).to_string());
    cells.push(field(arrangement_name(driveline, truth.request)));
    cells.push(field(arrangement_name(driveline, record.status.arrangement)));
    cells.push(phase_word(record.status.phase).to_owned());
    let step = record.step.map_or(String::new(), |s| {
        let verb = if s.action == Action::Close { "close" } else { "open" };
        format!("{verb} {}", driveline.locks[usize::from(s.lock)].name)
    });
    cells.push(field(&step));
    let refusal = record.status.refusal.map(|r| refusal_text(driveline, table, r));
    cells.push(field(refusal.as_deref().unwrap_or("")));
    cells.push(field(&stated_faults(driveline, record)));
    let injected = (0..32).filter(|i| record.faults >> i & 1 == 1);
    cells.push(injected.map(|i| (i + 1).to_string()).collect::<Vec<_>>().join(" "));
    cells.join(",")
}

/// The faults that the supervisor states: "stuck-open:ring-brake sensor:sun".
pub fn stated_faults(driveline: &Driveline, record: &TickRecord) -> String {
    let faults = &record.status.faults;
    let mut words = Vec::new();
    let kinds = [
        ("stuck-open", faults.stuck_open),
        ("stuck-closed", faults.stuck_closed),
        ("switch", faults.switch),
        ("lost", faults.lost),
    ];
    for (kind, set) in kinds {
        for lock in set.iter().filter(|&l| usize::from(l) < driveline.locks.len()) {
            words.push(format!("{kind}:{}", driveline.locks[usize::from(lock)].name));
        }
    }
    let sensor = |s: u8| driveline.sensors.get(usize::from(s)).map(|s| &s.name);
    words.extend(faults.racing.iter().filter_map(sensor).map(|name| format!("racing:{name}")));
    for s in faults.sensors.iter().filter(|&s| usize::from(s) < driveline.sensors.len()) {
        words.push(format!("sensor:{}", driveline.sensors[usize::from(s)].name));
    }
    words.join(" ")
}
