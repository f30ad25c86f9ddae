//! Pictures a person can read.

pub mod svg;
