//! The built program from outside: its commands, and the README's tour of them.

mod campaign;
mod campaign_files;
mod commands;
mod energy;
mod explore;
mod program;
mod readme;
mod review;
mod terminal;
