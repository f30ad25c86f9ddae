//! A demo driveline with its kinematics and table.

use host_sim::driveline::{self, Driveline};
use host_sim::kinematics::{self, Kinematics};
use host_sim::table::{self, TableData};

/// A demo driveline and all that a run of it needs.
pub struct Demo {
    /// The driveline.
    pub driveline: Driveline,
    /// Its kinematics.
    pub kinematics: Kinematics,
    /// Its table.
    pub table: TableData,
}

impl Demo {
    /// The embedded demo of this name.
    pub fn new(name: &str) -> Demo {
        let driveline = driveline::parse(name, driveline::demo(name).expect("an embedded demo"))
            .expect("demos are valid")
            .driveline;
        let kinematics = kinematics::analyse(&driveline).expect("demos can move");
        let table = table::build(&driveline, &kinematics).expect("demos have a table");
        Demo { driveline, kinematics, table }
    }
}
