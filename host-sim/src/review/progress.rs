//! What a person sees while the drives are made: one rewritten line on a terminal, plain lines
//! in a pipe.

use std::io::{IsTerminal, Write};

/// Told of every finished drive.
pub trait Progress {
    /// `done` of `all` drives are finished, `findings` findings so far.
    fn drive_done(&mut self, done: usize, all: usize, findings: usize);
    /// No more drives.
    fn end(&mut self);
}

/// Says nothing.
#[derive(Clone, Copy, Debug, Default)]
pub struct Quiet;

impl Progress for Quiet {
    fn drive_done(&mut self, _: usize, _: usize, _: usize) {}
    fn end(&mut self) {}
}

/// Writes to stderr.
#[derive(Clone, Copy, Debug)]
pub(super) struct OnStderr {
    terminal: bool,
    tenths: usize,
}

impl OnStderr {
    pub(super) fn new() -> OnStderr {
        OnStderr { terminal: std::io::stderr().is_terminal(), tenths: 0 }
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
}
