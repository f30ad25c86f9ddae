//! The demo drivelines' tables as a board gets them: generated Rust source, statics in flash.
//!
//! Never edited by hand: `cargo renew` writes them.

pub mod axle;
pub mod railcar;
pub mod shuttle;

use supervisor::table::Table;

/// The static tables by the name of their demo.
pub static DEMO_TABLES: [(&str, &Table<'static>); 3] =
    [("shuttle", &shuttle::TABLE), ("railcar", &railcar::TABLE), ("axle", &axle::TABLE)];
