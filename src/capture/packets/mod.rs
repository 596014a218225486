//! Captures of networks, pcap and pcapng: reading the HART-IP messages in them, and writing what a line carried so that any
//! network analyser shows it [PC-01] [PC-03].

mod file;
mod network;
mod own;
mod reading;
mod streams;
mod utc;
mod writer;

pub use own::{OWN_BLOCK, OWN_MAGIC};
pub use reading::{PacketReader, Passing};
pub use utc::utc_ns;
pub use writer::{LINE_ADDRESS, MASTER_ADDRESSES, PacketWriter};
