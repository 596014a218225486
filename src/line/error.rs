//! What the machine did to us: the third of the four blames.

use core::fmt;

/// Why the machine refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// No port of that name.
    NotFound,
    /// The user may not open it.
    PermissionDenied,
    /// Another program holds it.
    Busy,
    /// It exists and is no serial port.
    NotATerminal,
    /// The port does not take 1200 8O1 [LI-03].
    SettingsRefused,
    /// The name for the link is taken by something that is not ours to replace.
    LinkTaken,
    /// The link cannot be made in the folder where it is to stand.
    LinkFolder,
    /// The port was there and is gone: unplugged, or its other end closed.
    Lost,
    /// The other end of a TCP connection has ended it, or does not answer any more.
    PeerGone,
    /// No host of that name.
    HostUnknown,
    /// The host is there and nobody listens at that port.
    ConnectionRefused,
    /// The host does not answer, or there is no way to it.
    NoAnswer,
    /// The server opens no session [IP-05].
    SessionRefused,
    /// Somebody listens at that address already.
    AddressTaken,
    /// The address is none of this machine's.
    AddressNotHere,
    /// The port takes no octets: nobody empties it.
    Stuck,
    /// The line cannot send such faults [LI-24].
    CannotSend,
    /// The line only listens.
    ListensOnly,
    /// No file of that name.
    NoFile,
    /// The user may not read the file.
    FileForbidden,
    /// It is a directory.
    Directory,
    /// What is read is no recording that holds tones [WV-12].
    NoRecording,
    /// A recording does not have the channel that is wanted.
    NoChannel,
    /// Anything else; the system's words are all there is.
    System,
}

/// A failure that is the machine's: what was being done, on which line, what the system said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Error {
    /// What was being done, such as `opening`.
    pub doing: &'static str,
    /// The line as the user names it, such as `serial:/dev/ttyUSB0`.
    pub line: String,
    /// Why it failed.
    pub fault: Fault,
    /// The system's own words, or what was found; may be empty.
    pub said: String,
}

impl Error {
    /// An error from its four parts.
    pub fn new(doing: &'static str, line: &str, fault: Fault, said: impl fmt::Display) -> Self {
        Error { doing, line: line.to_string(), fault, said: said.to_string() }
    }

    /// What the user can do next.
    pub fn next(&self) -> &'static str {
        match self.fault {
            Fault::NotFound => {
                "look which ports there are (`ls /dev/tty*` or `ls /dev/serial/by-id`), plug the modem in, and name that port"
            }
            Fault::PermissionDenied => {
                "join the group that owns the port (`ls -l` shows it, often `dialout` or `uucp`), log in again, and try once more"
            }
            Fault::Busy => {
                "close the other program that has this port open, then try once more; a pseudo-terminal that a killed program left locked has to be made anew by whoever made it"
            }
            Fault::NotATerminal => {
                "name a serial port, such as serial:/dev/ttyUSB0, or the path that a `pty:` line printed"
            }
            Fault::SettingsRefused => {
                "use a port that can do 1200 bit/s, 8 data bits, odd parity, 1 stop bit"
            }
            Fault::LinkTaken => "choose another name for the link, or move away what stands there",
            Fault::LinkFolder => {
                "make that folder first, or name a link in one that exists and that you may write to; `pty:` alone needs no link"
            }
            Fault::Lost => "plug the port in again, or start its other end again, and reopen the line",
            Fault::PeerGone => "look what became of the other end, start it again, and reopen the line",
            Fault::HostUnknown => "check the host's spelling, or give its address",
            Fault::ConnectionRefused => {
                "start the other end first (`looprig mock` prints the line that reaches it), and check host and port"
            }
            Fault::NoAnswer => {
                "check host, port, network and firewall, and that somebody has started the other end; then try once more"
            }
            Fault::SessionRefused => {
                "wait until a session is free, or ask for a primary one with ?session=primary: some servers keep no other"
            }
            Fault::AddressTaken => {
                "end the other program, or listen at another port; port 0 takes any that is free"
            }
            Fault::AddressNotHere => "listen at 127.0.0.1, or at an address that this machine has",
            Fault::Stuck => {
                "make the program at the other end read, or unplug the adapter and plug it in again; then reopen the line"
            }
            Fault::CannotSend => "send them on a line of the kind mock:, which can",
            Fault::ListensOnly => {
                "read it with `looprig listen`, `decode` or `wave read`; to ask a device, name the line of a modem"
            }
            Fault::NoFile => "check the name, or give wav:- to read standard input",
            Fault::FileForbidden => {
                "look who may read it (`ls -l` shows it), and have it copied to where you may, or given to you"
            }
            Fault::Directory => "name a file in that directory",
            Fault::NoRecording => {
                "record again as WAV, 16 bits, 8000 to 192000 samples a second, or export time and volts as a table"
            }
            Fault::NoChannel => "leave channel= out, which takes the first, or give one that is there",
            Fault::System => "put right what the system complains of, then try once more",
        }
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let what = match self.fault {
            Fault::NotFound => "there is no such port",
            Fault::PermissionDenied => "you may not use this port",
            Fault::Busy => "another program holds this port",
            Fault::NotATerminal => "this is no serial port",
            Fault::SettingsRefused => "the port does not take 1200 8O1",
            Fault::LinkTaken => "something else has the link's name",
            Fault::LinkFolder => "the link cannot stand in that folder",
            Fault::Lost => "the port is gone",
            Fault::PeerGone => "the other end has closed the connection",
            Fault::HostUnknown => "there is no host of that name",
            Fault::ConnectionRefused => "nobody listens there",
            Fault::NoAnswer => "the host does not answer",
            Fault::SessionRefused => "the server opens no session",
            Fault::AddressTaken => "somebody listens there already",
            Fault::AddressNotHere => "this machine does not have that address",
            Fault::Stuck => "the port takes no more octets",
            Fault::CannotSend => "this line cannot send that",
            Fault::ListensOnly => "this line only listens",
            Fault::NoFile => "there is no such file",
            Fault::FileForbidden => "you may not read this file",
            Fault::Directory => "this is a directory",
            Fault::NoRecording => "this recording cannot be read",
            Fault::NoChannel => "this recording does not have the channel that is wanted",
            Fault::System => "the system refused",
        };
        write!(f, "{} {}: {what}", self.doing, self.line)?;
        if !self.said.is_empty() {
            write!(f, " ({})", self.said)?;
        }
        write!(f, "\n  next: {}", self.next())
    }
}

impl std::error::Error for Error {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn message_has_deed_line_reason_and_remedy() {
        let e = Error::new("opening", "serial:/dev/ttyUSB7", Fault::Busy, "EBUSY");
        let text = e.to_string();
        for part in ["opening", "serial:/dev/ttyUSB7", "holds this port", "EBUSY", "close the other program"]
        {
            assert!(text.contains(part), "{part:?} is missing in {text:?}");
        }
        assert!(!Error::new("opening", "x", Fault::Busy, "").to_string().contains('('));
    }
}
