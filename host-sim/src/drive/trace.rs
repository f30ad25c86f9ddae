//! The per-tick trace as CSV (RFC 4180), written as it comes. `docs/trace-format.md`
//! describes the columns.

use std::borrow::Cow;
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

/// What stands in a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sort {
    Number,
    Flag,
    Word,
}

/// A column of a trace.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Column {
    pub(super) name: String,
    /// Empty for what has none.
    pub(super) unit: &'static str,
    pub(super) sort: Sort,
}

/// What stands in one column of one line.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Cell<'a> {
    Number(f64),
    /// No number.
    Nothing,
    Flag(bool),
    Word(Cow<'a, str>),
}

impl Cell<'_> {
    fn text(&self) -> String {
        match self {
            Cell::Number(value) => number(*value),
            Cell::Nothing => String::new(),
            Cell::Flag(yes) => u8::from(*yes).to_string(),
            Cell::Word(word) => field(word),
        }
    }
}

/// Names of the columns, in order.
pub fn columns(driveline: &Driveline) -> Vec<String> {
    described(driveline).into_iter().map(|column| column.name).collect()
}

/// The columns, in order.
pub(super) fn described(driveline: &Driveline) -> Vec<Column> {
    use Sort::{Flag, Number, Word};
    let mut all = Vec::new();
    let mut add = |name: String, unit, sort| all.push(Column { name, unit, sort });
    for (name, unit) in [
        ("t_s", "s"),
        ("road_speed_mps", "m/s"),
        ("demand_nm", "Nm"),
        ("output_torque_nm", "Nm"),
        ("brake_torque_nm", "Nm"),
        ("charge", ""),
    ] {
        add(name.to_owned(), unit, Number);
    }
    for shaft in &driveline.shafts {
        add(format!("speed_radps:{}", shaft.name), "rad/s", Number);
    }
    for lock in &driveline.locks {
        for (what, unit, sort) in [
            ("slip_radps", "rad/s", Number),
            ("commanded", "", Word),
            ("reported", "", Word),
            ("actual", "", Word),
            ("torque_nm", "Nm", Number),
            ("friction_work_j", "J", Number),
        ] {
            add(format!("{what}:{}", lock.name), unit, sort);
        }
    }
    for machine in &driveline.machines {
        for (what, unit, sort) in [
            ("order", "", Word),
            ("order_value", "", Number),
            ("command_nm", "Nm", Number),
            ("torque_nm", "Nm", Number),
        ] {
            add(format!("{what}:{}", machine.name), unit, sort);
        }
    }
    add("engine_run_order".to_owned(), "", Flag);
    add("engine_running".to_owned(), "", Flag);
    for name in
        ["request", "arrangement", "phase", "step", "refusal", "faults_stated", "faults_injected"]
    {
        add(name.to_owned(), "", Word);
    }
    all
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

fn machine_order(order: MachineOrder) -> (&'static str, Cell<'static>) {
    match order {
        MachineOrder::Free => ("free", Cell::Nothing),
        MachineOrder::HoldSpeed { target_radps } => ("hold", Cell::Number(f64::from(target_radps))),
        MachineOrder::TakeTorque { nm } => ("take", Cell::Number(f64::from(nm))),
        MachineOrder::Unload => ("unload", Cell::Nothing),
        MachineOrder::Off => ("off", Cell::Nothing),
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
    let cells = cells(driveline, table, record);
    cells.iter().map(Cell::text).collect::<Vec<_>>().join(",")
}

/// What stands in the columns of one line, in order.
pub(super) fn cells<'a>(
    driveline: &'a Driveline,
    table: &Table,
    record: &TickRecord,
) -> Vec<Cell<'a>> {
    let truth = &record.truth;
    let word = |word: &'a str| Cell::Word(Cow::Borrowed(word));
    let mut cells: Vec<Cell> = [
        truth.t_s,
        record.road_mps,
        record.demand_nm,
        truth.output_nm,
        record.brake_nm,
        record.charge,
    ]
    .map(Cell::Number)
    .to_vec();
    cells.extend(truth.speed_radps[..driveline.shafts.len()].iter().map(|&w| Cell::Number(w)));
    for (i, lock) in truth.locks[..driveline.locks.len()].iter().enumerate() {
        cells.push(Cell::Number(lock.slip_radps));
        cells.push(word(order_word(record.orders.locks[i])));
        cells.push(word(report_word(record.reports[i])));
        cells.push(word(actual_word(lock)));
        cells.push(Cell::Number(lock.torque_nm));
        cells.push(Cell::Number(lock.work_j));
    }
    for m in 0..driveline.machines.len() {
        let (order, value) = machine_order(record.orders.machines[m]);
        cells.push(word(order));
        cells.push(value);
        cells.push(Cell::Number(record.command_nm[m]));
        cells.push(Cell::Number(truth.machine_nm[m]));
    }
    cells.push(Cell::Flag(truth.engine_run_order));
    cells.push(Cell::Flag(truth.engine_running));
    cells.push(word(arrangement_name(driveline, truth.request)));
    cells.push(word(arrangement_name(driveline, record.status.arrangement)));
    cells.push(word(phase_word(record.status.phase)));
    let step = record.step.map_or(String::new(), |s| {
        let verb = if s.action == Action::Close { "close" } else { "open" };
        format!("{verb} {}", driveline.locks[usize::from(s.lock)].name)
    });
    let refusal = record.status.refusal.map(|r| refusal_text(driveline, table, r));
    let injected = (0..32).filter(|i| record.faults >> i & 1 == 1);
    let injected = injected.map(|i| (i + 1).to_string()).collect::<Vec<_>>().join(" ");
    let stated = stated_faults(driveline, record);
    let said = [step, refusal.unwrap_or_default(), stated, injected];
    cells.extend(said.map(|text| Cell::Word(Cow::Owned(text))));
    cells
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
