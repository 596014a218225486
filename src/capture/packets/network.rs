//! What is around the octets of a packet: link, IPv4 or IPv6, UDP or TCP [PC-02].

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};

/// VLAN tags that are passed over in one packet.
const MOST_TAGS: usize = 8;
/// Extension headers of IPv6 that are passed over in one packet.
const MOST_EXTENSIONS: usize = 8;

/// What a packet carries from one place to another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Segment<'a> {
    pub from: SocketAddr,
    pub to: SocketAddr,
    pub transport: Transport,
    pub payload: &'a [u8],
    /// Octets of the payload that the capture does not have.
    pub missing: usize,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Transport {
    Udp,
    Tcp {
        /// Of the first octet of the payload, or of the connection's beginning.
        sequence: u32,
        begins: bool,
        ends: bool,
    },
}

/// Why a packet is passed over.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Pass {
    /// It carries neither UDP nor TCP.
    Other,
    /// It might, and cannot be read, for the reason given.
    Unread(String),
    /// Nothing is known about packets of this link type.
    Link(u32),
}

fn unread<T>(why: &str) -> Result<T, Pass> {
    Err(Pass::Unread(why.to_owned()))
}

fn u16_at(octets: &[u8], at: usize) -> Option<usize> {
    Some(usize::from(u16::from_be_bytes(octets.get(at..at.checked_add(2)?)?.try_into().ok()?)))
}

/// Takes apart a packet of a link type, by its number in the registry of [PCAPNG].
pub(super) fn dissect(link: u32, packet: &[u8]) -> Result<Segment<'_>, Pass> {
    const CUT: &str = "it ends within the header of its link";
    let (protocol, at) = match link {
        // BSD loopback: the family in the byte order of whoever wrote it; the version tells as well.
        0 | 108 => (None, 4),
        1 => ethernet(packet).ok_or(Pass::Unread(CUT.into()))?,
        12 | 14 | 101 | 228 | 229 => (None, 0),
        113 => (Some(u16_at(packet, 14).ok_or(Pass::Unread(CUT.into()))?), 16),
        276 => (Some(u16_at(packet, 0).ok_or(Pass::Unread(CUT.into()))?), 20),
        other => return Err(Pass::Link(other)),
    };
    let packet = packet.get(at..).ok_or(Pass::Unread(CUT.into()))?;
    let version = packet.first().map(|o| o >> 4);
    match (protocol, version) {
        (Some(0x0800) | None, Some(4)) => ipv4(packet),
        (Some(0x86DD) | None, Some(6)) => ipv6(packet),
        (Some(0x0800 | 0x86DD), _) => unread("it is said to be of IP, and its version is another one"),
        (_, None) => unread(CUT),
        _ => Err(Pass::Other),
    }
}

/// The protocol inside, VLAN tags passed over, and where it begins.
fn ethernet(packet: &[u8]) -> Option<(Option<usize>, usize)> {
    let mut at = 12;
    for _ in 0..=MOST_TAGS {
        match u16_at(packet, at)? {
            0x8100 | 0x88A8 | 0x9100 => at += 4,
            protocol => return Some((Some(protocol), at + 2)),
        }
    }
    Some((Some(0), at))
}

fn ipv4(packet: &[u8]) -> Result<Segment<'_>, Pass> {
    const CUT: &str = "it ends within its IPv4 header";
    let Some(fixed) = packet.first_chunk::<20>() else { return unread(CUT) };
    let header = usize::from(fixed[0] & 15) * 4;
    let total = usize::from(u16::from_be_bytes([fixed[2], fixed[3]]));
    if !matches!(fixed[9], 6 | 17) {
        return Err(Pass::Other);
    }
    if header < 20 || total != 0 && total < header {
        return unread("its IPv4 header has lengths that cannot be");
    }
    if u16::from_be_bytes([fixed[6], fixed[7]]) & 0x3FFF != 0 {
        return unread("it is a fragment of an IPv4 packet, and fragments are not put together");
    }
    let Some(rest) = packet.get(header..) else { return unread(CUT) };
    let from = Ipv4Addr::from([fixed[12], fixed[13], fixed[14], fixed[15]]);
    let to = Ipv4Addr::from([fixed[16], fixed[17], fixed[18], fixed[19]]);
    // A length of 0 is what a card leaves that cuts packets up itself: then all of it counts.
    let length = if total == 0 { rest.len() } else { total - header };
    inner(fixed[9], from.into(), to.into(), rest, length)
}

