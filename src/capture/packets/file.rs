//! Where blocks and packets begin and end in a file, pcap or pcapng [PC-01]. What is in a block is read by `pcap_file`; how
//! much of the file a block takes is judged here, so that a length that lies fills no memory and a pipe can be followed.

use super::own::{self, OWN_BLOCK, Own, OwnFault};
use bytes::Bytes;
use core::time::Duration;
use pcap_file::pcap::{PcapParser, PcapTsResolution};
use pcap_file::pcapng::blocks::interface_description::InterfaceDescriptionOption;
use pcap_file::pcapng::{Block, PcapNgParser};
use pcap_file::{DataLink, Endianness};
use std::io::{self, BufRead, Read};

/// A longer block or packet is passed over: the longest line of a log fits, and so does any packet.
const LONGEST: usize = 2 << 20;
/// A longer description of a section or an interface is not kept.
const LONGEST_DESCRIPTION: usize = 4096;
/// Interfaces of one section; packets of more are passed over.
const MOST_INTERFACES: usize = 1024;

const SECTION: [u8; 4] = [0x0A, 0x0D, 0x0D, 0x0A];
const INTERFACE: u32 = 1;
/// Types of blocks that hold packets.
const PACKETS: [u32; 3] = [2, 3, 6];

/// One thing found in a file.
#[derive(Debug)]
pub(super) enum Found {
    /// A section begins: interfaces are counted anew.
    Section,
    /// A packet.
    Packet(Packet),
    /// A block of ours, or why it is none.
    Own(Result<(u32, Own), OwnFault>),
    /// A block that cannot be read; what follows can.
    Skipped(String),
    /// The file breaks off within a block.
    Cut,
    /// Nothing that follows can be read.
    Lost(String),
}

/// A packet as it stands in the file.
#[derive(Debug)]
pub(super) struct Packet {
    pub interface: u32,
    /// The interface is one by which looprig shows a wire.
    pub of_wire: bool,
    pub link: u32,
    /// Nanoseconds since 1970, where the file says when.
    pub at_ns: Option<u64>,
    pub octets: Bytes,
}

#[derive(Debug)]
enum Form {
    Unknown,
    Pcap(PcapParser),
    Pcapng(PcapNgParser),
    Ended,
}

/// Reads a file block by block.
#[derive(Debug)]
pub(super) struct PacketFile {
    form: Form,
    /// Octets before the block that is read next.
    read: u64,
    /// Where the block that was read last begins.
    at: u64,
    /// Its number, from 1.
    number: u64,
    buffer: Vec<u8>,
}

impl PacketFile {
    pub(super) fn new() -> Self {
        PacketFile { form: Form::Unknown, read: 0, at: 0, number: 0, buffer: Vec::new() }
    }

    /// The number of the block or packet that was read last, from 1, and the octet at which it begins, from 0.
    pub(super) fn place(&self) -> (u64, u64) {
        (self.number, self.at)
    }

    /// The next thing; `None` at the end.
    pub(super) fn next(&mut self, input: &mut impl BufRead) -> io::Result<Option<Found>> {
        loop {
            self.at = self.read;
            if let Form::Unknown = self.form {
                let start = input.fill_buf()?;
                if !start.is_empty() && !start.starts_with(&SECTION[..1]) {
                    match self.pcap_header(input)? {
                        None => continue,
                        lost => return Ok(lost),
                    }
                }
            }
            let found = match &self.form {
                Form::Ended => return Ok(None),
                Form::Pcap(_) => self.pcap_packet(input)?,
                Form::Pcapng(_) | Form::Unknown => self.block(input)?,
            };
            match found {
                Step::Found(found) => {
                    if matches!(found, Found::Cut | Found::Lost(_)) {
                        self.form = Form::Ended;
                    }
                    return Ok(Some(found));
                }
                Step::Nothing => {}
                Step::End => return Ok(None),
            }
        }
    }

    /// Reads `n` octets more behind what is in the buffer; whether they were there.
    fn more(&mut self, input: &mut impl BufRead, n: usize) -> io::Result<bool> {
        let read = input.take(n as u64).read_to_end(&mut self.buffer)?;
        self.read += read as u64;
        Ok(read == n)
    }

    /// Passes over `n` octets; whether they were there.
    fn pass_over(&mut self, input: &mut impl BufRead, n: u64) -> io::Result<bool> {
        let passed = io::copy(&mut input.take(n), &mut io::sink())?;
        self.read += passed;
        Ok(passed == n)
    }

