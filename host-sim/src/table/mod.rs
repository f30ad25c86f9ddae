//! The supervisor table: built by search, written as Rust, JSON or a diagram.
