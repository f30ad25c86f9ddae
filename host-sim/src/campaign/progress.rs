//! What a person sees while a campaign runs: one rewritten line on a terminal, a line now and then
//! elsewhere.

use std::io::{IsTerminal, Write};
use std::time::Instant;

use super::tally::Tally;

/// Shows cases, rate, findings and the time that is left.
pub(super) struct Shown {
    terminal: bool,
    begun: Instant,
    shown_s: f64,
    done: u64,
    done_before: u64,
    ticks: u64,
    of: u64,
    findings: usize,
}

impl Shown {
    pub(super) fn new(done_before: u64, of: u64, findings: usize) -> Shown {
        Shown {
            terminal: std::io::stderr().is_terminal(),
            begun: Instant::now(),
            shown_s: 0.0,
            done: done_before,
            done_before,
            ticks: 0,
            of,
            findings,
        }
    }

    pub(super) fn add(&mut self, tally: &Tally) {
        self.done += tally.cases + tally.not_run;
        self.ticks += tally.ticks;
        self.findings += tally.findings.len();
    }

    pub(super) fn done(&self) -> u64 {
        self.done
    }

    pub(super) fn show(&mut self) {
        let now_s = self.begun.elapsed().as_secs_f64();
        let every_s = if self.terminal { 0.3 } else { 20.0 };
        if now_s - self.shown_s < every_s {
            return;
        }
        self.shown_s = now_s;
        let rate = (self.done - self.done_before) as f64 / now_s;
        let left = match rate > 0.0 {
            true => time_text((self.of - self.done) as f64 / rate),
            false => "?".to_string(),
        };
        let line = format!(
            "{} of {} cases, {rate:.0}/s, {:.2} M ticks/s, {} finding{}, {left} left",
            self.done,
            self.of,
            self.ticks as f64 / now_s / 1e6,
            self.findings,
            if self.findings == 1 { "" } else { "s" },
        );
        let mut err = std::io::stderr().lock();
        // Progress that cannot be shown is no reason to stop.
        let _ = if self.terminal { write!(err, "\r{line:<79}") } else { writeln!(err, "{line}") };
        let _ = err.flush();
    }

    pub(super) fn end(&self) {
        if self.terminal && self.shown_s > 0.0 {
            let _ = write!(std::io::stderr().lock(), "\r{:<79}\r", "");
        }
    }
}

fn time_text(s: f64) -> String {
    let s = s as u64;
    match s {
        0..120 => format!("{s} s"),
        120..7200 => format!("{} min", s / 60),
        _ => format!("{} h", s / 3600),
    }
}