    fn pcap_header(&mut self, input: &mut impl BufRead) -> io::Result<Option<Found>> {
        self.buffer.clear();
        if !self.more(input, 24)? {
            self.form = Form::Ended;
            return Ok(Some(Found::Cut));
        }
        match PcapParser::new(&self.buffer) {
            Ok((_, parser)) => {
                self.form = Form::Pcap(parser);
                Ok(None)
            }
            Err(_) => {
                self.form = Form::Ended;
                let why = "its header is that of a variant of pcap that this version does not read: save it as pcapng";
                Ok(Some(Found::Lost(why.into())))
            }
        }
    }

    fn pcap_packet(&mut self, input: &mut impl BufRead) -> io::Result<Step> {
        self.buffer.clear();
        if !self.more(input, 16)? {
            return Ok(if self.buffer.is_empty() { Step::End } else { Step::Found(Found::Cut) });
        }
        self.number += 1;
        let Form::Pcap(parser) = &self.form else { return Ok(Step::End) };
        let header = parser.header();
        let length = word(&self.buffer, 8, header.endianness == Endianness::Little);
        if length as usize > LONGEST {
            return Ok(Step::Found(if self.pass_over(input, length.into())? {
                Found::Skipped(too_long(length))
            } else {
                Found::Cut
            }));
        }
        if !self.more(input, length as usize)? {
            return Ok(Step::Found(Found::Cut));
        }
        let Form::Pcap(parser) = &self.form else { return Ok(Step::End) };
        let Ok((_, packet)) = parser.next_raw_packet(&self.buffer) else {
            return Ok(Step::Found(Found::Skipped("it is no packet".into())));
        };
        let unit = if header.ts_resolution == PcapTsResolution::NanoSecond { 1 } else { 1000 };
        let at_ns = u64::from(packet.ts_sec) * 1_000_000_000 + u64::from(packet.ts_frac) * unit;
        Ok(Step::Found(Found::Packet(Packet {
            interface: 0,
            of_wire: false,
            // The upper half says how long the check sequences of the link are.
            link: u32::from(header.datalink) & 0xFFFF,
            at_ns: Some(at_ns),
            octets: Bytes::copy_from_slice(&packet.data),
        })))
    }

    fn block(&mut self, input: &mut impl BufRead) -> io::Result<Step> {
        self.buffer.clear();
        if !self.more(input, 12)? {
            return Ok(if self.buffer.is_empty() { Step::End } else { Step::Found(Found::Cut) });
        }
        self.number += 1;
        let is_section = self.buffer.starts_with(&SECTION);
        let little = match (is_section, &self.form) {
            (true, _) => match self.buffer[8..12] {
                [0x4D, 0x3C, 0x2B, 0x1A] => true,
                [0x1A, 0x2B, 0x3C, 0x4D] => false,
                _ => return Ok(lost("the section that begins there does not say its byte order")),
            },
            (false, Form::Pcapng(parser)) => parser.section().endianness == Endianness::Little,
            (false, _) => return Ok(lost("it does not begin with a section of pcapng")),
        };
        let kind = if is_section { 0 } else { word(&self.buffer, 0, little) };
        let length = word(&self.buffer, 4, little);
        if length < 12 || !length.is_multiple_of(4) {
            return Ok(lost(&format!("the block that begins there has a length that cannot be, {length}")));
        }
        let description = is_section || kind == INTERFACE;
        let longest = if description { LONGEST_DESCRIPTION } else { LONGEST };
        let passed_over = length as usize > longest;
        let there = if passed_over {
            // All but the length at the end, which is kept.
            let there = self.pass_over(input, u64::from(length) - 16)?;
            there && self.more(input, 4)?
        } else {
            self.more(input, length as usize - 12)?
        };
        if !there {
            return Ok(Step::Found(Found::Cut));
        }
        if word(&self.buffer, self.buffer.len() - 4, little) != length {
            return Ok(lost(
                "the block that begins there says another length at its end than at its beginning",
            ));
        }
        if is_section {
            return Ok(self.section(passed_over));
        }
        if kind == INTERFACE {
            return Ok(self.interface(passed_over, little));
        }
        if passed_over {
            let ours = PACKETS.contains(&kind) || kind == OWN_BLOCK;
            return Ok(if ours { Step::Found(Found::Skipped(too_long(length))) } else { Step::Nothing });
        }
        let Form::Pcapng(parser) = &mut self.form else { return Ok(Step::Nothing) };
        let last = parser.interfaces().len();
        let packet = |parser: &PcapNgParser, interface: u32, at: Option<Duration>, octets: &[u8]| {
            let link = parser.interfaces().get(interface as usize).map_or(u32::MAX, |i| i.linktype.into());
            let of_wire = is_of_wire(parser, interface);
            let at_ns = at.map(|at| u64::try_from(at.as_nanos()).unwrap_or(u64::MAX));
            Step::Found(Found::Packet(Packet {
                interface,
                of_wire,
                link,
                at_ns,
                octets: Bytes::copy_from_slice(octets),
            }))
        };
        Ok(match parser.next_block(&self.buffer) {
            Ok((_, Block::EnhancedPacket(p))) => packet(parser, p.interface_id, Some(p.timestamp), &p.data),
            Ok((_, Block::SimplePacket(p))) => packet(parser, 0, None, &p.data),
            Ok((_, Block::Packet(p))) => packet(parser, p.interface_id.into(), Some(p.timestamp), &p.data),
            Ok((_, Block::Unknown(b))) if kind == OWN_BLOCK => match own::decode(&b.value, little) {
                Some(Ok((interface, _))) if !is_of_wire(parser, interface) => {
                    Step::Found(Found::Skipped(format!(
                        "it is a block of looprig about interface {interface}, which its section does not describe as a wire of looprig's: \
                     another program has numbered the interfaces anew"
                    )))
                }
                Some(own) => Step::Found(Found::Own(own)),
                None => Step::Nothing,
            },
            Ok(_) => Step::Nothing,
            Err(_) if !PACKETS.contains(&kind) => Step::Nothing,
            Err(e) => Step::Found(Found::Skipped(format!("{}, of {last} interfaces", chain(&e)))),
        })
    }