fn ipv6(packet: &[u8]) -> Result<Segment<'_>, Pass> {
    const CUT: &str = "it ends within its IPv6 headers";
    let Some(fixed) = packet.first_chunk::<40>() else { return unread(CUT) };
    let address = |at: usize| -> Ipv6Addr {
        let mut octets = [0; 16];
        octets.copy_from_slice(&fixed[at..at + 16]);
        octets.into()
    };
    let (from, to) = (IpAddr::from(address(8)), IpAddr::from(address(24)));
    let said = usize::from(u16::from_be_bytes([fixed[4], fixed[5]]));
    let (mut rest, mut next) = (&packet[40..], fixed[6]);
    let mut length = if said == 0 { rest.len() } else { said };
    for _ in 0..=MOST_EXTENSIONS {
        match next {
            6 | 17 => return inner(next, from, to, rest, length),
            44 => return unread("it is a fragment of an IPv6 packet, and fragments are not put together"),
            // Hop by hop, routing, destination; authentication counts in other units.
            0 | 43 | 51 | 60 => {
                let Some(&[after, n]) = rest.first_chunk::<2>() else { return unread(CUT) };
                let size = if next == 51 { (usize::from(n) + 2) * 4 } else { (usize::from(n) + 1) * 8 };
                let (Some(behind), Some(left)) = (rest.get(size..), length.checked_sub(size)) else {
                    return unread(CUT);
                };
                (rest, length, next) = (behind, left, after);
            }
            _ => return Err(Pass::Other),
        }
    }
    unread("it has more extension headers of IPv6 than anybody sends")
}

