//! The built program from outside: its commands, and the README's tour of them.

mod commands;
mod program;
mod readme;
