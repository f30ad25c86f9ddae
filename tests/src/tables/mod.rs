//! The demo drivelines' tables and schedules as a board gets them: generated Rust source, statics in flash.
//!
//! Never edited by hand: `cargo renew` writes them.

pub mod axle;
pub mod axle_schedule;
pub mod railcar;
pub mod railcar_schedule;
pub mod shuttle;
pub mod shuttle_schedule;

use supervisor::schedule::Schedule;
use supervisor::table::Table;

/// The static tables by the name of their demo.
pub static DEMO_TABLES: [(&str, &Table<'static>); 3] =
    [("shuttle", &shuttle::TABLE), ("railcar", &railcar::TABLE), ("axle", &axle::TABLE)];

/// The static schedules by the name of their demo.
pub static DEMO_SCHEDULES: [(&str, &Schedule<'static>); 3] = [
    ("shuttle", &shuttle_schedule::SCHEDULE),
    ("railcar", &railcar_schedule::SCHEDULE),
    ("axle", &axle_schedule::SCHEDULE),
];
