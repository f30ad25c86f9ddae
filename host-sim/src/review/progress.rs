//! What a person sees while a review works: one rewritten line on a terminal, plain lines in a
//! pipe.

use std::io::{IsTerminal, Write};
use std::time::Instant;

use super::evidence::{Kind, Part};
use super::unfinished::Unfinished;
use crate::explore::command::Stop;

/// Seconds between two lines about the same in a pipe.
const LINE_EVERY_S: f64 = 10.0;
/// Seconds between two looks of a line that is rewritten.
const REWRITE_EVERY_S: f64 = 0.2;

/// Told of every finished drive, and of every step of the other evidence.
pub trait Progress {
    /// `done` of `all` drives are finished, `findings` findings so far.
    fn drive_done(&mut self, done: usize, all: usize, findings: usize);
    /// No more drives.
    fn end(&mut self);
    /// How far something else is; says whether to go on.
    fn at(&mut self, what: &'static str, done: u64, of: Option<u64>) -> bool {
        let _ = (what, done, of);
        !self.is_stopped()
    }
    /// A part of the other evidence is begun.
    fn begin(&mut self, kind: Kind) {
        let _ = kind;
    }
    /// It is made, as far as it was not stopped.
    fn made(&mut self, part: &Part) {
        let _ = part;
    }
    /// Whether a person has asked to stop.
    fn is_stopped(&self) -> bool {
        false
    }
}

/// Says nothing.
#[derive(Clone, Copy, Debug, Default)]
pub struct Quiet;

impl Progress for Quiet {
    fn drive_done(&mut self, _: usize, _: usize, _: usize) {}
    fn end(&mut self) {}
}

/// Writes to stderr, and stops when asked by Ctrl-C.
pub(super) struct OnStderr {
    terminal: bool,
    tenths: usize,
    stop: Stop,
    what: &'static str,
    shown: Instant,
    begun: Instant,
    unfinished: Unfinished,
}

impl OnStderr {
    /// For a review whose parts are kept in `unfinished` until it is written.
    pub(super) fn new(unfinished: Unfinished) -> OnStderr {
        OnStderr {
            begun: Instant::now(),
            unfinished,
            terminal: std::io::stderr().is_terminal(),
            tenths: 0,
            stop: Stop::new(),
            what: "",
            shown: Instant::now(),
        }
    }

    /// What is kept of the parts that are whole.
    pub(super) fn unfinished(&self) -> &Unfinished {
        &self.unfinished
    }

    /// The line is finished: what comes next begins a new one.
    pub(super) fn wipe(&mut self) {
        if self.terminal {
            let _ = write!(std::io::stderr().lock(), "\r{:<79}\r", "");
        }
    }
}

fn words(done: usize, all: usize, findings: usize) -> String {
    let found = match findings {
        0 => "no finding".to_owned(),
        1 => "1 finding".to_owned(),
        n => format!("{n} findings"),
    };
    format!("drives {done} of {all}, {found}")
}

impl Progress for OnStderr {
    fn drive_done(&mut self, done: usize, all: usize, findings: usize) {
        let mut err = std::io::stderr().lock();
        // A progress line that cannot be written is no reason to stop.
        if self.terminal {
            let bar = 24 * done / all.max(1);
            let _ = write!(err, "\r[{:<24}] {}", "#".repeat(bar), words(done, all, findings));
            let _ = err.flush();
        } else if 10 * done / all.max(1) > self.tenths || done == all {
            self.tenths = 10 * done / all.max(1);
            let _ = writeln!(err, "{}", words(done, all, findings));
        }
    }

    fn end(&mut self) {
        if self.terminal {
            eprintln!();
        }
    }

    fn at(&mut self, what: &'static str, done: u64, of: Option<u64>) -> bool {
        let every_s = if self.terminal { REWRITE_EVERY_S } else { LINE_EVERY_S };
        if what != self.what || self.shown.elapsed().as_secs_f64() >= every_s {
            (self.what, self.shown) = (what, Instant::now());
            let of = of.map_or(String::new(), |all| format!(" of {all}"));
            let mut line = if done > 0 { format!("{what} {done}{of}") } else { what.to_owned() };
            match self.begun.elapsed().as_secs() {
                0 => {}
                seconds => line += &format!(", {seconds} s"),
            }
            let mut err = std::io::stderr().lock();
            // Progress that cannot be shown is no reason to stop.
            let _ =
                if self.terminal { write!(err, "\r{line:<79}") } else { writeln!(err, "{line}") };
            let _ = err.flush();
        }
        !self.stop.is_asked()
    }

    fn begin(&mut self, _: Kind) {
        self.begun = Instant::now();
    }

    fn made(&mut self, part: &Part) {
        if self.stop.is_asked() {
            return;
        }
        self.wipe();
        let (what, seconds) = (part.kind.short(), self.begun.elapsed().as_secs_f64());
        eprintln!("{what}: done in {seconds:.0} s");
        if let Err(error) = self.unfinished.keep(part) {
            eprintln!("note: it cannot be kept for a run that goes on after this one: {error}");
        }
    }

    fn is_stopped(&self) -> bool {
        self.stop.is_asked()
    }
}
