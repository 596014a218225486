//! A serial port of a system that is no Unix, through the general library. Untried.

use crate::frame::Marks;
use crate::line::hardware::{Hardware, Lines, Unsent};
use crate::line::{Error, ErrorCounts, Fault};
use std::io::{self, ErrorKind};
use std::pin::Pin;
use std::task::{Context, Poll, ready};
use tokio::io::{AsyncRead, ReadBuf};
use tokio_serial::{DataBits, FlowControl, Parity, SerialPort, SerialStream, StopBits};

/// An open port. It needs the reactor of the thread that opened it.
pub(super) struct Device {
    port: SerialStream,
    arrived: Vec<u8>,
    set: Lines,
}

impl Device {
    /// Opens the port for sole use.
    pub(super) fn open(path: &str, name: &str, _pty: bool) -> Result<Device, Error> {
        let builder = tokio_serial::new(path, crate::time::BIT_RATE as u32)
            .data_bits(DataBits::Eight)
            .parity(Parity::Odd)
            .stop_bits(StopBits::One)
            .flow_control(FlowControl::None);
        let port = SerialStream::open(&builder).map_err(|e| {
            let fault = match e.kind() {
                tokio_serial::ErrorKind::Io(ErrorKind::PermissionDenied) => Fault::PermissionDenied,
                tokio_serial::ErrorKind::Io(ErrorKind::NotFound) | tokio_serial::ErrorKind::NoDevice => {
                    Fault::NotFound
                }
                _ => Fault::System,
            };
            Error::new("opening", name, fault, e)
        })?;
        Ok(Device { port, arrived: Vec::new(), set: Lines::default() })
    }

    /// Whether octets have arrived, or will be told to `cx`.
    pub(super) fn poll_octets(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        if self.arrived.is_empty() {
            let mut buffer = [0u8; 4096];
            let mut space = ReadBuf::new(&mut buffer);
            ready!(Pin::new(&mut self.port).poll_read(cx, &mut space))?;
            if space.filled().is_empty() {
                return Poll::Ready(Err(ErrorKind::UnexpectedEof.into()));
            }
            self.arrived.extend(space.filled());
        }
        Poll::Ready(Ok(()))
    }

    /// Room is tried for again and again: the library cannot be asked.
    pub(super) fn poll_room(&mut self, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        cx.waker().wake_by_ref();
        Poll::Ready(Ok(()))
    }
}

impl Hardware for Device {
    fn configure(&mut self) -> Result<bool, String> {
        // Set when it was opened.
        let (parity, speed) = (self.port.parity(), self.port.baud_rate());
        match (parity, speed) {
            (Ok(Parity::Odd), Ok(speed)) if speed == crate::time::BIT_RATE as u32 => Ok(false),
            (Ok(parity), Ok(speed)) => Err(format!("it is at {speed} bit/s, parity {parity}")),
            (Err(e), _) | (_, Err(e)) => Err(e.to_string()),
        }
    }

    fn keep_lines_on_close(&mut self) -> Result<(), String> {
        Ok(())
    }

    fn set_rts(&mut self, on: bool) -> Result<bool, String> {
        self.set.rts = on;
        Ok(self.port.write_request_to_send(on).is_ok())
    }

    fn set_dtr(&mut self, on: bool) -> Result<bool, String> {
        self.set.dtr = on;
        Ok(self.port.write_data_terminal_ready(on).is_ok())
    }

    fn ask_low_latency(&mut self) -> bool {
        false
    }

    fn write(&mut self, octets: &[u8]) -> Result<usize, String> {
        match self.port.try_write(octets) {
            Ok(n) => Ok(n),
            Err(e) if matches!(e.kind(), ErrorKind::WouldBlock | ErrorKind::Interrupted) => Ok(0),
            Err(e) => Err(e.to_string()),
        }
    }

    fn unsent(&mut self) -> Unsent {
        Unsent { queued: self.port.bytes_to_write().ok().map(|n| n as usize), shift_register_empty: None }
    }

    fn discard_unsent(&mut self) {
        let _ = self.port.clear(tokio_serial::ClearBuffer::Output);
    }

    fn read(&mut self, octets: &mut Vec<(u8, Marks)>) -> Result<(), String> {
        octets.extend(self.arrived.drain(..).map(|v| (v, Marks::NONE)));
        Ok(())
    }

    fn error_counts(&mut self) -> Option<ErrorCounts> {
        None
    }

    fn lines(&mut self) -> Option<Lines> {
        let carrier = self.port.read_carrier_detect().ok()?;
        // What it has set is not to be read there.
        Some(Lines { carrier, ..self.set })
    }
}
