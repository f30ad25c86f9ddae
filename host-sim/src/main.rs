//! The `slipwarden` command.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(u8::try_from(host_sim::cli::run()).unwrap_or(2))
}
