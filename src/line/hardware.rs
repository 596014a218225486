//! What a serial port has to be able to do, as a trait small enough to be played from a script.

use super::error_counts::ErrorCounts;
use crate::frame::Marks;

/// How much of what was written has not left yet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Unsent {
    /// Octets that the driver still holds; `None` where it does not say.
    pub queued: Option<usize>,
    /// Whether the last bit has left the shift register; `None` where the driver does not say.
    pub shift_register_empty: Option<bool>,
}

/// Modem lines of a port.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Lines {
    /// Request-to-send.
    pub rts: bool,
    /// Data-terminal-ready.
    pub dtr: bool,
    /// Carrier detect.
    pub carrier: bool,
}

/// The calls that [`PortLogic`](super::PortLogic) makes on a port. None of them waits. An error is
/// the system's words and means that the port is lost.
pub trait Hardware {
    /// Sets the port up: raw, 1200 bit/s, eight data bits, odd parity, one stop bit [LI-03], errors
    /// marked [LI-09]; gives whether the port keeps parity.
    ///
    /// # Errors
    /// It does not take the settings.
    fn configure(&mut self) -> Result<bool, String>;

    /// Makes the port leave its lines alone when it is closed (no hang-up) [LI-06].
    ///
    /// # Errors
    /// The port is lost.
    fn keep_lines_on_close(&mut self) -> Result<(), String>;

    /// Switches request-to-send; false if there is no such line.
    ///
    /// # Errors
    /// The port is lost.
    fn set_rts(&mut self, on: bool) -> Result<bool, String>;

    /// Switches data-terminal-ready; false if there is no such line.
    ///
    /// # Errors
    /// The port is lost.
    fn set_dtr(&mut self, on: bool) -> Result<bool, String>;

    /// Asks the adapter to hand octets on at once [LI-10]; whether it says that it does, or there is none.
    fn ask_low_latency(&mut self) -> bool;

    /// Hands over octets; gives how many were taken, 0 when there is no room now.
    ///
    /// # Errors
    /// The port is lost.
    fn write(&mut self, octets: &[u8]) -> Result<usize, String>;

    /// How much of what was written has not left yet.
    fn unsent(&mut self) -> Unsent;

    /// Throws away what has not left yet, as far as the driver can.
    fn discard_unsent(&mut self);

    /// Appends what has arrived, if anything; parity and framing errors are marked, which need not be told
    /// apart.
    ///
    /// # Errors
    /// The port is lost.
    fn read(&mut self, octets: &mut Vec<(u8, Marks)>) -> Result<(), String>;

    /// How many errors the driver has counted so far, from whatever beginning; `None` where it does not
    /// say. Every error of an octet that was read before is in it [LI-09].
    fn error_counts(&mut self) -> Option<ErrorCounts>;

    /// The modem lines as they are now; `None` if the port has none, or does not say.
    fn lines(&mut self) -> Option<Lines>;
}
