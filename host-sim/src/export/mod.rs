//! The plant and the supervisor as units for co-simulation by the standard FMI, 2.0 and 3.0.
//!
//! Here is all that needs no C: what a unit is made from ([`Source`]), its variables, what it does
//! in a step ([`Session`]), its description as XML, the archive. The border to C, a shared library
//! that reads the same files again from the archive, is a crate of its own, `host-sim/fmi`.

mod archive;
pub mod command;
mod describe;
mod files;
mod plant;
mod session;
mod source;
mod supervisor;
mod variable;
mod xml;

pub use command::{ExportArgs, export};
pub use describe::{IDENTIFIER, Standard, description};
pub use files::{DRIVELINE_FILE, SCENARIO_FILE, UNIT_FILE, read_resources};
pub use session::{Fault, Session};
pub use source::{Part, Source};
pub use variable::{Choice, Kind, Role, Value, Variable, Variables};
