//! What a line carried as a pcapng file: frames as HART-IP packets that any analyser shows, and beside them blocks of local
//! use with what packets cannot hold [PC-03] [PC-04].

use super::super::log::{Direction, Header, Record, write_remark};
use super::super::signal::SignalRemark;
use super::own::{self, OWN_BLOCK};
use super::utc::utc_ns;
use crate::frame::{Frame, FrameType, Good, Master, Receiver, ReceiverConfig, Reception};
use crate::ip::{Id, Message, PORT, Type};
use crate::time::Instant;
use core::fmt;
use core::fmt::Write;
use core::time::Duration;
use pcap_file::pcapng::PcapNgBlock;
use pcap_file::pcapng::PcapNgWriter;
use pcap_file::pcapng::blocks::enhanced_packet::{EnhancedPacketBlock, EnhancedPacketOption};
use pcap_file::pcapng::blocks::interface_description::{
    InterfaceDescriptionBlock, InterfaceDescriptionOption, InterfaceTsResolution,
};
use pcap_file::pcapng::blocks::opt_common::CommonOption;
use pcap_file::pcapng::blocks::section_header::{SectionHeaderBlock, SectionHeaderOption};
use pcap_file::pcapng::blocks::unknown::UnknownBlock;
use pcap_file::{DataLink, Endianness};
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};

/// Where the devices of a line are said to be: an address that is for documents alone (RFC 5737).
pub const LINE_ADDRESS: Ipv4Addr = Ipv4Addr::new(192, 0, 2, 100);
/// Where the primary and the secondary master are said to be, and their ports.
pub const MASTER_ADDRESSES: [(Ipv4Addr, u16); 2] =
    [(Ipv4Addr::new(192, 0, 2, 1), 49_153), (Ipv4Addr::new(192, 0, 2, 2), 49_154)];

/// Begins with [`own::OF_WIRE`], by which a reader knows the interface.
const MADE_UP: &str = "The packets were made by looprig from octets heard on a wire: IP addresses, ports, sequence numbers and session are made \
up, the HART frames and their times are true. What is no whole frame stands in blocks of local use, which `looprig decode` shows.";

/// Interfaces of one section: a log that was continued very often gets another one.
const MOST_INTERFACES: u32 = 256;

/// Longest description of an interface, letters.
const LONGEST_NAME: usize = 1000;

/// What an octet's place in an IP packet can hold at the most, behind the headers of IPv4 and UDP.
const LONGEST_PAYLOAD: usize = 65_535 - 28;

/// Makes the file piece by piece: call what happened, then write what [`PacketWriter::take`] gives.
pub struct PacketWriter {
    file: Option<PcapNgWriter<Vec<u8>>>,
    interfaces: u32,
    /// The interface of the line that is being heard.
    line: Option<Line>,
    /// The interface for messages that passed on a network, when there is one.
    network: Option<u32>,
}

#[derive(Debug)]
struct Line {
    interface: u32,
    name: String,
    zero_ns: u64,
    header: Option<Header>,
    receiver: Receiver,
    direction: Option<Direction>,
    /// By master, primary first: the last request's number, and the last burst's.
    requests: [u16; 2],
    bursts: [u16; 2],
    /// Since the last packet: damaged frames, octets of noise.
    damaged: usize,
    noise: usize,
    told: bool,
}

impl fmt::Debug for PacketWriter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("PacketWriter").field("line", &self.line).finish_non_exhaustive()
    }
}

impl Default for PacketWriter {
    fn default() -> Self {
        PacketWriter::new()
    }
}

impl PacketWriter {
    /// A file with its section's header.
    pub fn new() -> Self {
        let file = PcapNgWriter::with_section_header(Vec::new(), section()).ok();
        PacketWriter { file, interfaces: 0, line: None, network: None }
    }

    /// What is to be written behind what was taken before.
    pub fn take(&mut self) -> Vec<u8> {
        self.file.as_mut().map(|f| core::mem::take(f.get_mut())).unwrap_or_default()
    }

