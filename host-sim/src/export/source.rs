//! What a unit is made from: a driveline, its table, perhaps a scenario; and who it is.

use std::sync::Arc;

use crate::drive::closed_loop::{Prepared, Setup};
use crate::drive::driver::Wish;
use crate::drive::scenario::{self, Scenario};
use crate::driveline::{self, Driveline, Purpose};
use crate::survey::command::kinematics_of;
use crate::table::{self, TableData};

/// Which half of the closed loop a unit is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Part {
    /// Shafts, locks, machines, vehicle, sensors, and the drive controller.
    Plant,
    /// The supervisor alone.
    Supervisor,
}

impl Part {
    /// Its name.
    pub fn word(self) -> &'static str {
        match self {
            Part::Plant => "plant",
            Part::Supervisor => "supervisor",
        }
    }

    /// By its name.
    pub fn from_word(word: &str) -> Option<Part> {
        [Part::Plant, Part::Supervisor].into_iter().find(|part| part.word() == word)
    }

    pub(super) fn purpose(self) -> Purpose {
        match self {
            Part::Plant => Purpose::Plant,
            Part::Supervisor => Purpose::Table,
        }
    }
}

/// What a unit is made from.
#[derive(Clone, Debug)]
pub struct Source {
    /// Which half.
    pub part: Part,
    /// The driveline.
    pub driveline: Driveline,
    /// The supervisor's table.
    pub table: TableData,
    /// The scenario that a plant follows, if any.
    pub scenario: Option<Scenario>,
    /// What happens in the plant, without an end.
    pub(super) story: Setup,
    /// Who it is: the same for the same driveline, scenario, part and program.
    pub token: String,
}

/// 64 bits of FNV-1a.
fn fnv(seed: u64, parts: &[&[u8]]) -> u64 {
    let mut hash = 0xcbf2_9ce4_8422_2325 ^ seed;
    for part in parts {
        for byte in (part.len() as u64).to_le_bytes().iter().chain(*part) {
            hash = (hash ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    }
    hash
}

/// In the form that the standard asks for: `{8-4-4-4-12}` hexadecimal digits.
fn token(parts: &[&[u8]]) -> String {
    let text = format!("{:016x}{:016x}", fnv(0, parts), fnv(0x9e37_79b9_7f4a_7c15, parts));
    let cut = [0..8, 8..12, 12..16, 16..20, 20..32].map(|range| text.get(range).unwrap_or(""));
    format!("{{{}}}", cut.join("-"))
}

/// A plant that nothing happens to by itself.
fn quiet(d: &Driveline) -> Setup {
    let window = d.battery.as_ref().map(|b| b.charge_window);
    Setup {
        duration_s: f64::INFINITY,
        start_speed_kmh: 0.0,
        start_arrangement: None,
        start_charge: window.map_or(0.5, |w| 0.5 * (w[0] + w[1])),
        start_rises_k: Vec::new(),
        wish: Wish::Pedal(Vec::new()),
        grade: Vec::new(),
        requests: Vec::new(),
        faults: Vec::new(),
    }
}

impl Source {
    /// From the text of a driveline file, and of a scenario file for a plant that drives itself.
    ///
    /// # Errors
    /// The complaints about the files.
    pub fn new(part: Part, driveline: &str, scenario: Option<&str>) -> Result<Source, String> {
        let plain = |found: driveline::Diagnostics| found.render(false);
        let checked = driveline::parse("driveline.toml", driveline).map_err(plain)?;
        checked.ready_for(part.purpose()).map_err(plain)?;
        let kinematics = kinematics_of(&checked).map_err(plain)?;
        let data = table::build(&checked.driveline, &kinematics).map_err(|e| e.to_string())?;
        let d = checked.driveline;
        let told = match scenario.filter(|_| part == Part::Plant) {
            Some(text) => Some(scenario::parse("scenario.toml", text, &d).map_err(plain)?),
            None => None,
        };
        let story = match &told {
            Some(told) => Setup { duration_s: f64::INFINITY, ..told.setup.clone() },
            None => quiet(&d),
        };
        let parts: [&[u8]; 5] = [
            env!("CARGO_PKG_VERSION").as_bytes(),
            part.word().as_bytes(),
            driveline.as_bytes(),
            scenario.filter(|_| told.is_some()).unwrap_or("").as_bytes(),
            &data.hash.to_le_bytes(),
        ];
        Ok(Source { part, token: token(&parts), driveline: d, table: data, scenario: told, story })
    }

    /// Seed of all chance, unless another is set.
    pub fn seed(&self) -> i32 {
        let seed = self.scenario.as_ref().and_then(|s| s.seed);
        // All 32 bits are used; which sign they show does not matter.
        seed.map_or(1, |seed| seed as u32 as i32)
    }

    /// Length of a tick, s.
    pub fn tick_s(&self) -> f64 {
        self.driveline.timing.tick_ms / 1e3
    }

    /// Ready for runs.
    pub(super) fn prepared(&self) -> Result<Arc<Prepared<'_>>, String> {
        Prepared::new(&self.driveline, self.table.table()).map(Arc::new).map_err(|e| e.to_string())
    }
}
