//! `[[line]]`: where software reaches the bench.

use super::shape::LineTable;
use super::{Fault, whole, words};
use crate::bench::plan::{LineKind, LinePlan};
use crate::exchange::harmless;
use crate::ip::{Masters, Nobody};
use crate::line::{Endpoint, HartIpServer, MOST_SESSIONS, SerialOptions};
use core::ops::Range;
use std::path::Path;
use toml::Spanned;

/// Where a line is, and where in the file that stands.
pub(super) fn line(table: &Spanned<LineTable>, directory: &Path) -> Result<(LinePlan, Range<usize>), Fault> {
    let right = "give at = \"pty:\", \"pty:LINK\", a serial port such as \"serial:/dev/ttyUSB0\", or TCP: \
                 \"tcp-listen:127.0.0.1:5500\", \"tcp:HOST:PORT\", or HART-IP: \"hart-ip:\"";
    let Some(at) = &table.get_ref().at else {
        return Err(Fault::new(&table.span(), "this line does not say where it is", right));
    };
    let pace = "leave pace= out: it is the bench's, pace = 20 at the top of the file";
    if at.get_ref().contains('?') && !at.get_ref().starts_with("serial:") {
        let right = format!("leave the part from ? on out; if it is a pace, {pace}");
        return Err(Fault::new(&at.span(), "of a bench's lines only a serial port has options", right));
    }
    let kind = match at.get_ref().split_once(':') {
        Some(("pty", "")) => LineKind::Pty(None),
        Some(("pty", link)) => LineKind::Pty(Some(directory.join(link))),
        Some(("serial", port)) => match SerialOptions::split(port).map_err(|said| told(&said, at))? {
            (_, _, Some(_)) => {
                return Err(Fault::new(&at.span(), "a line of a bench has no pace of its own", pace));
            }
            ("", ..) => return Err(Fault::new(&at.span(), "this line names no serial port", right)),
            (path, options, None) => LineKind::Serial(path.to_owned(), options),
        },
        Some(("tcp-listen", place)) => {
            LineKind::TcpListen(Endpoint::parse_listen(place).map_err(|said| told(&said, at))?)
        }
        Some(("tcp", place)) => {
            LineKind::Tcp(Endpoint::parse_connect(place).map_err(|said| told(&said, at))?)
        }
        Some((scheme @ ("hart-ip" | "hart-ip+tcp"), place)) => {
            let server =
                HartIpServer::parse(scheme == "hart-ip+tcp", place).map_err(|said| told(&said, at))?;
            LineKind::HartIp(hart_ip(server, table.get_ref())?)
        }
        _ => {
            let wrong = format!("\"{}\" is no line that a bench can have", at.get_ref());
            return Err(Fault::new(&at.span(), wrong, right));
        }
    };
    let t = table.get_ref();
    let own = [
        t.sessions.as_ref().map(|k| ("sessions", k.span())),
        t.session_masters.as_ref().map(|k| ("session_masters", k.span())),
        t.one_primary.as_ref().map(|k| ("one_primary", k.span())),
        t.nobody.as_ref().map(|k| ("nobody", k.span())),
    ];
    if let Some((key, span)) = own.into_iter().flatten().next()
        && !matches!(kind, LineKind::HartIp(_))
    {
        let wrong = format!("{key} is a key of HART-IP servers, and {} is none", at.get_ref());
        return Err(Fault::new(&span, wrong, "leave it out, or give at = \"hart-ip:\""));
    }
    Ok((LinePlan { at: at.get_ref().clone(), kind }, at.span()))
}

/// What a HART-IP server of the bench allows.
fn hart_ip(mut server: HartIpServer, table: &LineTable) -> Result<HartIpServer, Fault> {
    if let Some(n) = &table.sessions {
        server.sessions = usize::from(whole::<u16>(n, "sessions", 1..=MOST_SESSIONS as i64)?);
    }
    if let Some(word) = &table.session_masters {
        let words = [("both", Masters::Both), ("primary", Masters::Primary)];
        server.masters = words::one_of(word, "session_masters", &words)?;
    }
    if let Some(one) = &table.one_primary {
        server.one_primary = *one.get_ref();
    }
    if let Some(word) = &table.nobody {
        let words = [("communication_error", Nobody::CommunicationError), ("nak", Nobody::Nak)];
        server.nobody = words::one_of(word, "nobody", &words)?;
    }
    server.harmless = harmless();
    Ok(server)
}

/// A message of the form "wrong: right" about a line.
fn told(said: &str, at: &Spanned<String>) -> Fault {
    let (wrong, right) = said.split_once(": ").unwrap_or((said, "look at looprig mock --schema"));
    Fault::new(&at.span(), wrong, right)
}