    /// A capture begins, or goes on in another file of its log [LG-03].
    pub fn begin(&mut self, header: &Header) {
        let continued =
            matches!(&self.line, Some(Line { header: Some(before), .. }) if header.continues(before));
        if !continued {
            self.finish();
            let receiver = ReceiverConfig::for_line(header.pace(), header.stamp_error());
            let zero_ns = utc_ns(&header.start_utc).unwrap_or(0);
            self.begin_line(&header.line, zero_ns, receiver);
        }
        let mut text = serde_json::to_string(header).unwrap_or_default();
        text.push('\n');
        self.own(&text);
        if let Some(line) = &mut self.line {
            line.header = Some(header.clone());
        }
    }

    /// Octets follow whose times mean nothing, such as those of a file of hex text.
    pub fn begin_untimed(&mut self, name: &str) {
        self.finish();
        self.begin_line(name, 0, ReceiverConfig::UNTIMED);
    }

    /// A reception, behind [`PacketWriter::begin`] or [`PacketWriter::begin_untimed`].
    pub fn record(&mut self, record: &Record) {
        let (Some(first), Some(_)) = (record.octets.first(), &self.line) else { return };
        self.handle_timeout(first.at);
        let mut text = String::new();
        record.write(&mut text);
        self.own(&text);
        if let Some(line) = &mut self.line {
            line.direction = record.direction;
            line.receiver.push(&record.octets);
        }
        self.pass_on();
    }

    /// What was noticed of the signal of receptions before it [LG-05].
    pub fn remark(&mut self, remark: &SignalRemark) {
        let mut text = String::new();
        write_remark(remark, &mut text);
        if self.line.is_some() && !text.is_empty() {
            self.own(&text);
        }
    }

    /// The octets before stand alone: what follows does not continue them.
    pub fn stands_alone(&mut self) {
        self.finish();
        self.own("\n");
    }

    /// Nothing more has come until `now`, in the line's time.
    pub fn handle_timeout(&mut self, now: Instant) {
        if let Some(line) = &mut self.line {
            line.receiver.handle_timeout(now);
        }
        self.pass_on();
    }

    /// Accounts for what has begun on the line and not ended.
    pub fn finish(&mut self) {
        if let Some(line) = &mut self.line {
            line.receiver.finish();
        }
        self.pass_on();
    }

    /// HART-IP messages that passed on a network, `at_ns` after 1970, with the addresses that they had; what came by TCP is
    /// written as a datagram and says so. False where they are too long for a datagram, and nothing was written.
    pub fn messages(
        &mut self,
        at_ns: u64,
        from: SocketAddr,
        to: SocketAddr,
        tcp: bool,
        octets: &[u8],
    ) -> bool {
        let Some(packet) = datagram(from, to, octets) else { return false };
        let interface = match self.network {
            Some(interface) => interface,
            None => {
                let said = "HART-IP messages with their own addresses; everything else around them was made by looprig";
                // A line that is heard at the same time goes on, in the new section if one begins.
                let line = self.line.take();
                let interface = self.interface("network", said);
                self.network = Some(interface);
                self.line = line;
                if interface == 0 {
                    self.line_again();
                }
                interface
            }
        };
        let options =
            if tcp { vec![comment("came by TCP; shown as a datagram by looprig")] } else { Vec::new() };
        self.packet(interface, at_ns, packet, options);
        true
    }

    /// In a new section the line that is being heard needs an interface and a header of that section.
    fn line_again(&mut self) {
        let Some(mut line) = self.line.take() else { return };
        line.interface = self.interface(&line.name, MADE_UP);
        let header = line.header.as_mut();
        let text = header.and_then(|header| {
            header.part = Some(header.part.unwrap_or(1).saturating_add(1));
            serde_json::to_string(header).ok()
        });
        self.line = Some(line);
        if let Some(text) = text {
            self.own(&(text + "\n"));
        }
    }

    fn begin_line(&mut self, name: &str, zero_ns: u64, receiver: ReceiverConfig) {
        let interface = self.interface(name, MADE_UP);
        self.line = Some(Line {
            interface,
            name: name.to_owned(),
            zero_ns,
            header: None,
            receiver: Receiver::new(receiver),
            direction: None,
            requests: [0; 2],
            bursts: [0; 2],
            damaged: 0,
            noise: 0,
            told: false,
        });
    }

