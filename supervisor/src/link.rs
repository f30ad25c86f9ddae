//! The rig link: frames between a host that holds the plant and a board that runs the supervisor.
//!
//! One codec for both sides. A frame is COBS-encoded, ends with a zero byte, and carries a kind, a
//! sequence number, a tick stamp, a payload of fixed length and a CRC-32C over all of that. What
//! is not exactly right is counted and dropped. `docs/rig-link.md` holds every byte.

pub mod answer;
pub mod bytes;
pub mod cobs;
pub mod crc;
pub mod frame;
pub mod message;
pub mod node;
pub mod order;
pub mod receiver;

pub use frame::{MAX_BODY, MAX_WIRE, Wire};
pub use message::{Begin, Hello, Message, Mode, Role};
pub use node::Node;
pub use receiver::{Bad, Counters, Receiver};

/// Version of the protocol; both sides must have the same.
pub const PROTOCOL: u16 = 2;
