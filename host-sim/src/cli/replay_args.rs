//! What `replay` is told.

use std::path::PathBuf;

use clap::Args;

use crate::campaign::ReplayOptions;

#[derive(Args, Debug)]
pub(super) struct ReplayArgs {
    /// Driveline file or demo
    file: String,
    /// Scenario file, or a ready scenario by its name
    #[arg(required_unless_present = "case", conflicts_with = "case")]
    scenario: Option<String>,
    /// Number of a case
    #[arg(long, value_name = "K")]
    case: Option<u64>,
    /// Seed of the campaign
    #[arg(long, default_value_t = 1, requires = "case")]
    seed: u64,
    /// Faults in each case of the campaign
    #[arg(long, value_name = "N", default_value_t = 1, requires = "case")]
    faults: u8,
    /// With this defect of `campaign --defects` planted in the table
    #[arg(long, value_name = "N")]
    defect: Option<usize>,
    /// Write every tick as CSV there
    #[arg(long, value_name = "PATH")]
    trace: Option<PathBuf>,
    /// Write the timeline as SVG there
    #[arg(long, value_name = "PATH")]
    svg: Option<PathBuf>,
    /// Write the case as a scenario file there
    #[arg(long, value_name = "PATH", requires = "case")]
    write: Option<PathBuf>,
}

impl ReplayArgs {
    /// As the command takes it.
    pub(super) fn options(self) -> ReplayOptions {
        ReplayOptions {
            case: self.case.map(|case| (case, self.seed, self.faults)),
            file: self.file,
            scenario: self.scenario,
            defect: self.defect,
            trace: self.trace,
            svg: self.svg,
            write: self.write,
        }
    }
}