    fn section(&mut self, passed_over: bool) -> Step {
        if passed_over {
            return lost("the section that begins there has a header longer than anybody writes");
        }
        match PcapNgParser::new(&self.buffer) {
            Ok((_, parser)) if parser.section().major_version == 1 => {
                self.form = Form::Pcapng(parser);
                Step::Found(Found::Section)
            }
            Ok((_, parser)) => {
                let version = parser.section().major_version;
                lost(&format!(
                    "the section that begins there is of format {version}, and this version reads 1"
                ))
            }
            Err(e) => lost(&chain(&e)),
        }
    }

    /// An interface is counted even where it cannot be read: packets name it by its number.
    fn interface(&mut self, passed_over: bool, little: bool) -> Step {
        let Form::Pcapng(parser) = &mut self.form else { return Step::Nothing };
        if parser.interfaces().len() >= MOST_INTERFACES {
            return Step::Found(Found::Skipped(format!("it is an interface beyond {MOST_INTERFACES}")));
        }
        let why = if passed_over {
            "its interface has a longer description than anybody writes".to_owned()
        } else {
            match parser.next_block(&self.buffer) {
                Ok(_) => return Step::Nothing,
                Err(e) => chain(&e),
            }
        };
        let [kind, length, nothing] =
            [INTERFACE, 20, 0].map(|n: u32| if little { n.to_le_bytes() } else { n.to_be_bytes() });
        // Of no link type that anybody knows.
        let unknown = [0xFF, 0xFF, 0, 0];
        let stand_in = [kind, length, unknown, nothing, length].concat();
        let _ = parser.next_block(&stand_in);
        Step::Found(Found::Skipped(format!("its interface and the packets of it cannot be read: {why}")))
    }
}

enum Step {
    Found(Found),
    Nothing,
    End,
}

/// Whether the section describes this interface as looprig does one that shows a wire [PC-03].
fn is_of_wire(parser: &PcapNgParser, interface: u32) -> bool {
    let options = parser.interfaces().get(interface as usize).map_or(&[][..], |i| &i.options);
    options.iter().any(
        |o| matches!(o, InterfaceDescriptionOption::IfDescription(text) if text.starts_with(own::OF_WIRE)),
    )
}

fn lost(why: &str) -> Step {
    Step::Found(Found::Lost(why.to_owned()))
}

fn too_long(length: u32) -> String {
    format!("it is {length} octets long, more than {} MiB", LONGEST >> 20)
}

fn word(octets: &[u8], at: usize, little: bool) -> u32 {
    let four = octets.get(at..at + 4).and_then(|o| o.try_into().ok()).unwrap_or_default();
    if little { u32::from_le_bytes(four) } else { u32::from_be_bytes(four) }
}

/// What an error says, and what is behind it.
fn chain(e: &dyn std::error::Error) -> String {
    let mut text = e.to_string();
    let mut next = e.source();
    while let Some(e) = next {
        text = format!("{text}: {e}");
        next = e.source();
    }
    text
}

/// Whether packets of this link type are none that a description stood in for.
pub(super) fn is_known(link: u32) -> bool {
    link < 0xFFFF && !matches!(DataLink::from(link), DataLink::Unknown(_))
}