/// UDP or TCP in `octets`, which by the headers around them should be `length`.
fn inner(protocol: u8, from: IpAddr, to: IpAddr, octets: &[u8], length: usize) -> Result<Segment<'_>, Pass> {
    // What a card pads short packets with is none of it.
    let octets = &octets[..octets.len().min(length)];
    let port = |at| u16_at(octets, at).map(|n| n as u16);
    let (Some(from_port), Some(to_port)) = (port(0), port(2)) else {
        return unread("it ends before its ports");
    };
    let (from, to) = (SocketAddr::new(from, from_port), SocketAddr::new(to, to_port));
    let (header, length, transport) = if protocol == 17 {
        let Some(said) = u16_at(octets, 4) else { return unread("it ends within its UDP header") };
        if said != 0 && (said < 8 || said > length) {
            return unread("its UDP header has a length that cannot be");
        }
        (8, if said == 0 { length } else { said }, Transport::Udp)
    } else {
        let (Some(sequence), Some(&[offset, flags])) =
            (octets.get(4..8), octets.get(12..14).and_then(|o| o.first_chunk()))
        else {
            return unread("it ends within its TCP header");
        };
        let header = usize::from(offset >> 4) * 4;
        if header < 20 || header > length {
            return unread("its TCP header has a length that cannot be");
        }
        let sequence = sequence.iter().fold(0, |n, o| n << 8 | u32::from(*o));
        (header, length, Transport::Tcp { sequence, begins: flags & 2 != 0, ends: flags & 5 != 0 })
    };
    let octets = &octets[..octets.len().min(length)];
    let payload = octets.get(header..).unwrap_or_default();
    let missing = length.saturating_sub(header).saturating_sub(payload.len());
    Ok(Segment { from, to, transport, payload, missing })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hex(text: &str) -> Vec<u8> {
        super::super::super::parse_hex_line(text).expect("hex")
    }

    const UDP4: &str = "45 00 00 24 00 00 40 00 40 11 00 00 C0 00 02 01 C0 00 02 64 C0 01 13 E6 00 10 00 00";
    const KEEP_ALIVE: &str = "01 00 02 00 00 0C 00 08";

    fn payload(link: u32, text: &str) -> Result<Vec<u8>, Pass> {
        dissect(link, &hex(text)).map(|s| s.payload.to_vec())
    }

    /// The same datagram behind every kind of link, with padding behind it.
    #[test]
    fn links() {
        let ip = format!("{UDP4} {KEEP_ALIVE} 00 00 00");
        let ends = "02 00 00 00 00 01 02 00 00 00 00 02";
        for (link, before) in [
            (1, format!("{ends} 08 00")),
            (1, format!("{ends} 81 00 00 05 08 00")),
            (1, format!("{ends} 88 A8 00 05 81 00 00 06 08 00")),
            (101, String::new()),
            (228, String::new()),
            (0, "02 00 00 00".into()),
            (108, "00 00 00 02".into()),
            (113, "00 00 00 01 00 06 02 00 00 00 00 01 00 00 08 00".into()),
            (276, "08 00 00 00 00 00 00 01 00 01 00 06 02 00 00 00 00 01 00 00".into()),
        ] {
            let segment =
                dissect(link, &hex(&format!("{before} {ip}"))).map(|s| (s.payload.to_vec(), s.missing));
            assert_eq!(segment, Ok((hex(KEEP_ALIVE), 0)), "link {link} {before}");
        }
        assert_eq!(dissect(147, &[]), Err(Pass::Link(147)));
        let segment = hex(&ip);
        let segment = dissect(101, &segment).expect("UDP");
        assert_eq!(segment.from.to_string(), "192.0.2.1:49153");
        assert_eq!(segment.to.to_string(), "192.0.2.100:5094");
    }

    #[test]
    fn the_sixth_version_and_its_extensions() {
        let ends = format!(
            "{} {}",
            "20 01 0D B8 00 00 00 00 00 00 00 00 00 00 00 01",
            "20 01 0D B8 00 00 00 00 00 00 00 00 00 00 00 02"
        );
        let udp = format!("C0 01 13 E6 00 10 00 00 {KEEP_ALIVE}");
        assert_eq!(payload(229, &format!("60 00 00 00 00 10 11 40 {ends} {udp}")), Ok(hex(KEEP_ALIVE)));
        let hops =
            format!("60 00 00 00 00 20 00 40 {ends} 3C 00 01 04 00 00 00 00 11 00 01 04 00 00 00 00 {udp}");
        assert_eq!(payload(101, &hops), Ok(hex(KEEP_ALIVE)));
        let fragment = format!("60 00 00 00 00 18 2C 40 {ends} 11 00 00 01 00 00 00 07 {udp}");
        assert!(matches!(payload(101, &fragment), Err(Pass::Unread(why)) if why.contains("fragment")));
        // Destination options that say they are longer than the packet.
        let lying = format!("60 00 00 00 00 18 3C 40 {ends} 11 FF 00 00 00 00 00 00 {udp}");
        assert!(matches!(payload(101, &lying), Err(Pass::Unread(_))));
    }

    #[test]
    fn lengths_that_lie() {
        for (what, text) in [
            ("a header of 4 octets", UDP4.replacen("45", "41", 1)),
            ("a total below the header", UDP4.replacen("00 24", "00 13", 1)),
            ("UDP longer than IP says", UDP4.replacen("00 10", "00 11", 1)),
            ("UDP shorter than its header", UDP4.replacen("00 10", "00 07", 1)),
            ("a fragment", UDP4.replacen("40 00", "20 00", 1)),
        ] {
            assert!(matches!(payload(101, &format!("{text} {KEEP_ALIVE}")), Err(Pass::Unread(_))), "{what}");
        }
        assert_eq!(payload(101, &UDP4.replacen("40 11", "40 01", 1)), Err(Pass::Other));
        // What the capture does not have is counted.
        let cut = hex(&format!("{UDP4} 01 00 02"));
        assert_eq!(dissect(101, &cut).map(|s| s.missing), Ok(5));
        // Every beginning of a good packet is survived.
        let whole = hex(&format!("{UDP4} {KEEP_ALIVE}"));
        for n in 0..whole.len() {
            let _ = dissect(101, &whole[..n]);
        }
    }

    #[test]
    fn segments_of_tcp() {
        let text = format!(
            "45 00 00 30 00 00 40 00 40 06 00 00 C0 00 02 01 C0 00 02 64 C0 01 13 E6 00 01 02 03 00 00 00 00 50 18 FF FF 00 00 00 00 {KEEP_ALIVE}"
        );
        let octets = hex(&text);
        let segment = dissect(101, &octets).expect("TCP");
        assert_eq!(segment.transport, Transport::Tcp { sequence: 0x10203, begins: false, ends: false });
        assert_eq!(segment.payload, hex(KEEP_ALIVE));
        // A header of 60 octets in a packet of 28.
        assert!(matches!(payload(101, &text.replacen("50 18", "F0 18", 1)), Err(Pass::Unread(_))));
    }
}
