//! What the commands about energy are told.

use std::path::PathBuf;

use clap::Args;

#[derive(Args, Debug)]
pub(super) struct EnergyArgs {
    /// Driveline file or demo
    pub(super) file: String,
    /// Road speeds of the cruise table in km/h
    #[arg(long, value_name = "KMH", value_delimiter = ',')]
    pub(super) speeds: Vec<f64>,
    /// Slopes of the cruise table in percent
    #[arg(long, value_name = "PERCENT", value_delimiter = ',', allow_negative_numbers = true, value_parser = slope_from)]
    pub(super) slopes: Vec<f64>,
    /// Fuel that a joule of the battery counts as (default: what making it on board takes)
    #[arg(long, value_name = "J", value_parser = price_from)]
    pub(super) price: Option<f64>,
    /// Columns of the map: road speeds
    #[arg(long, value_name = "N", default_value_t = 25, value_parser = clap::value_parser!(u16).range(2..=200))]
    pub(super) columns: u16,
    /// Rows of the map, about: wheel forces
    #[arg(long, value_name = "N", default_value_t = 24, value_parser = clap::value_parser!(u16).range(2..=200))]
    pub(super) rows: u16,
    /// Threads (default: as many as the machine has)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    pub(super) threads: Option<u16>,
    /// JSON for programs instead of text
    #[arg(long, conflicts_with = "csv")]
    pub(super) json: bool,
    /// The maps as CSV instead of text
    #[arg(long)]
    pub(super) csv: bool,
    /// Write pictures into this folder too
    #[arg(long, value_name = "PATH")]
    pub(super) svg: Option<PathBuf>,
}

#[derive(Args, Debug)]
pub(super) struct CycleArgs {
    /// Driveline file or demo
    pub(super) file: String,
    /// Trace (CSV: time_s, speed_kmh, slope_percent), or nedc, mountain, track
    pub(super) trace: String,
    /// Drive it forward too, with the real supervisor and the plant
    #[arg(long)]
    pub(super) forward: bool,
    /// Bring the charge back: find the price at which the battery ends as it began
    #[arg(long)]
    pub(super) sustain: bool,
    /// Fuel that a joule of the battery counts as (default: what making it on board takes)
    #[arg(long, value_name = "J", value_parser = price_from)]
    pub(super) price: Option<f64>,
    /// Seed of all chance in the forward run
    #[arg(long, default_value_t = 1)]
    pub(super) seed: u64,
    /// Threads (default: as many as the machine has)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=256))]
    pub(super) threads: Option<u16>,
    /// JSON for programs instead of text
    #[arg(long)]
    pub(super) json: bool,
    /// Write the picture into this folder too
    #[arg(long, value_name = "PATH")]
    pub(super) svg: Option<PathBuf>,
}

fn number_from(text: &str, low: f64, high: f64) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(x) if x >= low && x <= high => Ok(x),
        _ => Err(format!("a number from {low} to {high} is needed")),
    }
}

fn slope_from(text: &str) -> Result<f64, String> {
    number_from(text, -50.0, 50.0)
}

pub(super) fn price_from(text: &str) -> Result<f64, String> {
    number_from(text, 0.0, 20.0)
}
