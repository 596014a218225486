//! The block of local use that holds what packets cannot: a line of the log [PC-04].

use super::super::log::{LineError, LogLine, parse_line};

/// Type of the block. Bit 31 is that of local use; `4C 52` are the letters LR.
pub const OWN_BLOCK: u32 = 0x8000_4C52;

/// How its body begins, so that nobody else's block of that type is taken for ours; the last octet is the layout's number.
pub const OWN_MAGIC: [u8; 8] = *b"looprig\x01";

/// How the description of an interface begins that shows a wire, in every version: a file without blocks of ours is known by it.
pub(super) const OF_WIRE: &str = "The packets were made by looprig from octets heard on a wire";

/// What a block of ours holds.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Own {
    /// A line of the log.
    Line(LogLine),
    /// The octets before stand alone.
    Break,
}

/// Why a block of ours cannot be read.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum OwnFault {
    /// A later looprig wrote it.
    Layout(u8),
    /// It is too short.
    Cut,
    /// Its line is no line of a log.
    Line(LineError),
}

/// The body of a block for `line`, which ends with its line end, about this interface; whole words of four octets.
pub(super) fn encode(interface: u32, line: &str) -> Vec<u8> {
    let mut out = OWN_MAGIC.to_vec();
    out.extend(interface.to_le_bytes());
    out.extend(line.as_bytes());
    out.resize(out.len().next_multiple_of(4), 0);
    out
}

/// Reads a body; `None` where it is somebody else's.
pub(super) fn decode(body: &[u8], little: bool) -> Option<Result<(u32, Own), OwnFault>> {
    let (&layout, name) = OWN_MAGIC.split_last()?;
    let rest = body.strip_prefix(name)?;
    Some(match rest.split_first() {
        Some((&n, rest)) if n == layout => decode_line(rest, little),
        Some((&n, _)) => Err(OwnFault::Layout(n)),
        None => Err(OwnFault::Cut),
    })
}

fn decode_line(rest: &[u8], little: bool) -> Result<(u32, Own), OwnFault> {
    let (interface, text) = rest.split_first_chunk().ok_or(OwnFault::Cut)?;
    let interface = if little { u32::from_le_bytes(*interface) } else { u32::from_be_bytes(*interface) };
    let end = text.iter().rposition(|o| *o != 0).map_or(0, |last| last + 1);
    let text = core::str::from_utf8(&text[..end])
        .map_err(|e| OwnFault::Line(LineError::Json(format!("it is no text: {e}"))))?;
    match text.strip_suffix('\n') {
        None => Err(OwnFault::Cut),
        Some("") => Ok((interface, Own::Break)),
        Some(line) => parse_line(line).map(|line| (interface, Own::Line(line))).map_err(OwnFault::Line),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The layout of [PC-04], octet by octet.
    #[test]
    fn the_layout_is_that_of_the_notes() {
        let body = encode(2, "{\"t\":1,\"e\":1,\"o\":\"FF\"}\n");
        assert_eq!(&body[..12], b"looprig\x01\x02\0\0\0");
        assert_eq!(&body[12..], b"{\"t\":1,\"e\":1,\"o\":\"FF\"}\n\0");
        let Some(Ok((2, Own::Line(LogLine::Record(record))))) = decode(&body, true) else {
            panic!("a record")
        };
        assert_eq!(record.octets[0].value, 0xFF);
        assert_eq!(decode(&encode(0, "\n"), true), Some(Ok((0, Own::Break))));
        // The interface's number is in the byte order of the section.
        assert!(matches!(decode(&body, false), Some(Ok((0x0200_0000, _)))));
    }

    #[test]
    fn other_blocks_and_bad_ones() {
        assert_eq!(decode(b"somebody", true), None);
        assert_eq!(decode(b"", true), None);
        assert_eq!(decode(b"looprig", true), Some(Err(OwnFault::Cut)));
        assert_eq!(decode(b"looprig\x02....", true), Some(Err(OwnFault::Layout(2))));
        assert_eq!(decode(b"looprig\x01\0\0\0", true), Some(Err(OwnFault::Cut)));
        assert_eq!(decode(b"looprig\x01\0\0\0\0{\"t\":1", true), Some(Err(OwnFault::Cut)));
        assert!(matches!(decode(b"looprig\x01\0\0\0\0\xFF\n", true), Some(Err(OwnFault::Line(_)))));
        assert!(matches!(decode(b"looprig\x01\0\0\0\0rubbish\n", true), Some(Err(OwnFault::Line(_)))));
    }
}
