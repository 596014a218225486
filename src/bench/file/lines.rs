//! `[[line]]`: where software reaches the bench.

use super::Fault;
use super::shape::LineTable;
use crate::bench::plan::{LineKind, LinePlan};
use crate::line::Endpoint;
use core::ops::Range;
use std::path::Path;
use toml::Spanned;

/// Whether two lines of this kind get places of their own although they are written alike.
pub(super) fn is_new_each_time(kind: &LineKind) -> bool {
    matches!(kind, LineKind::Pty(None) | LineKind::TcpListen(Endpoint { port: 0, .. }))
}

pub(super) fn line(table: &Spanned<LineTable>, directory: &Path) -> Result<(LinePlan, Range<usize>), Fault> {
    let right = "give at = \"pty:\", \"pty:LINK\", a serial port such as \"serial:/dev/ttyUSB0\", or TCP: \
                 \"tcp-listen:127.0.0.1:5500\", \"tcp:HOST:PORT\"";
    let Some(at) = &table.get_ref().at else {
        return Err(Fault::new(&table.span(), "this line does not say where it is", right));
    };
    if at.get_ref().contains('?') {
        let right = "leave the part from ? on out; the pace is the bench's: pace = 20 at the top of the file";
        return Err(Fault::new(&at.span(), "a line of a bench has no options of its own", right));
    }
    let kind = match at.get_ref().split_once(':') {
        Some(("pty", "")) => LineKind::Pty(None),
        Some(("pty", link)) => LineKind::Pty(Some(directory.join(link))),
        Some(("serial", port)) if !port.is_empty() => LineKind::Serial(port.to_owned()),
        Some(("tcp-listen", place)) => LineKind::TcpListen(endpoint(Endpoint::parse_listen(place), at)?),
        Some(("tcp", place)) => LineKind::Tcp(endpoint(Endpoint::parse_connect(place), at)?),
        _ => {
            let wrong = format!("\"{}\" is no line that a bench can have", at.get_ref());
            return Err(Fault::new(&at.span(), wrong, right));
        }
    };
    Ok((LinePlan { at: at.get_ref().clone(), kind }, at.span()))
}

fn endpoint(read: Result<Endpoint, String>, at: &Spanned<String>) -> Result<Endpoint, Fault> {
    read.map_err(|said| {
        let (wrong, right) = said.split_once(": ").unwrap_or((&said, "give HOST:PORT"));
        Fault::new(&at.span(), wrong.to_owned(), right)
    })
}
