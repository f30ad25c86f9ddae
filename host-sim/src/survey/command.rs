//! The command `slipwarden survey FILE [--json] [--svg PATH [--show ARRANGEMENT]]`.

use crate::driveline::{Checked, Diagnostics, command, read};
use crate::input::{self, print, write_picture};
use crate::kinematics::{GearsHoldOutput, Kinematics, analyse};
use crate::picture::card::card;
use crate::picture::stick::Stick;

/// Columns of the text: those of a plain terminal, wherever it goes, so that the same file
/// always gives the same bytes.
const TEXT_WIDTH: usize = 80;

/// A picture that is asked for: the stick diagram, or the card of an arrangement.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Drawing {
    /// File, or `-` for stdout.
    pub path: String,
    /// Arrangement whose power path is marked, with its levers beside.
    pub show: Option<String>,
}

/// Print the survey of a driveline file, or of an embedded demo by its name: text, or JSON.
/// Warnings and errors go to stderr. Returns the exit code: 0 all well, 2 misuse.
pub fn survey(path_or_name: &str, json: bool, drawing: Option<&Drawing>) -> i32 {
    let checked = match read(path_or_name) {
        Ok(checked) => checked,
        Err(failure) => {
            command::complain(&failure);
            return 2;
        }
    };
    if !checked.warnings.is_empty() {
        eprint!("{}", checked.warnings.render(command::colour()));
    }
    let kinematics = match kinematics_of(&checked) {
        Ok(kinematics) => kinematics,
        Err(found) => {
            eprint!("{}", found.render(command::colour()));
            return 2;
        }
    };
    if let Some(drawing) = drawing {
        match draw(&checked, &kinematics, drawing) {
            Ok(()) if drawing.path != "-" => {}
            Ok(()) => return 0,
            Err(code) => return code,
        }
    }
    match json {
        true => print(&format!("{:#}\n", super::json(&checked.driveline, &kinematics))),
        false => print(&super::text(&checked.driveline, &kinematics, TEXT_WIDTH)),
    }
}

fn draw(checked: &Checked, k: &Kinematics, drawing: &Drawing) -> Result<(), i32> {
    let d = &checked.driveline;
    let picture = match &drawing.show {
        None => Stick::new(d).plain(),
        Some(name) => card(d, k, &d.arrangements[input::arrangement(d, name)?]),
    };
    write_picture(&drawing.path, &picture)
}

/// Kinematics of a checked file.
///
/// # Errors
/// One diagnostic at the output when the gears alone hold it.
pub fn kinematics_of(checked: &Checked) -> Result<Kinematics, Diagnostics> {
    analyse(&checked.driveline).map_err(|held| diagnostics_of(checked, &held))
}

fn diagnostics_of(checked: &Checked, held: &GearsHoldOutput) -> Diagnostics {
    let mut found = checked.diagnostics();
    let gears = crate::kinematics::and_list(&held.gears);
    let message =
        format!("the gears alone hold the output {} at zero, with every lock open", held.shaft);
    let fix =
        format!("check the ratios and the shafts of {gears}: together they keep it from turning");
    match checked.place_of("output", 0, "shaft") {
        Some(at) => found.error(at, message, fix),
        None => found.whole(message, fix),
    }
    found
}
