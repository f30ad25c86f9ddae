//! The real supervisor on a board, the plant here, and the rig link between them.

pub mod address;
mod campaign;
pub mod capture;
pub mod command;
mod delays;
mod error;
pub mod link;
pub mod lockstep;
mod port;
mod qemu;
pub mod real_time;

pub use address::{Address, Via};
pub use campaign::{CampaignOptions, campaign};
pub use delays::Delays;
pub use error::RigError;
pub use port::Port;
