//! What every command does first: read the driveline, survey it, build the table.

use crate::driveline::{Checked, Driveline, Purpose, command, read};
use crate::kinematics::Kinematics;
use crate::survey::command::kinematics_of;
use crate::table::{TableData, build};
use crate::terminal::{painted, takes_colour};

/// A driveline with its kinematics.
pub struct Surveyed {
    /// The checked file.
    pub checked: Checked,
    /// Kinematics of all lock sets.
    pub kinematics: Kinematics,
}

/// A driveline with its kinematics and its table.
pub struct Tabled {
    /// The checked file.
    pub checked: Checked,
    /// Kinematics of all lock sets.
    pub kinematics: Kinematics,
    /// The supervisor's table.
    pub table: TableData,
}

impl Tabled {
    /// The driveline.
    pub fn driveline(&self) -> &Driveline {
        &self.checked.driveline
    }
}

/// Write a picture to a file, or to stdout for `-`; complaints go to stderr.
///
/// # Errors
/// The exit code, 2.
pub fn write_picture(path: &str, text: &str) -> Result<(), i32> {
    if path == "-" {
        return match print(text) {
            0 => Ok(()),
            code => Err(code),
        };
    }
    std::fs::write(path, text).map_err(|error| {
        eprintln!("error: {path} cannot be written: {error}");
        eprintln!("    fix: name a file in a folder that exists and can be written");
        2
    })
}

/// Read a file or an embedded demo; complaints go to stderr.
///
/// # Errors
/// The exit code, 2.
pub fn survey(path_or_name: &str) -> Result<Surveyed, i32> {
    let checked = read(path_or_name).map_err(|failure| {
        command::complain(&failure);
        2
    })?;
    if !checked.warnings.is_empty() {
        eprint!("{}", checked.warnings.render(command::colour()));
    }
    let kinematics = kinematics_of(&checked).map_err(|found| {
        eprint!("{}", found.render(command::colour()));
        2
    })?;
    Ok(Surveyed { checked, kinematics })
}

/// Read and build the table; complaints go to stderr.
///
/// # Errors
/// The exit code, 2.
pub fn table(path_or_name: &str, purpose: Purpose) -> Result<Tabled, i32> {
    let Surveyed { checked, kinematics } = survey(path_or_name)?;
    if let Err(missing) = checked.ready_for(purpose) {
        eprint!("{}", missing.render(command::colour()));
        return Err(2);
    }
    match build(&checked.driveline, &kinematics) {
        Ok(table) => Ok(Tabled { checked, kinematics, table }),
        Err(error) => {
            eprint!("{error}");
            Err(2)
        }
    }
}

/// Index of an arrangement by name.
///
/// # Errors
/// The exit code, 2, after a complaint that names the arrangements there are.
pub fn arrangement(d: &Driveline, name: &str) -> Result<usize, i32> {
    d.arrangements.iter().position(|a| a.name == name).ok_or_else(|| {
        let names: Vec<&str> = d.arrangements.iter().map(|a| a.name.as_str()).collect();
        eprintln!("error: {:?} has no arrangement {name:?}", d.name);
        eprintln!("    fix: choose one of {}", names.join(", "));
        2
    })
}

/// Write to stdout, verdicts in colour on a terminal; a reader that has seen enough (a closed
/// pipe) is no fault.
pub fn print(text: &str) -> i32 {
    use std::io::{ErrorKind, Write};
    let mut out = std::io::stdout().lock();
    let coloured = takes_colour(&out).then(|| painted(text));
    let text = coloured.as_deref().unwrap_or(text);
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => 0,
        Err(error) if error.kind() == ErrorKind::BrokenPipe => 0,
        Err(error) => {
            eprintln!("error: the output cannot be written: {error}");
            2
        }
    }
}
