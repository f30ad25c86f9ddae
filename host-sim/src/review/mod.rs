//! The review: survey, table, and judged drives through every ordered pair of arrangements,
//! written as one folder.
//!
//! subject (driveline, kinematics, table) -> drives to make -> results of the drives, judged by
//! the plant's truth, and other evidence, made or read -> report -> files in memory -> folder.
//! The report is a pure function of the subject and of what was asked: same inputs, same bytes.

mod cases;
mod command;
mod csv;
mod depth;
mod evidence;
mod files;
mod folder;
mod forecast;
mod json;
mod junit;
mod motion;
mod open;
mod page;
mod progress;
mod replay;
mod report;
mod rules;
mod run;
mod scenario_text;
mod sections;
mod sha256;
mod subject;
mod trace;
mod unfinished;

pub(crate) use cases::window_kmh;
pub use cases::{Case, Drive, drives};
pub use command::{Options, conduct, date_from, review};
pub use depth::{Depth, Work};
pub use evidence::{Evidence, Kind, Making, Origin, Part, ReadError, State, make, read};
pub use files::{ReviewFile, files};
pub use folder::{FolderError, MARKER, check_free, write};
pub use forecast::{Forecast, forecast};
pub use json::{REVIEW_FORMAT, json};
pub use progress::{Progress, Quiet};
pub use report::{Outcome, PairFinding, Refused, Report, WorstMargin};
pub use rules::{RULES, Rule};
pub use run::{Answer, DriveResult, run_all};
pub use scenario_text::scenario_text;
pub use sections::{Section, sections};
pub use sha256::sha256_hex;
pub use subject::{Subject, file_hash};
pub use trace::{Requirement, Says, requirements};
