//! The review: survey, table, and judged drives through every ordered pair of arrangements,
//! written as one folder.
//!
//! subject (driveline, kinematics, table) -> drives to make -> results of the drives, judged by
//! the plant's truth -> report -> files in memory -> folder. The report is a pure function of
//! the subject: same inputs, same bytes.

mod cases;
mod command;
mod files;
mod folder;
mod forecast;
mod json;
mod page;
mod progress;
mod report;
mod rules;
mod run;
mod scenario_text;
mod sha256;
mod subject;

pub(crate) use cases::window_kmh;
pub use cases::{Case, Drive, drives};
pub use command::{Options, conduct, review};
pub use files::{ReviewFile, files};
pub use folder::{FolderError, MARKER, check_free, write};
pub use forecast::{Forecast, forecast};
pub use json::{REVIEW_FORMAT, json};
pub use progress::{Progress, Quiet};
pub use report::{PairFinding, Refused, Report, WorstMargin};
pub use rules::{RULES, Rule};
pub use run::{Answer, DriveResult, run_all};
pub use scenario_text::scenario_text;
pub use sha256::sha256_hex;
pub use subject::Subject;
