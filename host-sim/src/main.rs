//! The `slipwarden` command.

fn main() {}