    fn interface(&mut self, name: &str, description: &str) -> u32 {
        if self.interfaces >= MOST_INTERFACES {
            self.write(section());
            (self.interfaces, self.line, self.network) = (0, None, None);
        }
        let mut block = InterfaceDescriptionBlock::new(DataLink::RAW, 0);
        let name: String = name.chars().take(LONGEST_NAME).collect();
        block.options = vec![
            InterfaceDescriptionOption::IfName(name.into()),
            InterfaceDescriptionOption::IfDescription(description.into()),
            InterfaceDescriptionOption::IfTsResol(InterfaceTsResolution::NANO),
        ];
        self.write(block);
        self.interfaces += 1;
        self.interfaces - 1
    }

    /// A line of the log in a block of local use.
    fn own(&mut self, text: &str) {
        let Some(line) = &self.line else { return };
        let body = own::encode(line.interface, text);
        self.write(UnknownBlock::new(OWN_BLOCK, 0, &body));
    }

    fn pass_on(&mut self) {
        while let Some(reception) = self.line.as_mut().and_then(|line| line.receiver.next()) {
            match reception {
                Reception::Good(good) => self.frame(&good),
                Reception::Damaged(_) => self.line.iter_mut().for_each(|line| line.damaged += 1),
                Reception::Noise(noise) => {
                    self.line.iter_mut().for_each(|line| line.noise += noise.octets.len());
                }
            }
        }
    }

    fn frame(&mut self, good: &Good) {
        let (Some(line), Some(last)) = (&mut self.line, good.octets.last()) else { return };
        let Some((from, to, message)) = as_message(&good.frame, &mut line.requests, &mut line.bursts) else {
            return;
        };
        let Some(packet) = datagram(from, to, &message.encode()) else { return };
        let mut options = Vec::new();
        // The flags of a packet say by 1 that it came in, by 2 that it went out.
        let flags = line.direction.map(|d| if d == Direction::Received { 1 } else { 2 });
        options.extend(flags.map(EnhancedPacketOption::Flags));
        if !line.told {
            options.push(comment(
                "made by looprig from octets on a wire: addresses, ports and sequence numbers are made up",
            ));
            line.told = true;
        }
        if line.damaged + line.noise > 0 {
            let mut text = "before it on the wire: ".to_owned();
            let _ = write!(text, "{} damaged frame(s), {} octet(s) of noise", line.damaged, line.noise);
            options.push(comment(&text));
            (line.damaged, line.noise) = (0, 0);
        }
        let (interface, at_ns) = (line.interface, line.zero_ns.saturating_add(last.at.as_nanos()));
        self.packet(interface, at_ns, packet, options);
    }

    fn packet(
        &mut self,
        interface: u32,
        at_ns: u64,
        packet: Vec<u8>,
        options: Vec<EnhancedPacketOption<'_>>,
    ) {
        self.write(EnhancedPacketBlock {
            interface_id: interface,
            timestamp: Duration::from_nanos(at_ns),
            original_len: packet.len() as u32,
            data: packet.into(),
            options,
        });
    }

    fn write<'b, B: PcapNgBlock<'b>>(&mut self, block: B) {
        if let Some(file) = &mut self.file {
            let before = file.get_ref().len();
            // It goes into memory, and every part of it fits its field; half a block would spoil the file.
            if file.write_pcapng_block(block).is_err() {
                file.get_mut().truncate(before);
            }
        }
    }
}

fn section() -> SectionHeaderBlock<'static> {
    SectionHeaderBlock {
        endianness: Endianness::Little,
        options: vec![
            SectionHeaderOption::Common(CommonOption::Comment(MADE_UP.into())),
            SectionHeaderOption::UserApplication(concat!("looprig ", env!("CARGO_PKG_VERSION")).into()),
        ],
        ..SectionHeaderBlock::default()
    }
}

