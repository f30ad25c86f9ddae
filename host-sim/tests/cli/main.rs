//! The built program from outside: its commands, and the README's tour of them.

mod commands;
mod explore;
mod program;
mod readme;
