//! Files that other programs write: both byte orders, all forms, what is wrapped around, and what is wrong with them.

use super::{messages, read};
use looprig::capture::{Captured, Fault};
use looprig::time::Instant;

/// Session initiate, the first message of [ICS]'s first capture, and its answer.
const INITIATE: &str = "01 00 00 00 00 02 00 0D 01 00 00 75 30";
const ANSWER: &str = "01 01 00 00 00 02 00 0D 01 00 00 EA 60";

/// Octets in hex, spaces anywhere.
fn hex(text: &str) -> Vec<u8> {
    crate::support::octets(&text.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// Puts files together, in either byte order.
#[derive(Clone, Copy)]
struct Order(bool);

impl Order {
    fn two(self, n: u16) -> [u8; 2] {
        if self.0 { n.to_le_bytes() } else { n.to_be_bytes() }
    }
    fn four(self, n: u32) -> [u8; 4] {
        if self.0 { n.to_le_bytes() } else { n.to_be_bytes() }
    }
    fn block(self, kind: u32, body: &[u8]) -> Vec<u8> {
        let padded = body.len().next_multiple_of(4);
        let length = self.four(padded as u32 + 12);
        [&self.four(kind)[..], &length, body, &[0; 3][..padded - body.len()], &length].concat()
    }
    fn section(self) -> Vec<u8> {
        let body = [&self.four(0x1A2B_3C4D)[..], &self.two(1), &self.two(0), &[0xFF; 8]].concat();
        self.block(0x0A0D_0D0A, &body)
    }
    /// An interface with a unit of time, and an offset in seconds.
    fn interface(self, link: u16, unit: Option<u8>, offset: Option<u32>) -> Vec<u8> {
        let mut body = [&self.two(link)[..], &[0, 0], &self.four(0)].concat();
        if let Some(unit) = unit {
            body.extend([&self.two(9)[..], &self.two(1), &[unit, 0, 0, 0]].concat());
        }
        if let Some(offset) = offset {
            let high_first = [0, offset];
            let words = if self.0 { [offset, 0] } else { high_first };
            body.extend(
                [&self.two(14)[..], &self.two(8), &self.four(words[0]), &self.four(words[1])].concat(),
            );
        }
        self.block(1, &body)
    }
    fn enhanced(self, interface: u32, at: u64, packet: &[u8]) -> Vec<u8> {
        let n = self.four(packet.len() as u32);
        let times = [self.four((at >> 32) as u32), self.four(at as u32)].concat();
        let mut body = [&self.four(interface)[..], &times, &n, &n, packet].concat();
        body.resize(body.len().next_multiple_of(4), 0);
        self.block(6, &body)
    }
    fn pcap(self, nano: bool, link: u32, packets: &[(u32, u32, Vec<u8>)]) -> Vec<u8> {
        let magic = if nano { 0xA1B2_3C4D } else { 0xA1B2_C3D4 };
        let mut out =
            [&self.four(magic)[..], &self.two(2), &self.two(4), &[0; 8], &self.four(65535), &self.four(link)]
                .concat();
        for (seconds, fraction, packet) in packets {
            let n = self.four(packet.len() as u32);
            out.extend([&self.four(*seconds)[..], &self.four(*fraction), &n, &n, packet].concat());
        }
        out
    }
}

const ORDERS: [Order; 2] = [Order(true), Order(false)];

/// An IPv4 packet: client 10.0.0.1:40000, server 10.0.0.2 at `port`; `back` is the way of answers.
fn udp(back: bool, port: u16, payload: &[u8]) -> Vec<u8> {
    let (length, total) = ((8 + payload.len()) as u16, (28 + payload.len()) as u16);
    let (mut from, mut to) = ([10, 0, 0, 1], [10, 0, 0, 2]);
    let mut ports = [40_000u16.to_be_bytes(), port.to_be_bytes()];
    if back {
        std::mem::swap(&mut from, &mut to);
        ports.swap(0, 1);
    }
    let head = [0x45, 0, (total >> 8) as u8, total as u8, 0, 0, 0x40, 0, 64, 17, 0, 0];
    [&head[..], &from, &to, &ports.concat(), &length.to_be_bytes(), &[0, 0], payload].concat()
}

fn tcp(sequence: u32, flags: u8, payload: &[u8]) -> Vec<u8> {
    let total = (40 + payload.len()) as u16;
    let head =
        [0x45, 0, (total >> 8) as u8, total as u8, 0, 0, 0x40, 0, 64, 6, 0, 0, 10, 0, 0, 1, 10, 0, 0, 2];
    let ports = [40_000u16.to_be_bytes(), 5094u16.to_be_bytes()].concat();
    [&head[..], &ports, &sequence.to_be_bytes(), &[0; 4], &[0x50, flags, 0xFF, 0xFF, 0, 0, 0, 0], payload]
        .concat()
}

fn exchange() -> (Vec<u8>, Vec<u8>) {
    (udp(false, 5094, &hex(INITIATE)), udp(true, 5094, &hex(ANSWER)))
}

/// Both messages are there, of one flow, the second so many nanoseconds later.
fn assert_exchange(file: &[u8], later_ns: u64, what: &str) {
    let (passed, problems) = messages(file);
    assert_eq!(problems, Vec::<String>::new(), "{what}");
    let found: Vec<_> = passed.iter().map(|p| (p.at, p.flow, p.octets.to_vec())).collect();
    let at = Instant::from_nanos(later_ns);
    assert_eq!(found, [(Instant::ZERO, 1, hex(INITIATE)), (at, 1, hex(ANSWER))], "{what}");
}

#[test]
fn pcap_in_its_four_forms() {
    let (asked, answered) = exchange();
    for order in ORDERS {
        for (nano, unit) in [(false, 1000), (true, 1)] {
            let packets = [(1_700_000_000, 999_999, asked.clone()), (1_700_000_001, 4, answered.clone())];
            let file = order.pcap(nano, 101, &packets);
            assert_exchange(&file, 1_000_000_000 - 999_995 * unit, "pcap");
        }
    }
}

/// Sections of both orders, interfaces with microseconds, nanoseconds, milliseconds, powers of two, and an offset.
#[test]
fn sections_and_interfaces_with_units_of_their_own() {
    let (asked, answered) = exchange();
    for order in ORDERS {
        for (unit, offset, first, second, later_ns) in [
            (None, None, 1_700_000_000_000_000, 1_700_000_000_000_250, 250_000),
            (Some(9), None, 1_700_000_000_000_000_000, 1_700_000_000_000_000_123, 123),
            (Some(3), None, 1_700_000_000_000, 1_700_000_000_002, 2_000_000),
            (Some(6), Some(1_600_000_000), 5, 9, 4_000),
            // 2^-20 s: 512 of them are 1/2048 s = 488281.25 ns.
            (Some(0x80 | 20), None, 1_700_000_000 << 20, (1_700_000_000 << 20) + 512, 488_281),
        ] {
            let file = [
                order.section(),
                order.interface(147, None, None),
                order.interface(101, unit, offset),
                order.enhanced(1, first, &asked),
                // Statistics and blocks that nobody knows.
                order.block(5, &[0; 12]),
                order.block(0x0000_0B00, b"whatever"),
                order.block(0x8000_4C52, b"somebody else's"),
                order.enhanced(1, second, &answered),
            ];
            assert_exchange(&file.concat(), later_ns, &format!("unit {unit:?}"));
        }
    }
    // The second section has interfaces of its own, and the other byte order.
    let [little, big] = ORDERS;
    let two = [
        little.section(),
        little.interface(101, None, None),
        little.enhanced(0, 1_700_000_000_000_000, &asked),
        big.section(),
        big.interface(1, Some(9), None),
        big.enhanced(
            0,
            1_700_000_001_000_000_000,
            &[&hex("02 00 00 00 00 01 02 00 00 00 00 02 08 00")[..], &answered].concat(),
        ),
    ];
    assert_exchange(&two.concat(), 1_000_000_000, "two sections");
}

/// A simple packet has no time: it has that of the packet before. An old packet block has one.
#[test]
fn simple_and_old_packet_blocks() {
    let (asked, answered) = exchange();
    for order in ORDERS {
        let length = order.four(answered.len() as u32);
        let simple = order.block(3, &[&length[..], &answered].concat());
        let old =
            [&order.two(0)[..], &order.two(0), &order.four(0), &order.four(7), &length, &length, &answered]
                .concat();
        let start =
            [order.section(), order.interface(101, None, None), order.enhanced(0, 3, &asked)].concat();
        assert_exchange(&[start.clone(), simple].concat(), 0, "simple");
        assert_exchange(&[start, order.block(2, &old)].concat(), 4_000, "old");
    }
}

/// Segments out of order and twice, messages across them, within two VLAN tags.
#[test]
fn a_stream_of_tcp() {
    let order = ORDERS[0];
    let text: Vec<u8> =
        [hex(INITIATE), hex("01 00 02 00 00 03 00 08"), hex("01 00 01 00 00 04 00 08")].concat();
    let ethernet = |packet: Vec<u8>| {
        [&hex("02 00 00 00 00 01 02 00 00 00 00 02 88 A8 00 05 81 00 00 06 08 00")[..], &packet].concat()
    };
    let mut segments = vec![tcp(999, 2, &[])];
    for (from, to) in [(0, 5), (20, 29), (5, 15), (5, 15), (15, 20)] {
        segments.push(tcp(1000 + from as u32, 0x18, &text[from..to]));
    }
    segments.push(tcp(1029, 0x11, &[]));
    let packets: Vec<_> = segments.into_iter().zip(0..).map(|(p, n)| (n, 0, ethernet(p))).collect();
    let (passed, problems) = messages(&order.pcap(false, 1, &packets));
    assert_eq!(problems, Vec::<String>::new());
    let found: Vec<_> = passed.iter().map(|p| (p.tcp, p.octets.to_vec())).collect();
    assert_eq!(
        found,
        [(true, text[..13].to_vec()), (true, text[13..21].to_vec()), (true, text[21..].to_vec())]
    );
    // Without the third segment: what is missing is told, and the last message is found again.
    let packets: Vec<_> = packets.into_iter().filter(|(n, ..)| !matches!(n, 3 | 4)).collect();
    let (_, problems) = messages(&order.pcap(false, 1, &packets));
    assert!(
        problems.iter().any(|p| p.contains("10 octets of the stream are not in the capture")),
        "{problems:?}"
    );
}

/// A server that answers from another port than it was asked at [IP-01] is of the same flow; what is no HART-IP is counted.
#[test]
fn other_ports_and_other_packets() {
    let (asked, _) = exchange();
    let answered = udp(true, 5095, &hex(ANSWER));
    let other = udp(false, 53, b"\x12\x34\x01\x00\x00\x01");
    let packets = [(0, 0, asked), (0, 1, other), (0, 2, answered)];
    assert_exchange(&ORDERS[0].pcap(true, 101, &packets), 2, "another port");
}

/// What is wrong is told with its place, and what is before it stands.
#[test]
fn what_is_wrong_is_told_with_its_place() {
    let (asked, answered) = exchange();
    for order in ORDERS {
        let start =
            [order.section(), order.interface(101, None, None), order.enhanced(0, 0, &asked)].concat();
        let n = start.len();
        let good = order.enhanced(0, 0, &answered);
        let mut short = good.clone();
        short[4..8].copy_from_slice(&order.four(8));
        let mut odd = good.clone();
        odd[4..8].copy_from_slice(&order.four(good.len() as u32 - 2));
        let mut other_end = good.clone();
        let end = other_end.len() - 4;
        other_end[end..].copy_from_slice(&order.four(64));
        let mut huge = good.clone();
        huge[4..8].copy_from_slice(&order.four(0xFFFF_FFF0));
        let mut newer = order.section();
        newer[12..14].copy_from_slice(&order.two(2));
        for (what, bad, says) in [
            ("a length of 8", short, "has a length that cannot be, 8"),
            ("a length of no whole words", odd, "has a length that cannot be"),
            ("two lengths", other_end, "another length at its end"),
            ("4 GiB", huge, "the file ends within the block"),
            ("a newer section", newer, "is of format 2"),
            ("half a block", good[..20].to_vec(), "the file ends within the block"),
        ] {
            let behind = if what == "half a block" { &[][..] } else { &good };
            let (passed, problems) = messages(&[&start[..], &bad, behind].concat());
            assert_eq!(passed.len(), 1, "{what}");
            assert_eq!(problems.len(), 1, "{what}: {problems:?}");
            assert!(problems[0].contains(says), "{what}: {problems:?}");
            assert!(problems[0].contains(&format!("octet {n}")), "{what}: {problems:?}");
        }
        // What is bad within a block loses that block alone.
        let mut lying = good.clone();
        lying[20..24].copy_from_slice(&order.four(4000));
        let fragment = {
            let mut p = answered.clone();
            p[6] = 0x20;
            order.enhanced(0, 0, &p)
        };
        for (what, bad, says) in [
            ("more octets than the block has", lying, "packet or block 4"),
            ("an interface that is not there", order.enhanced(7, 0, &asked), "packet or block 4"),
            ("a fragment", fragment, "fragments are not put together"),
            ("an interface with a unit that is none", order.interface(101, Some(99), None), "interface"),
        ] {
            let (passed, problems) = messages(&[&start[..], &bad, &good].concat());
            assert_eq!((passed.len(), problems.len()), (2, 1), "{what}: {problems:?}");
            assert!(
                problems[0].contains(says) && problems[0].contains(&format!("octet {n},")),
                "{problems:?}"
            );
        }
    }
}

/// After an interface that cannot be read the next one still has its own number.
#[test]
fn interfaces_keep_their_numbers() {
    let (asked, answered) = exchange();
    let order = ORDERS[0];
    let file = [
        order.section(),
        order.interface(101, Some(99), None),
        order.interface(101, None, None),
        order.enhanced(0, 0, &asked),
        order.enhanced(1, 0, &answered),
    ];
    let (passed, problems) = messages(&file.concat());
    assert_eq!(passed.iter().map(|p| p.octets.to_vec()).collect::<Vec<_>>(), [hex(ANSWER)]);
    assert_eq!(problems.len(), 1, "{problems:?}");
}

/// Unknown link types are told once each.
#[test]
fn unknown_links() {
    let packets = [(0, 0, vec![1, 2, 3]), (0, 1, vec![4]), (0, 2, vec![])];
    let (passed, problems) = messages(&ORDERS[1].pcap(false, 147, &packets));
    assert_eq!((passed.len(), problems.len()), (0, 1));
    assert!(problems[0].contains("link type 147"), "{problems:?}");
}

/// Every beginning of good files, and variants of pcap, are survived and told.
#[test]
fn cut_files() {
    let (asked, answered) = exchange();
    let order = ORDERS[0];
    let pcap = order.pcap(true, 101, &[(0, 0, asked.clone()), (0, 0, answered.clone())]);
    let ends = [24, 24 + 16 + asked.len(), pcap.len()];
    for n in 4..pcap.len() {
        let got = read(&pcap[..n]);
        let cut =
            got.iter().filter(|c| matches!(c, Captured::Problem(p) if p.fault == Fault::CaptureCut)).count();
        assert_eq!(cut, usize::from(!ends.contains(&n)), "{n}");
        assert_eq!(got.len() - cut, ends[1..].iter().filter(|end| **end <= n).count());
    }
    let variant = [&hex("34 CD B2 A1")[..], &[0; 60]].concat();
    let (_, problems) = messages(&variant);
    assert!(problems[0].contains("variant of pcap"), "{problems:?}");
    let (_, problems) = messages(&[&hex("0A 0D 0D 0A 1C 00 00 00 11 22 33 44")[..], &[0; 40]].concat());
    assert!(problems[0].contains("byte order"), "{problems:?}");
}