fn comment(text: &str) -> EnhancedPacketOption<'static> {
    EnhancedPacketOption::Common(CommonOption::Comment(text.to_owned().into()))
}

/// A frame as the message that a HART-IP server and its client would pass, and their addresses.
fn as_message(
    frame: &Frame,
    requests: &mut [u16; 2],
    bursts: &mut [u16; 2],
) -> Option<(SocketAddr, SocketAddr, Message)> {
    let master = usize::from(frame.address().master == Master::Secondary);
    let (address, port) = MASTER_ADDRESSES[master];
    let (asks, answers) = (SocketAddr::from((address, port)), SocketAddr::from((LINE_ADDRESS, PORT)));
    let (from, to, kind, sequence) = match frame.frame_type() {
        FrameType::Stx => {
            requests[master] = requests[master].wrapping_add(1);
            (asks, answers, Type::Request, requests[master])
        }
        FrameType::Ack => (answers, asks, Type::Response, requests[master]),
        FrameType::Back => {
            bursts[master] = bursts[master].wrapping_add(1);
            (answers, asks, Type::Publish, bursts[master])
        }
    };
    let message = Message::new(kind, Id::TokenPdu, sequence, frame.encode()).ok()?;
    Some((from, to, message))
}

/// An IP packet with a datagram in it; `None` where it would be too long, or the addresses are of two kinds.
fn datagram(from: SocketAddr, to: SocketAddr, payload: &[u8]) -> Option<Vec<u8>> {
    if payload.len() > LONGEST_PAYLOAD {
        return None;
    }
    let length = (8 + payload.len()) as u16;
    let mut udp = Vec::with_capacity(usize::from(length));
    for word in [from.port(), to.port(), length, 0] {
        udp.extend(word.to_be_bytes());
    }
    udp.extend(payload);
    let (mut packet, pseudo) = match (from.ip(), to.ip()) {
        (IpAddr::V4(from), IpAddr::V4(to)) => ipv4_header(from, to, length),
        (IpAddr::V6(from), IpAddr::V6(to)) => ipv6_header(from, to, length),
        _ => return None,
    };
    // 0 would say that there is none.
    let sum = match checksum(&[&pseudo, &udp]) {
        0 => 0xFFFF,
        sum => sum,
    };
    udp[6..8].copy_from_slice(&sum.to_be_bytes());
    packet.extend(udp);
    Some(packet)
}

/// The header, and what of it the sum of UDP covers.
fn ipv4_header(from: Ipv4Addr, to: Ipv4Addr, length: u16) -> (Vec<u8>, Vec<u8>) {
    let total = (20 + length).to_be_bytes();
    // Not to be fragmented, 64 hops, UDP.
    let mut header = vec![0x45, 0, total[0], total[1], 0, 0, 0x40, 0, 64, 17, 0, 0];
    header.extend(from.octets());
    header.extend(to.octets());
    let sum = checksum(&[&header]).to_be_bytes();
    header[10..12].copy_from_slice(&sum);
    let pseudo = [&from.octets()[..], &to.octets(), &[0, 17], &length.to_be_bytes()].concat();
    (header, pseudo)
}

fn ipv6_header(from: Ipv6Addr, to: Ipv6Addr, length: u16) -> (Vec<u8>, Vec<u8>) {
    let n = length.to_be_bytes();
    let ends = [from.octets(), to.octets()].concat();
    let header = [&[0x60, 0, 0, 0, n[0], n[1], 17, 64][..], &ends].concat();
    let pseudo = [&ends[..], &[0, 0, n[0], n[1], 0, 0, 0, 17]].concat();
    (header, pseudo)
}

/// The sum over words of two octets that IP and UDP have; every part but the last is whole words.
fn checksum(parts: &[&[u8]]) -> u16 {
    let words = parts.iter().flat_map(|part| part.chunks(2));
    let mut sum: u32 = words.map(|w| u32::from(w[0]) << 8 | w.get(1).map_or(0, |o| u32::from(*o))).sum();
    while sum > 0xFFFF {
        sum = (sum & 0xFFFF) + (sum >> 16);
    }
    !(sum as u16)
}
