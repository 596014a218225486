//! What was captured: the log, other forms of octets in files, and their way to exchanges.

mod annotate;
mod hex_text;
mod log;
#[cfg(feature = "io")]
mod log_file;
mod messages;
mod packets;
mod reader;
#[cfg(feature = "io")]
mod rotate;
mod signal;
#[cfg(feature = "io")]
mod writer;

pub use annotate::{Annotator, Item, between};
pub use hex_text::{HexError, parse_hex_line};
pub use log::{Direction, Header, LOG_VERSION, LineError, LogLine, Record, parse_line, write_remark};
#[cfg(feature = "io")]
pub use log_file::{LogFile, LogStore, directory_of, sync_directory};
pub use messages::{MessageAnnotator, MessageItem, is_messages};
pub use packets::{
    LINE_ADDRESS, MASTER_ADDRESSES, OWN_BLOCK, OWN_MAGIC, PacketReader, PacketWriter, Passing, utc_ns,
};
pub use reader::{Captured, ContentKind, Fault, Problem, Reader, recognise};
#[cfg(feature = "io")]
pub use rotate::{LogSeries, Rotation};
pub use signal::{SignalNotice, SignalRemark};
#[cfg(feature = "io")]
pub use writer::{LogFileError, LogFileFault, LogWriter, Recorder, SYNC_EVERY, io_words};
