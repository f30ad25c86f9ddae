//! The table in flash: generated source, as `slipwarden table FILE --rust` writes it.

#[cfg(feature = "axle")]
#[path = "../../../src/tables/axle.rs"]
mod chosen;
#[cfg(feature = "railcar")]
#[path = "../../../src/tables/railcar.rs"]
mod chosen;
#[cfg(feature = "shuttle")]
#[path = "../../../src/tables/shuttle.rs"]
mod chosen;

use supervisor::table::Table;

/// The table.
#[cfg(not(feature = "planted-table"))]
pub static TABLE: &Table<'static> = &chosen::TABLE;

/// The table with one bit of a limit flipped, as flash that ages would have it.
#[cfg(feature = "planted-table")]
pub static TABLE: &Table<'static> = &Table { output_rate_max: 0.125, ..chosen::TABLE };
