//! Where the lines of a running bench are, and how their ports are opened.

use super::plan::{LineKind, LinePlan};
use crate::line::io::Ports;
use crate::line::{self, EchoUse};
use crate::time::Pace;
use std::path::{Path, PathBuf};

/// Where an access point of the running bench is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PortPlace {
    /// As it stands in the bench file, such as `pty:`.
    pub at: String,
    /// What other software opens to reach a pseudo-terminal, or the serial port; absolute. Of TCP the
    /// LINE that reaches it, such as `tcp:127.0.0.1:5500`.
    pub path: PathBuf,
    /// Whether software of this machine opens that path; else it is on the wire behind the port.
    pub is_pty: bool,
    /// The LINE by which commands of this machine reach it at [`Pace::Wire`]; none where that is on the
    /// wire behind the port, or at the other end of a connection.
    pub open: Option<String>,
}

/// Where a line is whose port says `path`.
pub(super) fn place(line: &LinePlan, path: &Path) -> PortPlace {
    let is_pty = matches!(line.kind, LineKind::Pty(_));
    let path = match line.kind {
        LineKind::TcpListen(_) | LineKind::Tcp(_) | LineKind::HartIp(_) => path.to_path_buf(),
        // Whoever opens it may be in another directory.
        LineKind::Pty(_) | LineKind::Serial(..) => {
            std::path::absolute(path).unwrap_or_else(|_| path.to_path_buf())
        }
    };
    let open = match line.kind {
        LineKind::Pty(_) => Some(format!("serial:{}", path.display())),
        LineKind::TcpListen(_) | LineKind::HartIp(_) => Some(path.display().to_string()),
        LineKind::Serial(..) | LineKind::Tcp(_) => None,
    };
    PortPlace { at: line.at.clone(), path, is_pty, open }
}

/// Opens the port of a line.
pub(super) fn open_port(ports: &mut Ports, kind: &LineKind, pace: Pace) -> Result<usize, line::Error> {
    match kind {
        LineKind::Serial(path, options) => {
            let mut options = *options;
            if options.echo == EchoUse::On {
                // The wires of a bench reckon with no echo: it is to be taken out before them.
                options.echo = EchoUse::Auto;
            }
            ports.open_serial_with(path, pace, options)
        }
        // Where octets take no time, nobody waits for the moment at which one of them ends.
        LineKind::HartIp(server) if pace == Pace::Fast => ports.open_hart_ip_server_hosted(server),
        LineKind::HartIp(server) => ports.open_hart_ip_server(server),
        LineKind::TcpListen(at) => ports.open_tcp_listen(at, pace),
        LineKind::Tcp(to) => ports.open_tcp(to, pace),
        LineKind::Pty(link) => ports.open_pty(link.as_deref(), pace),
    }
}
