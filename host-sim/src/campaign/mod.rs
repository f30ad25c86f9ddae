//! Campaigns: very many random drives with random faults, every one judged by the plant's truth.
//!
//! A case is a pure function of the campaign's seed and its own number, so that the result does
//! not depend on threads, shards or interruptions.

mod aims;
mod axes;
mod case;
pub mod command;
pub mod defects;
pub mod defects_command;
mod defects_report;
mod duel;
mod examined;
mod faults;
mod header;
mod judged;
mod junit;
mod merge;
mod profile;
mod progress;
mod replay;
pub(crate) mod report;
mod requests;
mod results;
mod run;
mod scenario;
mod seed;
mod shard;
mod shrink;
mod tally;
mod together;
pub mod trial;
mod trial_file;
mod world;

pub use aims::{AIMS, Aim};
pub use axes::{Axes, Cell};
pub use case::{CASE_RULES, Case, case};
pub(crate) use defects_report::{DEFECTS_FORMAT, Score};
pub use duel::{Arena, Came};
pub use examined::Examined;
pub use faults::{Kind, kinds};
pub use header::{Header, RESULTS_FORMAT};
pub use judged::{Court, Judged};
pub use merge::{MergeError, Merged, merge};
pub use replay::{ReplayOptions, replay};
pub use report::CAMPAIGN_FORMAT;
pub use results::{Reading, Results, ResultsError, read_results};
pub use run::{BLOCK_CASES, Share, run};
pub use scenario::scenario_text;
pub use seed::{Stream, case_seed};
pub use shard::{Shard, shard_from};
pub use shrink::shrink;
pub use tally::{BINS, Found, MarginKey, MarginTally, Tally};
pub use together::{Candidate, Group, Grouping};
pub use world::World;
